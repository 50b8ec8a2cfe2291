"""Results made readable: one report model decides words and digits, renderers lay out."""
