"""lidoff: measured checks of opened downlight fittings, for a competent person to confirm."""

__version__ = "0.1.0"
