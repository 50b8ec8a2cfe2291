"""Diagnosis: words, page, figures, screen."""
