"""gearqa: are ground gears good, how good, and what to do about it, told from measurements."""

from gearqa.version import __version__

__all__ = ["__version__"]
