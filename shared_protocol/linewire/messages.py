"""Messages of the protocol: ids, layouts, ranges; settings, report, and enumerations.

``MESSAGES`` is the only definition: encoder, decoder, refusals and the list in SPEC.md follow from it. Every number is
checked against its explicit range on both ends, because MicroPython's ``struct`` truncates silently where CPython
raises. All integers are little-endian.

Ranges end at 2^30 - 1 where possible, because larger integers are heap objects on the board.
"""

import struct

from linewire.compat import const, micropython, ptr8, ptr32

TYPE_CHECKING = False  # spelled out, because MicroPython has no typing module
if TYPE_CHECKING:
    from array import array

PROTOCOL = const(1)

U8 = const(255)
U16 = const(65535)
U30 = const((1 << 30) - 1)
I32_LOW = const(-(1 << 31))
I32_HIGH = const((1 << 31) - 1)
U32 = const((1 << 32) - 1)

# Positions stay within 2^29 so that the difference of any two is still a small integer on the board.
POSITION = const((1 << 29) - 1)
# Highest record at which a program may be resumed: half a billion more, and the grant beyond, fit 30 bits.
FIRST_RECORD = const((1 << 29) - 1)
# Longest payload of one message.  A moves frame then carries 4 bytes of record number and 240 of records; with 5 bytes
# of header and 4 of checksum it is 253, the most that byte stuffing lengthens by one byte only, and 255 on the wire.
PAYLOAD = const(244)
RECORDS_ROOM = const(PAYLOAD - 4)
# Largest step rate or path speed: 17 bits, 131 071 steps/s, above that of the pulse player.
RATE = const(131071)

# Bit 6 of a message id identifies the sender, so that an echoing line is detected.
FROM_BOARD = const(0x40)

HELLO = const(0x01)
SET = const(0x02)
HOME = const(0x03)
ORIGIN = const(0x04)
BEGIN = const(0x05)
MOVES = const(0x06)
PACE = const(0x07)
ABANDON = const(0x08)
CUT = const(0x09)
PEN = const(0x0A)
ENABLE = const(0x0B)
ASK = const(0x0C)
IDENTIFY = const(0x0E)
GREETING = const(0x41)
DONE = const(0x42)
REFUSAL = const(0x43)
HOMED = const(0x44)
FAULT = const(0x45)
EVENT = const(0x46)
IDENTITY = const(0x47)

# (name, id, ((field, type, low, high), ...)). For ``bytes`` and ``text`` low and high limit the length; they come last.
# ``pairs`` is a sequence of (key u8, value i32), each within the range of its setting. ``request`` is the sequence
# number of the message that is answered.
MESSAGES = (
    # Host to board.
    ("hello", HELLO, (("protocol", "u8", 0, U8), ("digest", "u32", 0, U32))),
    ("set", SET, (("pairs", "pairs", 1, 48),)),
    ("home", HOME, (("axes", "u8", 1, 3),)),
    ("origin", ORIGIN, (("a", "i32", -POSITION, POSITION), ("b", "i32", -POSITION, POSITION))),
    # Record numbers are absolute within a program; a resumed program starts with ``first`` > 0.
    (
        "begin",
        BEGIN,
        (
            ("program", "u32", 1, U30),
            ("first", "u32", 0, FIRST_RECORD),
            ("a", "i32", -POSITION, POSITION),
            ("b", "i32", -POSITION, POSITION),
        ),
    ),
    ("moves", MOVES, (("first", "u32", 0, U30), ("records", "bytes", 1, RECORDS_ROOM))),
    ("pace", PACE, (("value", "u16", 0, 256),)),
    ("abandon", ABANDON, ()),
    ("cut", CUT, ()),
    ("pen", PEN, (("servo_us", "u16", 500, 2500),)),
    ("enable", ENABLE, (("on", "u8", 0, 1),)),
    ("ask", ASK, ()),
    ("identify", IDENTIFY, ()),
    # Board to host.
    (
        "greeting",
        GREETING,
        (
            ("protocol", "u8", 0, U8),
            ("board", "u8", 0, U8),
            ("digest", "u32", 0, U32),
            ("session", "u16", 1, U16),
            ("tick_hz", "u32", 1, U30),
            ("overhead_ticks", "u16", 1, U16),
            ("max_rate", "u32", 1, RATE),
            ("queue_slots", "u16", 1, U16),
            ("version", "text", 0, 32),
        ),
    ),
    ("done", DONE, (("request", "u16", 0, U16),)),
    # ``message`` and ``field`` identify what was refused (see FieldError.number), ``value`` is its value, ``low`` and
    # ``high`` the allowed range; ``reason`` is one of REASONS.
    (
        "refusal",
        REFUSAL,
        (
            ("request", "u16", 0, U16),
            ("message", "u8", 0, U8),
            ("field", "u8", 0, U8),
            ("reason", "u8", 0, U8),
            ("value", "i32", I32_LOW, I32_HIGH),
            ("low", "i32", I32_LOW, I32_HIGH),
            ("high", "i32", I32_LOW, I32_HIGH),
        ),
    ),
    # Per axis: approaches made (0 = not homed), spread of the switch positions, and by how much the count of steps was
    # too high (0 if the position was unknown).
    (
        "homed",
        HOMED,
        (
            ("request", "u16", 0, U16),
            ("x_passes", "u8", 0, U8),
            ("x_spread_steps", "u32", 0, U30),
            ("x_drift_steps", "i32", I32_LOW, I32_HIGH),
            ("y_passes", "u8", 0, U8),
            ("y_spread_steps", "u32", 0, U30),
            ("y_drift_steps", "i32", I32_LOW, I32_HIGH),
        ),
    ),
    ("fault", FAULT, (("code", "u8", 1, U8), ("detail", "i32", I32_LOW, I32_HIGH))),
    ("event", EVENT, (("code", "u8", 1, U8), ("value", "i32", I32_LOW, I32_HIGH))),
    # The serial number of the chip or its flash; empty if there is none.
    ("identity", IDENTITY, (("request", "u16", 0, U16), ("unique", "bytes", 0, 16))),
)

