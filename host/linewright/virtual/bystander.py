"""A person beside the virtual rig: presses its switches, and reports where carriage and pen are.

Over the leash of the rig's process come lines, ``press x``, ``release y``, ``power off``, ``look``; each is answered on
its output with one line of JSON. So the program that started the rig can do what a newcomer at a real machine does with
hands and eyes, and what the board itself has no part in.
"""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Protocol

from linewright.virtual.bench import MachineView
from linewright.virtual.wires import RigEnds

if TYPE_CHECKING:
    from linewright.virtual.launcher import RigProcess
    from linewright.virtual.world import World

_AXES = {"x": 0, "y": 1}


class Beside(Protocol):
    """What can be done from beside a virtual rig, wherever it runs."""

    def press(self, axis: str, on: bool) -> None:
        """Press an endstop with a finger, or let go of it."""

    def power(self, on: bool) -> None:
        """Use the switch of the motors' supply."""

    def look(self) -> MachineView:
        """Where carriage and pen are."""


class Bystander:
    """The rig's side: lines come in, answers go out.

    Attributes
    ----------
    world : what is looked at; None until the board runs.
    """

    def __init__(self) -> None:
        self.world: World | None = None
        self._heard = b""

    def hear(self, said: bytes) -> None:
        """Act on every whole line."""
        *lines, self._heard = (self._heard + said).split(b"\n")
        for line in lines:
            print(json.dumps(self._do(line.decode("ascii", "replace").split())), flush=True, file=sys.stdout)

    def _do(self, words: list[str]) -> dict[str, object]:
        if words == ["end"]:
            raise RigEnds("asked to end")
        if self.world is None:
            return {"error": "the board does not run yet"}
        if words == ["look"]:
            return asdict(self.world.look())
        if len(words) == 2 and words[0] in ("press", "release") and words[1] in _AXES:
            self.world.press(_AXES[words[1]], words[0] == "press")
            return {}
        if len(words) == 2 and words[0] == "power" and words[1] in ("on", "off"):
            self.world.power(words[1] == "on")
            return {}
        return {"error": f"not understood: {' '.join(words)[:80]}"}


class BesideProcess:
    """The other side: hands and eyes at a rig in a process of its own."""

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
    """Hands and eyes at a world in the same process, as the tests have it."""

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
