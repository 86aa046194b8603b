"""Strokes from text: single-line letters, as a pen writes them, not outlines.

The letters are those that A. V. Hershey digitised at the U.S. National Bureau of Standards (A. V. Hershey, "Calligraphy
for Computers", NWL report 2101, 1967; N. M. Wolcott and J. Hilsenrath, "A Contribution to Computer Typesetting
Techniques: Tables of Coordinates for Hershey's Repertory of Occidental Type Fonts and Graphic Symbols", NBS special
publication 424, 1976), as the package ``Hershey-Fonts`` carries them. Each face has 95 characters and no accents; other
characters are composed here from letters and marks of our own. A character without a letter leaves a gap and is named
in a warning.

The stages of this package::

    text -> glyphs (faces, marks, signs) -> layout or along -> Drawing
"""

from linewright.sources.lettering.faces import FACES, NOTICE, Typeface
from linewright.sources.lettering.writing import Lettering

__all__ = ["FACES", "NOTICE", "Lettering", "Typeface"]
