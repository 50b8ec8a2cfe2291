"""Tolerance systems, one package per edition; none is 'the current one'."""
