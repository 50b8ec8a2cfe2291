"""Lot sign-off: words, certificate, figures."""
