"""Methods for photographs, one module each, on a common model of ink and coverage.

The stages of this package::

file -> photograph -> preparation -> field (wanted coverage, at the size on the sheet) -> a method -> strokes

Every method takes into account the pen's width and the overlap of neighbouring lines (`coverage`), so that the coverage
of its strokes, seen from a distance, matches the wanted one (`meter`).
"""
