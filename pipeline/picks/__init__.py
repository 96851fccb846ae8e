"""Picks: signal in, events out. Pure functions on arrays, no files, no frames.

The docstring of a threshold gives its source, or "common practice". A threshold without either was chosen on the sample
campaign and on public field records; the definitions that it serves are in DEVELOPERS.md. Change one only together with
the tests that hold the picks to planted truth (`tests/picks`, `tests/metrics/test_truth.py`).
"""
