"""The version of Linewright; releases set it here."""

__version__ = "0.1.0"
