"""PDF (ISO 32000) to a `Painting`, read by pypdfium2::

file -> page -> objects, forms within forms -> marks, clips, letters
"""

from linewright.sources.pdf.reader import painting_of

__all__ = ["painting_of"]
