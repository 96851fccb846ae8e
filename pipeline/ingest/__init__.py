"""Landing: converts files into typed rows with their source; files that cannot be used are set aside with a reason."""
