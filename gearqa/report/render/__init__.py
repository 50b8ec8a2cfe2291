"""Layout of blocks: HTML, PDF, terminal."""
