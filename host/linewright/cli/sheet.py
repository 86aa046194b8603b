"""``linewright sheet``: find the sheet on the machine."""

from __future__ import annotations

import re
import sys
from typing import TYPE_CHECKING, Final

from linewright.cli import next_steps, options, output, target
from linewright.cli.commands import Commands
from linewright.cli.terminal import Terminal
from linewright.system.keyboard import Keyboard
from linewright.tasks import cautions

if TYPE_CHECKING:
    from collections.abc import Callable

    from linewright.tasks.sheet_finding import Corner

    Read = Callable[[Callable[[], bool]], str | None]
    """Reads a line; polls the machine meanwhile, which serves the link."""

app = Commands(help="Find the position of the sheet on the machine.", no_args_is_help=True, rich_markup_mode=None)

GLANCE_S: Final = 0.25
"""Polling interval of the machine while nobody types."""

ARROW_MM: Final = 1.0
"""Distance per press of an arrow key, mm."""

_ARROWS: Final = {"A": (0.0, -1.0), "B": (0.0, 1.0), "C": (1.0, 0.0), "D": (-1.0, 0.0)}
"""Final characters of the control sequences of arrow keys (ECMA-48: CUU, CUD, CUF, CUB)."""
_ARROW_KEYS: Final = re.compile(r"(?:\x1b\[[ABCD])+")
_NUMBERS: Final = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?)(?:\s*[ ;]\s*([-+]?\d+(?:[.,]\d+)?))?\s*")

HOW: Final = (
    "Move the pen to each corner: an arrow key moves it by 1 mm; two numbers and Enter move it by these mm to the "
    "right and down (5 -2.5). Press Enter alone when it is there. Type down or up to lower or raise the pen, skip to "
    "leave out the third corner, stop to leave without a change."
)


@app.callback()
def _sheet() -> None:
    """Find the position of the sheet on the machine."""


@app.command()
def find(
    rig_file: options.RigFile = None,
    port: options.Port = None,
    sheet: options.SheetName = None,
    as_json: options.AsJson = False,
) -> None:
    """Take the pen to two or three corners of the sheet; place and turn are kept in the rig file.

    Homes first. The old rig file is kept beside the new one. Programs that were kept before are for
    the old place: plan them again.
    """
    from linewright.cli.bring_up import standard_input
    from linewright.errors import InputError
    from linewright.rig.sheet_found import CORNERS
    from linewright.tasks import sheet_finding

    aimed = target.aim(rig_file, port, said=not as_json)
    for caution in cautions.before_moving(aimed.port):
        output.prose(f"caution: {caution}", stderr=True)
    try:
        with Terminal(as_json=as_json) as front, Keyboard() as keyboard:
            read = TypedKeys(keyboard).next if keyboard.active else standard_input().next

            def visit(corner: Corner) -> bool:
                if corner.name == CORNERS[0]:
                    output.prose(HOW, stderr=True)
                return _taken(corner, read)

            done = sheet_finding.find(aimed, front, visit, sheet)
    except EOFError:
        raise InputError(
            "the input has ended before all corners were found; nothing was changed", hint="run it in a terminal"
        ) from None
    except KeyboardInterrupt:
        raise output.Stopped from None
    found, kept, lies, met = done.place, done.kept, done.sheet, done.target
    if as_json:
        facts = {"offset_mm": list(found.offset_mm), "turn_deg": found.turn_deg, "off_mm": round(found.off_mm, 3)}
        output.emit_json({**facts, "rehearsal": met.rehearses, "kept": None if kept is None else str(kept)})
        return
    x, y = found.offset_mm
    output.prose(
        f"the {lies.name} sheet begins at x = {x:g}, y = {y:g} mm and is turned by {found.turn_deg:g} degrees; "
        f"largest corner error {found.off_mm:.1f} mm"
    )
    if met.rehearses:
        output.say(f"this was a simulation: {aimed.rig_file} stays as it is")
    elif kept is None:
        output.say(f"{aimed.rig_file} has this position already")
    else:
        output.say(f"{aimed.rig_file} is changed; the previous version is {kept}")
    output.say(f"check it before drawing, with the pen up: {next_steps.command('draw', 'FILE', '--outline')}")


class TypedKeys:
    """Lines from a terminal; arrow keys are returned at once.

    Parameters
    ----------
    keyboard : read without waiting and without echo.
    """

    def __init__(self, keyboard: Keyboard) -> None:
        self._keyboard = keyboard
        self._pressed = ""
        self._line = ""

    def next(self, glance: Callable[[], bool]) -> str | None:
        """The next arrow key, or a line ended by Enter; None as soon as ``glance`` returns True."""
        while True:
            while self._pressed:
                if arrows := _ARROW_KEYS.match(self._pressed):
                    self._pressed = self._pressed[arrows.end() :]
                    return arrows[0]
                key, self._pressed = self._pressed[0], self._pressed[1:]
                if key in "\r\n":
                    line, self._line = self._line, ""
                    output.say("", stderr=True)
                    return line
                self._line = self._line[:-1] if key in "\x7f\b" else self._line + key
                self._show()
            self._pressed = self._keyboard.pressed(GLANCE_S)
            if not self._pressed and glance():
                return None

    def _show(self) -> None:
        sys.stderr.write(f"\r{output.seen(self._line)} \b")
        sys.stderr.flush()


def _taken(corner: Corner, read: Read) -> bool:
    """Let the user move the pen to a corner; False if the corner is skipped."""

    def look() -> bool:
        corner.keep_alive()
        return False

    output.say(f"the {corner.name} corner:", stderr=True)
    while True:
        line = (read(look) or "").strip()
        if line in ("", "here"):
            return True
        if line == "stop":
            raise KeyboardInterrupt
        if line == "skip" and corner.may_skip:
            return False
        if line == "down":
            corner.lower()
        elif line == "up":
            corner.raise_pen()
        elif (way := _way(line)) is None:
            output.prose("arrow keys, two numbers, Enter, down, up, skip (after two corners) or stop", stderr=True)
        else:
            whole = corner.move(*way)
            end = "" if whole else ": the end of the travel"
            output.say(f"  x = {corner.here_mm[0]:.2f}, y = {corner.here_mm[1]:.2f} mm{end}", stderr=True)


def _way(line: str) -> tuple[float, float] | None:
    """The move that a line of arrow keys or of one or two numbers means, mm to the right and down; None if it is no
    move.
    """
    pressed = re.findall(r"\x1b\[([ABCD])|\^\[\[([ABCD])", line)
    if pressed:
        ways = [_ARROWS[a or b] for a, b in pressed]
        return ARROW_MM * sum(x for x, _ in ways), ARROW_MM * sum(y for _, y in ways)
    found = _NUMBERS.fullmatch(line)
    if found is None:
        return None
    return float(found[1].replace(",", ".")), float((found[2] or "0").replace(",", "."))
