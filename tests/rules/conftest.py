"""Hypothesis without deadlines: a busy machine is no fault of the rules."""

from hypothesis import settings

settings.register_profile("busy", deadline=None)
settings.load_profile("busy")
