"""Grading results: words, sheets, figures."""
