"""One end of the link, without I/O and without a clock: bytes and times in, messages and bytes out.

Host and board use the same class. It delivers every message of the other end exactly once and in order over a link that
damages, loses, doubles, reorders or delays frames, or it reports that the other end has restarted (``parted``).

Sliding window with selective repeat: each end keeps sent messages until they are acknowledged; an acknowledgement has
the next missing sequence number, a bitmap of those received beyond it, and the first number without room (the credit).
A frame counts as lost when one sent after it has arrived, or when it is not acknowledged within the retransmission
timeout of RFC 6298, in integer microseconds.

Sessions: each end has a 16-bit number, drawn at its start. Ordinary frames carry both, combined as ``own ^ peer``, so a
frame for an earlier start of either end is never accepted. A call alone changes nothing on the board, because it may
come from a former host: the board offers a session under a number unused since its start, and serves the host that
returns that number. `linewire.transitions` has the states of a session as a table, and a test drives this class through
each of its rows.

Times are microseconds of any counter that wraps at 2^30 (`linewire.compat`). Call `produce` or `to_send` at least every
4 minutes, because of the wrap.

The class has more than 500 lines, because sessions, windows and timers share all of their state, and every attribute of
another object costs the board an additional look-up.

Contract for the board: `receive`, `take`, `kind_behind`, `produce`, `send` and `push` allocate nothing.
"""

from array import array

from linewire.compat import const, micropython, ptr8, ticks_add, ticks_diff
from linewire.framing import BODY, CHECKSUM, HEADER, WIRE, FrameReader, put_header, seal, stuff
from linewire.messages import FROM_BOARD, PAYLOAD, PROTOCOL

# Kinds of the link's own frames; messages are below 128. Bit 6 identifies the sender, as in message ids.
LINK = const(0x80)
# "I am session ``own``; you are ``peer``" (0: not known; ``offer`` 0: none): own u16, peer u16, protocol u8, slots u8,
# offer u16.
OPEN = const(0x80)
ACK = const(0x81)  # next u16, edge u16, bitmap u16, report; its sequence number only orders acknowledgements
PROBE = const(0x82)  # requests an acknowledgement
_OPEN_SIZE = const(8)
_ACK_SIZE = const(6)

# Sixteen frames of 255 bytes are 4 KiB: 16 ms of full-speed USB at 250 kB/s, or two laptop time slices; the bitmap has
# as many bits.
MAX_SLOTS = const(16)
# An acknowledgement at most this much older than the newest is stale; all others count as newer. Larger than any
# reordering, smaller than half of 2^16, so that even 65 000 lost in a row do not stop the reports.
_STALE = const(256)
_MASK = const(0xFFFF)

# RFC 6298 requires 1 s initially and at least; a serial line has no congestion, and a drawing needs its queue full. The
# minimum still covers a host that is descheduled for a while.
FIRST_TIMEOUT_US = const(500_000)
LEAST_TIMEOUT_US = const(200_000)
LONGEST_TIMEOUT_US = const(2_000_000)
# Interval of the host's calls until it is answered; afterwards the longest interval between its frames.
CALL_US = const(250_000)
_LONG_AGO_US = const(1 << 28)

CALLING = const(0)
WAITING = const(1)
LINKED = const(2)
PARTED = const(3)


@micropython.viper
def copy_bytes(target: ptr8, at: int, source: ptr8, start: int, count: int) -> int:
    """Copy ``source[start:start + count]`` to ``target`` from ``at`` on; returns the end index."""
    end = at + count
    while at < end:
        target[at] = source[start]
        at += 1
        start += 1
    return at


@micropython.viper
def _bitmap(have: ptr8, mask: int, missing: int, edge: int) -> int:
    """Which messages beyond number ``missing`` are there, those without room (``edge``) excluded; bit 0: the next."""
    bitmap = 0
    bit = 1
    while missing != edge:
        missing = (missing + 1) & _MASK
        if missing != edge:
            if have[missing & mask]:
                bitmap |= bit
        bit <<= 1
    return bitmap


class WindowFull(ValueError):
    """`Endpoint.send` was called while `Endpoint.can_send` is false."""


