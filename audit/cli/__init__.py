"""One file a command: parse, call, show."""
