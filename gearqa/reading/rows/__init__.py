"""From bytes to rows: encodings, rows with their lines, numbers, problems."""
