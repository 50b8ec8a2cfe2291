"""Pure numerics of gear evaluation: floats and arrays in, floats and arrays out."""
