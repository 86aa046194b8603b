"""Files that are no pictures, or malicious: a clear `SourceError`, quickly, and no external fetch."""

from __future__ import annotations

import gzip
import socket
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.errors import SourceError
from linewright.sources.painting.segments import Segments
from linewright.sources.svg import FileLimits, document, read_svg
from linewright.sources.svg.outlines import SHAPES
from linewright.sources.svg.path_data import count_segments, parse_path
from linewright.sources.svg.walk import Walk

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">\n'
LINE = '<path id="hull" d="M0 0h10" stroke="black"/>'


def refused(text: str | bytes, limits: FileLimits | None = None) -> SourceError:
    data = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(SourceError) as caught:
        read_svg(data, limits=limits)
    assert caught.value.hint, "an error must say what to do next"
    return caught.value


def copies(levels: int, more: str = "") -> str:
    """A line copied 2 ** levels times."""
    twice = "".join(f'<g id="g{i}"><use href="#g{i - 1}"/><use href="#g{i - 1}"/></g>' for i in range(1, levels + 1))
    return f'{HEAD}{more}<defs><g id="g0">{LINE}</g>{twice}</defs><use href="#g{levels}"/></svg>'


@pytest.fixture(autouse=True)
def _no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    def forbidden(*_args: object) -> None:
        raise AssertionError("something tried to reach the network")

    monkeypatch.setattr(socket.socket, "connect", forbidden)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "the file is empty"),
        (b"  \n", "the file is empty"),
        (b"\x89PNG\r\n\x1a\n....", "this is a PNG picture"),
        (b"%PDF-1.7", "this is a PDF"),
        (b"hello", "not well-formed XML"),
        (b"<svg", "not well-formed XML"),
        (b"<html><body/></html>", "the outermost element is <html>"),
        (b"<svg xmlns='http://example.org/other'/>", "not <svg>"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'>\n<g></svg>", "line 2, column 6"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'>\n&copy;</svg>", "line 2"),
        (b"<?xml version='1.0' encoding='no-such-thing'?><svg/>", "not well-formed XML"),
        (b"\x00\xff\xfe\x01", "not well-formed XML"),
        (b"\x1f\x8bgarbage", "packed SVG is damaged"),
        (gzip.compress(b"<svg xmlns='http://www.w3.org/2000/svg'/>", mtime=0)[:-12], "ends too early"),
    ],
)
def test_not_an_svg(data: bytes, expected: str) -> None:
    assert expected in str(refused(data))


@pytest.mark.parametrize(
    "body", ["", "<g/>", "<path/>", "<rect/>", '<path d="M5 5"/>', "<defs><path d='M0 0h9v9'/></defs>"]
)
def test_an_empty_picture_has_nothing_to_draw(body: str) -> None:
    assert "nothing to draw" in str(refused(HEAD + body + "</svg>"))


def test_a_picture_of_which_nothing_is_drawn_says_why() -> None:
    assert "<foreignObject> is not drawn" in str(refused(HEAD + "<foreignObject/></svg>"))


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ('<path id="hull" d="M0 0L NaN 5" stroke="red"/>', ["line 2", '<path id="hull">', "'NaN'", "not finite"]),
        ('<path d="M0 0L 1e999 5" stroke="red"/>', ["line 2", "<path>", "not a finite number"]),
        (
            '<path d="M0 0L 1e9 5" stroke="red"/>',
            ["line 2", "<path>", "too large", "1,000,000,000 mm", "1,000,000 mm"],
        ),
        ('<path d="M0 0A 1e200 1 0 0 1 1e300 5" stroke="red"/>', ["<path>", "line 2"]),
        ('<path d="M0 0A 1e-200 1e-200 0 0 1 1e300 5" stroke="red"/>', ["<path>", "line 2"]),
        ('<path d="M0 0Q 1e999 5 3 3" stroke="red"/>', ["<path>", "not a finite number"]),
        ('<circle r="Infinity"/>', ["line 2", "<circle>", "r=Infinity"]),
        ('<circle r="1e8"/>', ["line 2", "<circle>", "too large"]),
        ('<rect x="nan" width="5" height="5"/>', ["<rect>", "x=nan"]),
        ('<polygon points="1 2 3 NaN 5 6"/>', ["<polygon>", "NaN"]),
        ('<g transform="scale(1e8)"><rect width="50" height="50"/></g>', ["<rect>", "too large"]),
        ('<g transform="translate(NaN)"><rect width="5" height="5"/></g>', ["<g>", "NaN"]),
        ('<g transform="scale(1e999)"><rect width="5" height="5"/></g>', ["<g>", "not finite"]),
        ('<rect width="5" height="5" stroke="red" stroke-width="inf"/>', ["<rect>", "inf"]),
    ],
)
def test_numbers_out_of_this_world_name_their_element(body: str, expected: list[str]) -> None:
    message = str(refused(HEAD + body + "</svg>"))
    for part in expected:
        assert part in message


