"""Candidate designs for the next pad: evaluated with physics and with the team's own jobs."""
