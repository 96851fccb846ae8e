"""Time of a pad: where its hours went."""
