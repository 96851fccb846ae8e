"""Signal in, events out: pure functions on arrays, no files and no frames. Textbook methods only."""
