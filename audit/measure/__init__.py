"""Lengths with uncertainty, the decision rule, and the look contract."""
