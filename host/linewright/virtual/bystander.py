"""A bystander of the virtual rig, who presses its switches and reports where carriage and pen are.

Commands arrive as lines on the rig process' standard input: ``press x``, ``release y``, ``power off``, ``look``. Each
is answered by one line on its output: JSON for a program, words for a person who types. They replace what a person does
with hands and eyes at a real machine; the board takes no part.
"""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING, Final, Protocol

from linewright.virtual.bench import MachineView
from linewright.virtual.wires import RigEnds

if TYPE_CHECKING:
    from linewright.virtual.launcher import RigProcess
    from linewright.virtual.world import World

_AXES = {"x": 0, "y": 1}

WIRING: Final = (
    "dead_x", "dead_y", "stuck_x", "stuck_y", "swapped_endstops", "swapped_motors", "reversed_a", "reversed_b",
    "still_a", "still_b", "inverted_servo",
)  # fmt: skip
"""Wiring faults that a person can correct, as named in `linewright.simulation.faults`."""

SEEN_MM: Final = 0.05
"""Smallest carriage movement that is visible."""


class Beside(Protocol):
    """Interface of the bystander, wherever the rig runs."""

    def press(self, axis: str, on: bool) -> None:
        """Press or release an endstop."""

    def power(self, on: bool) -> None:
        """Switch the motor supply."""

    def look(self) -> MachineView:
        """Position of carriage and pen."""


COMMANDS: Final = "press x, release x, press y, release y, power off, power on, look, mend FAULT"
"""Commands, for messages."""


class Bystander:
    """The rig's side: reads commands and writes answers.

    Parameters
    ----------
    in_words : answers are for a person, not JSON.

    Attributes
    ----------
    world : the simulated world; None until the board runs.
    """

    def __init__(self, *, in_words: bool = False) -> None:
        self.world: World | None = None
        self._heard = b""
        self._in_words = in_words

    def hear(self, said: bytes) -> None:
        """Execute every complete line."""
        *lines, self._heard = (self._heard + said).split(b"\n")
        for line in lines:
            words = line.decode("ascii", "replace").split()
            if words or not self._in_words:
                answer = self._do(words)
                print(self._shown(words, answer) if self._in_words else json.dumps(answer), flush=True, file=sys.stdout)

    def _do(self, words: list[str]) -> dict[str, object]:
        if words == ["end"]:
            raise RigEnds("asked to end")
        if self.world is None:
            return {"error": "the board is not running yet"}
        if words == ["look"]:
            return asdict(self.world.look())
        if len(words) == 2 and words[0] in ("press", "release") and words[1] in _AXES:
            self.world.press(_AXES[words[1]], words[0] == "press")
            return {}
        if len(words) == 2 and words[0] == "mend" and words[1] in WIRING:
            self.world.mend(words[1])
            return {}
        if len(words) == 2 and words[0] == "power" and words[1] in ("on", "off"):
            self.world.power(words[1] == "on")
            return {}
        return {"error": f"not understood: {' '.join(words)[:80]}"}

    def _shown(self, words: list[str], answer: dict[str, object]) -> str:
        """An answer wrapped between words, if the output is a terminal."""
        told = self._told(words, answer)
        if not sys.stdout.isatty():
            return told
        return textwrap.fill(told, max(shutil.get_terminal_size().columns, 20), subsequent_indent="  ")

    def _told(self, words: list[str], answer: dict[str, object]) -> str:
        """An answer in words for a person."""
        if self.world is None:
            return "the machine is off, because no other window has connected yet"
        if "error" in answer:
            return f"{answer['error']}; you can type: {COMMANDS} (such as mend swapped_motors)"
        if words[0] == "press":
            return f"the {words[1]} switch is pressed, until you type: release {words[1]}"
        if words[0] == "release":
            return f"the {words[1]} switch is let go"
        if words[0] == "power":
            return f"the motor supply is {words[1]}"
        if words[0] == "mend":
            return f"{words[1]} is repaired"
        return _looked(self.world.look(), self.world.went_from_mm)


def _looked(now: MachineView, went_from_mm: tuple[float, float]) -> str:
    x, y = now.carriage_mm
    before_x, before_y = went_from_mm
    moved = [
        f"{abs(way):.1f} mm {there if way > 0 else opposite}"
        for way, there, opposite in ((x - before_x, "right", "left"), (y - before_y, "down", "up"))
        if abs(way) >= SEEN_MM
    ]
    return (
        f"the carriage stands {x:.1f} mm from the left and {y:.1f} mm from the upper end of its rails"
        f" ({'its last move went ' + ' and '.join(moved) if moved else 'it has not moved'}); "
        f"it {'is held by the motors' if now.powered else 'slides freely'}; "
        f"the pen is {'at' if now.pen_down else 'clear of'} the paper, its servo at {now.servo_us} us"
    )


class BesideProcess:
    """The caller's side, for a rig in another process."""

    def __init__(self, rig: RigProcess) -> None:
        self._rig = rig

    def press(self, axis: str, on: bool) -> None:
        """See `Beside.press`."""
        self._rig.tell(f"{'press' if on else 'release'} {axis}")

    def power(self, on: bool) -> None:
        """See `Beside.power`."""
        self._rig.tell(f"power {'on' if on else 'off'}")

    def look(self) -> MachineView:
        """See `Beside.look`."""
        said = json.loads(self._rig.tell("look"))
        x, y = said["carriage_mm"]
        return MachineView((x, y), said["servo_us"], said["pen_down"], said["powered"])


class BesideWorld:
    """Bystander of a world in the same process, for tests."""

    def __init__(self, world: World) -> None:
        self.world = world

    def press(self, axis: str, on: bool) -> None:
        """See `Beside.press`."""
        self.world.press(_AXES[axis], on)

    def power(self, on: bool) -> None:
        """See `Beside.power`."""
        self.world.power(on)

    def look(self) -> MachineView:
        """See `Beside.look`."""
        return self.world.look()
