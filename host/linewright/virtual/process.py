"""The virtual rig as a process: it serves one host at a socket with one board, one tape and one report.

    python -m linewright.virtual [--rig rig.toml] [--listen 127.0.0.1:0] [--tape FILE] [--report FILE]
                                 [--interpreter cpython|micropython] [--fault name=value ...] [--stay]

It prints ``listening on 127.0.0.1:PORT`` and runs until the host has disconnected and the board is at rest (with
``--stay`` it serves further hosts), until SIGTERM or Ctrl-C, or (with ``--leash``) until standard input ends. Lines on
standard input are for `linewright.virtual.bystander`. At the end it closes the tape, writes the report, and leaves no
process behind.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import importlib
import ipaddress
import json
import os
import select
import shutil
import socket
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from types import FrameType
from typing import Any, Final

from linewright.errors import InputError, LinewrightError, PortError
from linewright.files import replacing
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.tape import TapeWriter
from linewright.system import signals
from linewright.system.pipes import WatchedPipe
from linewright.units import TICK_HZ
from linewright.virtual.bystander import Bystander
from linewright.virtual.wires import LISTENING, RigEnds, SocketWire
from linewright.virtual.world import World

LEASH_S: Final = 0.02
"""Longest time within which a dying process closes all of its pipes and sockets."""
INTERPRETERS: Final = ("cpython", "micropython")


def main(argv: Sequence[str] | None = None) -> int:
    """Entry point of ``python -m linewright.virtual``; returns the exit code: 0 planned end, 1 failure, 2 wrong
    options.
    """
    try:
        return serve(argv)
    except LinewrightError as error:
        print(error, file=sys.stderr)
        if error.hint:
            print(f"  next: {error.hint}", file=sys.stderr)
        return 2 if isinstance(error, InputError) else 1


def serve(argv: Sequence[str] | None = None, *, ready: Callable[[str], None] = lambda _: None) -> int:
    """Run the rig with these arguments. Returns 0 after a planned end, 1 if the board's code failed.

    Parameters
    ----------
    argv : as on the command line.
    ready : called with the address once the rig listens.

    Raises
    ------
    InputError
        If an option is wrong, or a file cannot be written.
    PortError
        If the rig cannot listen there, or there is no MicroPython to run the board's code.
    """
    options = _options(argv)
    machine = _machine(options)
    faults = Faults.parse(options.fault)
    host, port = _address(options.listen)
    leash = WatchedPipe(sys.stdin.fileno()) if options.leash or options.hands else None
    if options.interpreter == "micropython":
        from linewright.virtual.pipe import find_micropython

        find_micropython()  # fail before a host connects
    try:
        return _run(options, machine, faults, (host, port), ready, leash)
    except RigEnds:
        return 0
    except OSError as error:
        raise InputError(
            f"the virtual rig cannot go on: {error}", hint="check the folder, its permissions and the free space"
        ) from error
    finally:
        if options.folder is not None and leash is not None and _has_ended(leash):
            shutil.rmtree(options.folder, ignore_errors=True)


def _options(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m linewright.virtual",
        description="A drawing machine without hardware: the board's own code on a simulated rig.",
        epilog="faults:\n" + Faults.described(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--rig", type=Path, help="rig file; without it the default rig")
    parser.add_argument("--machine", type=Path, help="JSON of linewright.simulation.machine instead of a rig file")
    parser.add_argument("--listen", default="127.0.0.1:0", help="loopback address and port; port 0 = any free one")
    parser.add_argument("--tape", type=Path, help="record every pulse in this file")
    parser.add_argument("--report", type=Path, help="JSON file written at the end")
    parser.add_argument(
        "--interpreter", choices=INTERPRETERS, default="cpython", help="interpreter of the board's code"
    )
    parser.add_argument("--fault", action="append", default=[], metavar="NAME=VALUE", help="see below; may be repeated")
    parser.add_argument("--real-time", action="store_true", help="never run faster than a real machine")
    parser.add_argument("--stay", action="store_true", help="wait for the next host when one leaves")
    parser.add_argument("--folder", type=Path, help="folder removed at the end if the leash has ended")
    parser.add_argument("--leash", action="store_true", help="end when standard input ends")
    parser.add_argument("--hands", action="store_true", help="as --leash, for commands typed by a person")
    return parser.parse_args(argv)


def _machine(options: argparse.Namespace) -> Machine:
    if options.machine is not None:
        try:
            return Machine.from_json(options.machine.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise InputError(f"cannot use {options.machine}: {error}") from error
    # Imported late, because the rig's validation takes half of this process' start-up time.
    from linewright.rig.rig import Rig

    return Machine.from_rig(Rig.load(options.rig) if options.rig is not None else Rig.default())


def _address(text: str) -> tuple[str, int]:
    host, _, port = text.rpartition(":")
    try:
        number = int(port)
        if not 0 <= number <= 65535:
            raise ValueError
        loopback = host == "localhost" or ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        raise InputError(f"--listen {text!r} is not an address and a port", hint="such as 127.0.0.1:0") from None
    if not loopback:
        raise InputError(
            f"--listen {text!r} is not a loopback address",
            hint="the link has no passwords, so the virtual rig accepts only this computer",
        )
    return host.strip("[]"), number


def _run(
    options: argparse.Namespace,
    machine: Machine,
    faults: Faults,
    where: tuple[str, int],
    ready: Callable[[str], None],
    leash: WatchedPipe | None,
) -> int:
    host, port = where
    signals.handle(_on_signal, signals.TERMINATE, signals.INTERRUPT)
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = _listener(host, port, family)
    address = listener.getsockname()[:2]
    began_s = time.monotonic()
    ended, error, code = "", "", 0
    world: World | None = None
    wire: SocketWire | None = None
    with TapeWriter(options.tape, machine, faults) as tape:
        try:
            print(f"{LISTENING}{host}:{address[1]}", flush=True)
            ready(f"{host}:{address[1]}")
            bystander = Bystander(in_words=options.hands)
            connection = _accept(listener, leash, bystander.hear)
            listener.close()  # one host at a time: a second one is refused instead of queued
            listen = functools.partial(socket.create_server, address, family=family) if options.stay else None
            wire = SocketWire(
                connection, leash=leash, on_leash=bystander.hear, real_time=options.real_time, listen=listen
            )
            with contextlib.closing(wire):
                world = bystander.world = World(wire, machine, faults, tape)
                _run_board(options.interpreter, world)
        except RigEnds as end:
            ended = end.why
        except LinewrightError as problem:
            ended = error = str(problem)
            raise
        except Exception as problem:  # any failure of the board's code goes into the report
            ended, error, code = f"the board's code failed: {problem}", traceback.format_exc(), 1
            print(error, file=sys.stderr)
        finally:
            listener.close()
            # A second signal must not interrupt the clean-up.
            signals.ignore(signals.TERMINATE, signals.INTERRUPT)
            if world is not None:
                world.finish()
            if options.report is not None:
                _write_report(options, world, wire, ended, error, time.monotonic() - began_s)
    return code


def _has_ended(leash: WatchedPipe) -> bool:
    """Whether the parent process has ended. A killed process closes its pipes one after the other."""
    while select.select([leash], [], [], LEASH_S)[0]:
        if not leash.read(4096):
            return True
    return False


def _listener(host: str, port: int, family: socket.AddressFamily) -> socket.socket:
    try:
        return socket.create_server((host, port), family=family)
    except OSError as error:
        # Not strerror, because `create_server` appends the address, which the message has already.
        why = os.strerror(error.errno) if error.errno else str(error)
        raise PortError(
            f"the virtual rig cannot listen on {host}:{port}: {why.lower()}",
            hint="name another port with --listen, or port 0 for any free one",
        ) from error


def _on_signal(number: int, frame: FrameType | None) -> None:  # noqa: ARG001  signature of a signal handler
    raise RigEnds(f"asked to end by {signals.name(number)}")


def _accept(listener: socket.socket, leash: WatchedPipe | None, hear: Callable[[bytes], None]) -> socket.socket:
    """Wait for the host; lines on standard input meanwhile go to the bystander."""
    watched: list[socket.socket | WatchedPipe] = [listener] if leash is None else [listener, leash]
    while True:
        readable, _, _ = select.select(watched, [], [])
        if listener in readable:
            connection, _ = listener.accept()
            return connection
        said = b"" if leash is None else leash.read(4096)
        if not said:
            raise RigEnds("the process that started the rig has ended")
        hear(said)


def _run_board(interpreter: str, world: World) -> None:
    """Run the board's code until an exception ends it."""
    from linewright.board import files as board_files  # slow: reads the board's files

    digest = board_files.digest()
    session = 1 + int.from_bytes(os.urandom(2), "little") % 65535
    if interpreter == "micropython":
        from linewright.virtual.pipe import serve_micropython

        serve_micropython(world, digest, session)
        return
    # The board's code has no type hints, so it is typed as Any.
    board: Any = importlib.import_module("lineboard.board")
    ports: Any = importlib.import_module("lineboard.ports.virtual")
    board.Board(ports.VirtualPort(world), digest, session).run()


def _write_report(
    options: argparse.Namespace, world: World | None, wire: SocketWire | None, ended: str, error: str, real_s: float
) -> None:
    report: dict[str, object] = {
        "ended": ended,
        "error": error,
        "interpreter": options.interpreter,
        "tape": str(options.tape) if options.tape is not None else None,
        "real_s": real_s,
    }
    if world is not None:
        report |= {
            "virtual_s": world.now / TICK_HZ,
            "blocks": world.blocks,
            "words": world.words,
            "steps": list(world.steps),
            "homings": len(world.marks),
            "drift_steps": list(world.drift_steps),
            "carriage_mm": list(world.carriage_mm),
            "lost_steps": list(world.lost_steps),
            "bytes_from_host": world.bytes_in,
            "bytes_to_host": world.bytes_out,
            "bytes_lost": wire.lost_bytes if wire is not None else 0,
            "left_s": None if wire is None or wire.left_at is None else wire.left_at / TICK_HZ,
        }
    with replacing(options.report) as stream:
        stream.write(json.dumps(report, indent=2).encode() + b"\n")
