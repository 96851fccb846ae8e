"""Queries into charts and pages."""
