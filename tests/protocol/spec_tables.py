"""The tables of SPEC.md from the code. ``python tests/protocol/spec_tables.py`` writes them into the file.

Each stands between ``<!-- name -->`` and ``<!-- end -->``.
"""

from __future__ import annotations

import re
from pathlib import Path

from linewire import encoding, endpoint, framing, messages, records, transitions

SPEC = Path(messages.__file__).parent / "SPEC.md"


def _rows(header: tuple[str, ...], rows: list[tuple[object, ...]]) -> str:
    lines = ["| " + " | ".join(header) + " |", "|" + "---|" * len(header)]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines)


def _field(field: tuple[str, str, int, int]) -> str:
    name, kind, low, high = field
    what = {"bytes": "bytes, length", "text": "text, length", "pairs": "pairs, number"}.get(kind, kind)
    return f"{name} ({what} {low}..{high})"


def message_table(side: int) -> str:
    rows: list[tuple[object, ...]] = [
        (f"{number:#04x}", name, "; ".join(_field(f) for f in fields) or "-")
        for name, number, fields in messages.MESSAGES
        if number & messages.FROM_BOARD == side
    ]
    return _rows(("id", "message", "fields"), rows)


def words(table: tuple[str, ...]) -> str:
    return ", ".join(f"{i} {word}" for i, word in enumerate(table))


# Worked examples: a program in each layer.
PROGRAM = [
    (records.PEN, 1300, 250, 0),
    (records.RAMP, 120, -35, 2000),
    (records.PEN, 1310, 0, 0),
    (records.RAMP, 118, -40, 2000),
    (records.RAMP, 60, -21, 0),
    (records.PEN, 1700, 250, 0),
    (records.PEN, 1300, 250, 0),
    (records.RAMP, 1, 0, 346),
    (records.REST, 0, 0, 0),
    (records.END, 0, 0, 0),
]
NAMES = ("ramp", "pen", "rest", "end")


def examples() -> str:
    payload, following = encoding.encode_payload(PROGRAM, 0)
    assert following == len(PROGRAM)
    lines = ["records:"]
    for kind, first, second, v_end in PROGRAM:
        numbers = {
            records.RAMP: f" {first} {second} {v_end}",
            records.PEN: f" {first} {second}",
            records.REST: f" {first}",
        }
        lines.append(f"  {NAMES[kind]}{numbers.get(kind, '')}")
    lines.append(f"payload: {payload.hex(' ')}")
    for title, name, values in (
        ("moves", "moves", {"first": 0, "records": payload}),
        ("pace", "pace", {"value": 128}),
        ("set", "set", {"pairs": ((1, 20000), (8, 1700))}),
    ):
        body = messages.encode(name, **values)
        lines.append(f"message {title}: {body.hex(' ')}")
        wire = framing.write_frame(messages.message_id(name), 1, 0x1111 ^ 0x2222, body)
        lines.append(f"frame {title}: {wire.hex(' ')}")
    host = endpoint.Endpoint(0x1111, True, 0)
    board = endpoint.Endpoint(0x2222, False, 0)
    board.to_send(0)
    call = host.to_send(0)
    board.receive(call, 0)
    answer = board.to_send(0)
    host.receive(answer, 0)
    opening = host.to_send(0)
    board.receive(opening, 0)
    board.to_send(0)
    host.send(messages.PACE, messages.encode("pace", value=128))
    host.to_send(0)
    host.send(messages.ASK)
    board.receive(host.to_send(0), 0)
    lines.append(f"open host, calling: {call.hex(' ')}")
    lines.append(f"open board, offering: {answer.hex(' ')}")
    lines.append(f"open host, taking the offer: {opening.hex(' ')}")
    lines.append(f"ack board (message 0 missing, 1 here, 16 slots, no report): {board.to_send(0).hex(' ')}")
    return "```\n" + "\n".join(lines) + "\n```"


def session_diagram() -> str:
    """The table of transitions as a picture (Mermaid's `stateDiagram-v2`, which many viewers of Markdown draw)."""
    lines = ["stateDiagram-v2", "    [*] --> calling: host starts", "    [*] --> waiting: board starts"]
    for state, comes, done, following in transitions.TRANSITIONS:
        if done != "nothing":
            # A colon would end the label.
            lines.append(f"    {state} --> {following}: {comes} / {done}".replace("up: ", "up, "))
    return "\n".join(("```mermaid", *lines, "```"))


def tables() -> dict[str, str]:
    report: list[tuple[object, ...]] = []
    at = 0
    for name, kind, low, high in messages.REPORT:
        report.append((at, name, kind, f"{low}..{high}"))
        at += {"u8": 1, "u16": 2, "u32": 4, "i32": 4}[kind]
    return {
        "host messages": message_table(0),
        "board messages": message_table(messages.FROM_BOARD),
        "settings": _rows(
            ("key", "setting", "range", "default"),
            [(key, name, f"{low}..{high}", default) for name, key, low, high, default in messages.SETTINGS],
        ),
        "report": _rows(("at", "field", "type", "range"), report),
        "words": "\n".join(
            f"* {title}: {words(table)}"
            for title, table in (
                ("boards", messages.BOARDS),
                ("states", messages.STATES),
                ("faults", messages.FAULTS),
                ("events", messages.EVENTS),
                ("reasons", messages.REASONS),
            )
        ),
        "session diagram": session_diagram(),
        "session": _rows(("state", "what comes", "what is done", "next state"), list(transitions.TRANSITIONS)),
        "examples": examples(),
    }


def filled(text: str) -> str:
    for name, table in tables().items():
        pattern = re.compile(f"(<!-- {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        text, count = pattern.subn(lambda m, table=table: m[1] + table + "\n" + m[2], text)  # type: ignore[misc]  # the default binds the loop variable
        assert count == 1, name
    return text


if __name__ == "__main__":
    SPEC.write_text(filled(SPEC.read_text()))
