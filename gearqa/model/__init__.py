"""Data carriers between modules: the drawing, what was measured, what came out."""
