"""`Course`: one drawing from its first record to its last, with user requests, pen changes and drift checks.

A drawing is played as one program, or as several if the machine homes between pens, because the board needs a new
program after any other motion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from linewire import messages
from linewright import units
from linewright.board.conversation import Conversation
from linewright.board.drift import Drift, DriftCheck
from linewright.board.player import Player
from linewright.board.session import Session
from linewright.board.session_values import FULL_PACE, Control, DrawResult, Progress, Witness
from linewright.program.program import Program
from linewright.program.remainder import Tail


class _Abandoned(Exception):
    """The user has abandoned the drawing while no program is playing."""


@dataclass(frozen=True)
class _Counters:
    """Counters of link and board at one moment."""

    retransmitted: int
    damaged: int
    frames: int
    bytes: int
    starved: int
    underruns: int

    @classmethod
    def of(cls, talk: Conversation) -> _Counters:
        end, report = talk.endpoint, talk.report()
        return cls(
            end.retransmitted, end.damaged, end.frames_sent, end.bytes_sent, report["starved"], report["underruns"]
        )


def draw(
    session: Session,
    program: Program,
    *,
    on_progress: Callable[[Progress], None] = lambda _: None,
    control: Control | None = None,
    ask_for_pens: bool = False,
    tail: Tail | None = None,
    witness: Witness | None = None,
    drift: DriftCheck | None = None,
) -> DrawResult:
    """Draw a program: move to its start, play it, follow it to its end.

    Parameters
    ----------
    session : its board has been greeted and homed.
    program : planned for the session's rig.
    on_progress : called at every turn, about 20 times a second; must not block for long.
    control : user requests.
    ask_for_pens : stop between pens, and wait for `Control.pen_changed`.
    tail : the rest of an interrupted drawing, see `linewright.run.recovery`; None: the whole program.
    witness : receives the progress.
    drift : when to home again and compare; None: never.

    Raises
    ------
    ProgramError : the program is for another rig.
    BoardFault : the board stopped itself.
    Drifted : homing again found a drift above the limit.
    LinkError : the link was lost, or the board restarted.
    """
    program.check_rig(session.rig)
    course = Course(
        session,
        program,
        on_progress=on_progress,
        control=control or Control(),
        ask_for_pens=ask_for_pens,
        witness=witness,
        drift=drift or DriftCheck(),
    )
    return course.run(tail or Tail.of(program))


class Course:
    """Runs one drawing.

    Parameters
    ----------
    session : its board is ready.
    others : as in `draw`.
    """

    def __init__(
        self,
        session: Session,
        program: Program,
        *,
        on_progress: Callable[[Progress], None],
        control: Control,
        ask_for_pens: bool,
        witness: Witness | None,
        drift: DriftCheck,
    ) -> None:
        self._session = session
        self._talk = session.talk
        self._program = program
        self._on_progress = on_progress
        self._control = control
        self._ask_for_pens = ask_for_pens
        self._witness = witness
        self._drift = drift
        self._drifts: list[Drift] = []
        self._checked: set[int] = set()  # groups after which the drift has been checked
        self._begun = np.concatenate(([0], np.maximum.accumulate(program.stroke_of_record) + 1))
        self._pace = FULL_PACE  # requested pace, outside of a hold
        self._held = False
        # Part of the remaining time that a slower pace stretches: moves, but not dwells and rests.
        self._moving_left = np.concatenate((np.cumsum(np.where(program.is_ramp, program.ticks, 0)[::-1])[::-1], [0]))
        self._group = 0
        self._player: Player | None = None
        self._home_at: int | None = None  # record between two pens at which the motors lost power
        self._reached = 0  # record
        self._played_ticks = 0  # ticks played by earlier players

    def run(self, tail: Tail) -> DrawResult:
        """Draw a tail of the program."""
        talk, program = self._talk, self._program
        report = talk.fresh_report()
        before = _Counters.of(talk)
        skipped_ticks = self._played_ticks = program.predicted_ticks - tail.predicted_ticks
        self._reached = tail.reached
        self._group = next(i for i, group in enumerate(program.groups) if tail.reached < group.records[1])
        finished = False
        try:
            if "start" in self._drift.moments:
                self._check("start")
            player = self._begin(tail)
            while not player.ended:
                player = self._turn(player)
            self._note(player)
            finished, report = player.finished, talk.report()
            if finished and "end" in self._drift.moments:
                self._check("end")
        except _Abandoned:
            self._session.settle()
            report = talk.report()
        after = _Counters.of(talk)
        return DrawResult(
            finished=finished,
            first_record=tail.reached,
            played_ticks=self._played_ticks - skipped_ticks,
            predicted_ticks=tail.predicted_ticks,
            final_steps=(report["a"], report["b"]),
            expected_steps=program.end_steps,
            records_done=self._reached,
            records=len(program),
            retransmitted_frames=after.retransmitted - before.retransmitted,
            damaged_frames=after.damaged - before.damaged,
            frames_sent=after.frames - before.frames,
            bytes_sent=after.bytes - before.bytes,
            starved=(after.starved - before.starved) & messages.U16,
            underruns=(after.underruns - before.underruns) & messages.U16,
            drifts=tuple(self._drifts),
        )

    def _begin(self, tail: Tail) -> Player:
        """Move to the start of a tail, and start it."""
        self._session.go_to(tail.steps, meanwhile=self._meanwhile)
        player = Player(self._talk, tail.packed, tail.steps, tail.first, tail.reached, self._witness)
        self._player = player
        if self._held or self._pace != FULL_PACE:  # each program starts at full pace
            self._send_pace()
        return player

    def _send_pace(self) -> None:
        self._talk.send("pace", value=0 if self._held else self._pace)

    def _turn(self, player: Player) -> Player:
        """One turn of following the pen; returns the player from now on."""
        self._pass_requests()
        if self._home_at is not None:
            at, self._home_at = self._home_at, None
            self._leave(player, at)
            self._session.home()
            player = self._begin(Tail.of(self._program, at))
        last = len(self._program)
        end = self._program.groups[self._group].records[1]
        checks = "pens" in self._drift.moments
        player.turn(end if self._ask_for_pens or checks else last)
        self._reached = max(self._reached, self._talk.report()["records_done"])
        between = end < last and not player.ended and player.done(end)
        if between and checks and self._group not in self._checked:
            self._checked.add(self._group)
            self._leave(player, end)
            self._check("pens")
            player = self._begin(Tail.of(self._program, end))
        if between and checks and not self._ask_for_pens:
            self._group += 1
        self._on_progress(self._progress("pen" if between and self._ask_for_pens else ""))
        return player

    def _leave(self, player: Player, end: int) -> None:
        """End the program between two pens, where it rests."""
        player.leave()
        self._talk.send("abandon")
        self._player = None
        while not player.ended:
            player.turn(end)
            self._meanwhile()
        self._note(player)

    def _note(self, player: Player) -> None:
        """Add this player's counts to the totals."""
        self._player = None
        self._reached = max(self._reached, self._talk.report()["records_done"])
        self._played_ticks += player.played_ticks

    def _check(self, moment: str) -> None:
        """Home again and record the drift. At the end the drawing is not stopped, because nothing is left to draw."""
        found = self._session.check_drift(moment, meanwhile=self._meanwhile)
        self._drifts.append(found)
        if moment != "end":
            found.stop_beyond(self._drift.limit_mm)

    def _meanwhile(self) -> None:
        """Called while the machine homes between parts of the program."""
        self._pass_requests()
        self._on_progress(self._progress("homing"))

    def _pass_requests(self) -> None:
        """Send the user's requests to the board."""
        player = self._player
        while asked := self._control.take():
            name, value = asked
            if name == "pen":
                end = self._program.groups[self._group].records[1]
                if player is not None and player.done(end) and self._group + 1 < len(self._program.groups):
                    self._home_at = end if value else None
                    self._group += 1
            elif name in ("hold", "carry on", "pace"):
                if name == "pace":
                    self._pace = value
                else:
                    self._held = name == "hold"
                if player is not None:
                    self._send_pace()
            else:
                self._talk.send(name)
                if player is None:
                    raise _Abandoned
                player.leave()

    def _progress(self, state: str) -> Progress:
        report, program = self._talk.report(), self._program
        played_ticks = self._played_ticks + (self._player.played_ticks if self._player is not None else 0)
        planned_ticks = int(program.ticks_before[self._reached])
        moving_ticks = int(self._moving_left[self._reached])
        standing_ticks = program.predicted_ticks - planned_ticks - moving_ticks
        left_ticks = round(standing_ticks + moving_ticks * FULL_PACE / self._pace)
        group = next((g for g in program.groups if self._reached < g.records[1]), program.groups[-1])
        return Progress(
            state=state or messages.STATES[report["state"]],
            records_done=self._reached,
            records=len(program),
            stroke=int(self._begun[self._reached]),
            strokes=len(program.drawing),
            played_s=units.ticks_to_s(played_ticks),
            predicted_s=program.predicted_s,
            pace=report["pace"] / FULL_PACE,
            pen=program.drawing.pens[group.pen],
            planned_s=units.ticks_to_s(planned_ticks),
            left_s=units.ticks_to_s(left_ticks),
        )