# Enumerations. A number never changes its meaning; new ones are appended.
BOARDS = ("virtual", "rp2040", "rp2350", "portable")
STATES = ("asleep", "unhomed", "ready", "drawing", "holding", "faulted")
ASLEEP, UNHOMED, READY, DRAWING, HOLDING, FAULTED = range(6)
FAULTS = (
    "none",
    "endstop hit",  # a switch was pressed during a drawing; detail = axis (0 x, 1 y)
    "host lost",  # no frame for host_silence_ms while drawing or homing; detail = that time
    "motors cut",  # the user cut the motors
    "switch stuck",  # homing: pressed at the start and stays so after backing off; detail = axis
    "switch missing",  # homing: not reached within the travel; detail = axis
    "wrong switch",  # homing: the other axis' switch was pressed; detail = axis that was moving
    "bad records",  # a moves payload cannot be decoded; detail = record number
    "beyond limits",  # a record leads out of reach, or is beyond another limit (SPEC.md 3); detail = record number
    "player broke off",  # the pulse player ran dry at speed, so steps may be lost; detail = times it ran dry at all
    "watchdog",  # the board's loop hung and the chip was restarted; motors off, position lost
    "not homed",  # a program lowers the pen before every axis with a switch is homed; detail = record number
    "motor power lost",  # the motor supply went off; motors off, position lost
)
(
    NO_FAULT,
    ENDSTOP_HIT,
    HOST_LOST,
    MOTORS_CUT,
    SWITCH_STUCK,
    SWITCH_MISSING,
    WRONG_SWITCH,
    BAD_RECORDS,
    BEYOND_LIMITS,
    PLAYER_BROKE_OFF,
    WATCHDOG,
    NOT_HOMED,
    POWER_LOST,
) = range(13)
EVENTS = (
    "none",
    "finished",  # the end record was reached; value = records done
    "stopped",  # abandoned, at rest, pen up; value = records done
    "went idle",  # drivers off after idle_after_s; value = that time
)
NO_EVENT, FINISHED, STOPPED, WENT_IDLE = range(4)
REASONS = (
    "none",
    "out of range",
    "wrong state",  # value = state
    "position differs",  # begin: value = field's position on the board
    "no room",  # moves beyond what was granted
    "out of step",  # moves: ``first`` is not the next record; low = high = the one expected
    "other version",  # hello: low = high = the board's protocol or digest
    "no switch",  # home: the rig names no endstop for that axis
    "unknown",
    "no motor power",  # the board senses that the motors' supply is off; switch it on, then ask again
)
(
    NO_REASON,
    OUT_OF_RANGE,
    WRONG_STATE,
    POSITION_DIFFERS,
    NO_ROOM,
    OUT_OF_STEP,
    OTHER_VERSION,
    NO_SWITCH,
    UNKNOWN,
    NO_MOTOR_POWER,
) = range(10)

