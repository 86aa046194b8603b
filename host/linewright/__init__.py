"""Linewright: any picture, drawn truly by a home-built two-axis pen machine."""

from linewright.version import __version__

__all__ = ["__version__"]
