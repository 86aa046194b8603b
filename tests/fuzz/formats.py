"""Formats to be fuzzed: valid files, their readers, and checks of the result.

A reader may refuse with one of our errors; any other exception is a bug. If there is an oracle,
the result is compared with it, because a wrong reading is worse than a refusal.
"""

from __future__ import annotations

import binascii
import io
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Format:
    """One kind of file.

    Parameters
    ----------
    suffix : its ending.
    seeds : makes undamaged files in a folder.
    read : reads a file, or refuses it.
    words : meaningful pieces of the format.
    wrong : describes a wrong reading of a file made from a seed; "" if it is right or unknown.
    """

    suffix: str
    seeds: Callable[[Path], list[bytes]]
    read: Callable[[Path], Any]
    words: tuple[bytes, ...]
    wrong: Callable[[bytes, bytes, Any], str] = lambda _seed, _damaged, _value: ""


def _wish() -> Any:
    from linewright.sources.picture import Wish

    return Wish((190.0, 277.0), 0, 0.5)


def _finite(_seed: bytes, _damaged: bytes, picture: Any) -> str:
    """Strokes have finite positions on a page of finite size."""
    points = picture.drawing.points_mm
    if not np.isfinite(points).all():
        return "a point lies nowhere"
    return "" if picture.width_mm > 0 and picture.height_mm > 0 else "the page has no size"


def _drawing(path: Path) -> Any:
    from linewright.sources.drawing_files import read_drawing

    return read_drawing(str(path), _wish())


_SHAPES = b"""<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="80mm" viewBox="0 0 120 80">
<style>.a{stroke:#c03;fill:none} @media print{.b:not(.c){stroke:navy}} #g > path{stroke-dasharray:3 1}</style>
<defs><linearGradient id="l"><stop offset="0" stop-color="red"/><stop offset="1"/></linearGradient>
<clipPath id="k"><circle cx="40" cy="40" r="30"/></clipPath>
<symbol id="s" viewBox="0 0 9 9"><path d="M0 0h9v9z"/></symbol>
<pattern id="p" width="4" height="4" patternUnits="userSpaceOnUse"><path d="M0 2h4" stroke="teal"/></pattern></defs>
<g id="g" transform="rotate(12 60 40) scale(.9)" clip-path="url(#k)">
<path class="a" d="M5 5C20 60 40-9 70 50S9 9 3 70A9 7 3 1 0 50 60Z"/>
<rect class="b" x="10" y="10" width="30" height="20" rx="4" fill="url(#l)"/>
<use href="#s" x="50" width="20" height="20"/></g>
<polyline points="1,2 3,4 5.5e0,-6 7 8" fill="url(#p)" stroke="black"/>
<text x="9" y="70" font-size="9">Quay<tspan dx="2">!</tspan></text>
<ellipse cx="90" cy="20" rx="20" ry="9" fill="none" stroke="#0a0" stroke-width="2" opacity=".5"/></svg>"""

_LINES = b"""<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="50mm" viewBox="0 0 50 50">
<path d="M 1 2 L 30 40 H 5 V 9 q 3 4 9 1 t 8 8" fill="none" stroke="black"/>
<line x1="0" y1="0" x2="50" y2="50" stroke="red"/></svg>"""


def _svg_seeds(_folder: Path) -> list[bytes]:
    return [_SHAPES, _LINES]


_SVG_WORDS = (
    b"<g>",
    b"</g>",
    b"<use href='#g'/>",
    b"<style>",
    b"url(#l)",
    b":not(",
    b"@import 'x';",
    b"&lt;",
    b"<![CDATA[",
    b"-->",
    b"transform='matrix(1e99 0 0 1e-99 0 0)'",
    b"1e308",
    b"-1e-308",
    b"nan",
    b"inf",
    b"%",
    b"em",
    b"0",
    b"99999999999",
    b"stroke-dasharray='1e-9'",
    b"font-size='1e9'",
    b"<image href='data:image/png;base64,iVBORw0KGgo='/>",
    b"\r",
)


def _pdf_seeds(_folder: Path) -> list[bytes]:
    content = (
        b"1 0 0 RG 2 w 10 10 m 90 60 l 40 20 30 30 50 50 c S 0 0 1 rg 20 20 30 10 re f q 5 0 0 5 1 1 cm 0 0 m 9 9 l S Q"
    )
    parts = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 200 100]/Contents 4 0 R/Resources<<>>>>",
        b"<</Length %d>>\nstream\n%s\nendstream" % (len(content), content),
    ]
    out = bytearray(b"%PDF-1.4\n")
    places = []
    for number, part in enumerate(parts, 1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, part)
    start = len(out)
    out += b"xref\n0 5\n0000000000 65535 f \n" + b"".join(b"%010d 00000 n \n" % place for place in places)
    out += b"trailer\n<</Size 5/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF\n" % start
    return [bytes(out)]


