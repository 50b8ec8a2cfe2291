"""Incoming check: words, page, figures."""
