"""Hears two links of a sequence played at a keyboard and carries the chain on."""

__version__ = "0.1.0"