def _dxf_seeds(_folder: Path) -> list[bytes]:
    groups = [
        ("0", "SECTION"),
        ("2", "HEADER"),
        ("9", "$INSUNITS"),
        ("70", "4"),
        ("0", "ENDSEC"),
        ("0", "SECTION"),
        ("2", "ENTITIES"),
        ("0", "LINE"),
        ("8", "0"),
        ("10", "0"),
        ("20", "0"),
        ("11", "90"),
        ("21", "40"),
        ("0", "CIRCLE"),
        ("8", "0"),
        ("62", "3"),
        ("10", "30"),
        ("20", "30"),
        ("40", "12.5"),
        ("0", "ARC"),
        ("8", "a"),
        ("10", "60"),
        ("20", "20"),
        ("40", "9"),
        ("50", "20"),
        ("51", "300"),
        ("0", "TEXT"),
        ("8", "0"),
        ("10", "5"),
        ("20", "5"),
        ("40", "4"),
        ("1", "Quay"),
        ("0", "ENDSEC"),
        ("0", "EOF"),
    ]
    return ["".join(f"{code}\n{value}\n" for code, value in groups).encode()]


def _photograph(path: Path) -> Any:
    from linewright.sources.photograph import load

    return load(str(path))


def _picture_seeds(kind: str) -> Callable[[Path], list[bytes]]:
    def made(_folder: Path) -> list[bytes]:
        from PIL import Image

        y, x = np.mgrid[0:40, 0:60]
        image = Image.fromarray(np.stack((x * 4, y * 6, x + y), axis=2).astype(np.uint8))
        out = []
        for mode in ("RGB", "L", "P"):
            stream = io.BytesIO()
            image.convert(mode).save(stream, kind if mode != "P" or kind != "JPEG" else "PNG")
            out.append(stream.getvalue())
        return out

    return made


def _rig(path: Path) -> Any:
    from linewright.rig.review import review
    from linewright.rig.rig import Rig

    rig = Rig.load(path)
    review(rig)
    return rig


def _rig_seeds(_folder: Path) -> list[bytes]:
    from linewright.rig.rig import Rig

    text = Rig.default_text()
    return [text.encode(), "\n".join(line.partition("#")[0] for line in text.splitlines()).encode()]


def _rig_wrong(_seed: bytes, damaged: bytes, rig: Any) -> str:
    """Python's TOML reader reads the same values."""
    said = tomllib.loads(damaged.decode("utf-8-sig").replace("\r\n", "\n"))
    for table, keys in said.items():
        if not isinstance(keys, dict):
            continue
        for key, value in keys.items():
            kept = getattr(getattr(rig, table), key)
            if isinstance(value, int | float | str) and kept != value:
                return f"{table}.{key} is {value!r} in the file, and {kept!r} was read"
    return ""


_TOML_WORDS = (
    b"[",
    b"]",
    b"=",
    b'"',
    b"'''",
    b"\r",
    b"\r\n",
    b".",
    b"a.b.c = 1\n",
    b"[[x]]\n",
    b"1e999",
    b"nan",
    b"-0",
    b"0x7fffffffffffffff",
    b"99999999999999999999",
    b"true",
    b"1979-05-27",
    b"{a={b={}}}",
    b"\\u0000",
    b"\xef\xbb\xbf",
    b"# \xff\n",
    b"[axis.x]\n",
    b"-",
)


def _program_seeds(folder: Path) -> list[bytes]:
    from linewright.drawing.strokes import Drawing
    from linewright.motion import plan
    from linewright.program import file
    from linewright.rig.rig import Rig

    program = plan(Drawing.from_strokes([[[10, 10], [40, 20], [60, 90]], [[30, 30], [31, 31]]]), Rig.default())
    path = folder / "seed.lw"
    file.save(program, path)
    return [path.read_bytes()]


def _program(path: Path) -> Any:
    from linewright.program import file
    from linewright.rig.rig import Rig

    program = file.load(path)
    program.check_rig(Rig.default())
    return program


