"""Textbook relations of completions hydraulics: pure functions on numbers and arrays, units in brackets."""
