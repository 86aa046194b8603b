"""The ``d`` attribute of ``path``: grammar, error recovery, and conversion to `Segments`.

Grammar: SVG 1.1, section 8.3.9, with the numbers of SVG 2 (signed radii). A faulty path is drawn up to the segment
before the error (SVG 2, section 9.5.4), and the position is reported.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Callable
from itertools import accumulate
from typing import Final

from linewright.sources.painting.segments import CUBIC, LINE, ROW, Segments
from linewright.sources.svg.lengths import NUMBER, NotFinite, is_not_finite

_SPACE = r"[ \t\r\n\f]*+"
_GAP = rf"{_SPACE}(?:,{_SPACE})?+"
# Numbers per match, to bound memory: a multiple of what any command takes (1, 2, 4, 6).
_BATCH: Final = 12_000
_NUMBERS = re.compile(rf"(?:{NUMBER}{_GAP}){{1,{_BATCH}}}+")
_NUMBER = re.compile(NUMBER)
# The two flags of an arc are single digits and need no separators: "a1 1 0 0110 10".
_ARC = re.compile(rf"({NUMBER}){_GAP}" * 3 + rf"([01]){_GAP}" * 2 + rf"({NUMBER}){_GAP}" * 2)
# An arc is read completely or not at all; an invalid word may follow valid numbers.
_UP_TO_A_WORD = re.compile(r"[\s\d.,+\-]*")
_RUN = re.compile(r"([MZLHVCSQTA])[ \t\r\n\f]*+([^MZLHVCSQTA]*+)", re.IGNORECASE)
# A letter before each vertex, as many programs write lines: read at once, not command by command.
_CHAINS: Final = {
    letter: re.compile(
        rf"(?:{letter}{_SPACE}{NUMBER}{_GAP}{NUMBER}{_SPACE}(?=[MZLHVCSQTAmzlhvcsqta]|\Z)){{2,{_BATCH // 2}}}+"
    )
    for letter in "Ll"
}
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2}


class _BadPath(Exception):
    """Syntax error at a character."""

    def __init__(self, position: int, expected: str) -> None:
        super().__init__(expected)
        self.position = position
        self.expected = expected


def parse_path(data: str, segments: Segments, *, most_segments: int) -> str | None:
    """Append a path to ``segments``, in its own user units.

    Parameters
    ----------
    data : the ``d`` attribute.
    segments : receives one outline per nonempty subpath.
    most_segments : stop when ``segments`` has more than this; the caller refuses such a picture.

    Returns
    -------
    Message with position if there is an error; otherwise None.

    Raises
    ------
    NotFinite
        A coordinate is NaN or infinity.
    """
    reader = _PathReader(data, segments, most_segments)
    try:
        reader.run()
    except _BadPath as problem:
        found = data[problem.position : problem.position + 12]
        stopper = _UP_TO_A_WORD.sub("", data[problem.position : problem.position + 400], count=1)
        if is_not_finite(stopper):
            raise NotFinite(stopper.split()[0][:20]) from None
        there = f"{found!r}" if found else "the end"
        return f"path data is wrong at character {problem.position + 1}: expected {problem.expected}, found {there}"
    return None


def count_segments(data: str, enough: int) -> int:
    """Number of segments of a path up to its first error; several times faster than reading it.

    A lower bound where the flags of an arc are not separated or a ``z`` draws a line. Arcs of length 0 count. Data too
    short for more than ``enough`` segments is not counted, and counting stops soon after that number.
    """
    if len(data) <= enough:  # each takes at least one character
        return 0
    count, before, position = 0, "", 0
    while run := _RUN.search(data, position):
        letter = run[1].upper()
        position = run.end()
        if chain := _chain(data, run.start()):
            count += chain[0].count(run[1])
            position, wrong = chain.end(), False
        elif letter == "Z":
            count += before in ("M", "Z")  # a point
            wrong = bool(run[2])
        else:
            takes = _TAKES.get(letter, 7)
            numbers, end = _count_numbers(data, run.start(2), run.end(2), takes * (enough + 2))
            count += numbers // takes - (letter == "M" and numbers > 1)
            wrong = numbers == 0 or end < run.end(2) or (letter != "A" and numbers % takes > 0)
        if wrong or count > enough:
            break
        before = letter
    return count


def _chain(data: str, position: int) -> re.Match[str] | None:
    """A chain of two or more lines with one vertex each, starting here."""
    chain = _CHAINS.get(data[position])
    return None if chain is None else chain.match(data, position)


def _count_numbers(data: str, start: int, end: int, enough: int) -> tuple[int, int]:
    """Count of numbers in a part of the data, and the end of the last."""
    count = 0
    while count < enough and (found := _NUMBERS.match(data, start, end)):
        count += len(_NUMBER.findall(found[0]))
        start = found.end()
    return count, start


class _PathReader:
    """State of a path being read: position, start of the subpath, and the control point that S and T reflect."""

    def __init__(self, data: str, segments: Segments, most_segments: int) -> None:
        self.data = data
        self.segments = segments
        self.most_segments = most_segments
        self.position = 0
        self.x = self.y = 0.0
        self.start_x = self.start_y = 0.0
        self.control: tuple[float, float] | None = None
        self.control_of = ""
        self.drawing = False  # the current subpath has an outline

    def run(self) -> None:
        """Read commands up to the end or the first error."""
        data, length = self.data, len(self.data)
        self._skip_blanks()
        if self.position < length and data[self.position] not in "Mm":
            if data.strip() == "none":  # SVG 2, section 9.3.1
                return
            raise _BadPath(self.position, "M or m first")
        while self.position < length and len(self.segments) <= self.most_segments:
            letter = data[self.position]
            command, relative = letter.upper(), letter.islower()
            if letter in "zZ":
                self.position += 1
                self._close()
            elif letter in "aA":
                self.position += 1
                self._arcs(relative)
            elif chain := _chain(data, self.position):
                self._begin()
                self._lines([float(text) for text in _NUMBER.findall(chain[0])], relative)
                self.position = chain.end()
            elif letter.isascii() and command in _TAKES:
                self.position += 1
                self._numbers(command, relative)
            else:
                raise _BadPath(self.position, "a command")
            self._skip_blanks()

    def _skip_blanks(self) -> None:
        data, length = self.data, len(self.data)
        while self.position < length and data[self.position] in " \t\r\n\f":
            self.position += 1

    def _numbers(self, command: str, relative: bool) -> None:
        """All numbers after one command letter, in batches."""
        takes = _TAKES[command]
        self._skip_blanks()
        first = True
        while len(self.segments) <= self.most_segments:
            found = _NUMBERS.match(self.data, self.position)
            if found is None:
                if first or self.data[self.position - 1 : self.position] == ",":
                    raise _BadPath(self.position, "a number")
                return
            numbers = [float(text) for text in _NUMBER.findall(found[0])]
            spare = len(numbers) % takes
            whole = numbers[: len(numbers) - spare] if spare else numbers
            if first and command == "M" and whole:
                self._move(whole[0], whole[1], relative)
                whole, command = whole[2:], "L"  # further pairs are lines (SVG 1.1, section 8.3.2)
            first = False
            if whole:
                self._begin()
                _DRAW[command](self, whole, relative)
            self.position = found.end()
            ended_with_comma = found[0].rstrip(" \t\r\n\f").endswith(",")
            if spare:
                raise _BadPath(self.position, f"{takes - spare} more number{'s' * (takes - spare > 1)}")
            if len(numbers) < _BATCH:
                if ended_with_comma:
                    raise _BadPath(self.position, "a number")
                return

    def _begin(self) -> None:
        if not self.drawing:
            self.segments.begin()
            self.drawing = True
            self.start_x, self.start_y = self.x, self.y

    def _move(self, x: float, y: float, relative: bool) -> None:
        if relative:
            x, y = self.x + x, self.y + y
        self.x = self.start_x = x
        self.y = self.start_y = y
        self.control, self.drawing = None, False

    def _close(self) -> None:
        self._begin()  # "M 5 5 z" is a point that round line caps make visible (SVG 2, section 9.5.3)
        if (self.x, self.y) != (self.start_x, self.start_y) or self.segments.starts[-1] == len(self.segments):
            self.segments.line(self.x, self.y, self.start_x, self.start_y)
        self.segments.close()
        self.x, self.y = self.start_x, self.start_y
        self.control, self.drawing = None, False

    def _lines(self, numbers: list[float], relative: bool) -> None:
        self._straight(_places(self.x, numbers[::2], relative), _places(self.y, numbers[1::2], relative))

    def _horizontals(self, numbers: list[float], relative: bool) -> None:
        self._straight(_places(self.x, numbers, relative), array("d", [self.y]) * (len(numbers) + 1))

    def _verticals(self, numbers: list[float], relative: bool) -> None:
        self._straight(array("d", [self.x]) * (len(numbers) + 1), _places(self.y, numbers, relative))

    def _straight(self, xs: array[float], ys: array[float]) -> None:
        """Lines to each of these positions."""
        count = len(xs) - 1
        rows = array("d", bytes(8 * ROW * count))
        rows[0::ROW] = rows[2::ROW] = xs[:-1]
        rows[1::ROW] = rows[3::ROW] = ys[:-1]
        rows[4::ROW] = rows[6::ROW] = xs[1:]
        rows[5::ROW] = rows[7::ROW] = ys[1:]
        self.segments.rows.extend(rows)
        self.segments.kinds.extend(bytes((LINE,)) * count)
        self.x, self.y = xs[-1], ys[-1]
        self.control = None

    def _cubics(self, numbers: list[float], relative: bool) -> None:
        x, y = self.x, self.y
        rows: list[float] = []
        x2, y2 = x, y
        values = iter(numbers)
        for x1, y1, x2, y2, x3, y3 in zip(values, values, values, values, values, values, strict=True):
            if relative:
                x1, y1, x2, y2, x3, y3 = x + x1, y + y1, x + x2, y + y2, x + x3, y + y3
            rows += (x, y, x1, y1, x2, y2, x3, y3)
            x, y = x3, y3
        self._curved(rows, x, y)
        self.control, self.control_of = (x2, y2), "C"

    def _smooth_cubics(self, numbers: list[float], relative: bool) -> None:
        x, y = self.x, self.y
        rows: list[float] = []
        x2, y2 = self._control_before("C")
        values = iter(numbers)
        for next_x2, next_y2, x3, y3 in zip(values, values, values, values, strict=True):
            if relative:
                next_x2, next_y2, x3, y3 = x + next_x2, y + next_y2, x + x3, y + y3
            rows += (x, y, 2.0 * x - x2, 2.0 * y - y2, next_x2, next_y2, x3, y3)
            x, y, x2, y2 = x3, y3, next_x2, next_y2
        self._curved(rows, x, y)
        self.control, self.control_of = (x2, y2), "C"

    def _curved(self, rows: list[float], x: float, y: float) -> None:
        self.segments.rows.extend(rows)
        self.segments.kinds.extend(bytes((CUBIC,)) * (len(rows) // 8))
        self.x, self.y = x, y

    def _quadratics(self, numbers: list[float], relative: bool) -> None:
        x, y = self.x, self.y
        qx, qy = x, y
        values = iter(numbers)
        for qx, qy, to_x, to_y in zip(values, values, values, values, strict=True):
            if relative:
                qx, qy, to_x, to_y = x + qx, y + qy, x + to_x, y + to_y
            self.segments.quadratic(x, y, qx, qy, to_x, to_y)
            x, y = to_x, to_y
        self.x, self.y = x, y
        self.control, self.control_of = (qx, qy), "Q"

    def _smooth_quadratics(self, numbers: list[float], relative: bool) -> None:
        x, y = self.x, self.y
        qx, qy = self._control_before("Q")
        values = iter(numbers)
        for to_x, to_y in zip(values, values, strict=True):
            if relative:
                to_x, to_y = x + to_x, y + to_y
            qx, qy = 2.0 * x - qx, 2.0 * y - qy
            self.segments.quadratic(x, y, qx, qy, to_x, to_y)
            x, y = to_x, to_y
        self.x, self.y = x, y
        self.control, self.control_of = (qx, qy), "Q"

    def _control_before(self, kind: str) -> tuple[float, float]:
        """The last control point if the previous command was of the same kind, else the current point."""
        if self.control is not None and self.control_of == kind:
            return self.control
        return (self.x, self.y)

    def _arcs(self, relative: bool) -> None:
        self._skip_blanks()
        first = True
        while len(self.segments) <= self.most_segments:
            found = _ARC.match(self.data, self.position)
            if found is None:
                more = _NUMBER.match(self.data, self.position) or self.data[self.position - 1 : self.position] == ","
                if first or more:
                    raise _BadPath(self.position, "the seven numbers of an arc, its flags 0 or 1")
                return
            first = False
            rx, ry, tilt, large, sweep, x, y = found.groups()
            to_x, to_y = float(x), float(y)
            if relative:
                to_x, to_y = self.x + to_x, self.y + to_y
            self._begin()
            if (to_x, to_y) != (self.x, self.y):  # an arc to where it starts is omitted (F.6.2)
                self.segments.arc(
                    (self.x, self.y), (float(rx), float(ry)), float(tilt), large == "1", sweep == "1", (to_x, to_y)
                )
            elif self.segments.starts[-1] == len(self.segments):
                self.segments.line(self.x, self.y, to_x, to_y)
            self.x, self.y = to_x, to_y
            self.control = None
            self.position = found.end()


def _places(at: float, numbers: list[float], relative: bool) -> array[float]:
    """Positions along one axis, starting from ``at``."""
    return array("d", accumulate(numbers, initial=at)) if relative else array("d", [at, *numbers])


_DRAW: dict[str, Callable[[_PathReader, list[float], bool], None]] = {
    "L": _PathReader._lines,
    "H": _PathReader._horizontals,
    "V": _PathReader._verticals,
    "C": _PathReader._cubics,
    "S": _PathReader._smooth_cubics,
    "Q": _PathReader._quadratics,
    "T": _PathReader._smooth_quadratics,
}
