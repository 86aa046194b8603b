"""Path data: every command, compact notation, and drawing up to an error."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.sources.painting.segments import ARC, CUBIC, LINE, Segments
from linewright.sources.svg.lengths import NotFinite
from linewright.sources.svg.path_data import parse_path


def parse(data: str) -> tuple[Segments, str | None]:
    segments = Segments()
    problem = parse_path(data, segments, most_segments=10**6)
    return segments, problem


def outline_points(data: str) -> list[list[tuple[float, float]]]:
    """Corner points of paths made of lines, one list an outline."""
    segments, problem = parse(data)
    assert problem is None, problem
    assert set(segments.kinds) <= {LINE}
    rows = np.array(segments.rows).reshape(-1, 8)
    bounds = [*segments.starts, len(rows)]
    return [
        [tuple(rows[low][:2].tolist()), *(tuple(r[6:8].tolist()) for r in rows[low:high])]
        for low, high in pairwise(bounds)
    ]


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        ("M1 2L3 4", [[(1, 2), (3, 4)]]),
        ("M1 2 3 4 5 6", [[(1, 2), (3, 4), (5, 6)]]),
        ("m1 2 3 4 5 6", [[(1, 2), (4, 6), (9, 12)]]),
        ("M1,2l-1-1.5.5-.5", [[(1, 2), (0, 0.5), (0.5, 0)]]),
        ("M0 0L.5.5.25-.5", [[(0, 0), (0.5, 0.5), (0.25, -0.5)]]),
        ("M0 0L1e1-2E-1 +3+4.", [[(0, 0), (10, -0.2), (3, 4)]]),
        ("M0 0H5V6h-1v-2", [[(0, 0), (5, 0), (5, 6), (4, 6), (4, 4)]]),
        ("M0 0H1 2 3V4 5", [[(0, 0), (1, 0), (2, 0), (3, 0), (3, 4), (3, 5)]]),
        ("M1 1h2v2z", [[(1, 1), (3, 1), (3, 3), (1, 1)]]),
        ("M1 1h2v2zl5 5", [[(1, 1), (3, 1), (3, 3), (1, 1)], [(1, 1), (6, 6)]]),
        ("M1 1h2v2zm1 0h1", [[(1, 1), (3, 1), (3, 3), (1, 1)], [(2, 1), (3, 1)]]),
        ("M1 1h2v2h-2V1z", [[(1, 1), (3, 1), (3, 3), (1, 3), (1, 1)]]),
        ("M1 1M2 2h1M5 5", [[(2, 2), (3, 2)]]),
        ("M5 5z", [[(5, 5), (5, 5)]]),
        (" \n\tM 0 , 0\fL 1 , 1 ", [[(0, 0), (1, 1)]]),
        ("", []),
        ("none", []),
        ("M3 4", []),
    ],
)
def test_lines(data: str, expected: list[list[tuple[float, float]]]) -> None:
    found = outline_points(data)
    assert len(found) == len(expected)
    for got, want in zip(found, expected, strict=True):
        np.testing.assert_allclose(got, want, atol=1e-15)


def rows_of(data: str) -> np.ndarray:
    segments, problem = parse(data)
    assert problem is None, problem
    return np.array(segments.rows).reshape(-1, 8)


def test_smooth_commands_reflect_the_control_point_before_them() -> None:
    np.testing.assert_allclose(rows_of("M0 0C1 2 3 4 5 5S7 8 9 9"), [
        (0, 0, 1, 2, 3, 4, 5, 5), (5, 5, 7, 6, 7, 8, 9, 9)])  # fmt: skip
    np.testing.assert_allclose(rows_of("m0 0c1 2 3 4 5 5s2 3 4 4"), rows_of("M0 0C1 2 3 4 5 5S7 8 9 9"))
    # After a line, S starts from the current point.
    np.testing.assert_allclose(rows_of("M0 0L5 5S7 8 9 9")[1], (5, 5, 5, 5, 7, 8, 9, 9))
    # T of T: the reflections go on; a Q raised to a cubic has its controls at two thirds.
    first, second, third = rows_of("M0 0Q3 6 6 0T12 0 18 0")
    np.testing.assert_allclose(first, (0, 0, 2, 4, 4, 4, 6, 0), atol=1e-12)
    np.testing.assert_allclose(second, (6, 0, 8, -4, 10, -4, 12, 0), atol=1e-12)
    np.testing.assert_allclose(third, (12, 0, 14, 4, 16, 4, 18, 0), atol=1e-12)
    # T after C is a straight line in the shape of a curve.
    np.testing.assert_allclose(rows_of("M0 0C1 2 3 4 6 6T9 9")[1], (6, 6, 6, 6, 7, 7, 9, 9), atol=1e-12)


def test_arc_flags_need_no_space() -> None:
    spaced = rows_of("M10 20a5 6 30 0 1 7 8a5 6 30 1 0-7 8")
    packed = rows_of("M10 20a5,6 30 017 8 5 6 30 10-7 8")
    np.testing.assert_allclose(packed, spaced)
    segments, _ = parse("M10 20a5 6 30 017 8 0 6 0 0 0 5 5")
    assert list(segments.kinds) == [ARC, LINE]


@pytest.mark.parametrize(
    ("data", "segments_before", "expected"),
    [
        ("L1 1", 0, "M or m first"),
        ("M0 0h5x5", 1, "a command"),
        ("M0 0L5 5 6", 1, "1 more number"),
        ("M0 0C1 2 3 4 5 6 7 8", 1, "4 more numbers"),
        ("M0 0h5,h5", 1, "a number"),
        ("M0 0h5,,5", 1, "a number"),
        ("M0 0L", 0, "a number"),
        ("M0 0a1 1 0 2 0 5 5", 0, "seven numbers"),
        ("M0 0a1 1 0 1 0 5 5 1 1", 1, "seven numbers"),
        ("M0 0h5z5", 2, "a command"),
        ("M0 0h5#", 1, "a command"),
        ("M0 0h5 \u017f 1 1 2 2", 1, "a command"),  # its upper case is S
        ("M 5", 0, "1 more number"),
    ],
)
def test_draws_up_to_the_error_and_names_it(data: str, segments_before: int, expected: str) -> None:
    segments, problem = parse(data)
    assert problem is not None
    assert expected in problem
    assert len(segments) == segments_before


@pytest.mark.parametrize("data", ["M NaN 0L5 5", "M0 0L inf 3", "M0 0L 5 -Infinity", "M0 0A1 1 0 0 1 nan 3"])
def test_not_a_number_is_no_mere_mistake(data: str) -> None:
    with pytest.raises(NotFinite):
        parse(data)


def test_long_runs_pass_the_batches_unharmed() -> None:
    count = 30_001
    data = "M0 0l" + " ".join(["1 2"] * count)
    rows = rows_of(data)
    assert len(rows) == count
    np.testing.assert_allclose(rows[-1][6:], (count, 2 * count))
    segments, problem = parse("M0 0c" + "1 2 3 4 5 6 " * 4000 + "1")
    assert len(segments) == 4000
    assert problem is not None


def test_stops_early_when_there_are_too_many() -> None:
    segments = Segments()
    parse_path("M0 0" + "h1v1" * 5000, segments, most_segments=100)
    assert 100 < len(segments) <= 102


number = st.floats(-1e4, 1e4, allow_nan=False).map(lambda v: round(v, 3))


@given(
    st.lists(st.tuples(st.sampled_from("LlHhVvCcSsQqTtAaMmZz"), st.lists(number, min_size=7, max_size=7)), max_size=12)
)
def test_any_valid_path_parses_and_hangs_together(commands) -> None:
    """Within an outline each segment begins where the one before it ended."""
    takes = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "Z": 0}
    data = "M1 2"
    for letter, values in commands:
        if letter in "Aa":
            rx, ry, tilt, large, sweep, x, y = values
            data += f"{letter}{rx} {ry} {tilt} {int(large > 0)}{int(sweep > 0)}{x} {y}"
        else:
            data += letter + " ".join(str(v) for v in values[: takes[letter.upper()]])
    segments, problem = parse(data)
    assert problem is None
    rows = np.array(segments.rows).reshape(-1, 8)
    bounds = [*segments.starts, len(rows)]
    for low, high in pairwise(bounds):
        assert high > low
        for before, after, kind, next_kind in zip(
            rows[low:high], rows[low + 1 : high], segments.kinds[low:high], segments.kinds[low + 1 : high], strict=False
        ):
            end = before[6:8] if kind != ARC else _arc_point(before, before[6] + before[7])
            begin = after[:2] if next_kind != ARC else _arc_point(after, after[6])
            np.testing.assert_allclose(end, begin, atol=1e-5)
    assert set(segments.kinds) <= {LINE, CUBIC, ARC}


def _arc_point(row: np.ndarray, t: float) -> np.ndarray:
    return row[0:2] + row[2:4] * math.cos(t) + row[4:6] * math.sin(t)


@given(st.text(alphabet="MmLlCcAaZz0159.,-+eE \n", max_size=40))
def test_any_text_yields_segments_or_a_named_error(data: str) -> None:
    segments, problem = parse(data)
    assert problem is None or problem.startswith("path data is wrong")
    assert len(segments.rows) == 8 * len(segments)
    assert len(segments.starts) == len(segments.closed)


@given(
    st.lists(st.tuples(st.sampled_from("Ll"), number, number), min_size=2, max_size=9),
    st.sampled_from(["", "Z", "h3", " x", "L5", "L5 5,", "L5 5 6 6", "L nan 2"]),
)
def test_a_letter_for_each_vertex_says_the_same_as_one_for_all(vertices, tail) -> None:
    """Compared with the same path where each command follows a space and stands alone: pairs behind a ``q``."""
    apart = "M1 2" + "q0 0 0 0".join(f"{letter}{x} {y}" for letter, x, y in vertices)
    dense = "M1 2" + "".join(f"{letter}{x} {y}" for letter, x, y in vertices)

    def said(data: str) -> tuple[object, ...]:
        segments = Segments()
        try:
            problem = parse_path(data + tail, segments, most_segments=10**6)
        except NotFinite as found:
            return (str(found),)
        rows = np.array(segments.rows).reshape(-1, 8)
        lines = (rows[:, :2] != rows[:, 6:]).any(axis=1)
        return rows[lines].tolist(), problem and problem.partition("expected")[2], segments.closed

    assert said(dense) == said(apart)
