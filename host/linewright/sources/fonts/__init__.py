"""Fonts of the system or from files: search, and letters as outlines."""
