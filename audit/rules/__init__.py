"""The catalogue of checks, and one file a subject."""