@pytest.mark.parametrize(
    ("attributes", "expected"),
    [
        ('width="0" height="5"', "nothing of it can be seen"),
        ('width="-5" height="5"', "nothing of it can be seen"),
        ('viewBox="0 0 0 5"', "nothing of it can be seen"),
        ('width="1e9mm" height="5"', "the picture is too large"),
        ('width="NaN" height="5"', "not finite"),
        ('viewBox="0 0 NaN 5"', "not finite"),
        ('viewBox="0 0 1e999 5"', "not finite"),
    ],
)
def test_sizes_that_cannot_be(attributes: str, expected: str) -> None:
    assert expected in str(refused(f'<svg xmlns="http://www.w3.org/2000/svg" {attributes}>{LINE}</svg>'))


def test_entities_are_refused() -> None:
    laughs = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">' for i in range(1, 10))
    bomb = f'<!DOCTYPE svg [<!ENTITY l0 "ha">{laughs}]>\n{HEAD}<text>&l9;</text>{LINE}</svg>'
    assert "entities" in str(refused(bomb))
    local = f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]>\n{HEAD}<text>&x;</text>{LINE}</svg>'
    assert "entities" in str(refused(local))
    parameter = f'<!DOCTYPE svg [<!ENTITY % x SYSTEM "http://example.org/x"> %x;]>\n{HEAD}{LINE}</svg>'
    assert "entities" in str(refused(parameter))


def test_nothing_outside_is_read() -> None:
    body = """<style>@import url(http://example.org/a.css); @font-face{src:url(http://example.org/f)}</style>
    <image href="file:///etc/passwd"/><use href="file:///etc/passwd#x"/><use href="http://example.org/a.svg#b"/>"""
    picture = read_svg((HEAD + body + LINE + "</svg>").encode())
    assert len(picture.drawing) == 1
    assert any("@import" in w for w in picture.warnings)


@pytest.mark.parametrize(
    "body",
    [
        '<g id="a"><use href="#a"/></g>',
        '<use id="a" href="#a"/>',
        '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>',
        '<symbol id="a"><g><use href="#a"/></g></symbol><use href="#a"/>',
    ],
)
def test_a_use_that_shows_itself_costs_that_use(body: str) -> None:
    picture = read_svg((HEAD + body + LINE + "</svg>").encode())
    assert len(picture.drawing) == 1
    assert any("it would never end" in warning for warning in picture.warnings)


def test_clips_within_each_other_are_bounded() -> None:
    clip = '<clipPath id="c{}" clip-path="url(#c{})"><rect width="9" height="9"/></clipPath>'
    nested = "".join(clip.format(i, i + 1) for i in range(2000))
    picture = read_svg(f'{HEAD}{nested}<rect width="5" height="5" clip-path="url(#c0)"/></svg>'.encode())
    assert any("more than 16 deep" in note for note in picture.warnings)


def test_masks_that_multiply_end() -> None:
    part = '<rect width="9" height="9" fill="white" mask="url(#m{})"/>'

    def masks(copies: int) -> str:
        made = "".join(f'<mask id="m{i}">{part.format(i + 1) * copies}</mask>' for i in range(12))
        return f'{HEAD}{made}<rect width="5" height="5" mask="url(#m0)"/></svg>'

    assert len(read_svg(masks(1).encode()).drawing) == 1
    assert "too many elements" in str(refused(masks(2), FileLimits(expanded=3000)))


