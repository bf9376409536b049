"""Materials, strands, readings: what the photo shows along each cable."""
