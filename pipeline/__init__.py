"""heelward: records of well completions in, measured stages, fair comparisons and a team report out."""

__version__ = "0.2.0.dev0"
