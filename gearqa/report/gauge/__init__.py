"""Gauge study: words, page."""
