"""What the commands do beyond one step: init, review and amend, serve, status."""