def visits(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the elements visited from now on."""
    seen: list[str] = []
    known = Walk._known_element

    def counted(walk: Walk, element: Element, name: str, *rest: Any) -> None:
        seen.append(name)
        known(walk, element, name, *rest)

    monkeypatch.setattr(Walk, "_known_element", counted)
    return seen


def test_copies_that_multiply_are_refused_before_any_is_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = visits(monkeypatch)
    assert "once every <use> is expanded" in str(refused(copies(24)))
    # A style sheet could hide counted elements, but does not here.
    sheet = "<style>.x, #g1 > #g0, svg g.y { display: none } #g7 { display: inline }</style>"
    assert "once every <use> is expanded" in str(refused(copies(24, sheet)))
    assert len(seen) < 10


@pytest.mark.parametrize("levels", [0, 1, 5])
def test_copies_are_counted_as_they_are_visited(levels: int, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = visits(monkeypatch)
    assert len(read_svg(copies(levels).encode()).drawing) == 2**levels
    limits = FileLimits(expanded=len(seen) + 1)  # the defs element counts once, its contents do not
    assert len(read_svg(copies(levels).encode(), limits=limits).drawing) == 2**levels
    refused(copies(levels), replace(limits, expanded=limits.expanded - 1))


def test_copies_that_are_hidden_or_contain_themselves_are_not_counted() -> None:
    small = FileLimits(expanded=100)
    hidden = copies(9).replace(
        '<use href="#g9"/>', f'<g id="h"><g display="none"><use href="#g9"/></g></g>{LINE}<use href="#h"/>'
    )
    assert len(read_svg(hidden.encode(), limits=small).drawing) == 1
    hides = "<style>#g24 { display: inline } g#g24 { display: none }</style>"
    by_sheet = copies(24, hides).replace("</defs>", f"</defs>{LINE}")
    assert len(read_svg(by_sheet.encode(), limits=small).drawing) == 1
    within = f'{HEAD}<g id="a">{LINE}<use href="#b"/></g><g id="b"><use href="#a"/></g></svg>'
    assert len(read_svg(within.encode(), limits=small).drawing) >= 1


def test_nested_copies_are_counted() -> None:
    message = str(refused(copies(24), FileLimits(expanded=10_000)))
    assert "once every <use> is expanded" in message
    assert "more than 10,000" in message
    chain = "".join(f'<g id="c{i}"><use href="#c{i - 1}"/></g>' for i in range(1, 60))
    assert "too deeply" in str(refused(f'{HEAD}<defs><g id="c0">{LINE}</g>{chain}</defs><use href="#c59"/></svg>'))


def test_depth_is_limited_and_its_limit_is_within_the_stack() -> None:
    limit = FileLimits().depth
    for wrapper in ("g", "svg", "switch", "a"):
        fits = HEAD + f"<{wrapper}>" * (limit - 2) + LINE + f"</{wrapper}>" * (limit - 2) + "</svg>"
        assert len(read_svg(fits.encode()).drawing) == 1
    deep = HEAD + "<g>" * 100_000
    message = str(refused(deep))
    assert "nested too deeply" in message
    assert f"{limit} levels" in message


def test_sizes_are_limited(tmp_path: Path) -> None:
    limits = FileLimits()
    many = HEAD + LINE * 30 + "</svg>"
    assert "too many elements: more than 30 elements, the limit" in str(
        refused(many + "", replace(limits, elements=30))
    )
    assert "too many lines and curves" in str(refused(HEAD + LINE * 30 + "</svg>", replace(limits, segments=20)))
    dense = HEAD + '<circle r="40" cx="50" cy="50"/></svg>'
    assert "too many points" in str(refused(dense, replace(limits, vertices=50)))
    dashes = HEAD + '<path d="M0 0h90" stroke="red" stroke-dasharray=".1"/></svg>'
    assert "too many points" in str(refused(dashes, replace(limits, vertices=500)))
    assert "the file is too large" in str(refused(many, replace(limits, file_bytes=1000)))
    bomb = gzip.compress(b"<svg>" + b" " * 10_000_000)
    said = str(refused(bomb, replace(limits, file_bytes=100_000)))
    assert "too large once it is unpacked: more than 100,000 bytes, the limit" in said
    big = tmp_path / "big.svg"
    with big.open("wb") as file:
        file.truncate(100 * 2**20)  # a sparse file, of which nothing may be read
    with pytest.raises(SourceError, match=r"104,857,600 bytes, the limit is 67,108,864 bytes"):
        read_svg(big)


NUMBERS_OF = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2}


@st.composite
def path_data(draw: st.DrawFn) -> str:
    """A path of many commands, its numbers written in every way, now and then with an error in it."""
    number = st.sampled_from(["1", "-2", ".5", "3.25", "1e1", "+4", "-.5"])
    gap = st.sampled_from([" ", ",", " , ", "\n"])
    out = ["M1 1"]
    for letter in draw(st.lists(st.sampled_from("MLHVCSQTAZmlhvcsqtaz!"), max_size=12)):
        pieces = draw(st.integers(0, 3))
        if letter in "Aa":
            arcs = [draw(st.sampled_from(["2 3 0 0 1 ", "2,3,0,1,0,", "2 3 0 01"])) for _ in range(pieces)]
            # To another place each, since an arc to where it starts is none.
            text = " ".join(f"{arc}{100 * len(out) + at} 9" for at, arc in enumerate(arcs))
        else:
            numbers = [draw(number) for _ in range(pieces * NUMBERS_OF.get(letter.upper(), 0))]
            text = "".join(f"{one}{draw(gap)}" for one in numbers).rstrip(", \n")
        out.append(f"{letter}{text}")
    return "".join(out)


@given(path_data())
def test_segments_are_counted_before_they_are_read(data: str) -> None:
    """Never more than exist, and fewer only by those that the count excludes."""
    read = Segments()
    parse_path(data, read, most_segments=1000)
    counted = count_segments(data + " " * 1000, 1000)
    left_out = 3 * data.lower().count("a") + data.lower().count("z")
    assert len(read) - left_out <= counted <= len(read)
    assert count_segments(data, len(data)) == 0


def test_too_many_segments_are_refused_before_they_are_read(monkeypatch: pytest.MonkeyPatch) -> None:
    def read(*_args: object, **_more: object) -> None:
        raise AssertionError("this was to be refused before")

    limits = replace(FileLimits(), segments=20)
    monkeypatch.setattr("linewright.sources.svg.outlines.parse_path", read)
    monkeypatch.setitem(SHAPES, "polyline", read)
    for shape in (f'path d="M0 0{"L9 9" * 30}"', f'path d="M0 0{" 9 9" * 30}"', f'polyline points="{"9,,9, " * 30}"'):
        assert "too many lines and curves" in str(refused(f'{HEAD}<{shape} stroke="red"/></svg>', limits))


def test_one_long_token_is_parsed_in_a_few_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """The parser reads an unfinished token anew with each piece: with even pieces the square of its length."""
    pieces: list[int] = []
    feed = document._LimitedParser.feed

    def counted(self: Any, piece: bytes) -> None:
        pieces.append(len(piece))
        feed(self, piece)

    monkeypatch.setattr(document._LimitedParser, "feed", counted)
    path = f'<path d="M0 0{" " * 4_000_000}h9" stroke="red"/>'
    assert len(read_svg((HEAD + path + "</svg>").encode()).drawing) == 1
    assert len(pieces) < 12
    pieces.clear()
    assert len(read_svg((HEAD + LINE * 5000 + "</svg>").encode()).drawing) == 5000
    assert max(pieces) < 2 * 2**16


def test_files_that_cannot_be_opened(tmp_path: Path) -> None:
    for path, why in ((tmp_path / "missing.svg", "there is no such file"), (tmp_path, "that is a folder")):
        with pytest.raises(SourceError, match=why) as caught:
            read_svg(path)
        assert str(path) in caught.value.where


def test_rules_that_fit_by_attribute_are_tried_a_bounded_number_of_times() -> None:
    rules = "".join(f'[data-k="{i}"]{{stroke:red}}' for i in range(2400))
    paths = "".join(f'<path data-k="{i}" d="M1 1L2 2"/>' for i in range(2400))
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm"><style>{rules}</style>{paths}</svg>'
    with pytest.raises(SourceError, match=r"^the picture: .* tried \d+ times on the elements, more than 5000000"):
        read_svg(svg.encode())


def test_a_wide_family_with_sibling_rules_is_left_alone() -> None:
    body = "<style>path ~ path, path:nth-child(3n) { stroke: red }</style>" + LINE * 2500
    picture = read_svg((HEAD + body + "</svg>").encode())
    assert "counts siblings" in picture.warnings[0]
    few = "<style>path ~ path { stroke: red }</style>" + LINE * 3
    assert len(read_svg((HEAD + few + "</svg>").encode()).drawing.pens) == 2


snippets = st.sampled_from([
    "<g>", "</g>", "<path d='", "M0 0 ", "L1e3", " a1 1 0 0", "' stroke='red'/>", "<use href='#a'/>", "<g id='a'>",
    "<style>", "</style>", "path{stroke:", "red}", "<rect width='5' height='", "5'/>", "transform='rotate(", ")'",
    "&amp;", "&x;", "<!--", "-->", "NaN", "1e999", "\x00", "é", "<![CDATA[", "]]>",
    "<svg viewBox='0 0 1", "1'>", "</svg>",
])  # fmt: skip


@given(st.lists(snippets, max_size=25))
def test_any_file_yields_strokes_or_a_source_error(parts: list[str]) -> None:
    """For any bytes, no other exception."""
    try:
        picture = read_svg((HEAD + "".join(parts) + "</svg>").encode())
    except SourceError:
        return
    assert len(picture.drawing) > 0


@pytest.mark.parametrize(
    "viewport",
    [
        'x="1e308" width="13" height="9"',
        'x="-1e200" y="1e200" width="13" height="9"',
        'width="1e308" height="1e308"',
        'width="1e-300" height="1e-300"',
    ],
)
def test_viewports_beyond_what_floats_can_tell_are_no_bugs(viewport):
    # Warnings are errors here, so no numpy warning reaches the user.
    far = f'{HEAD}<svg {viewport}><path d="M0 0H5V5" stroke="black" fill="none"/></svg>{LINE}</svg>'
    try:
        picture = read_svg(far.encode())
    except SourceError as refused:
        assert "too large" in str(refused) or "not a finite number" in str(refused)  # noqa: PT017  either outcome is fine
    else:
        assert 1 <= len(picture.drawing) <= 2


@pytest.mark.parametrize("dashes", ['stroke-dasharray="1e308 1e308"', 'stroke-dasharray="5" pathLength="1e-320"'])
def test_dashes_beyond_all_numbers_are_drawn_unbroken(dashes):
    picture = read_svg(f'{HEAD}<path d="M0 5h10" stroke="black" {dashes}/></svg>'.encode())
    assert len(picture.drawing) == 1
    assert "of infinite length" in picture.warnings[0]


def test_a_gap_without_end_leaves_one_dash():
    picture = read_svg(f'{HEAD}<path d="M0 5h60" stroke="black" stroke-dasharray="5 1e308"/></svg>'.encode())
    assert picture.drawing.stroke_lengths_mm().tolist() == pytest.approx([5.0])


@pytest.mark.parametrize(
    "gradient",
    [
        '<radialGradient id="g" r="1e-9" spreadMethod="repeat">',
        '<radialGradient id="g" r=".0005" spreadMethod="reflect">',
        '<linearGradient id="g" x2="1e-300" spreadMethod="repeat">',
        '<radialGradient id="g" gradientTransform="scale(1e-200 1e150)" r="1e-4" spreadMethod="repeat">',
    ],
)
def test_gradients_of_endless_steps_are_bounded(gradient: str) -> None:
    body = (
        f'{gradient}<stop stop-color="red"/><stop offset=".5" stop-color="red"/><stop offset=".5" stop-color="blue" '
        f'stop-opacity="0"/><stop offset="1" stop-opacity="0"/></{gradient[1:15]}>'
        '<rect width="9e5" height="9e5" fill="url(#g)"/><path d="M0 0L9e5 9e5" stroke="red"/>'
    )
    data = f'<svg xmlns="http://www.w3.org/2000/svg" width="900000" height="900000">{body}</svg>'.encode()
    picture = read_svg(data)
    assert picture.drawing.vertices < 1_000_000
