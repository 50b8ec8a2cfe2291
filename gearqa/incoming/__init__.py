"""Incoming gears: a supplier's report against our measurement, claims, explanation, same gears, decision."""
