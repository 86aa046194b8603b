"""Strokes from the tones of a photograph: one module for each method, on a shared model of ink and coverage.

The way of a photograph through this package::

    file -> photograph -> preparation -> field (coverage wanted, on the size of the sheet) -> a method -> strokes

Every method knows the true width of the pen and where the ink of neighbouring lines overlaps (`coverage`), so that the
coverage it leaves, seen from far enough, is the one wanted (`meter`).
"""
