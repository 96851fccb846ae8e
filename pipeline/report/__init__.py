"""Convert queries into charts and pages."""