def _program_wrong(seed: bytes, _damaged: bytes, program: Any) -> str:
    """Each array has a checksum, so the values read are those written."""
    import tempfile

    from linewright.program import file

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "whole.lw"
        path.write_bytes(seed)
        whole = file.load(path)
    for name in ("kind", "da", "db", "v_end", "servo_us", "dwell_ms", "ticks"):
        if not np.array_equal(getattr(program, name), getattr(whole, name)):
            return f"column {name} was read, and is not what was written"
    return "" if np.array_equal(program.drawing.points_mm, whole.drawing.points_mm) else "the strokes are others"


def _arrangement(path: Path) -> Any:
    from linewright.planning.arrangement_file import load

    return load(path)


_ARRANGEMENT = b"""sheet = "A5"
margin_mm = 8
[[item]]
id = "a"
source = "heron.svg"
at_mm = [10, 20]
width_mm = 60
turn_deg = 5
[[item]]
text = "Marrow Quay"
align = "bottom"
[[item]]
pattern = "wheels:seed=3"
height_mm = 20
"""

_JSON_WORDS = (b"{", b"}", b"[", b"null", b"1e999", b"NaN", b'""', b"\\ud800", b"-1")

_THING = (
    b'{"name": "buoy", "size": 60, "living": false, "places": {"seat": [5.0, 0.0]}, '
    b'"strokes": [[[0, 10], [10, 10], [5, 0], [0, 10]], [[2, 8], [8, 8]]]}'
)

_PENS = b"""[[pen]]
name = "black"
colour = "#000000"
width_mm = 0.4
offset_mm = [0.1, 0.2]
ink_m = 30
"""

_ROWS = b"""name,place
Ada,Quay 1
"Bo, B","Quay
2"
"""


def _arrangement_seeds(_folder: Path) -> list[bytes]:
    return [_ARRANGEMENT]


def _form(path: Path) -> Any:
    from linewright.calibration.trial import form
    from linewright.rig.rig import Rig

    return form.read(path, Rig.default())


def _form_seeds(_folder: Path) -> list[bytes]:
    from linewright.calibration.trial import catalogue, form
    from linewright.rig.rig import Rig
    from linewright.rig.sheet_place import sheet_on

    rig = Rig.default()
    sheet = sheet_on(rig, None)
    made = catalogue.design("squareness", rig, sheet, {"axis": None, "top": None, "press_us": None, "reach_mm": None})
    text = form.to_json(made, rig, sheet, "ab12")
    for entry in made.entries:
        text = text.replace(f'"{entry.name}": null', f'"{entry.name}": {entry.expected}')
    return [text.encode()]


def _pens(path: Path) -> Any:
    from linewright.sources.pens import read_pens

    return read_pens(str(path))


def _thing(path: Path) -> Any:
    from linewright.sources.words.own import read_thing

    return read_thing(path)


def _rows(path: Path) -> Any:
    from linewright.planning.series import read_rows

    return read_rows(path)


def _tape(path: Path) -> Any:
    from linewright.simulation.replay import read_trace

    return read_trace(path)


def _tape_seeds(folder: Path) -> list[bytes]:
    from linewright.rig.rig import Rig
    from linewright.simulation.faults import Faults
    from linewright.simulation.machine import Machine
    from linewright.simulation.tape import TapeWriter

    path = folder / "seed.tape"
    with TapeWriter(path, Machine.from_rig(Rig.default()), Faults()) as tape:
        tape.shape(0, 20, 5, 10)
        tape.enable(10, True)
        tape.zero(20, 0, 0)
        words = np.full(200, (500 << 4) | 5, dtype="<u4")
        tape.words(1000, 1000 + 200 * 520, words.tobytes())
        tape.servo(1000 + 200 * 520, 1500)
    return [path.read_bytes()]


def _maker_seeds(_folder: Path) -> list[bytes]:
    from linewright.maker.setup import EXAMPLE

    return [EXAMPLE.encode()]


def _maker(path: Path) -> Any:
    from linewright.maker.setup import load_maker

    return load_maker(path)


def _journal_seeds(folder: Path) -> list[bytes]:
    """A drawing that was resumed once, and one that had just begun."""
    lines = (
        b'2026-11-25T10:43:40Z journal format=1 picture="heron.svg" port="/dev/ttyACM0"',
        b'2026-11-25T10:43:40Z program sha="%s" records=90 strokes=9' % (b"ab" * 32),
        b'2026-11-25T10:43:40Z rig name="quay \\"2\\"" fingerprint="1f2e" file="rig.toml"',
        b'2026-11-25T10:43:40Z sheet name="A5" width_mm=148.0 height_mm=210.0',
        b"2026-11-25T10:43:41Z begin number=81230 record=0",
        b"2026-11-25T10:43:59Z done record=17 strokes=1",
        b"2026-11-25T10:44:59Z done record=57 strokes=5",
        b'2026-11-25T10:45:01Z end how="failed" why="the cable"',
        b"2026-11-25T11:45:01Z begin number=81231 record=60",
        b"2026-11-25T11:46:01Z done record=77 strokes=7",
    )
    return [b"".join(_sealed(line) for line in lines), b"".join(_sealed(line) for line in lines[:5])]


