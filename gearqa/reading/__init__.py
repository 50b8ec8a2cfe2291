"""Files in: bytes to measurements, drawings, maps, plans and values."""
