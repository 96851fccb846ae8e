"""Metrics: picks and physics into one typed row per stage, plug, coil run, pump-down run, toe and pad day.

A threshold without a source in its docstring was chosen as in `pipeline.picks`.
"""
