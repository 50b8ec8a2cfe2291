"""From bytes to cells: encodings, dialects, rows with their lines, numbers, problems."""
