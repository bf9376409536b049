"""Annotated photos, ribbons, and the pages a person reads."""