# Settings of the rig: (name, key, low, high, default). "x" and "y" also count steps: motor A and B on a cartesian rig,
# (a + b) / 2 and (a - b) / 2 on a crossed-belt one. Defaults allow no motion: no travel, no endstops, no pins.
SETTINGS = (
    ("kinematics", 0, 0, 1, 0),  # 0 cartesian, 1 crossed-belt
    ("accel", 1, 1, 4_000_000, 20_000),  # steps/s^2 along the path in step space, for hold and pace
    ("max_rate", 2, 1, RATE, 20_000),  # steps/s, either motor
    ("x_low", 3, -POSITION, POSITION, 0),
    ("x_high", 4, -POSITION, POSITION, 0),
    ("y_low", 5, -POSITION, POSITION, 0),
    ("y_high", 6, -POSITION, POSITION, 0),
    # Hobby servo pulses: 1.0 to 2.0 ms is common practice, 0.5 and 2.5 ms the usual ends of travel.
    ("pen_up_us", 7, 500, 2500, 1300),
    ("pen_down_us", 8, 500, 2500, 1700),
    ("pen_lift_ms", 9, 0, 5000, 250),
    ("pen_lower_ms", 10, 0, 5000, 250),
    # Hobby drivers ask for 1 to 2 us.
    ("step_width_ns", 11, 200, 20_000, 2000),
    ("direction_setup_ns", 12, 200, 20_000, 1000),
    ("reversed_a", 13, 0, 1, 0),
    ("reversed_b", 14, 0, 1, 0),
    ("home_fast_x", 15, 1, RATE, 1600),  # steps/s
    ("home_fast_y", 16, 1, RATE, 1600),
    ("home_slow_x", 17, 1, RATE, 200),
    ("home_slow_y", 18, 1, RATE, 200),
    ("home_accel_x", 19, 1, 4_000_000, 8000),  # steps/s^2
    ("home_accel_y", 20, 1, 4_000_000, 8000),
    ("home_backoff_x", 21, 1, POSITION, 240),  # steps
    ("home_backoff_y", 22, 1, POSITION, 240),
    ("home_travel_x", 23, 0, POSITION, 0),  # steps
    ("home_travel_y", 24, 0, POSITION, 0),
    ("home_end_x", 25, 0, 2, 0),  # 0 no endstop, 1 at the low end, 2 at the high end
    ("home_end_y", 26, 0, 2, 0),
    ("home_passes", 27, 1, 20, 3),
    ("idle_after_s", 28, 0, 3600, 60),  # 0 = never
    ("host_silence_ms", 29, 500, 600_000, 700),
    # Pins of the microcontroller; -1 = not connected.  RP2350B has the most, 48.
    ("pin_step_a", 30, -1, 47, -1),
    ("pin_direction_a", 31, -1, 47, -1),
    ("pin_step_b", 32, -1, 47, -1),
    ("pin_direction_b", 33, -1, 47, -1),
    ("pin_enable", 34, -1, 47, -1),
    ("pin_servo", 35, -1, 47, -1),
    ("pin_endstop_x", 36, -1, 47, -1),
    ("pin_endstop_y", 37, -1, 47, -1),
    # Switches go to ground: 0 closes when pressed, 1 opens when pressed, which a broken wire does, too.
    ("contact_x", 38, 0, 1, 0),
    ("contact_y", 39, 0, 1, 0),
    # High while the motors rest, for drivers with an input for reduced current; -1 = not connected.
    ("pin_rest_current", 40, -1, 47, -1),
    ("rest_current_after_ms", 41, 0, 60_000, 500),
    # Limits that the board enforces for every record, whatever the host sends.
    ("ramp_accel", 42, 1, 4_000_000, 4_000_000),  # steps/s^2 along the path in step space
    ("servo_low_us", 43, 500, 2500, 500),
    ("servo_high_us", 44, 500, 2500, 2500),
    ("rate_a", 45, 1, RATE, RATE),  # steps/s of one motor, if the two differ; max_rate applies to both
    ("rate_b", 46, 1, RATE, RATE),
    ("corner_rate", 47, 1, 2 * RATE, 2 * RATE),  # steps/s by which a motor's rate may jump where two ramps meet
    # Input that senses the motor supply; -1 = none. Both kinds read "off" when their wire breaks.
    ("pin_motor_power", 48, -1, 47, -1),
    ("motor_power_level", 49, 0, 1, 1),  # level while there is power: 1 a divider's, 0 that of an optocoupler to ground
)

