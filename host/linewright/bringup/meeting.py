"""The first step: greeting of the board."""

from __future__ import annotations

from statistics import median

from linewright.bringup.hands import Hands
from linewright.bringup.talk import Talk, Trouble
from linewright.errors import LinkError, PortError
from linewright.rig.review import review

ROUNDS = 20
"""Round trips: enough for a median, in less than a second."""


def greeting(talk: Talk, hands: Hands) -> str:
    """Check the rig file, greet the board, compare code and kind, send the settings."""
    if blocking := [one for one in review(hands.rig) if one.blocks]:
        for one in blocking:
            talk.say(f"{one.about}: {one.said}. {one.why}".rstrip(" .") + ".", "found")
            talk.say(one.do + ".", "next")
        raise Trouble(
            "according to its rig file, this machine must not be switched on",
            hint="correct the file or the machine; `linewright rig check` shows all findings",
        )
    try:
        said = hands.greet()
    except PortError:
        raise  # the port has gone
    except LinkError as error:
        raise Trouble(error.message, hint=error.hint) from error
    wanted = hands.rig.board
    if hands.rig.chip not in (said.board, "virtual") and said.board != "virtual":
        raise Trouble(
            f"the rig file says {wanted}, but this is a board of the kind {said.board}",
            hint=f'set board = "{said.board}" in the rig file, run `linewright rig check`, then bring-up again',
        )
    trips_ms = hands.trips_ms(ROUNDS)
    talk.say(f"The board is {said.board} with {said.version} and this version's code.")
    return f"The board answers in {median(trips_ms):.1f} ms and has accepted the rig '{hands.rig.name}'."
