"""Exercise: a long test of moves with homing after each bout; reports lost steps by axis, speed and direction.

A bout moves one axis several times fast in one direction and slowly back, so that losses do not cancel. Homing then
shows the error of the step count. Bouts are in random order, so that effects of warming up or loosening are not
attributed to speed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from itertools import product
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from linewire import messages
from linewright import wording
from linewright.errors import BoardFault, InputError

if TYPE_CHECKING:
    from linewright.board.session import Session
    from linewright.rig.rig import Rig

SHARES: Final = (0.5, 0.75, 1.0)
"""Tested speeds, as shares of the rig file's limit."""
SLOW_SHARE: Final = 0.25
"""Speed and acceleration of the return moves, as shares."""
REPEATS_STEPS: Final = 4
"""Scatter of the switches, steps; smaller differences do not count as lost steps. 0.05 mm at 80 steps/mm, which a lever
switch achieves (common practice)."""
EDGE_MM: Final = 5.0
"""Distance kept from both ends of the travel: a carriage that has lost steps must not hit the frame."""
ASTRAY: Final = tuple(
    messages.FAULTS[code] for code in (messages.SWITCH_MISSING, messages.ENDSTOP_HIT, messages.SWITCH_STUCK)
)
"""Faults caused by a wrong count: homing does not find its switch, does not get off it, or a move runs into it."""
HOMING_SHARES: Final = (1.0, 1.0, 0.5, 0.25, 0.25)
"""Shares of the homing speed for successive searches when the position is lost. Each search covers the whole travel
from where the one before ended, so together they cover any loss. They get slower, because a motor that loses steps
while homing fails at its usual speed."""
LEAST_RUN_SHARE: Final = 0.5
"""Shortest run as a share of the travel, so that it reaches its speed."""

Sense = Literal["+", "-"]


@dataclass(frozen=True)
class Bout:
    """One bout and its result.

    Parameters
    ----------
    axis, sense, share : axis and direction of the fast moves, and their share of the limits.
    moves, way_mm : number of moves, and total distance.
    pen_down : whether the pen was on the paper.
    lost_steps : counted minus true position of that axis afterwards; the other axis' is ``aside_steps``. None: homing
        did not
        find its switch within the travel.
    """

    axis: str
    sense: Sense
    share: float
    moves: int
    way_mm: float
    pen_down: bool
    lost_steps: int | None
    aside_steps: int | None

    @property
    def lost(self) -> bool:
        """More than the scatter of the switches."""
        return any(steps is None or abs(steps) >= REPEATS_STEPS for steps in (self.lost_steps, self.aside_steps))


@dataclass(frozen=True)
class Tally:
    """Results of all bouts.

    Parameters
    ----------
    bouts : in order of time.
    homed_at : share of the homing speed at which the switches were last found; 0: they were no longer found, which
        ended the exercise.
    """

    bouts: tuple[Bout, ...]
    homed_at: float = 1.0

    def of(self, axis: str, sense: str, share: float) -> tuple[Bout, ...]:
        """The bouts of one kind."""
        return tuple(b for b in self.bouts if (b.axis, b.sense, b.share) == (axis, sense, share))

    def verdict(self, rig: Rig) -> tuple[str, ...]:
        """The result in sentences."""
        words = []
        if not self.homed_at:
            words.append(
                f"The machine no longer finds its switches, not even at {_slowest_mm_s(rig):.3g} mm/s; its "
                "motors are on. Switch the motor supply off, then check: does the carriage slide, is a pulley "
                "loose, does each switch click? `linewright board check` shows the states of the switches."
            )
        elif self.homed_at < 1.0:
            words.append(
                f"It also lost steps while homing: it found its switches only at "
                f"{self.homed_at * rig.homing.fast_mm_s:.3g} mm/s. Set homing.fast_mm_s = "
                f"{self.homed_at * rig.homing.fast_mm_s:.3g}."
            )
        for name, axis in (("x", rig.x), ("y", rig.y)):
            mine = [bout for bout in self.bouts if bout.axis == name]
            if not mine:
                continue
            bad = sorted({bout.share for bout in mine if bout.lost})
            moves = sum(bout.moves for bout in mine)
            if not bad:
                fastest = max(bout.share for bout in mine) * axis.speed_mm_s
                words.append(f"{name} lost no step in {wording.count(moves, 'move')}, up to {fastest:g} mm/s.")
                continue
            senses = {bout.sense for bout in mine if bout.lost}
            where = "both ways" if len(senses) == 2 else f"only towards {senses.pop()}"
            words.append(
                f"{name} lost steps {where}, from {bad[0] * axis.speed_mm_s:g} mm/s on ({bad[0]:.0%} of its limit)."
            )
            good = [share for share in SHARES if share < bad[0]]
            if good:
                words.append(
                    f"Set axis.{name}.speed_mm_s = {good[-1] * axis.speed_mm_s:g} and axis.{name}.accel_mm_s2 = "
                    f"{good[-1] * axis.accel_mm_s2:g}, or draw the ladders: `linewright trial speed --axis {name}`."
                )
            else:
                words.append(
                    f"Even half of the limit is too much for {name}. Look for a fault: motor current, a rail that "
                    "binds, a slack belt, a loose pulley."
                )
        return tuple(words)

    def describe(self, rig: Rig) -> dict[str, Any]:
        """Everything, for JSON."""
        bouts = [asdict(bout) for bout in self.bouts]
        return {"bouts": bouts, "homed_at_share": self.homed_at, "verdict": list(self.verdict(rig))}


