"""Coil runs, the plugs they milled, and toe preparations."""
