"""TOML files: part files, and whatever else is checked like one; what `gearqa new` writes."""
