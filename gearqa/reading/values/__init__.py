"""Tables of values instead of readings: what a supplier reports, gauge studies."""
