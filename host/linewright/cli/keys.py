"""Keys during a drawing: each sends one request to the session. Only if standard input is a terminal in the
foreground.
"""

from __future__ import annotations

import time
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

from linewright.cli import output
from linewright.system.keyboard import Keyboard

if TYPE_CHECKING:
    from collections.abc import Callable

    from linewright.board.session_values import Control, Progress

HELP: Final = "keys: space holds and continues, - and + slow down and speed up, q q stops, X X cuts the motors' power"

HELD: Final = "on hold. If the motor supply was switched off: stop with q q; `linewright resume` homes first"

STEP: Final = 0.1
"""Change of pace per key press, as a share of the planned speed; also the slowest pace."""

TWICE_S: Final = 2.0
"""Longest time between the two presses of a key that must be pressed twice."""


class Keys:
    """Reads single keys from the terminal without waiting.

    Parameters
    ----------
    control : receives the requests.
    wanted : whether to read keys.
    pace : initial share of the planned speed.

    Attributes
    ----------
    active : keys are read.
    hint : prompt after a key that needs a second press, shown beside the state.
    """

    def __init__(self, control: Control, *, wanted: bool, pace: float = 1.0) -> None:
        self._control = control
        self._keyboard = Keyboard(wanted=wanted)
        self._pace = pace
        self._held = False
        self._asked = ""  # a key that was pressed once and needs a second press
        self._asked_s = -TWICE_S
        self.hint = ""

    @property
    def active(self) -> bool:
        """Whether keys are read."""
        return self._keyboard.active

    def __enter__(self) -> Self:
        self._keyboard.__enter__()
        if self.active:
            output.prose(HELP, stderr=True)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._keyboard.__exit__(kind, error, trace)

    def poll(self, now: Progress) -> None:
        """Act on keys that have been pressed; never waits."""
        if time.monotonic() - self._asked_s >= TWICE_S:
            self.hint = "space carries on" if self._held else ""
        for key in self._keyboard.pressed():
            self.press(key, now.state)

    def press(self, key: str, state: str) -> None:
        """Handle one key in a state of the drawing."""
        control = self._control
        if key in "\r\n" and state == "pen":
            control.pen_changed()
        elif key == "h" and state == "pen":
            control.pen_changed(home=True)
        elif key == " ":
            self._held = not self._held
            if self._held:
                control.hold()
                output.prose(HELD, stderr=True)
            else:
                control.carry_on()
        elif key in "+=-_":
            step = STEP if key in "+=" else -STEP
            self._pace = min(max(round(self._pace + step, 2), STEP), 1.0)
            control.slow_to(self._pace)
        elif key in _TWICE:
            act, means = _TWICE[key]
            if key == self._asked and time.monotonic() - self._asked_s < TWICE_S:
                self._asked = ""
                act(control)
            else:
                self._asked, self._asked_s = key, time.monotonic()
                self.hint = f"{key} again {means}"


_TWICE: Final[dict[str, tuple[Callable[[Control], None], str]]] = {
    "q": (lambda control: control.abandon(), "stops; `linewright resume` continues later"),
    # A capital, because it loses the position and must not be hit by accident.
    "X": (lambda control: control.cut(), "cuts the motors' power; the position is lost"),
}
"""Keys that end a drawing when pressed twice: their action and its description."""
