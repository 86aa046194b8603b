"""Letters of the page: our single-line font, exported as the paths in `page/letters.js`.

    python -m linewright.desk.hand_letters      renews the file; a test compares it

Large words of the page are drawn with the strokes of a pen, of one width with round ends.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from linewright.sources.lettering.faces import CAP_UNITS, NOTICE
from linewright.sources.lettering.glyphs import glyph
from linewright.sources.lettering.rounding import rounded

FILE: Final = Path(__file__).parent / "page" / "letters.js"
FACE: Final = "plain"
CHARACTERS: Final = "".join(map(chr, range(32, 127))) + "äöüßéèàçñåøæ°±·…½"
TOLERANCE_UNITS: Final = 0.12
"""A 175th of a capital: a third of a pixel at the page's largest words, 60 px high."""


def module() -> str:
    """The text of `page/letters.js`."""
    lines = []
    for character in CHARACTERS:
        letter = glyph(character, FACE)
        if letter is None:
            continue
        strokes = (rounded(stroke, tolerance_units=TOLERANCE_UNITS) for stroke in letter.strokes)
        path = "".join("M" + "L".join(f"{x:.5g} {y:.5g}" for x, y in stroke.round(1).tolist()) for stroke in strokes)
        name = {'"': '\\"', "\\": "\\\\"}.get(character, character)
        lines.append(f'  "{name}": [{letter.advance:g}, "{path}"],')
    return "\n".join(
        (
            "// Written by `python -m linewright.desk.hand_letters` from the face that the machine writes with.",
            *(f"// {line}" for line in _wrapped(NOTICE)),
            "",
            "/** Height of a capital, in the units of the paths. */",
            f"export const CAP = {CAP_UNITS:g};",
            "",
            "/**",
            " * Advance and path of each letter; y runs downward from the foot line.",
            " *",
            " * @type {Record<string, [number, string]>}",
            " */",
            "export const LETTERS = {",
            *lines,
            "};",
            "",
        )
    )


def _wrapped(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, 110)


if __name__ == "__main__":
    FILE.write_text(module(), encoding="utf-8")
