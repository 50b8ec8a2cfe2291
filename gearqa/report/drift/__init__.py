"""Drift: words, page, figures."""
