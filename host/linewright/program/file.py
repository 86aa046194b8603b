"""Saved programs: the ``.lw`` file.

A zip archive of ``program.json`` and one ``.npy`` file (numpy's own format, no pickles) per array. The JSON names
format and version, the small values, and dtype, shape and SHA-256 of every array. A file is accepted only if all of
that agrees and the records are consistent: every ramp has steps and a speed, the durations are those of the board's
formula, the pen is lowered once per stroke. Other files are refused, never repaired.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
import re
import zipfile
import zlib
from dataclasses import asdict
from itertools import pairwise
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np
from numpy.typing import NDArray

from linewire.messages import I32_HIGH
from linewire.records import END, MAX_DWELL_MS, MAX_REST_TICKS, PEN, RAMP, REST, SERVO_HIGH_US, SERVO_LOW_US
from linewright import units
from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import ProgramError, SheetError
from linewright.files import opened, replacing
from linewright.machine.shape import MachineShape
from linewright.program.duration import ramp_ticks
from linewright.program.program import PenGroup, Program
from linewright.sheet.position import SheetPosition
from linewright.sheet.sizes import Sheet

FORMAT: Final = "linewright program"
VERSION: Final = 1

FILE_LIMIT_BYTES: Final = 192 << 20
"""Largest unpacked size of an archive. A record takes 37 bytes in arrays and a vertex 16, so this is some four million
ramps, days of drawing; a larger claim means damage or an attack. Checking needs about four times as much memory."""

JSON_LIMIT_BYTES: Final = 4 << 20
"""Largest size of ``program.json``; pens and warnings take a few kilobytes."""

_COLUMNS: Final = {
    "kind": "uint8",
    "da": "int32",
    "db": "int32",
    "v_end": "int32",
    "servo_us": "int32",
    "dwell_ms": "int32",
    "rest_ticks": "int32",
    "ticks": "int64",
    "stroke_of_record": "int32",
}
_DRAWING: Final = {"points_mm": "float64", "starts": "int64", "pen": "int64"}

_COLOUR: Final = re.compile(r"#[0-9a-fA-F]{6}")
"""Format of `Pen.colour`; previews rely on it."""


def save(program: Program, path: str | Path) -> None:
    """Write a program to a file, whole or not at all.

    Raises
    ------
    ProgramError
        If the file cannot be written.
    """
    try:
        with replacing(path) as stream:
            _write(program, stream)
    except OSError as error:
        raise ProgramError(
            f"cannot write {path}: {error.strerror or error}",
            hint="check the folder, its permissions and the free space",
        ) from error


def load(path: str | Path) -> Program:
    """Read a saved program.

    Raises
    ------
    ProgramError
        If the file cannot be read, is not a program, is damaged, or was written by another version.
    """
    hint = "plan the picture again and save the program"
    try:
        with opened(path) as stream, zipfile.ZipFile(stream) as archive:
            return _Reader(archive).program()
    except OSError as error:
        raise ProgramError(
            f"cannot read {path}: {error.strerror or error}", hint="check the name and the permissions"
        ) from error
    except (_DamageError, SheetError) as error:
        raise ProgramError(f"{path}: {error}", hint=hint) from error
    # What zipfile, zlib, json and numpy raise on damaged bytes; KeyError and TypeError are JSON of the wrong shape.
    except (
        zipfile.BadZipFile,
        zlib.error,
        ValueError,
        KeyError,
        TypeError,
        EOFError,
        OverflowError,
    ) as error:
        raise ProgramError(f"{path} is not a saved program, or is damaged", hint=hint) from error
    except (zipfile.LargeZipFile, NotImplementedError, RuntimeError, MemoryError, RecursionError) as error:
        raise ProgramError(f"{path} is not a Linewright program", hint=hint) from error


def _write(program: Program, stream: BinaryIO) -> None:
    arrays = {name: getattr(program, name) for name in _COLUMNS}
    arrays |= {name: getattr(program.drawing, name) for name in _DRAWING}
    listed: dict[str, Any] = {}
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=4) as archive:
        for name, array in arrays.items():
            plain = np.ascontiguousarray(array)
            listed[name] = {
                "dtype": plain.dtype.name,
                "shape": list(plain.shape),
                "sha256": hashlib.sha256(plain.tobytes()).hexdigest(),
            }
            with archive.open(f"{name}.npy", "w") as member:
                np.lib.format.write_array(member, plain, version=(1, 0), allow_pickle=False)
        about = {
            "format": FORMAT,
            "version": VERSION,
            "arrays": listed,
            "start_steps": program.start_steps,
            "steps_matrix": program.steps_matrix.tolist(),
            "pens": [[pen.name, pen.colour, pen.width_mm, pen.up_us, pen.down_us] for pen in program.drawing.pens],
            "groups": [[g.pen, *g.strokes, *g.records] for g in program.groups],
            "sheet": [program.sheet.width_mm, program.sheet.height_mm, program.sheet.margin_mm, program.sheet.name],
            "sheet_offset_mm": program.sheet_position.offset_mm,
            "sheet_turn_deg": program.sheet_position.turn_deg,
            "rig_name": program.rig_name,
            "rig_fingerprint": program.rig_fingerprint,
            "errors": asdict(program.shape),
            "pen_width_mm": program.pen_width_mm,
            "warnings": program.warnings,
            "predicted_ticks": program.predicted_ticks,
        }
        # The earliest date that zip knows, as for the other members, so that the same plan gives the same bytes.
        last = zipfile.ZipInfo("program.json")
        last.compress_type = zipfile.ZIP_DEFLATED
        archive.writestr(last, json.dumps(about, indent=1), compresslevel=4)


_LARGEST_STRETCH: Final = 1.5
"""Largest accepted stretch; the steepest tables and largest squareness error of a rig file give 1.1."""


class _DamageError(Exception):
    """The contents of the archive contradict its header."""


def _require(holds: bool, what: str) -> None:
    if not holds:
        raise _DamageError(what)


def _pen(name: object, colour: object, width: object, up_us: int | None = None, down_us: int | None = None) -> Pen:
    """A pen from the file; files of earlier versions have no heights per pen."""
    heights = [None if us is None else int(us) for us in (up_us, down_us)]
    return Pen(
        str(name), str(colour), None if width is None else _width_mm(width), up_us=heights[0], down_us=heights[1]
    )


def _width_mm(value: Any) -> float:
    width = float(value)
    _require(math.isfinite(width) and width > 0.0, f"a pen of {width} mm")
    return width


def _shape(said: Any) -> MachineShape:
    """The machine's known errors: numbers, and tables of (place, deviation) by ascending place."""
    straight = [tuple((float(at), float(off)) for at, off in said[name]) for name in ("straight_x", "straight_y")]
    (play_x, play_y), (home_x, home_y), (reach_x, reach_y) = said["play_mm"], said["home_sense"], said["reach_mm"]
    figures = [
        said["lean"],
        play_x,
        play_y,
        reach_x,
        reach_y,
        *(v for table in straight for pair in table for v in pair),
    ]
    _require(all(math.isfinite(float(v)) for v in figures), "a correction is not a number")
    _require(
        min(play_x, play_y, reach_x, reach_y) >= 0.0 and {home_x, home_y} <= {1, -1}, "a correction is out of range"
    )
    _require(
        all(a[0] < b[0] for table in straight for a, b in pairwise(table)), "straightness positions are not increasing"
    )
    errors = MachineShape(
        float(said["lean"]),
        straight[0],
        straight[1],
        (float(play_x), float(play_y)),
        (int(home_x), int(home_y)),
        (float(reach_x), float(reach_y)),
    )
    _require(not errors.bends or errors.stretch < _LARGEST_STRETCH, "the corrections map two points to one")
    return errors