def _sealed(line: bytes) -> bytes:
    """A line of a journal with its checksum."""
    return line + b" #%08x\n" % binascii.crc32(line)


def _journal(path: Path) -> Any:
    from linewright.run import journal

    folder = path.with_name("drawing")
    folder.mkdir(exist_ok=True)
    (folder / journal.JOURNAL).write_bytes(path.read_bytes())
    return journal.read(folder)


def _sealed_journal(path: Path) -> Any:
    """The same with a valid checksum of each damaged line, as a faulty program would write it."""
    lines = path.read_bytes().split(b"\n")[:-1]
    path.write_bytes(b"".join(_sealed(line.rpartition(b" #")[0] or line) for line in lines))
    return _journal(path)


def _journal_wrong(seed: bytes, _damaged: bytes, story: Any) -> str:
    """Each line has a checksum, so a damaged journal loses information but gains none."""
    most = 77 if b" strokes=7 " in seed else 0
    if (story.picture, story.records, story.strokes) not in (("heron.svg", 90, 9), ("", 90, 9)):
        return f"{story.picture!r} with {story.records} records was not written"
    return f"{story.records_done} records are told as done" if story.records_done > most else ""


def _sealed_journal_wrong(_seed: bytes, _damaged: bytes, story: Any) -> str:
    """The recorded progress is within the drawing."""
    fits = 0 <= story.strokes_done <= story.strokes and 0 <= story.records_done <= story.records
    return "" if fits else f"{story.strokes_done} of {story.strokes} strokes are told as done"


_JOURNAL_WORDS = (
    b" done",
    b" record=99",
    b'"',
    b"\\",
    b"=",
    b"\n",
    b"\r\n",
    b" #",
    b"\0",
    b" end",
    b'\\ud800"',
    b"nan",
)

FORMATS: dict[str, Format] = {
    "svg": Format(".svg", _svg_seeds, _drawing, _SVG_WORDS, _finite),
    "pdf": Format(
        ".pdf",
        _pdf_seeds,
        _drawing,
        (b"obj", b"endobj", b"stream", b"<<", b">>", b"/Kids", b"999999999", b" 0 R", b"cm"),
        _finite,
    ),
    "dxf": Format(
        ".dxf", _dxf_seeds, _drawing, (b"\n0\nLINE\n", b"\n0\nINSERT\n", b"1e99", b"-1", b"nan", b"SECTION"), _finite
    ),
    "png": Format(
        ".png", _picture_seeds("PNG"), _photograph, (b"IHDR", b"IDAT", b"\xff\xff\xff\xff", b"PLTE", b"\0\0\0\0")
    ),
    "jpeg": Format(
        ".jpg", _picture_seeds("JPEG"), _photograph, (b"\xff\xd8", b"\xff\xc0", b"\xff\xda", b"\xff\xe1", b"\xff\xff")
    ),
    "rig": Format(".toml", _rig_seeds, _rig, _TOML_WORDS, _rig_wrong),
    "program": Format(
        ".lw", _program_seeds, _program, (b"PK\x03\x04", b"PK\x01\x02", b"\xff" * 8, b"\x93NUMPY"), _program_wrong
    ),
    "arrangement": Format(".toml", _arrangement_seeds, _arrangement, _TOML_WORDS),
    "form": Format(".json", _form_seeds, _form, _JSON_WORDS),
    "pens": Format(".toml", lambda _f: [_PENS], _pens, _TOML_WORDS),
    "rows": Format(".csv", lambda _f: [_ROWS], _rows, (b'"', b",", b"\r", b"\n", b"\0", b"\xff", b"name")),
    "tape": Format(".tape", _tape_seeds, _tape, (b"LWTAPE", b"\xff\xff\xff\xff", b"\x01\0", b"\x02\0", b"\0" * 8)),
    "maker": Format(".toml", _maker_seeds, _maker, _TOML_WORDS),
    "thing": Format(".json", lambda _f: [_THING], _thing, _JSON_WORDS),
    "journal": Format(".txt", _journal_seeds, _journal, _JOURNAL_WORDS, _journal_wrong),
    "forged journal": Format(".txt", _journal_seeds, _sealed_journal, _JOURNAL_WORDS, _sealed_journal_wrong),
}
