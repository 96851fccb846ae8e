"""Stages: what was pumped, picked and modelled, one typed row per stage."""
