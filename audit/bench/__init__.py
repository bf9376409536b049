"""Scoring of what was read from photos against their truth (`lidoff bench`)."""
