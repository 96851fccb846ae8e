"""Measured rows into comparisons and fitted models: pads are the independent unit, and doubt is said."""
