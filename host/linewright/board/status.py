"""`BoardStatus`: state of a board and its machine, in readable units."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from linewire import messages
from linewright import units

if TYPE_CHECKING:
    from linewright.board.session_values import Greeting
    from linewright.rig.rig import Rig


@dataclass(frozen=True)
class BoardStatus:
    """State of a board at one moment.

    Parameters
    ----------
    board, version : microcontroller, and version of its code.
    digest, same_code : CRC-32 of its code, and whether it is this host's code.
    max_rate_steps_s, queue_slots, pulse_overhead_us : limits of its player.
    state, fault : names; fault "none" if there is none.
    position_trusted, homed, motors_on : as the board reports.
    pen_up : None before the board has its settings, because the pen heights are unknown.
    position_steps : of motors A and B.
    position_mm : x, y by the rig file; None if the position is unknown.
    endstop_x, endstop_y : pressed; None before the board has its settings.
    motor_power : the motors have power; None if not sensed, or before the board has its settings.
    pace : 0 to 1.
    starved, underruns : of the newest program, see `linewright.board.session.DrawResult`.
    """

    board: str
    version: str
    digest: str
    same_code: bool
    max_rate_steps_s: int
    queue_slots: int
    pulse_overhead_us: float
    state: str
    fault: str
    position_trusted: bool
    homed: bool
    pen_up: bool | None
    motors_on: bool
    position_steps: tuple[int, int]
    position_mm: tuple[float, float] | None
    endstop_x: bool | None
    endstop_y: bool | None
    motor_power: bool | None
    pace: float
    starved: int
    underruns: int

    @classmethod
    def of(cls, greeting: Greeting, report: dict[str, int], rig: Rig) -> BoardStatus:
        """From the greeting and the report of the board.

        Parameters
        ----------
        greeting, report : from a session that has greeted.
        rig : for millimetres.
        """
        flags = report["flags"]
        steps = (report["a"], report["b"])
        place = rig.true_at(steps)
        trusted = bool(flags & messages.FLAG_TRUSTED)
        awake = report["state"] != messages.ASLEEP
        fault = report["fault"]
        return cls(
            board=greeting.board,
            version=greeting.version,
            digest=f"{greeting.digest:08x}",
            same_code=greeting.same_code,
            max_rate_steps_s=greeting.max_rate,
            queue_slots=greeting.queue_slots,
            pulse_overhead_us=units.ticks_to_s(greeting.overhead_ticks) * units.US_PER_S,
            state=messages.STATES[report["state"]],
            fault=messages.FAULTS[fault] if fault < len(messages.FAULTS) else f"fault {fault}",
            position_trusted=trusted,
            homed=bool(flags & messages.FLAG_HOMED),
            pen_up=bool(flags & messages.FLAG_PEN_UP) if awake else None,
            motors_on=bool(flags & messages.FLAG_ENABLED),
            position_steps=steps,
            # Rounded to 0.1 um, because further digits are division noise.
            position_mm=(round(place[0], 4), round(place[1], 4)) if trusted else None,
            endstop_x=bool(flags & messages.FLAG_ENDSTOP_X) if awake else None,
            endstop_y=bool(flags & messages.FLAG_ENDSTOP_Y) if awake else None,
            motor_power=not flags & messages.FLAG_UNPOWERED if awake and rig.senses_motor_power else None,
            pace=report["pace"] / 256,
            starved=report["starved"],
            underruns=report["underruns"],
        )

    def describe(self) -> dict[str, object]:
        """All fields, as a dictionary for JSON."""
        return asdict(self)
