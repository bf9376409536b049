"""Which fittings to open for a spot check, what that sample proves, and a fitter's history."""