class _Reader:
    """Reads one archive and checks everything in it."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        members = archive.infolist()
        names = [member.filename for member in members]
        expected = sorted(["program.json", *(f"{name}.npy" for name in (*_COLUMNS, *_DRAWING))])
        _require(sorted(names) == expected, "its members are not those of a saved program")
        total = sum(member.file_size for member in members)
        _require(total <= FILE_LIMIT_BYTES, f"unpacks to {total} bytes, more than {FILE_LIMIT_BYTES}")
        about = self._bytes("program.json", JSON_LIMIT_BYTES)
        self._about: dict[str, Any] = json.loads(about)
        _require(isinstance(self._about, dict) and self._about.get("format") == FORMAT, "not a Linewright program")
        version = self._about.get("version")
        _require(version == VERSION, f"format version {version}; this Linewright reads version {VERSION}")

    def _bytes(self, name: str, limit: int) -> bytes:
        size = self._archive.getinfo(name).file_size
        _require(size <= limit, f"{name} has {size} bytes, more than {limit}")
        # The size in the directory may be false: read at most one byte beyond it.
        with self._archive.open(name) as member:
            data = member.read(size + 1)
        _require(len(data) == size, f"{name} differs in length from the archive's directory")
        return data

    def _array(self, name: str, dtype: str) -> NDArray[Any]:
        said = self._about["arrays"][name]
        shape = tuple(int(length) for length in said["shape"])
        # Only points have two dimensions. The checks below would broadcast a column of shape (n, 1) to (n, n).
        fits = len(shape) == 2 and shape[1] == 2 if name == "points_mm" else len(shape) == 1
        _require(
            fits and min(shape) >= 0 and said["dtype"] == dtype, f"{name} has type {said['dtype']} and shape {shape}"
        )
        # Compare with the expected header instead of parsing this one, which could claim any size.
        header = io.BytesIO()
        plain = np.dtype(dtype)
        np.lib.format.write_array_header_1_0(
            header, {"descr": np.lib.format.dtype_to_descr(plain), "fortran_order": False, "shape": shape}
        )
        data = self._bytes(f"{name}.npy", FILE_LIMIT_BYTES)
        begin = len(header.getvalue())
        _require(data.startswith(header.getvalue()), f"{name} does not have type {dtype} and shape {shape}")
        _require(
            len(data) - begin == math.prod(shape) * plain.itemsize, f"the length of {name} does not match its shape"
        )
        _require(hashlib.sha256(data[begin:]).hexdigest() == said["sha256"], f"{name} does not match its checksum")
        return np.frombuffer(data, dtype=plain, offset=begin).reshape(shape)

    def program(self) -> Program:
        about = self._about
        columns = {name: self._array(name, dtype) for name, dtype in _COLUMNS.items()}
        places = {name: self._array(name, dtype) for name, dtype in _DRAWING.items()}
        pens = tuple(_pen(*one) for one in about["pens"])
        _require(all(_COLOUR.fullmatch(pen.colour) for pen in pens), "a pen's colour is not #rrggbb")
        width, height, margin, name = about["sheet"]
        offset_x, offset_y = (float(v) for v in about["sheet_offset_mm"])
        turn_deg = float(about.get("sheet_turn_deg", 0.0))  # missing in files of earlier versions
        _require(all(map(math.isfinite, (offset_x, offset_y, turn_deg))), "the sheet's position is not finite")
        start_a, start_b = (int(v) for v in about["start_steps"])
        _require(max(abs(start_a), abs(start_b)) <= I32_HIGH, "its start exceeds the board's 32 bits")
        matrix = np.array(about["steps_matrix"], dtype=np.float64)
        _require(matrix.shape == (2, 2) and bool(np.isfinite(matrix).all()), "the steps per mm are not a 2 x 2 matrix")
        _require(abs(float(np.linalg.det(matrix))) > 0.0, "the steps per mm are singular")
        program = Program(
            **columns,
            start_steps=(start_a, start_b),
            steps_matrix=matrix,
            drawing=Drawing(places["points_mm"], places["starts"], places["pen"], pens),
            groups=tuple(
                PenGroup(int(pen), (int(s), int(s_end)), (int(r), int(r_end)))
                for pen, s, s_end, r, r_end in about["groups"]
            ),
            sheet=Sheet(float(width), float(height), float(margin), str(name)),
            sheet_position=SheetPosition((offset_x, offset_y), turn_deg),
            rig_name=str(about["rig_name"]),
            rig_fingerprint=str(about["rig_fingerprint"]),
            shape=_shape(about["errors"]),
            pen_width_mm=_width_mm(about["pen_width_mm"]),
            warnings=tuple(str(text) for text in about["warnings"]),
        )
        _check_sense(program)
        _require(about["predicted_ticks"] == program.predicted_ticks, "the playing time is not the sum of its records")
        return program


def _check_sense(program: Program) -> None:
    """Refuse records that the planner cannot have made."""
    kind, drawing = program.kind, program.drawing
    lengths = {len(getattr(program, name)) for name in _COLUMNS}
    _require(len(lengths) == 1, "the record columns differ in length")
    _require(len(kind) > 0 and bool(np.all((kind == END) == (np.arange(len(kind)) == len(kind) - 1))), "no single end")
    _require(bool(kind.max(initial=0) <= END), "an unknown kind of record")
    _require(bool(np.all(np.diff(drawing.starts) > 0)) and bool(np.isfinite(drawing.points_mm).all()), "broken strokes")
    _require(
        bool(np.all((drawing.pen >= 0) & (drawing.pen < len(drawing.pens)))), "a stroke is drawn with an unknown pen"
    )

    ramp, pen, rest = kind == RAMP, kind == PEN, kind == REST
    moves = (program.da != 0) | (program.db != 0) | (program.v_end != 0)
    _require(not bool(np.any(moves & ~ramp)), "a record that is not a ramp moves")
    passing = program.in_passing
    stops = (pen & ~passing) | (kind == END)
    _require(not bool(np.any(stops[1:] & (program.v_end[:-1] != 0))), "the pen acts while it moves")
    between = ramp[:-2] & ramp[2:]
    _require(
        bool(np.all(np.flatnonzero(passing) > 0)) and not bool(np.any(passing[1:-1] & ~between)),
        "a pen action during a move is not between two ramps",
    )
    pulses, dwell = program.servo_us[pen], program.dwell_ms[pen]
    _require(bool(np.all((pulses >= SERVO_LOW_US) & (pulses <= SERVO_HIGH_US))), "a servo pulse is out of range")
    _require(bool(np.all((dwell >= 0) & (dwell <= MAX_DWELL_MS))), "a pen wait is out of range")
    rests = program.rest_ticks[rest]
    _require(bool(np.all((rests >= 0) & (rests <= MAX_REST_TICKS))), "a rest is out of range")
    ticks = np.zeros(len(kind), dtype=np.int64)
    ticks[ramp] = ramp_ticks(program.da[ramp], program.db[ramp], program.v_start[ramp], program.v_end[ramp])
    ticks[pen] = dwell.astype(np.int64) * units.ms_to_ticks(1)
    ticks[rest] = rests
    _require(bool(np.array_equal(ticks, program.ticks)), "the durations are not those of this version's timing")
    _require(program.end_steps == program.start_steps, "its last position is not its start")

    strokes = program.stroke_of_record
    count = len(drawing)
    _require(bool(np.all((strokes >= -1) & (strokes < count))), "a record refers to an unknown stroke")
    _require(
        bool(np.array_equal(strokes[program.pen_stops], np.repeat(np.arange(count), 2))),
        "the pen does not draw each stroke once",
    )
    edges = [group.strokes[0] for group in program.groups] + [count]
    records = [group.records[0] for group in program.groups] + [len(kind)]
    _require(
        len(program.groups) > 0
        and edges[0] == records[0] == 0
        and all(g.strokes == s for g, s in zip(program.groups, pairwise(edges), strict=True))
        and all(g.records == r for g, r in zip(program.groups, pairwise(records), strict=True))
        and edges == sorted(edges)
        and bool(np.array_equal(drawing.pen, np.repeat([g.pen for g in program.groups], np.diff(edges))))
        and records == sorted(records),
        "the parts of the pens do not add up to the program",
    )
