"""Candidate designs for the next pad: what physics and the team's own jobs say of each."""
