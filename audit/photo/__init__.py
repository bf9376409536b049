"""Decode, orientation, colour management, quality of one photo."""
