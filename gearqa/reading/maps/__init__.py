"""Column maps: foreign tables made neutral, and drafts of such maps."""
