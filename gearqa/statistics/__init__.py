"""Statistical methods without a gear in sight: usable on any numbers."""