def _slowest_mm_s(rig: Rig) -> float:
    return min(HOMING_SHARES) * rig.homing.fast_mm_s


def exercise(
    session: Session,
    rig: Rig,
    *,
    bouts: int,
    moves: int = 4,
    pen_down: bool = False,
    seed: int = 0,
    on_bout: Callable[[int, Bout], None] = lambda *_: None,
) -> Tally:
    """Home, and run bouts. The machine is homed again however many steps it loses.

    Parameters
    ----------
    session : its board has greeted.
    rig : its machine; both axes need a switch.
    bouts : number of bouts; twelve cover both axes, both directions and three speeds once.
    moves : fast moves per bout.
    pen_down : draw while moving fast; put scrap paper under the pen.
    seed : seed of order and positions.
    on_bout : called with each finished bout.

    Raises
    ------
    InputError : the rig has no switches for homing.
    LinkError, BoardFault : as from the session; also when the switches are not found before the first move.
    """
    if "none" in (rig.x.endstop, rig.y.endstop):
        raise InputError(
            "exercise needs a switch on both axes, because it counts lost steps by homing",
            hint="fit switches, or use the trial sheets `linewright trial speed` and `linewright trial acceleration`",
        )
    rng = np.random.default_rng(seed)
    kinds = list(product("xy", ("+", "-"), SHARES))
    low, high = np.array(rig.shape.box_mm).reshape(2, 2)
    low, high = low + EDGE_MM, high - EDGE_MM
    slow = _at(rig, SLOW_SHARE)
    homed_at = _find_home(session, rig, 1.0)
    if not homed_at:
        session.home()  # failures here are wiring faults and are reported as such
    order: list[int] = []
    done: list[Bout] = []
    for number in range(bouts):
        order = order or rng.permutation(len(kinds)).tolist()
        axis, sense, share = kinds[order.pop()]
        fast = _at(rig, share)
        column = "xy".index(axis)
        runs = [_run(rng, low, high, column, sense) for _ in range(moves)]
        lost: tuple[int | None, int | None]
        try:
            for begin, end in runs:
                session.go_to(rig.steps_at(begin), rig=slow)
                if pen_down:
                    session.pen(rig.pen.down_us)
                session.go_to(rig.steps_at(end), rig=fast)
                if pen_down:
                    session.pen(rig.pen.up_us)
            drift = session.check_drift("exercise")
            lost = (drift.x_steps, drift.y_steps)
        except BoardFault as fault:
            if fault.name not in ASTRAY:
                raise
            homed_at = _find_home(session, rig, homed_at)
            lost = (None, None)
        way_mm = sum(abs(end[column] - begin[column]) for begin, end in runs)
        bout = Bout(axis, "+" if sense == "+" else "-", share, moves, way_mm, pen_down, lost[column], lost[1 - column])
        done.append(bout)
        on_bout(number, bout)
        if not homed_at:
            break
    return Tally(tuple(done), homed_at)


def _find_home(session: Session, rig: Rig, from_share: float) -> float:
    """Home, slower and slower, until the switches are found; returns the share of the homing speed, 0 if they were not
    found.

    The share that worked is used from then on.
    """
    for share in HOMING_SHARES:
        if share > from_share:
            continue
        fast = max(rig.homing.slow_mm_s, share * rig.homing.fast_mm_s)
        session.use(rig.changed({"homing.fast_mm_s": fast}))
        try:
            session.home()
        except BoardFault as fault:
            if fault.name not in ASTRAY:
                raise
        else:
            return share
    return 0.0


def _run(
    rng: np.random.Generator, low: NDArray[np.float64], high: NDArray[np.float64], column: int, sense: str
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Start and end of a fast move, mm: along one axis in one direction, at a random position across it."""
    place = rng.uniform(low, high)
    span = high[column] - low[column]
    run = rng.uniform(LEAST_RUN_SHARE, 1.0) * span
    begin = low[column] + rng.uniform(0.0, span - run)
    ends = []
    for along in (begin, begin + run) if sense == "+" else (begin + run, begin):
        place[column] = along
        ends.append((float(place[0]), float(place[1])))
    return ends[0], ends[1]


def _at(rig: Rig, share: float) -> Rig:
    """The rig with a share of its speeds and accelerations."""
    changes: dict[str, object] = {}
    for name, axis in (("x", rig.x), ("y", rig.y)):
        changes[f"axis.{name}.speed_mm_s"] = max(1.0, share * axis.speed_mm_s)
        changes[f"axis.{name}.accel_mm_s2"] = max(1.0, share * axis.accel_mm_s2)
    slowest = min(rig.x.speed_mm_s, rig.y.speed_mm_s) * share
    changes["homing.fast_mm_s"] = min(rig.homing.fast_mm_s, max(0.5, slowest))
    changes["homing.slow_mm_s"] = min(rig.homing.slow_mm_s, max(0.5, slowest))
    return rig.changed(changes)
