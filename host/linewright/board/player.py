"""`Player`: sends records as the board grants room for them, and waits for their end."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from linewire import messages
from linewright import units
from linewright.board.conversation import LONGEST_TURN_S, STUCK_S, Conversation, now_s, refused, stuck

if TYPE_CHECKING:
    from linewright.board.session_values import Witness
    from linewright.program import packing


class Player:
    """Starts a program on the board and sends its records.

    Parameters
    ----------
    talk : a conversation with a board that is ready.
    packed : the records.
    start : motor steps A, B at the start.
    first : number of the first record.
    reached : record reached so far, for the witness.
    witness : receives the program's number and the progress of the pen.

    Attributes
    ----------
    ended, finished : nothing is playing; the end record was reached.
    """

    def __init__(
        self,
        talk: Conversation,
        packed: packing.Packed,
        start: tuple[int, int],
        first: int = 0,
        reached: int = 0,
        witness: Witness | None = None,
    ) -> None:
        self._talk = talk
        self._packed = packed
        self._witness = witness
        self._frame = 0
        self._progress: tuple[int, ...] = ()
        self._progress_s = now_s()
        self._leaving = False
        self.ended = False
        self.finished = False
        number = 1 + secrets.randbelow(messages.U30)
        if witness is not None:
            witness.begin(number, reached)
        talk.ask("begin", program=number, first=first, a=start[0], b=start[1])
        # Earlier messages concern an earlier program; this one cannot end before its records are sent.
        talk.inbox.clear()
        talk.fresh_report()

    def turn(self, fence: int) -> None:
        """Send the records that the board has room for, before record ``fence``, and process its messages."""
        talk = self._talk
        begun_s = now_s()
        granted = talk.report()["granted"]
        while self._frame < len(self._packed) and talk.endpoint.can_send:
            first, after = (int(number) for number in self._packed.first[self._frame : self._frame + 2])
            if after > min(granted, fence):
                break
            talk.send("moves", first=first, records=self._packed.payload(self._frame))
            self._frame += 1
        talk.turn()
        while talk.inbox:
            name, fields = talk.inbox.popleft()
            if name == "refusal":
                raise refused(fields)
            if name == "event" and fields["code"] in (messages.FINISHED, messages.STOPPED):
                self.finished = fields["code"] == messages.FINISHED
                self.ended = True
                talk.fresh_report()
        if self._witness is not None:
            self._witness.done(talk.report()["records_done"])
        self._check_progress(fence, begun_s)

    def _check_progress(self, fence: int, begun_s: float) -> None:
        """Give up a board that reports but plays nothing, unless it waits for the user.

        Raises
        ------
        LinkError : no progress for `STUCK_S`.
        """
        report = self._talk.report()
        progress = tuple(
            report[name] for name in ("state", "records_done", "granted", "a", "b", "played_s", "played_ticks")
        )
        waits = not self._leaving and (report["state"] == messages.HOLDING or self.done(fence))
        # A long turn was not spent listening, because the laptop slept.
        if self.ended or waits or progress != self._progress or now_s() - begun_s > LONGEST_TURN_S:
            self._progress, self._progress_s = progress, now_s()
        elif now_s() - self._progress_s > STUCK_S:
            raise stuck("draws nothing")

    def leave(self) -> None:
        """Send no more records, because a board that was told to stop refuses them."""
        self._frame = len(self._packed)
        self._leaving = True

    def done(self, record: int) -> bool:
        """Whether the pen has finished everything before ``record``."""
        return self._talk.report()["records_done"] >= record

    @property
    def played_ticks(self) -> int:
        """Playing time so far, by the board's count."""
        report = self._talk.report()
        return report["played_s"] * units.TICK_HZ + report["played_ticks"]
