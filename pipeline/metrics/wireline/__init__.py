"""Pump-down runs with guns and plug."""
