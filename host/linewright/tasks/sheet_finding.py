"""Task: finding the sheet. The user moves the pen to its corners; position and rotation go to the rig file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.errors import InputError
from linewright.tasks import cautions
from linewright.tasks.connection import connected
from linewright.tasks.front import Cancelled

if TYPE_CHECKING:
    from linewright.board.session import Session
    from linewright.rig.rig import Rig
    from linewright.rig.sheet_found import SheetFound
    from linewright.sheet.sizes import Sheet
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target


class Corner:
    """The pen near one corner of the sheet, to be moved there by the user.

    Attributes
    ----------
    name : such as "top left".
    here_mm : position of the pen, machine mm.
    may_skip : the corner may be skipped, because two are known.
    """

    def __init__(self, name: str, here_mm: tuple[float, float], session: Session, rig: Rig, *, may_skip: bool) -> None:
        self.name = name
        self.may_skip = may_skip
        self._session = session
        self._rig = rig
        self.here_mm = _within(rig, here_mm)
        session.jog(self.here_mm)

    def move(self, right_mm: float, down_mm: float) -> bool:
        """Raise the pen and move it, limited to the reach; returns whether it moved the whole distance."""
        asked = (self.here_mm[0] + right_mm, self.here_mm[1] + down_mm)
        there = _within(self._rig, asked)
        self._session.pen(self._rig.pen.up_us)
        self._session.jog(there)
        self.here_mm = there
        return there == asked

    def lower(self) -> None:
        """Lower the pen."""
        self._session.pen(self._rig.pen.down_us)

    def raise_pen(self) -> None:
        """Raise the pen."""
        self._session.pen(self._rig.pen.up_us)

    def keep_alive(self) -> None:
        """Serve the link; call every few tenths of a second while the user thinks."""
        self._session.fresh_report()


@dataclass(frozen=True)
class Found:
    """Result of finding the sheet.

    Parameters
    ----------
    target : the machine, with its board's identity; in a simulation nothing was written.
    place : offset, rotation, and mismatch of the corners.
    kept : copy of the old rig file; None: nothing was written.
    """

    target: Target
    sheet: Sheet
    place: SheetFound
    kept: Path | None


def find(target: Target, front: Front, visit: Callable[[Corner], bool], sheet: str | None = None) -> Found:
    """Home, let the user move the pen to two or three corners, and store the position in the rig file.

    Parameters
    ----------
    visit : lets the user move the pen to a corner; returns False to skip it, if allowed.
    sheet : the sheet on the machine; None: the rig's own.

    Raises
    ------
    InputError : the rig has no file, or the corners are not those of the sheet.
    LinkError : as from the session. The pen is raised at the end in any case.
    """
    from linewright.rig.edit import edit_rig
    from linewright.rig.sheet_found import CORNERS, sheet_found
    from linewright.rig.sheet_place import sheet_on

    if target.rig_file is None:
        raise InputError(
            "the default rig has no file to store the position in", hint="`linewright rig new` makes a rig file"
        )
    lies = sheet_on(target.rig, sheet)
    x, y = target.rig.sheet.offset_mm
    guesses = {"top left": (x, y), "top right": (x + lies.width_mm, y), "bottom left": (x, y + lies.height_mm)}
    corners: dict[str, tuple[float, float]] = {}
    with connected(target, front) as (session, met):
        cautions.remember(met.port)
        rig = met.rig
        try:
            session.greet()
            front.say("homing")
            session.home()
            for name in CORNERS:
                corner = Corner(name, guesses[name], session, rig, may_skip=len(corners) >= 2)
                if visit(corner):
                    corners[name] = corner.here_mm
        except (KeyboardInterrupt, Cancelled):
            session.stop()
            raise
        finally:
            session.pen(rig.pen.up_us)
    found = sheet_found(lies, corners)
    changes: dict[str, object] = {"sheet.offset_mm": list(found.offset_mm), "sheet.turn_deg": found.turn_deg}
    if sheet is not None:
        changes["sheet.size"] = lies.name
    kept = None if met.rehearses else edit_rig(target.rig_file, changes).kept
    return Found(met, lies, found, kept)


def _within(rig: Rig, place: tuple[float, float]) -> tuple[float, float]:
    """The position, or the nearest one within reach."""
    left, top, right, bottom = rig.shape.box_mm
    return min(max(place[0], left), right), min(max(place[1], top), bottom)
