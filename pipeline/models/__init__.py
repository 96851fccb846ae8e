"""Comparisons and fitted models from measured rows; pads are the independent unit, and uncertainty is reported."""
