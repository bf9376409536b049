"""The site card: geometry, printing, finding, colour fit, scale."""
