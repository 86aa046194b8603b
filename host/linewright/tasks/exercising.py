"""Task: a long test for lost steps."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from linewright.tasks import cautions
from linewright.tasks.connection import connected
from linewright.tasks.front import Cancelled

if TYPE_CHECKING:
    from linewright.calibration.exercise import Bout, Tally
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target


def exercise(
    target: Target,
    front: Front,
    *,
    bouts: int,
    moves: int = 4,
    pen_down: bool = False,
    seed: int = 0,
    on_bout: Callable[[int, Bout], None] = lambda *_: None,
) -> Tally:
    """Move the machine fast for a while, homing now and then; see `linewright.calibration.exercise.exercise`.

    A `KeyboardInterrupt`, or a `Cancelled` from ``on_bout``, stops the board with the pen up and is re-raised.
    """
    from linewright.calibration import exercise as soak

    with connected(target, front) as (session, met):
        cautions.remember(met.port)
        session.greet()
        try:
            return soak.exercise(
                session, target.rig, bouts=bouts, moves=moves, pen_down=pen_down, seed=seed, on_bout=on_bout
            )
        except (KeyboardInterrupt, Cancelled):
            session.stop()
            raise
