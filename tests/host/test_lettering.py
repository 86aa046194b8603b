"""Lettering: positions, accents, and reports of missing characters."""

from __future__ import annotations

import itertools
import math
import unicodedata
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from HersheyFonts import HersheyFonts
from hypothesis import example, given
from hypothesis import strategies as st
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from linewright.errors import InputError, SourceError
from linewright.sources import methods
from linewright.sources.lettering import FACES, NOTICE, Lettering, along
from linewright.sources.lettering.faces import CAP_UNITS, alphabet
from linewright.sources.lettering.glyphs import glyph
from linewright.sources.lettering.inking import inked
from linewright.sources.lettering.layout import TextLines
from linewright.sources.lettering.rounding import rounded
from linewright.sources.picture import TextStyle, Wish

ROOM = Wish((190.0, 277.0), pen_width_mm=0.5)
EUROPEAN = (
    "ÀÁÂÃÄÅÇÈÉÊËÌÍÎÏÐÑÒÓÔÕÖØÙÚÛÜÝÞßàáâãäåæçèéêëìíîïðñòóôõöøùúûüýþÿĀāĂ"
    "ăĄąĆćĈĉĊċČčĎďĐđĒēĔĕĖėĘęĚěĜĝĞğĠġĢģĤĥĦħĨĩĪīĬĭĮįİıĲĳĴĵĶķĹĺĻļĽľŁłŃńŅ"
    "ņŇňŌōŎŏŐőŒœŔŕŖŗŘřŚśŜŝŞşŠšŢţŤťŦŧŨũŪūŬŭŮůŰűŲųŴŵŶŷŸŹźŻżŽž"
)


def read(text: str, **how):
    return Lettering(**how).read(text, ROOM)


def inside(picture, room=ROOM.room_mm):
    x0, y0, x1, y1 = picture.drawing.bounds_mm()
    return x0 >= -1e-6 and y0 >= -1e-6 and x1 <= room[0] + 1e-6 and y1 <= room[1] + 1e-6


# Outside checks


@pytest.mark.parametrize("name", FACES)
def test_advances_and_strokes_are_those_of_the_packages_own_renderer(name):
    # The package writes a text with its own iterator; without rounding ours must lie on it, point for point.
    text = "HAMBURGEFONSTIV hamburgefontiv 0123456789"
    theirs = HersheyFonts()
    theirs.load_default_font(FACES[name].latin)
    theirs.render_options.yofs = -9
    x, ours = 0.0, []
    for character in text:
        letter = alphabet(FACES[name].latin)[character]
        ours += [stroke + (x, 0.0) for stroke in letter.strokes]
        x += letter.advance
    expected = [np.array(stroke, dtype=float) for stroke in theirs.strokes_for_text(text) if len(stroke) > 1]
    assert len(ours) == len(expected)
    for a, b in zip(ours, expected, strict=True):
        moved = b[np.append(True, (np.diff(b, axis=0) != 0).any(axis=1))]
        assert np.array_equal(a, moved)
    assert x == sum(g.char_width for g in theirs.glyphs_for_text(text))


@pytest.mark.parametrize("size_mm", [3.5, 10.0, 20.0])
def test_the_size_is_the_height_of_a_capital(size_mm):
    # ISO 3098 names lettering by the height of its capitals; an H has neither overshoot nor serif.
    picture = read("HHH", size_mm=size_mm)
    _, top, _, foot = picture.drawing.bounds_mm()
    assert foot - top == pytest.approx(size_mm, abs=1e-9)


def test_every_letter_of_latin_1_and_latin_extended_a_that_europe_uses_is_there():
    # ISO 8859-1 to -4, -9, -10 letters, by their Unicode code points.
    for face in FACES:
        missing = [c for c in EUROPEAN if glyph(c, face) is None]
        assert missing == [], face


