"""The states of a session as a table for readers: what an endpoint does in each state with each event.

`linewire.endpoint` implements it. SPEC.md shows this table, and `tests/protocol/test_transitions.py` drives the
endpoint through each row. It is not copied to the board.
"""

# The names of `endpoint.CALLING`, `WAITING`, `LINKED` and `PARTED`.
LINK_STATES = ("calling", "waiting", "linked", "parted")


# (state, event, action, next state); the host starts in calling, the board in waiting.
TRANSITIONS = (
    ("calling", "every 250 ms", "send OPEN(own, 0, 0)", "calling"),
    ("calling", "OPEN(p, own, offer)", "number messages from 0, send OPEN(own, p, offer)", "linked"),
    ("calling", "any other OPEN", "send OPEN(own, 0, 0)", "calling"),
    ("calling", "any other frame", "count as foreign", "calling"),
    ("waiting", "start", "send OPEN(own, 0, 0)", "waiting"),
    ("waiting", "OPEN(p, own, the offer made to p)", "number messages from 0, acknowledge", "linked"),
    ("waiting", "OPEN(p, 0 or own, any other)", "send OPEN(own, p, offer)", "waiting"),
    ("waiting", "OPEN(p, other, any)", "count as foreign, send OPEN(own, 0, 0)", "waiting"),
    ("waiting", "any other frame", "count as foreign, send OPEN(own, 0, 0) at most every 250 ms", "waiting"),
    (
        "linked",
        "every 250 ms at the host, until a frame with the tag has come",
        "send OPEN(own, peer, offer)",
        "linked",
    ),
    ("linked", "OPEN(peer, own, offer) at the host, likewise until then", "send OPEN(own, peer, offer)", "linked"),
    ("linked", "OPEN(peer, any, any) at the host, later", "nothing", "linked"),
    ("linked", "OPEN(other, any, any) at the host", "give up: the board has restarted", "parted"),
    ("linked", "OPEN(peer, 0 or own, any) at the board", "acknowledge", "linked"),
    (
        "linked",
        "OPEN(p, own, the offer made to p) at the board",
        "forget the old host, number from 0, acknowledge",
        "linked",
    ),
    ("linked", "OPEN(p, 0 or own, any other) at the board", "send OPEN(own, p, offer)", "linked"),
    ("linked", "OPEN(former, 0 or own, any) at the board", "count as foreign", "linked"),
    ("linked", "OPEN(p, other, any) at the board", "count as foreign, send OPEN(own, peer, 0)", "linked"),
    ("linked", "frame with tag own ^ peer", "take it", "linked"),
    ("linked", "frame with another tag", "count as foreign", "linked"),
    ("parted", "any frame", "count as foreign", "parted"),
)
