"""Fixtures shared by all tests; no logic."""
