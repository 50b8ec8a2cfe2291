"""Files in and out: the neutral tables, part files, column maps, JSON and CSV results."""
