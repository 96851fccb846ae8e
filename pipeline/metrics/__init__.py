"""Picks and physics into one typed row a stage, plug and coil run."""