def test_printed_ascii_greek_and_russian_are_there():
    russian = "АБВГДЕЁЖЗИЙКЛМНОПРСТУФХЦЧШЩЪЫЬЭЮЯабвгдеёжзийклмнопрстуфхцчшщъыьэюя"
    greek = "ΑΒΓΔΕΖΗΘΙΚΛΜΝΞΟΠΡΣΤΥΦΧΨΩαβγδεζηθικλμνξοπρςστυφχψωΆΈΉΊΌΎΏΪΫάέήίόύώϊϋΐΰ"
    for face in FACES:
        assert [c for c in map(chr, range(32, 127)) if glyph(c, face) is None] == []
        assert [c for c in russian + greek if glyph(c, face) is None] == []


def test_an_accented_letter_is_its_base_with_the_marks_that_unicode_says():
    # Decompositions are those of unicodedata, that is of Unicode itself: as many marks, as many strokes more.
    marks = {"\u0301": 1, "\u0300": 1, "\u0302": 1, "\u0308": 2, "\u030c": 1, "\u030a": 1, "\u0303": 1}
    checked = 0
    for character in map(chr, range(0xC0, 0x180)):
        base, *above = unicodedata.normalize("NFD", character)
        if not above or base in "ij" or not all(mark in marks for mark in above):
            continue
        with_marks, without = glyph(character, "plain"), glyph(base, "plain")
        assert len(with_marks.strokes) == len(without.strokes) + sum(marks[mark] for mark in above), character
        checked += 1
    assert checked > 60


@pytest.mark.parametrize("face", FACES)
def test_an_accent_stands_clear_above_its_letter(face):
    for base in "aeoucnszACEOUNSZ":
        plain = glyph(base, face).box()
        for mark in "\u0300\u0301\u0302\u0308\u030c":
            character = unicodedata.normalize("NFC", base + mark)
            strokes = glyph(character, face).strokes[len(glyph(base, face).strokes) :]
            assert max(float(stroke[:, 1].max()) for stroke in strokes) < plain[1] - 1.0


def test_a_composed_and_a_decomposed_text_are_written_alike():
    a, b = (read(unicodedata.normalize(form, "Žluťoučký kůň à Ångström")) for form in ("NFC", "NFD"))
    assert np.array_equal(a.drawing.points_mm, b.drawing.points_mm)


@pytest.mark.parametrize("face", FACES)
def test_the_dot_of_an_i_makes_way_for_an_accent(face):
    dotted, accented = glyph("i", face), glyph("í", face)
    head = min(stroke[:, 1].max() for stroke in dotted.strokes)
    assert sum(1 for s in accented.strokes if s[:, 1].max() <= head) <= len(accented.strokes) - len(dotted.strokes) + 1
    dotless = glyph("\u0131", face)
    assert 0 < len(dotless.strokes) < len(dotted.strokes)


def test_a_rounded_octagon_lies_on_its_circle():
    # The tangents are exact for a circle; cubics with tangents as long as their chords stray a little from it.
    turn = np.linspace(0, 2 * np.pi, 17)
    ring = 10 * np.column_stack((np.cos(turn), np.sin(turn)))
    ring[-1] = ring[0]
    smooth = rounded(ring, tolerance_units=0.001)
    assert len(smooth) > 60
    assert np.hypot(*smooth.T) == pytest.approx(10.0, abs=0.03)


def test_rounding_keeps_corners_and_straight_lines():
    stem = np.array([(0.0, 0.0), (0.0, -21.0), (15.0, -21.0)])
    assert np.array_equal(rounded(stem, tolerance_units=0.01), stem)
    diamond = np.array([(0.0, 1.0), (1.0, 0.0), (2.0, 1.0), (1.0, 2.0), (0.0, 1.0)])
    assert np.array_equal(rounded(diamond, tolerance_units=0.01), diamond)


# Where letters go


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("text", ["Marrow Quay", "Äpfel jagen Öl", "ÅÄÖ ÇŞŢ gjpqy\nfƒ"])
def test_the_ink_stays_in_its_room(face, text):
    assert inside(Lettering(face=face).read(text, ROOM))


words = st.text(st.sampled_from("abcdefghijklmnopqrstuvwxyzÄÖÜéñ ,.!?-\n"), min_size=1, max_size=120).filter(str.strip)


