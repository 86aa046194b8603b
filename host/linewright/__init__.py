"""Linewright: any picture, drawn truly by a home-built two-axis pen machine."""

__version__ = "0.1.0"
