"""``linewright sheet``: where the sheet lies on the machine."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from linewright.cli import cautions, next_steps, options, output, target
from linewright.cli.commands import Commands

if TYPE_CHECKING:
    from collections.abc import Callable

    from linewright.board.session import Session
    from linewright.rig.rig import Rig

    Read = Callable[[Callable[[], bool]], str | None]
    """Reads a line; looks at the machine meanwhile, which keeps the link alive."""

app = Commands(help="Where the sheet lies on the machine.", no_args_is_help=True, rich_markup_mode=None)

ARROW_MM: Final = 1.0
"""What one press of an arrow key moves: as much as the eye sees beside a corner."""

_ARROWS: Final = {"A": (0.0, -1.0), "B": (0.0, 1.0), "C": (1.0, 0.0), "D": (-1.0, 0.0)}
"""Final letters of the control sequences that terminals send for arrow keys (ECMA-48: CUU, CUD, CUF, CUB)."""
_NUMBERS: Final = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?)(?:\s*[ ;]\s*([-+]?\d+(?:[.,]\d+)?))?\s*")

HOW: Final = (
    "Take the pen to each corner: arrow keys move it by 1 mm each, two numbers by so many mm to the right and down (5 "
    "-2.5), each with Enter behind. Enter alone: it is there. down and up lower and raise the pen, skip leaves the "
    "third corner out, stop leaves without a change."
)


@app.callback()
def _sheet() -> None:
    """Where the sheet lies on the machine."""


@app.command()
def find(
    rig_file: options.RigFile = None,
    port: options.Port = None,
    sheet: options.SheetName = None,
    as_json: options.AsJson = False,
) -> None:
    """Take the pen to two or three corners of the sheet; place and turn are kept in the rig file.

    Homes first. The old rig file is kept beside the new one. Programs that were kept before have their place already.
    """
    from linewright.cli.bring_up import standard_input
    from linewright.errors import InputError
    from linewright.rig.edit import edit_rig
    from linewright.rig.sheet_found import sheet_found
    from linewright.rig.sheet_place import sheet_on

    aimed = target.aim(rig_file, port, said=not as_json)
    if aimed.rig_file is None:
        raise InputError("the default rig has no file to keep the place in", hint="`linewright rig new` makes one")
    lies = sheet_on(aimed.rig, sheet)
    for caution in cautions.before_moving(aimed.port):
        output.prose(f"caution: {caution}", stderr=True)
    corners: dict[str, tuple[float, float]] = {}
    with target.connected(aimed, said=not as_json) as (session, met):
        cautions.remember(met.port)
        try:
            session.greet()
            output.say("homing", stderr=True)
            session.home()
            output.prose(HOW, stderr=True)
            corners = _asked(session, met.rig, lies.width_mm, lies.height_mm, standard_input().next)
        except EOFError:
            raise InputError("nobody answers any more; nothing was changed", hint="run it in a terminal") from None
        except KeyboardInterrupt:
            session.stop()
            raise output.Stopped from None
        finally:
            session.pen(met.rig.pen.up_us)
        found = sheet_found(lies, corners)
    changes = {"sheet.offset_mm": list(found.offset_mm), "sheet.turn_deg": found.turn_deg}
    if sheet is not None:
        changes["sheet.size"] = lies.name
    kept = None if met.rehearses else edit_rig(aimed.rig_file, changes).kept
    if as_json:
        facts = {"offset_mm": list(found.offset_mm), "turn_deg": found.turn_deg, "off_mm": round(found.off_mm, 3)}
        output.emit_json({**facts, "rehearsal": met.rehearses, "kept": None if kept is None else str(kept)})
        return
    x, y = found.offset_mm
    output.say(
        f"the {lies.name} sheet begins at x = {x:g}, y = {y:g} mm and is turned by {found.turn_deg:g} degrees; its "
        f"corners are within {found.off_mm:.1f} mm of that"
    )
    if met.rehearses:
        output.say(f"this was a rehearsal: {aimed.rig_file} stays as it is")
    elif kept is None:
        output.say(f"{aimed.rig_file} says so already")
    else:
        output.say(f"{aimed.rig_file} is changed; as it was, it is {kept}")
    output.say(f"see it before ink flows: {next_steps.command('draw', 'FILE', '--outline')}")


def _asked(session: Session, rig: Rig, width_mm: float, height_mm: float, read: Read) -> dict[str, tuple[float, float]]:
    """Machine places of the corners, as somebody moves the pen there."""
    from linewright.rig.sheet_found import CORNERS

    x, y = rig.sheet.offset_mm
    guesses = {"top left": (x, y), "top right": (x + width_mm, y), "bottom left": (x, y + height_mm)}
    corners: dict[str, tuple[float, float]] = {}
    for name in CORNERS:
        here = _within(rig, guesses[name])
        session.jog(here)
        output.say(f"the {name} corner:", stderr=True)
        while True:
            line = (read(lambda: not session.fresh_report()) or "").strip()
            if line in ("", "here"):
                corners[name] = here
                break
            if line == "stop":
                raise KeyboardInterrupt
            if line == "skip" and len(corners) >= 2:
                break
            if line in ("down", "up"):
                session.pen(rig.pen.down_us if line == "down" else rig.pen.up_us)
                continue
            way = _way(line)
            if way is None:
                output.say("arrow keys, two numbers, Enter, down, up, skip (after two corners) or stop", stderr=True)
                continue
            there = _within(rig, (here[0] + way[0], here[1] + way[1]))
            session.pen(rig.pen.up_us)
            session.jog(there)
            here = there
            output.say(f"  x = {here[0]:.2f}, y = {here[1]:.2f} mm", stderr=True)
    return corners


def _way(line: str) -> tuple[float, float] | None:
    """What a line of arrow keys, or of one or two numbers, means, mm to the right and down; None: nothing."""
    pressed = re.findall(r"\x1b\[([ABCD])|\^\[\[([ABCD])", line)
    if pressed:
        ways = [_ARROWS[a or b] for a, b in pressed]
        return ARROW_MM * sum(x for x, _ in ways), ARROW_MM * sum(y for _, y in ways)
    found = _NUMBERS.fullmatch(line)
    if found is None:
        return None
    return float(found[1].replace(",", ".")), float((found[2] or "0").replace(",", "."))


def _within(rig: Rig, place: tuple[float, float]) -> tuple[float, float]:
    """The place, or the nearest one that the machine reaches."""
    left, top, right, bottom = rig.shape.box_mm
    return min(max(place[0], left), right), min(max(place[1], top), bottom)
