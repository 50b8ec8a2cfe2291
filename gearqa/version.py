"""The version, alone so that nothing has to be imported to know it."""

__version__ = "0.5.0"
