"""Textbook equations of completion hydraulics: pure functions on numbers and arrays, units in brackets."""
