"""What reports are made of."""
