"""Patterns: strokes from a rule and a random seed.

Each module is one pattern: a frozen dataclass of settings with a ``read`` like every method. Area and pen come with the
wish: line spacing suits the pen, and a larger sheet shows more of the pattern instead of wider gaps. The same seed and
area give the same strokes. `finish` is the last step of all patterns.
"""