@example("j", "left", "running")
@example("-", "centre", "plain")
@given(
    words, st.sampled_from(["left", "centre", "right", "justified"]), st.sampled_from(["plain", "running", "broken"])
)
def test_any_text_fits_any_room_at_the_size_that_it_chooses(text, align, face):
    picture = Lettering(face=face, align=align).read(text, ROOM)
    assert inside(picture)
    assert np.isfinite(picture.drawing.points_mm).all()
    assert (picture.drawing.stroke_lengths_mm() > 0).all()


@given(words, st.floats(20.0, 400.0))
def test_no_line_is_wider_than_its_box_and_no_word_is_lost(text, width):
    set_words = TextLines(text, FACES["plain"])
    widest = set_words.widest_word
    width = max(width, widest.width)
    lines = set_words.wrapped(width)
    assert [word.text for line, _ in lines for word in line] == text.split()
    assert all(set_words.width_of(line) <= width * (1 + 1e-9) for line, _ in lines)


@given(st.lists(st.integers(1, 9), min_size=1, max_size=9), st.integers(0, 30))
def test_lines_are_broken_as_evenly_as_any_other_way_of_breaking(lengths, more):
    # By exhaustive search: the least sum of squares of free line ends, without the last line.
    text = TextLines(" ".join("n" * n for n in lengths), FACES["plain"])
    line = text.lines[0]
    width = max(word.width for word in line) + more * 5.0

    def cost(lines) -> float:
        free = [width - text.width_of(one) for one in lines]
        return math.inf if min(free) < -1e-9 else sum(left**2 for left in free[:-1])

    ways = []
    for breaks in itertools.product((False, True), repeat=len(line) - 1):
        lines = [[line[0]]]
        for word, broken in zip(line[1:], breaks, strict=True):
            if broken:
                lines.append([word])
            else:
                lines[-1].append(word)
        ways.append(cost(lines))
    assert cost([words for words, _ in text.wrapped(width)]) == pytest.approx(min(ways))


