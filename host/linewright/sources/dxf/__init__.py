"""DXF (the public exchange format for drawings) to a `Painting`, read by ezdxf::

file -> model space -> entities, blocks within blocks -> marks, letters
"""

from linewright.sources.dxf.reader import painting_of

__all__ = ["painting_of"]
