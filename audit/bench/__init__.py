"""Scoring of readings against exact truth."""
