"""One executor protocol: local processes."""
