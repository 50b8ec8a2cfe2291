"""Results going out: JSON, CSV, their schemas, and files that appear whole or not at all."""
