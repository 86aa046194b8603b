"""Strokes from nothing but a rule and a seed: patterns that fill the sheet.

Each module is one pattern: a frozen dataclass of settings with a ``read`` like every way to strokes. The room and the
pen come with the wish, so that lines keep a distance that suits the pen, and a larger sheet shows more of the pattern
instead of the same one with wider gaps. The same seed and room give the same strokes. `finish` is the last step of
all of them.
"""
