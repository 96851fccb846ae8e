"""Landing: files in, typed rows with their source out; what cannot be used is set aside with a reason."""
