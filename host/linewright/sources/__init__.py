"""Ways of getting strokes: one module or package for each, all ending in a `Picture`.

An SVG brings its own strokes and size. Every other way is asked for by name, with its settings, as in
``hatching:angle_deg=30``; `methods` holds the table of names. A way is given the source as the user typed it, and a
`Wish`: the room on the sheet that it may fill, the pen it draws with, and whom to tell how far it has got.
"""

from linewright.sources.picture import Picture, Wish

__all__ = ["Picture", "Wish"]