# The report is part of every acknowledgement of the board: (field, type, low, high), fixed layout, newest wins.
REPORT = (
    ("state", "u8", 0, 5),  # STATES
    ("fault", "u8", 0, U8),  # FAULTS
    ("flags", "u16", 0, U16),  # FLAG_*
    ("pace", "u16", 0, 256),  # the kernel's target: 0 from a hold until the pen is down again
    ("starved", "u16", 0, U16),  # times the pen stopped for lack of records
    ("underruns", "u16", 0, U16),  # times the player ran dry in motion: the loop was too slow
    ("program", "u32", 0, U30),  # 0 = none
    ("records_done", "u32", 0, U30),  # finished by the pen
    ("granted", "u32", 0, U30),  # the host may send records below this number
    ("a", "i32", -POSITION, POSITION),  # position, steps
    ("b", "i32", -POSITION, POSITION),
    ("played_s", "u32", 0, U30),  # playing time of this program: whole seconds, and ticks beyond them
    ("played_ticks", "u32", 0, U30),
)
(
    R_STATE,
    R_FAULT,
    R_FLAGS,
    R_PACE,
    R_STARVED,
    R_UNDERRUNS,
    R_PROGRAM,
    R_RECORDS_DONE,
    R_GRANTED,
    R_A,
    R_B,
    R_PLAYED_S,
    R_PLAYED_TICKS,
) = range(13)
REPORT_FORMAT = "<BBHHHHIIIiiII"
REPORT_SIZE = const(38)

FLAG_TRUSTED = const(1)  # the position is known
FLAG_HOMED = const(2)
FLAG_PEN_UP = const(4)
FLAG_ENABLED = const(8)  # drivers are on
FLAG_ENDSTOP_X = const(16)
FLAG_ENDSTOP_Y = const(32)
FLAG_UNPOWERED = const(64)  # the motor supply is off, by its input

_SIZES = {"u8": 1, "u16": 2, "u32": 4, "i32": 4}
_FORMATS = {"u8": "<B", "u16": "<H", "u32": "<I", "i32": "<i"}
_PAIR_SIZE = const(5)
_REPORT_FIELDS = const(13)
_REPORT_SIZES = bytes([_SIZES[entry[1]] for entry in REPORT])

_BY_NAME = {entry[0]: entry for entry in MESSAGES}
_BY_ID = {entry[1]: entry for entry in MESSAGES}
SETTING_BY_NAME = {entry[0]: entry for entry in SETTINGS}
SETTING_BY_KEY = {entry[1]: entry for entry in SETTINGS}


class FieldError(ValueError):
    """A message contains an invalid value.

    Attributes
    ----------
    message : name of the message, or its id if unknown.
    field : name of the field, or of the setting in ``set``; "length" and "message" for the whole message.
    number : the field as a number for the wire: 0 = length, 1.. = fields in order, 255 = message;
        in ``set`` the key of the setting.
    value, low, high : the value, and the allowed range.
    """

    def __init__(self, message: str, field: str, number: int, value: int, low: int, high: int) -> None:
        super().__init__("{}: {} = {} is outside {}..{}".format(message, field, value, low, high))
        self.message = message
        self.field = field
        self.number = number
        self.value = value
        self.low = low
        self.high = high


def message_id(name: str) -> int:
    """Id of a message by its name."""
    number: int = _BY_NAME[name][1]
    return number


def message_name(number: int) -> str:
    """Name of a message by its id; ``"message 99"`` if unknown."""
    entry = _BY_ID.get(number)
    return entry[0] if entry else "message " + str(number)


def field_name(message: int, number: int) -> str:
    """Name of a refusal's ``message`` and ``field`` numbers."""
    entry = _BY_ID.get(message)
    if entry is None or number == 255:
        return "message"
    if message == SET and number in SETTING_BY_KEY:
        return SETTING_BY_KEY[number][0]
    if 1 <= number <= len(entry[2]):
        return entry[2][number - 1][0]
    return "length"


def encode(name: str, **values: object) -> bytes:
    r"""Payload of one message.

    >>> encode("pace", value=256)
    b'\x00\x01'
    >>> encode("set", pairs=((1, 20000),))
    b'\x01 N\x00\x00'

    Raises
    ------
    FieldError : a value is outside its range.
    TypeError : a field is missing, is not in the table, or has the wrong type: a bug of the caller.
    """
    entry = _BY_NAME[name]
    if len(values) != len(entry[2]):
        raise TypeError("{}: expected fields {}, got {}".format(name, [f[0] for f in entry[2]], sorted(values)))
    out = bytearray()
    number = 0
    for field, kind, low, high in entry[2]:
        number += 1
        if field not in values:
            raise TypeError("{}: field {} is missing".format(name, field))
        value = values[field]
        if kind == "pairs":
            if not isinstance(value, (tuple, list)):
                raise TypeError("{}: {} must be pairs of key and value".format(name, field))
            _check(name, "length", 0, len(value), low, high)
            for key, setting in value:
                _check_setting(key, setting)
                out.append(key)
                out += struct.pack("<i", setting)
        elif kind == "text" or kind == "bytes":
            if isinstance(value, str):
                value = value.encode()
            if not isinstance(value, (bytes, bytearray, memoryview)):
                raise TypeError("{}: {} must be {}".format(name, field, kind))
            _check(name, field, number, len(value), low, high)
            out += value
        else:
            if not isinstance(value, int):
                raise TypeError("{}: {} must be an integer".format(name, field))
            _check(name, field, number, value, low, high)
            out += struct.pack(_FORMATS[kind], value)
    return bytes(out)


