"""Lot sign-off: conformity under uncertainty, sampling, decision, record and its verification."""
