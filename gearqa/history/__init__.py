"""The history store: graded gears, grinder events and frozen references, kept for years.

One SQLite file or a PostgreSQL server. Raw traces stay in their files; their digests are kept.
"""
