"""Fonts of the system or from files: which there are, which has a letter, and letters as outlines."""