def decode(number: int, payload: "bytes | bytearray | memoryview") -> "tuple[str, dict[str, object]]":
    """Name and fields of one message.  ``pairs`` comes as a tuple of (key, value), ``text`` as str, ``bytes`` as bytes.

    Raises
    ------
    FieldError : unknown id, wrong length, or a value outside its range. No other exception is raised for any bytes.
    """
    entry = _BY_ID.get(number)
    if entry is None:
        raise FieldError("message " + str(number), "message", 255, number, 0, 0)
    name, _, fields = entry
    data = bytes(payload)
    fixed = 0
    shortest = 0
    longest = 0
    for _, kind, low, high in fields:
        if kind in _SIZES:
            fixed += _SIZES[kind]
        elif kind == "pairs":
            shortest = low * _PAIR_SIZE
            longest = high * _PAIR_SIZE
        else:
            shortest = low
            longest = high
    _check(name, "length", 0, len(data), fixed + shortest, fixed + longest)
    values: dict[str, object] = {}
    at = 0
    index = 0
    for field, kind, low, high in fields:
        index += 1
        if kind == "pairs":
            count = (len(data) - at) // _PAIR_SIZE
            if at + count * _PAIR_SIZE != len(data):
                raise FieldError(name, "length", 0, len(data), count * _PAIR_SIZE, count * _PAIR_SIZE)
            pairs = []
            for i in range(count):
                key, value = struct.unpack_from("<Bi", data, at + i * _PAIR_SIZE)
                _check_setting(key, value)
                pairs.append((key, value))
            values[field] = tuple(pairs)
        elif kind == "bytes":
            values[field] = data[at:]
        elif kind == "text":
            # Printable ASCII only: no terminal control characters, and equal on both interpreters.
            for code in data[at:]:
                _check(name, field, index, code, 32, 126)
            values[field] = data[at:].decode()
        else:
            value = struct.unpack_from(_FORMATS[kind], data, at)[0]
            _check(name, field, index, value, low, high)
            values[field] = value
            at += _SIZES[kind]
    return name, values


def write_report(buffer: bytearray, values: "array[int]") -> None:
    """Write the report's fields, given in the order of ``REPORT`` (indices ``R_*``), to the start of ``buffer``.

    The caller keeps them in range. Allocates nothing.
    """
    _write_report(buffer, values, _REPORT_SIZES)


@micropython.viper
def _write_report(buffer: ptr8, values: ptr32, sizes: ptr8) -> int:
    """See `write_report`; returns the end index."""
    at = 0
    index = 0
    while index < _REPORT_FIELDS:
        value = int(values[index])
        end = at + int(sizes[index])
        while at < end:
            buffer[at] = value & 255
            value >>= 8
            at += 1
        index += 1
    return at


def read_report(data: "bytes | bytearray | memoryview") -> "dict[str, int]":
    """Fields of a report by name.

    Raises
    ------
    FieldError : wrong length, or a value outside its range.
    """
    _check("report", "length", 0, len(data), REPORT_SIZE, REPORT_SIZE)
    values = struct.unpack(REPORT_FORMAT, data)
    fields = {}
    for index in range(len(REPORT)):
        name, _, low, high = REPORT[index]
        _check("report", name, index + 1, values[index], low, high)
        fields[name] = values[index]
    return fields


def _check(message: str, field: str, number: int, value: int, low: int, high: int) -> None:
    if not low <= value <= high:
        raise FieldError(message, field, number, value, low, high)


def _check_setting(key: int, value: int) -> None:
    entry = SETTING_BY_KEY.get(key)
    if entry is None:
        raise FieldError("set", "key", key & 255, key, 0, len(SETTINGS) - 1)
    name, _, low, high, _ = entry
    if not low <= value <= high:
        raise FieldError("set", name, key, value, low, high)
