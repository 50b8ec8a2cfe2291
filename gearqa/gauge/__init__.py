"""Gauge studies: crossed analysis of variance, reference gear, uncertainty for the part file."""
