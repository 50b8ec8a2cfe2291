"""Schema of the store, version after version."""
