"""Sources of strokes: one module or package for each, all returning a `Picture`.

An SVG has its own strokes and size. All other methods are selected by name, with settings, as in
``hatching:angle_deg=30``; `methods` has the table. A method gets the source as typed by the user, and a `Wish`: the
area on the sheet, the pen, and a progress callback.
"""

from linewright.sources.picture import Picture, Wish

__all__ = ["Picture", "Wish"]
