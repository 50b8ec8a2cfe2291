"""Settings and fixtures shared by all tests; no logic."""

import os

from hypothesis import settings

# A deadline would make the machine's load decide; in CI the same examples run every time.
settings.register_profile("gearqa", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("gearqa")
