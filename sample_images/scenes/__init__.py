"""Renderer of sample photos of opened fittings (Mitsuba 3, extra ``[render]``).

Not part of the tool: nothing in ``audit`` imports it. ``python -m sample_images.scenes --help``.
"""
