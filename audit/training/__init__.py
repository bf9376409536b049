"""Training from opened fittings: lessons, the course, practice and its scoring."""
