"""The inspection folder: neutral tables recognised, read, and handed on gear by gear."""