class Endpoint:
    """One end of the link.

    Parameters
    ----------
    session : 1..65535, drawn at random at each start of this end.
    host : True for the host's end.
    now_us : present time.
    slots : messages in flight per direction, a power of two up to 16.
    report_size : bytes of report on each acknowledgement that this end sends (0 at the host).

    Attributes
    ----------
    state : CALLING, WAITING, LINKED or PARTED.
    peer_session : session number of the other end, 0 while not linked.
    openings : number of sessions opened; at the board a change means a new host.
    report : report in this end's acknowledgements; write it in place.
    peer_report, reports : last report of the other end, and number of reports received.
    kind, sequence, body, length : the message that `take` found: ``body[HEADER:length]`` is its payload.
    retransmitted, duplicates, foreign, overrun, odd : frames retransmitted; duplicates received; of another session or
        echoed; beyond the credit; intact but unknown. ``reader`` counts damaged ones.
    """

    def __init__(self, session: int, host: bool, now_us: int, slots: int = MAX_SLOTS, report_size: int = 0) -> None:
        if not 1 <= session <= _MASK:
            raise ValueError("session {} is outside 1..65535".format(session))
        if slots not in (1, 2, 4, 8, 16):
            raise ValueError("slots {} is not a power of two up to 16".format(slots))
        if not 0 <= report_size <= PAYLOAD - _ACK_SIZE:
            raise ValueError("report_size {} is outside 0..{}".format(report_size, PAYLOAD - _ACK_SIZE))
        self.session = session
        self.host = host
        self.state = CALLING if host else WAITING
        self.peer_session = 0
        self.peer_protocol = 0
        self.openings = 0
        self.report = bytearray(report_size)
        self.peer_report = bytearray(0)
        self.reports = 0
        self.reader = FrameReader()
        self.retransmitted = 0
        self.duplicates = 0
        self.foreign = 0
        self.overrun = 0
        self.odd = 0
        self.frames_sent = 0
        self.bytes_sent = 0
        self.kind = 0
        self.sequence = 0
        self.length = 0
        self.body = bytearray(0)
        self.wire = bytearray(WIRE)
        self._side = 0 if host else FROM_BOARD
        self._slots = slots
        self._mask = slots - 1
        self._scratch = bytearray(BODY)
        self._out = [bytearray(BODY) for _ in range(slots)]
        self._out_length = array("H", [0] * slots)
        self._sent_us = array("i", [0] * slots)
        self._order = array("i", [0] * slots)  # number of the transmission, -1 before the first
        self._arrived = bytearray(slots)
        self._due = bytearray(slots)
        self._in = [bytearray(BODY) for _ in range(slots)]
        self._in_length = array("H", [0] * slots)
        self._have = bytearray(slots)
        self._former = [0] * 4  # a list, because MicroPython's arrays do not support ``in``
        self._former_at = 0
        self._open_due = not host
        self._offer_due = False
        self._offer = 0  # the last offer; at the board, made to `_caller`, which is 0 once it is used
        self._caller = 0
        self._confirmed = not host  # the board is known to serve this host
        self._called_us = ticks_add(now_us, -CALL_US)
        self._answered_us = ticks_add(now_us, -CALL_US)
        self._now_us = now_us
        self.heard_us = now_us
        self._asked_us = now_us
        self._reset()

    def _reset(self) -> None:
        """Start a session: all numbers from 0, nothing in flight, nothing received."""
        for slot in range(self._slots):
            self._have[slot] = 0
            self._due[slot] = 0
            self._arrived[slot] = 0
        self._due_count = 0
        self._base = 0
        self._next_out = 0
        self._edge_out = self._slots
        self._next_in = 0
        self._taken = 0
        self._holding = False
        self._told_edge = self._slots
        self._ack_due = False
        self._probe_due = False
        self._turn = 0
        self._peer_turn = -1
        self._transmissions = 0
        self._newest_arrived = -1
        self._timeout_us = FIRST_TIMEOUT_US
        self._smooth_us = -1
        self._spread_us = 0

    @property
    def can_send(self) -> bool:
        """Whether there is a free slot for one more message."""
        return (self._next_out - self._base) & _MASK < self._slots and self.state != PARTED

    @property
    def awaiting(self) -> int:
        """Number of messages not acknowledged by the other end yet."""
        return (self._next_out - self._base) & _MASK

    @property
    def linked(self) -> bool:
        """Whether a session is open."""
        return self.state == LINKED

    @property
    def parted(self) -> bool:
        """At the host: the board has restarted. Nothing more is sent or received; create a new endpoint."""
        return self.state == PARTED

    @property
    def damaged(self) -> int:
        """Damaged frames seen by this end."""
        return self.reader.damaged + self.reader.oversize

    def silence_us(self, now_us: int) -> int:
        """Time since the last valid frame of the other end, saturated at 2^28 us (4.5 minutes)."""
        silence = ticks_diff(now_us, self.heard_us)
        if silence > _LONG_AGO_US:
            self.heard_us = ticks_add(now_us, -_LONG_AGO_US)
            silence = _LONG_AGO_US
        return silence

    @micropython.native
    def send(self, kind: int, payload: "bytes | bytearray | memoryview" = b"", count: int = -1) -> int:
        """Queue a message (``payload[:count]``, by default all of it); returns its sequence number.

        Messages queued before the session opens are sent when it does.

        Raises
        ------
        WindowFull : there is no free slot.
        ValueError : the payload does not fit a frame, or the kind belongs to the other end.
        """
        if count < 0:
            count = len(payload)
        if not self.can_send:
            raise WindowFull("no free slot: {} messages are not acknowledged".format(self.awaiting))
        if count > PAYLOAD or not 0 < kind < LINK or kind & FROM_BOARD != self._side:
            raise ValueError("message {} of {} bytes cannot be sent from this end".format(kind, count))
        sequence = self._next_out
        slot = sequence & self._mask
        body = self._out[slot]
        put_header(body, kind, sequence, self.session ^ self.peer_session)
        copy_bytes(body, HEADER, payload, 0, count)
        self._out_length[slot] = HEADER + count
        self._order[slot] = -1
        self._arrived[slot] = 0
        self._mark_due(slot)
        self._next_out = (sequence + 1) & _MASK
        return sequence

    def push(self) -> None:
        """Send an acknowledgement, with the report, as the next frame."""
        self._ack_due = True

    def probe(self) -> None:
        """Request a sign of life from the other end with the next frame."""
        self._probe_due = True

    def take(self) -> bool:
        """Advance to the next message (``kind``, ``sequence``, ``body[HEADER:length]``); False if there is none.

        The message stays valid until the next call, which frees its slot: call until False.
        """
        if self._holding:
            self._holding = False
            self._have[self._taken & self._mask] = 0
            self._taken = (self._taken + 1) & _MASK
            # Announce room if the other end may be waiting for it.
            if (self._told_edge - self._taken) & _MASK <= self._slots >> 1:
                self._ack_due = True
        if self._taken == self._next_in:
            return False
        slot = self._taken & self._mask
        self.body = self._in[slot]
        self.length = self._in_length[slot]
        self.kind = self.body[0]
        self.sequence = self._taken
        self._holding = True
        return True

    def kind_behind(self, kind: int) -> int:
        """Kind of the first message after the current one that is not of this ``kind``; 0 if there is none."""
        sequence = (self._taken + 1 if self._holding else self._taken) & _MASK
        while sequence != self._next_in:
            other: int = self._in[sequence & self._mask][0]
            if other != kind:
                return other
            sequence = (sequence + 1) & _MASK
        return 0

    def next_message(self) -> "tuple[int, int, bytes] | None":
        """The next message as (kind, sequence, payload), or None.  Allocates."""
        if not self.take():
            return None
        return self.kind, self.sequence, bytes(memoryview(self.body)[HEADER : self.length])

    def receive(self, data: "bytes | bytearray | memoryview", now_us: int, count: int = -1) -> None:
        """Process received bytes: ``data[:count]``, by default all of it. Any bytes are allowed."""
        self._now_us = now_us
        reader = self.reader
        reader.load(data, len(data) if count < 0 else count)
        while reader.next():
            self._frame(reader.body, reader.length - CHECKSUM, now_us)

    @micropython.native
    def _frame(self, body: bytearray, length: int, now_us: int) -> None:
        kind = body[0]
        if kind & FROM_BOARD == self._side or self.state == PARTED:
            self.foreign += 1
            return
        kind_of_link = kind & ~FROM_BOARD
        if kind_of_link == OPEN:
            if length >= HEADER + _OPEN_SIZE:
                self._opened(body, now_us)
            else:
                self.odd += 1
            return
        if self.state != LINKED or body[3] | body[4] << 8 != self.session ^ self.peer_session:
            self.foreign += 1
            if self.state == WAITING and ticks_diff(now_us, self._answered_us) >= CALL_US:
                self._answered_us = now_us
                self._open_due = True
            return
        self.heard_us = now_us
        self._confirmed = True
        sequence = body[1] | body[2] << 8
        if kind < LINK:
            self._message(body, length, sequence)
        elif kind_of_link == ACK and length >= HEADER + _ACK_SIZE:
            self._acknowledged(body, length, sequence, now_us)
        elif kind_of_link == PROBE:
            self._ack_due = True
        else:
            self.odd += 1

    def _opened(self, body: bytearray, now_us: int) -> None:
        peer = body[HEADER] | body[HEADER + 1] << 8
        me = body[HEADER + 2] | body[HEADER + 3] << 8
        slots = body[HEADER + 5]
        offer = body[HEADER + 6] | body[HEADER + 7] << 8
        if peer == 0 or not 1 <= slots <= MAX_SLOTS:
            self.odd += 1
            return
        self.peer_protocol = body[HEADER + 4]
        if self.host:
            if self.state == LINKED and peer != self.peer_session:
                self.state = PARTED
            elif me == self.session and offer and not self._confirmed:
                self._offer = offer
                self._offer_due = True
                if self.state == CALLING:
                    self._begin(peer, slots, now_us)
            elif self.state == CALLING:
                # A board that has just started, or answers an earlier host: call at once.
                self._called_us = ticks_add(now_us, -CALL_US)
            return
        if me != 0 and me != self.session:
            # The host does not know that this board has restarted.
            self.foreign += 1
            self._open_due = True
        elif self.state == LINKED and peer == self.peer_session:
            self.heard_us = now_us
            self._ack_due = True
        elif peer in self._former:
            self.foreign += 1
        elif me != 0 and peer == self._caller and offer == self._offer:
            if self.peer_session:
                self._former[self._former_at] = self.peer_session
                self._former_at = (self._former_at + 1) & 3
            self._caller = 0
            self._begin(peer, slots, now_us)
            self._ack_due = True
        else:
            if peer != self._caller:
                self._caller = peer
                self._offer = self._offer % _MASK + 1
            self._offer_due = True

    def _begin(self, peer: int, slots: int, now_us: int) -> None:
        if self.host:
            # Keep messages queued while calling; only their tags are missing.
            for slot in range(self._slots):
                body = self._out[slot]
                put_header(body, body[0], body[1] | body[2] << 8, self.session ^ peer)
        else:
            self._reset()
        self._edge_out = slots
        self.peer_session = peer
        self.state = LINKED
        self.openings += 1
        self.heard_us = now_us
        self._asked_us = now_us

    @micropython.native
    def _message(self, body: bytearray, length: int, sequence: int) -> None:
        self._ack_due = True
        ahead = (sequence - self._next_in) & _MASK
        if ahead >= 0x8000:
            self.duplicates += 1
            return
        if (sequence - self._taken) & _MASK >= self._slots:
            self.overrun += 1
            return
        slot = sequence & self._mask
        if self._have[slot]:
            self.duplicates += 1
            return
        copy_bytes(self._in[slot], 0, body, 0, length)
        self._in_length[slot] = length
        self._have[slot] = 1
        while self._have[self._next_in & self._mask] and (self._next_in - self._taken) & _MASK < self._slots:
            self._next_in = (self._next_in + 1) & _MASK

    @micropython.native
    def _acknowledged(self, body: bytearray, length: int, turn: int, now_us: int) -> None:
        if self._peer_turn >= 0 and (self._peer_turn - turn) & _MASK < _STALE:
            return
        next_missing = body[HEADER] | body[HEADER + 1] << 8
        edge = body[HEADER + 2] | body[HEADER + 3] << 8
        bitmap = body[HEADER + 4] | body[HEADER + 5] << 8
        outstanding = (self._next_out - self._base) & _MASK
        accepted = (next_missing - self._base) & _MASK
        if accepted > outstanding or (edge - next_missing) & _MASK > MAX_SLOTS:
            self.odd += 1
            return
        self._peer_turn = turn
        while self._base != next_missing:
            self._arrival(self._base & self._mask, now_us)
            self._base = (self._base + 1) & _MASK
        # Edges only grow, so a smaller one is outdated.
        if (edge - self._edge_out) & _MASK < 0x8000:
            self._edge_out = edge
        sequence = (next_missing + 1) & _MASK
        while bitmap:
            if bitmap & 1 and (sequence - self._base) & _MASK < (self._next_out - self._base) & _MASK:
                self._arrival(sequence & self._mask, now_us)
            bitmap >>= 1
            sequence = (sequence + 1) & _MASK
        # A frame sent before one that has arrived, and missing itself, is lost.
        sequence = self._base
        while sequence != self._next_out:
            slot = sequence & self._mask
            if not self._arrived[slot] and 0 <= self._order[slot] < self._newest_arrived:
                self._mark_due(slot)
            sequence = (sequence + 1) & _MASK
        count = length - HEADER - _ACK_SIZE
        if count != len(self.peer_report):
            # Allocated once per session; sizes are fixed.
            self.peer_report = bytearray(count)
        copy_bytes(self.peer_report, 0, body, HEADER + _ACK_SIZE, count)
        self.reports += 1

    def _arrival(self, slot: int, now_us: int) -> None:
        """Mark the message in ``slot`` as received by the other end."""
        if self._arrived[slot]:
            return
        self._arrived[slot] = 1
        self._clear_due(slot)
        order = self._order[slot]
        if order > self._newest_arrived:
            self._newest_arrived = order
            # RFC 6298 with its gains of 1/8 and 1/4. For a retransmitted message the time is measured from the last
            # transmission, which may be too short (Karn), so only the newest transmission counts and the minimum
            # timeout covers it.
            trip_us = ticks_diff(now_us, self._sent_us[slot])
            if trip_us >= 0:
                if self._smooth_us < 0:
                    self._smooth_us = trip_us
                    self._spread_us = trip_us >> 1
                else:
                    off_us = self._smooth_us - trip_us
                    if off_us < 0:
                        off_us = -off_us
                    self._spread_us += (off_us - self._spread_us) >> 2
                    self._smooth_us += (trip_us - self._smooth_us) >> 3
                self._timeout_us = min(max(self._smooth_us + 4 * self._spread_us, LEAST_TIMEOUT_US), LONGEST_TIMEOUT_US)

    def produce(self, now_us: int) -> int:
        """Write the next frame to ``wire``; returns its length, or 0 if there is nothing to send now."""
        self._now_us = now_us
        self.silence_us(now_us)
        if self.host and self.state == CALLING and ticks_diff(now_us, self._called_us) >= CALL_US:
            self._called_us = now_us
            self._open_due = True
        elif not self._confirmed and self.state == LINKED and ticks_diff(now_us, self._called_us) >= CALL_US:
            self._offer_due = True
        if self._open_due:
            self._open_due = False
            return self._write_open(self.peer_session, 0)
        if self._offer_due:
            self._offer_due = False
            if self.host:
                self._called_us = now_us
                return self._write_open(self.peer_session, self._offer)
            if self._caller:
                return self._write_open(self._caller, self._offer)
        if self.state != LINKED:
            if ticks_diff(now_us, self._answered_us) > CALL_US:
                self._answered_us = ticks_add(now_us, -CALL_US)  # treat as sent long ago
            return 0
        if self._ack_due:
            self._ack_due = False
            return self._write_ack()
        if self._base != self._next_out:
            slot = self._base & self._mask  # the oldest
            if not self._due[slot] and ticks_diff(now_us, self._sent_us[slot]) >= self._timeout_us:
                self._mark_due(slot)
                self._timeout_us = min(2 * self._timeout_us, LONGEST_TIMEOUT_US)
            sequence = self._base if self._due_count else self._next_out
            while sequence != self._next_out and sequence != self._edge_out:
                slot = sequence & self._mask
                if self._due[slot]:
                    return self._write_message(slot, now_us)
                sequence = (sequence + 1) & _MASK
        # Repeated even under heavy traffic: an acknowledgement with news of room may have been lost, and an end that
        # only sends keep-alives would not miss it.
        overdue = (self.host or self._base != self._next_out) and ticks_diff(now_us, self._asked_us) >= CALL_US
        if self._probe_due or overdue:
            self._probe_due = False
            self._asked_us = now_us
            put_header(self._scratch, PROBE | self._side, 0, self.session ^ self.peer_session)
            return self._write(self._scratch, HEADER)
        return 0

    def to_send(self, now_us: int) -> bytes:
        """All bytes to be sent now. Allocates."""
        out = bytearray()
        count = self.produce(now_us)
        while count:
            out += memoryview(self.wire)[:count]
            count = self.produce(now_us)
        return bytes(out)

    def next_deadline_us(self) -> "int | None":
        """Time at which `to_send` must be called again if nothing arrives and nothing is sent; None for never."""
        if self.state == PARTED:
            return None
        if self._open_due or self._offer_due or (self.state == LINKED and (self._ack_due or self._probe_due)):
            return self._now_us
        if self.state == CALLING:
            return ticks_add(self._called_us, CALL_US)
        if self.state == WAITING:
            return None
        wait_us = -1
        if self.host or self._base != self._next_out:
            since_us = self._asked_us if self._confirmed else self._called_us
            wait_us = max(CALL_US - ticks_diff(self._now_us, since_us), 0)
        sequence = self._base
        while sequence != self._next_out and sequence != self._edge_out:
            if self._due[sequence & self._mask]:
                return self._now_us
            sequence = (sequence + 1) & _MASK
        if self._base != self._next_out and self._order[self._base & self._mask] >= 0:
            again_us = self._timeout_us - ticks_diff(self._now_us, self._sent_us[self._base & self._mask])
            if wait_us < 0 or again_us < wait_us:
                wait_us = max(again_us, 0)
        elif wait_us < 0:
            return None
        return ticks_add(self._now_us, wait_us)

    def _write_open(self, peer: int, offer: int) -> int:
        body = self._scratch
        put_header(body, OPEN | self._side, 0, 0)
        body[HEADER] = self.session & 255
        body[HEADER + 1] = self.session >> 8
        body[HEADER + 2] = peer & 255
        body[HEADER + 3] = peer >> 8
        body[HEADER + 4] = PROTOCOL
        body[HEADER + 5] = self._slots
        body[HEADER + 6] = offer & 255
        body[HEADER + 7] = offer >> 8
        return self._write(body, HEADER + _OPEN_SIZE)

    @micropython.native
    def _write_ack(self) -> int:
        body = self._scratch
        self._turn = (self._turn + 1) & _MASK
        put_header(body, ACK | self._side, self._turn, self.session ^ self.peer_session)
        edge = (self._taken + self._slots) & _MASK
        self._told_edge = edge
        bitmap = _bitmap(self._have, self._mask, self._next_in, edge)
        body[HEADER] = self._next_in & 255
        body[HEADER + 1] = self._next_in >> 8
        body[HEADER + 2] = edge & 255
        body[HEADER + 3] = edge >> 8
        body[HEADER + 4] = bitmap & 255
        body[HEADER + 5] = bitmap >> 8
        end = copy_bytes(body, HEADER + _ACK_SIZE, self.report, 0, len(self.report))
        return self._write(body, end)

    def _mark_due(self, slot: int) -> None:
        """Mark the message in ``slot`` for transmission or retransmission."""
        if not self._due[slot]:
            self._due[slot] = 1
            self._due_count += 1

    def _clear_due(self, slot: int) -> None:
        if self._due[slot]:
            self._due[slot] = 0
            self._due_count -= 1

    def _write_message(self, slot: int, now_us: int) -> int:
        self._clear_due(slot)
        if self._order[slot] >= 0:
            self.retransmitted += 1
        self._order[slot] = self._transmissions
        self._transmissions += 1
        self._sent_us[slot] = now_us
        self._asked_us = now_us
        return self._write(self._out[slot], self._out_length[slot])

    def _write(self, body: bytearray, count: int) -> int:
        seal(body, count)
        end = stuff(body, count + CHECKSUM, self.wire, 0)
        self.frames_sent += 1
        self.bytes_sent += end
        return end
