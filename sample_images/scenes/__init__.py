"""Renderer of sample photos of opened fittings (Mitsuba 3, extra ``[render]``).

Not part of the tool: only ``lidoff practice-photo`` loads it, when it is asked for a photo. ``python -m sample_images.scenes --help``.
"""