@pytest.mark.parametrize(("align", "edges"), [("left", "L"), ("right", "R"), ("centre", "C"), ("justified", "LR")])
def test_lines_meet_the_edges_that_their_alignment_says(align, edges):
    text = "HHHH HHH HH HHHHH HHH HHHH HH HHHHHH HHH HHH"
    picture = read(text, align=align, size_mm=12, box_mm=150)
    drawing = picture.drawing
    feet = np.array([drawing.stroke(i)[:, 1].max() for i in range(len(drawing))])
    rows = {}
    for i in range(len(drawing)):
        rows.setdefault(int((feet[i]) // (12 * 1.7)), []).append(drawing.stroke(i))
    spans = [(min(s[:, 0].min() for s in row), max(s[:, 0].max() for s in row)) for row in rows.values()]
    assert len(spans) > 2
    lefts, rights = [s[0] for s in spans[:-1]], [s[1] for s in spans[:-1]]
    if "L" in edges:
        assert np.ptp(lefts) < 1e-6
    if "R" in edges:
        assert np.ptp(rights) < 1e-6
    if "C" in edges:
        assert np.ptp([a + b for a, b in spans]) < 1e-6


def test_line_ends_in_a_text_are_kept():
    lines = TextLines("one\ntwo three\n\nfour", FACES["plain"]).lines
    assert [[word.text for word in line] for line in lines] == [["one"], ["two", "three"], [], ["four"]]


@pytest.mark.parametrize("name", along.NAMED)
def test_letters_on_a_path_stand_on_it_and_in_the_room(name):
    picture = read("Marrow Quay harbour fair", along=name, align="centre", face="plain")
    assert inside(picture)
    assert len(picture.drawing) > 30


def test_letters_stand_on_the_line_that_a_file_gives(tmp_path):
    # A circle of radius 50: the feet of an H's stems lie on chords, slightly inside the circle.
    path = tmp_path / "ring.svg"
    circle = '<circle cx="60" cy="60" r="50" fill="none" stroke="black"/>'
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 120 120">{circle}</svg>', encoding="utf-8")
    room = Wish((160.0, 160.0))
    size = 10.0
    picture = Lettering(along=str(path), size_mm=size).read("HHHHHH", room)
    radius = 80.0 - size
    # On this path (clockwise on the sheet) letters stand outward.
    reach = np.hypot(*(picture.drawing.points_mm - 80.0).T)
    half_width = 11 * size / CAP_UNITS
    assert reach.min() == pytest.approx(np.sqrt(radius**2 - half_width**2), abs=0.05)
    assert reach.max() < np.hypot(radius + size, half_width) + 0.05


def test_old_german_print_has_a_long_s_inside_a_word_and_a_round_one_at_its_end():
    words = TextLines("Wasser aus", FACES["broken"])
    letters = [letter for line in words.lines for word in line for letter in word.glyphs]
    long, round_s = alphabet("gothicger")["s"], alphabet("gothiceng")["s"]
    assert letters[2] is long
    assert letters[3] is long
    assert letters[-1] is round_s


# Missing characters and errors


def test_a_missing_letter_is_named_and_leaves_a_gap():
    picture = read("a\u4e2db", size_mm=10)
    assert any("\u4e2d U+4E2D CJK UNIFIED IDEOGRAPH-4E2D" in warning for warning in picture.warnings)
    pen = Lettering(size_mm=10).read("ab", ROOM)
    wide, narrow = (p.drawing.bounds_mm()[2] - p.drawing.bounds_mm()[0] for p in (picture, pen))
    assert wide > narrow + 4


def test_a_mark_that_is_missing_is_named_with_its_letter():
    picture = read("ab\u20dd", size_mm=10)
    assert any(
        "U+0062 LATIN SMALL LETTER B" in w and "U+20DD COMBINING ENCLOSING CIRCLE" in w for w in picture.warnings
    )


@given(st.text(min_size=1, max_size=30))
def test_any_text_at_all_is_written_or_refused_and_every_character_accounted_for(text):
    try:
        picture = read(text)
    except SourceError:
        return
    assert inside(picture)
    named = " ".join(picture.warnings)
    lost = TextLines(text, FACES["plain"]).missing
    assert all(name in named for name in lost[:8])


@pytest.mark.parametrize(
    ("text", "how", "words"),
    [
        ("", {}, "the text is empty"),
        (" \n\t", {}, "the text is empty"),
        ("\u4e2d\u6587", {}, "no letter for anything in this text"),
        ("x" * 20_001, {}, "the limit is 20,000"),
        ("Donaudampfschiff", {"size_mm": 50}, "the word 'Donaudampfschiff' is"),
        ("a b c " * 200, {"size_mm": 20}, "the room for it is 277 mm high"),
        ("abc", {"box_mm": 300}, "the room within the margins is 190 mm"),
        ("abc", {"along": "zigzag"}, "text cannot go along 'zigzag'"),
        ("abc", {"along": "gone.svg"}, "there is no such file"),
        ("abc " * 60, {"along": "arch", "size_mm": 10}, "the path"),
    ],
)
def test_what_cannot_be_written_is_refused_with_a_way_out(text, how, words):
    with pytest.raises(SourceError) as refused:
        read(text, **how)
    assert words in str(refused.value)
    assert refused.value.hint


def test_the_size_that_a_refusal_suggests_fits():
    with pytest.raises(SourceError) as refused:
        read("Donaudampfschiff", size_mm=50)
    size = float(refused.value.hint.split("size of ")[1].split(" mm")[0])
    assert inside(read("Donaudampfschiff", size_mm=size))


def test_letters_too_small_for_the_pen_are_warned_of():
    assert any("run together" in warning for warning in read("small", size_mm=2).warnings)
    assert read("large", size_mm=10).warnings == ()


def test_a_face_that_is_not_there_is_refused_with_those_that_are():
    with pytest.raises(InputError) as refused:
        methods.chosen("lettering:face=elvish")
    assert "plain" in str(refused.value)


def test_a_full_stop_is_a_filled_dot_as_wide_as_it_was_drawn():
    (dot,) = inked(glyph(".", "plain"), 1.0, 0.3)
    middle = np.array([5.0, -1.0])
    reach = np.hypot(*(dot - middle).T)
    assert reach.max() == pytest.approx(1.0)
    # Turns of the spiral lie no further apart than the pen is wide.
    assert np.diff(np.sort(np.append(reach, 0.0))).max() < 0.3


def test_the_notice_of_the_data_is_passed_on():
    assert "Hershey" in NOTICE
    assert "National Bureau of Standards" in NOTICE


# Letters of a font

FONT = str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf")


def in_font(text: str, *, font: str = FONT, **how):
    return Lettering(**how).read(text, Wish((190.0, 277.0), words=TextStyle(True, (font,))))


def test_letters_of_a_font_are_those_that_matplotlib_draws():
    text = "Heron"
    picture = in_font(text, size_mm=20)
    theirs = TextPath((0, 0), text, size=100, prop=FontProperties(fname=FONT))
    capital = TextPath((0, 0), "H", size=100, prop=FontProperties(fname=FONT)).get_extents().height
    scale = 20 / capital

    def area(rings) -> float:
        # Rings of holes run the other way and count against the others.
        return abs(sum(0.5 * float(np.sum(r[:-1, 0] * r[1:, 1] - r[1:, 0] * r[:-1, 1])) for r in rings))

    closed = [np.vstack((ring, ring[:1])) for ring in theirs.to_polygons(closed_only=True)]
    assert area(list(picture.drawing)) == pytest.approx(area(closed) * scale**2, rel=0.01)
    low, high = np.min(picture.drawing.points_mm, axis=0), np.max(picture.drawing.points_mm, axis=0)
    box = theirs.get_extents()
    # Kerning of the two differs by less than a hundredth of a letter here: no pair of this word is kerned much.
    assert high - low == pytest.approx([box.width * scale, box.height * scale], rel=0.01)


def test_what_a_font_lacks_is_written_in_the_face_and_named():
    roman = str(Path(FONT).parent / "cmr10.ttf")
    assert in_font("Quay", size_mm=20).warnings == ()
    (note,) = [note for note in in_font("a\u2e98b", size_mm=20).warnings if "a gap is left" in note]
    assert "U+2E98" in note
    mixed = in_font("Aя", size_mm=20, font=roman)
    (note,) = mixed.warnings
    assert "font 'cmr10' has no letter for я" in note
    assert "face 'plain' writes" in note
    alone = read("я", size_mm=20).drawing.points_mm
    written = mixed.drawing.points_mm[-len(alone) :]
    assert np.ptp(written, axis=0) == pytest.approx(np.ptp(alone, axis=0), abs=0.01)


def test_leftward_words_stand_from_right_to_left():
    one, two = "\u0645\u064a\u0646\u0627\u0621", "\u0627\u0644\u0633\u0644\u0627\u0645"

    def width(text: str) -> float:
        return float(np.ptp(in_font(text, size_mm=10).drawing.points_mm[:, 0]))

    strokes = list(in_font(f"{one} {two}", size_mm=10).drawing)
    # The second word is on the left, with its own width.
    left = min(float(stroke[:, 0].min()) for stroke in strokes)
    second = [stroke for stroke in strokes if stroke[:, 0].max() <= left + width(two) + 0.1]
    assert np.ptp(np.concatenate(second)[:, 0]) == pytest.approx(width(two), abs=0.1)


def test_a_font_with_a_damaged_table_of_names_writes_and_says_nothing(tmp_path, capsys):
    data = bytearray(Path(FONT).read_bytes())
    post = next(at for at in range(12, 400, 16) if data[at : at + 4] == b"post")
    data[post + 12 : post + 16] = (13_000).to_bytes(4, "big")  # its length: cut short (OpenType, table directory)
    (tmp_path / "quay.ttf").write_bytes(data)
    assert len(in_font("Quay", font=str(tmp_path / "quay.ttf")).drawing)
    assert capsys.readouterr().err == ""


def test_a_font_that_is_not_there_is_refused(tmp_path):
    (tmp_path / "words.ttf").write_text("no font at all")
    data = bytearray(Path(FONT).read_bytes())
    heights = next(at for at in range(12, 400, 16) if data[at : at + 4] == b"hhea")
    data[heights + 8] = 0xBE  # it begins behind the end of the file
    (tmp_path / "heights.ttf").write_bytes(data)
    for font in (str(tmp_path / "words.ttf"), str(tmp_path), "No Such Family", str(tmp_path / "heights.ttf")):
        with pytest.raises(InputError, match="font"):
            in_font("Quay", font=font)
