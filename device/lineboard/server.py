"""The board's end of the link: received bytes become requests; answers and reports become bytes.

`MOVES` is the hot path and allocates nothing; all other messages go through `messages.decode` and the table of
requests. Records are decoded in batches, a few per turn of the loop, so that the player is served in between. A whole
window takes up to half a second, so an `ABANDON` or `CUT` invalidates the records waiting before it at once.
"""

from array import array

from lineboard import feeder, kernel
from linewire import messages, records
from linewire.compat import const, micropython, ticks_diff
from linewire.endpoint import Endpoint, copy_bytes
from linewire.framing import HEADER

_CHUNK = const(512)
# With so many bytes read, a turn reads no more, so that a flood cannot keep the loop from feeding the player. They take
# about 9 ms; what is left wakes the loop at once.
_ENOUGH_BYTES = const(1024)
# Records per turn: as many as a usual frame has. A frame of the smallest records has 632; decoding all of these at once
# would delay the player.
_BATCH = const(96)
# Growth of the grant that justifies a separate acknowledgement: an eighth of the queue.
_GRANT_NEWS = const(128)
# Records granted beyond those sent, so that the host's next frame certainly fits.
_OWED = records.MOST
# Interval of progress reports while drawing.
_REPORT_US = const(100_000)
# Retry interval when the port's buffer is full; a USB port sends about 100 bytes per millisecond.
_UNSENT_US = const(1_000)
# The largest number that a refusal can name; limits that a value can be beyond are all smaller.
_HIGHEST = const((1 << 31) - 1)


