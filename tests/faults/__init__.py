"""Bad input given to the real command: one clear line, the right exit code, nothing harmed."""