class Server:
    """Communicates with the host for a `Board`."""

    def __init__(self, board, port, version, digest, session):
        self._board = board
        self._port = port
        self._version = version
        self._digest = digest
        now_us = port.now_us()
        self.endpoint = Endpoint(session, False, now_us, report_size=messages.REPORT_SIZE)
        self._chunk = bytearray(_CHUNK)
        self._records = records.new_state(feeder.MASK)
        self._reading = False  # the endpoint's message is a payload with records left to decode
        self._report = array("i", [0] * len(messages.REPORT))
        self._outbox = []  # messages waiting for a free slot, [(kind, payload)]
        self._unsent = 0  # bytes at the start of endpoint.wire not accepted by the port yet
        self._more = False  # messages are waiting in the endpoint
        self._stir = True  # the endpoint may have something to send
        self._openings = 0
        self._probing = False
        self._asked = False
        self._home_request = 0
        self._told_granted = 0
        self._told_state = 0
        self._told_us = now_us
        self._requests = {
            messages.HELLO: self._hello,
            messages.SET: self._set,
            messages.HOME: self._home,
            messages.ORIGIN: self._origin,
            messages.BEGIN: self._begin,
            messages.PACE: self._pace,
            messages.ABANDON: self._abandon,
            messages.CUT: self._cut,
            messages.PEN: self._pen,
            messages.ENABLE: self._enable,
            messages.ASK: self._ask,
            messages.IDENTIFY: self._identify,
        }

    def receive(self, now_us):
        """Receive bytes and act on messages; True if the host has been heard."""
        endpoint = self.endpoint
        heard = self._read(now_us)
        if endpoint.openings != self._openings:
            self._openings = endpoint.openings
            self._outbox.clear()
            self._told_granted = 0
            self._reading = False
            self._board.new_host()
        # With answers waiting for a slot, no more messages are taken; the host's acknowledgement then wakes the loop.
        self._more = bool(self._outbox)
        while not self._outbox:
            if not self._reading:
                if not endpoint.take():
                    break
                self._stir = True
                if endpoint.kind != messages.MOVES:
                    self._request()
                    continue
            after = endpoint.kind_behind(messages.MOVES)
            if after == messages.ABANDON or after == messages.CUT:
                self._reading = False
                continue
            self._stir = True
            if not self._reading:
                self._reading = self._open_moves()
            if self._reading:
                self._read_moves()
            self._more = True
            break
        return heard

    def _read(self, now_us):
        """Pass received bytes to the endpoint; True if the host has been heard."""
        endpoint = self.endpoint
        heard = False
        read = 0
        while read < _ENOUGH_BYTES:
            n = self._port.read_into(self._chunk)
            if n == 0:
                break
            read += n
            self._stir = True
            endpoint.receive(self._chunk, now_us, n)
            if endpoint.silence_us(now_us) == 0:
                heard = True
                self._probing = False
        return heard

    @micropython.native
    def transmit(self, now_us):
        """Send what is due."""
        endpoint = self.endpoint
        board = self._board
        while self._outbox and endpoint.can_send:
            kind, payload = self._outbox.pop(0)
            endpoint.send(kind, payload)
        granted = self._granted()
        flags = board.flags()
        state = board.state | board.fault << 3 | flags << 11
        if (
            granted - self._told_granted >= _GRANT_NEWS
            or state != self._told_state
            or (board.state == messages.DRAWING and ticks_diff(now_us, self._told_us) >= _REPORT_US)
        ):
            self._told_granted = granted
            self._told_state = state
            self._told_us = now_us
            endpoint.push()
            self._stir = True
        if self._stir:
            self._stir = False
            self._write_report(granted, flags)
        if self._unsent and not self._flush(self._unsent):
            return
        while True:
            n = endpoint.produce(now_us)
            if n == 0 and self._asked:
                # The requested report is sent after the answer, so that it is certainly newer.
                self._asked = False
                endpoint.push()
                n = endpoint.produce(now_us)
            if n == 0 or not self._flush(n):
                return

    def probe(self):
        """Request a sign of life from the host."""
        if not self._probing:
            self._probing = True
            self.endpoint.probe()

    def expecting(self):
        """Whether the host is expected to send: an acknowledgement, or records for granted room."""
        if self._probing or self.endpoint.awaiting:
            return self.endpoint.linked and not self._board.silent()
        board = self._board
        if not board.accepts_records() or board.silent() or board.feeder.ending():
            return False
        if board.feeder.last_kind == feeder.REST:
            return False  # a rest between pens: the host may be waiting for its user
        return self._told_granted - board.feeder.taken >= _OWED

    def sleep_us(self, now_us, longest_us):
        """Longest sleep of the loop as required by the link, at most `longest_us`."""
        if self._more and not self._outbox:
            return 0
        if self._unsent:
            longest_us = min(longest_us, _UNSENT_US)
        deadline_us = self.endpoint.next_deadline_us()
        if deadline_us is None:
            return longest_us
        return min(max(ticks_diff(deadline_us, now_us), 0), longest_us)

    def event(self, code, value):
        self._say("event", code=code, value=value)

    def fault(self, code, detail):
        self._say("fault", code=code, detail=detail)

    def homed(self):
        x, y = self._board.homing.axes
        self._say(
            "homed",
            request=self._home_request,
            x_passes=x.passes,
            x_spread_steps=x.spread,
            x_drift_steps=x.drift,
            y_passes=y.passes,
            y_spread_steps=y.spread,
            y_drift_steps=y.drift,
        )

    # Records: these methods allocate only to refuse something.

    @micropython.native
    def _open_moves(self):
        """Open the payload that has arrived; True if it has records to be queued."""
        board = self._board
        queue = board.feeder
        body = self.endpoint.body
        at = HEADER + 4
        end = self.endpoint.length
        if not board.accepts_records():
            return False  # in transit when the program ended or stopped by itself; the report says why
        if end <= at:
            self._refuse(messages.MOVES, 0, messages.OUT_OF_RANGE, end - HEADER, 5, messages.PAYLOAD)
            return False
        first = body[HEADER] | body[HEADER + 1] << 8 | body[HEADER + 2] << 16 | body[HEADER + 3] << 24
        if first != queue.taken:
            self._refuse(messages.MOVES, 1, messages.OUT_OF_STEP, first, queue.taken, queue.taken)
            return False
        if not records.open_payload(self._records, body, at, end):
            board.stop_with(messages.BAD_RECORDS, queue.taken)
            return False
        return True

    @micropython.native
    def _read_moves(self):
        """Queue the next records of the payload."""
        board = self._board
        queue = board.feeder
        state = self._records
        if not board.accepts_records():
            self._reading = False
            return
        state[records.D_SLOT] = queue.taken & feeder.MASK
        most = queue.room()
        if most > _BATCH:
            most = _BATCH
        ended = records.read_records(state, self.endpoint.body, queue.values, queue.places, most)
        fault = board.admit(state[records.D_COUNT])
        if fault:
            board.stop_with(fault, queue.taken)
        elif ended == records.BAD:
            board.stop_with(messages.BAD_RECORDS, queue.taken)
        elif ended == records.FULL:
            self._refuse(messages.MOVES, 1, messages.NO_ROOM, queue.taken, 0, self._granted() - 1)
        elif ended == records.MORE:
            return
        self._reading = False

    def _request(self):
        endpoint = self.endpoint
        kind = endpoint.kind
        request = endpoint.sequence
        try:
            _, fields = messages.decode(kind, memoryview(endpoint.body)[HEADER : endpoint.length])
        except messages.FieldError as problem:
            reason = messages.UNKNOWN if problem.number == 255 else messages.OUT_OF_RANGE
            self._refuse(kind, problem.number, reason, problem.value, problem.low, problem.high)
            return
        reason = self._requests[kind](fields)
        if reason is None:
            return  # already answered, or answered later
        if reason == messages.NO_REASON:
            self._say("done", request=request)
        else:
            refused = self._board.refused
            self._refuse(kind, refused[0], reason, refused[1], refused[2], refused[3])

    def _hello(self, fields):
        if fields["protocol"] != messages.PROTOCOL:
            version = messages.PROTOCOL
            self._refuse(messages.HELLO, 1, messages.OTHER_VERSION, fields["protocol"], version, version)
            return
        # A host with another digest is answered, too: it compares, and can then advise the user.
        port = self._port
        self._say(
            "greeting",
            protocol=messages.PROTOCOL,
            board=messages.BOARDS.index(port.kind),
            digest=self._digest,
            session=self.endpoint.session,
            tick_hz=port.tick_hz,
            overhead_ticks=port.overhead_ticks,
            max_rate=port.max_rate,
            queue_slots=feeder.SLOTS,
            version=self._version,
        )

    def _identify(self, _fields):
        self._say("identity", request=self.endpoint.sequence, unique=self._port.unique)

    def _set(self, fields):
        return self._board.set(fields["pairs"])

    def _home(self, fields):
        self._home_request = self.endpoint.sequence
        return self._board.home(fields["axes"]) or None

    def _begin(self, fields):
        reason = self._board.begin(fields["program"], fields["first"], fields["a"], fields["b"])
        if reason == messages.NO_REASON:
            records.rest(self._records)
        return reason

    def _origin(self, fields):
        return self._board.origin(fields["a"], fields["b"])

    def _pace(self, fields):
        return self._board.set_pace(fields["value"])

    def _abandon(self, _fields):
        return self._board.abandon()

    def _cut(self, _fields):
        return self._board.cut()

    def _pen(self, fields):
        return self._board.move_pen(fields["servo_us"])

    def _enable(self, fields):
        return self._board.enable(fields["on"])

    def _ask(self, _fields):
        self._asked = True
        return messages.NO_REASON

    def _granted(self):
        return self._board.feeder.granted() if self._board.accepts_records() else 0

    def _write_report(self, granted, flags):
        board = self._board
        queue = board.feeder
        report = self._report
        report[messages.R_STATE] = board.state
        report[messages.R_FAULT] = board.fault
        report[messages.R_FLAGS] = flags
        report[messages.R_PACE] = queue.state[kernel.S_PACE]
        report[messages.R_STARVED] = queue.starved & 0xFFFF
        report[messages.R_UNDERRUNS] = queue.underruns & 0xFFFF
        report[messages.R_PROGRAM] = board.program
        report[messages.R_RECORDS_DONE] = queue.records_done if board.program else 0
        report[messages.R_GRANTED] = granted
        report[messages.R_A] = queue.a
        report[messages.R_B] = queue.b
        report[messages.R_PLAYED_S] = queue.played[2] if board.program else 0
        report[messages.R_PLAYED_TICKS] = queue.played[3] if board.program else 0
        messages.write_report(self.endpoint.report, report)

    def _say(self, name, **values):
        if not self.endpoint.linked:
            return  # no session; the report has it
        kind = messages.message_id(name)
        payload = messages.encode(name, **values)
        if self._outbox or not self.endpoint.can_send:
            self._outbox.append((kind, payload))
        else:
            self.endpoint.send(kind, payload)

    def _refuse(self, kind, field, reason, value, low, high):
        self._say(
            "refusal",
            request=self.endpoint.sequence,
            message=kind,
            field=field,
            reason=reason,
            value=min(value, _HIGHEST),
            low=low,
            high=high,
        )

    def _flush(self, n):
        """Pass the first `n` bytes of the wire buffer to the port; True if it accepted all."""
        wire = self.endpoint.wire
        sent = self._port.write(wire, n)
        self._unsent = n - sent
        if sent < n:
            copy_bytes(wire, 0, wire, sent, n - sent)  # ascending, so overlap is allowed
        return sent == n
