"""`Program`: everything needed to draw once. Built by the planner, described, saved, loaded, checked against a rig.

**The file** (``.lw``) is a zip archive of ``program.json`` and one ``.npy`` file (numpy's own format, no pickles) per
array. The JSON names format and version, the small values, and dtype, shape and SHA-256 of every array. A file is
believed only if all of that agrees and the records make sense together: every ramp has steps and a speed, the
durations are those of the board's formula, the pen comes down once per stroke. Whatever does not fit is refused, never
repaired.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from linewire.records import END, MAX_DWELL_MS, MAX_REST_TICKS, PEN, RAMP, REST, SERVO_HIGH_US, SERVO_LOW_US
from linewright import units
from linewright.drawing import Drawing, Pen
from linewright.errors import ProgramError, SheetError
from linewright.files import replacing
from linewright.motion.timing import ramp_ticks
from linewright.sheet import Sheet
from linewright.wirepack import pack

if TYPE_CHECKING:
    from linewright.rig import Rig

__all__ = ["END", "PEN", "RAMP", "REST", "PenGroup", "Program", "Trajectory"]

FORMAT: Final = "linewright program"
VERSION: Final = 1

FILE_LIMIT_BYTES: Final = 1 << 30
"""Most that an archive may unpack to. A ramp takes 41 bytes in arrays and a vertex 16, so a gigabyte is some twenty
million ramps, weeks of drawing; a file that claims more is damage or a trap."""

JSON_LIMIT_BYTES: Final = 4 << 20
"""Most that ``program.json`` may take: pens and warnings are a few kilobytes."""

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


@dataclass(frozen=True)
class PenGroup:
    """What is drawn with one pen: from leaving park to being back there.

    Parameters
    ----------
    pen : index into the drawing's pens.
    strokes, records : first, and one past the last.
    """

    pen: int
    strokes: tuple[int, int]
    records: tuple[int, int]


@dataclass(frozen=True, eq=False)
class Trajectory:
    """The planned motion of the pen, ramp by ramp, for views.

    Parameters
    ----------
    points_mm : (m + 1, 2) float64, machine mm: start of the program and end of every ramp.
    speed_mm_s : (m, 2) float64, along the path, at start and end of every ramp.
    stroke : (m,) int32, stroke drawn, -1 for travel.
    start_ticks : (m,) int64, playing time at which each ramp starts.
    ticks : (m,) int64, duration of each ramp.
    """

    points_mm: NDArray[np.float64]
    speed_mm_s: NDArray[np.float64]
    stroke: NDArray[np.int32]
    start_ticks: NDArray[np.int64]
    ticks: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Program:
    """A drawing, planned to the step and to the tick.

    Parameters
    ----------
    kind : (r,) uint8, kind of each record: `RAMP`, `PEN`, `REST` or `END` (the last record, and only that).
    da, db : (r,) int32, whole steps of the motors; 0 except in ramps.
    v_end : (r,) int32, path speed at the end of a ramp, steps/s in motor step space; 0 except in ramps.
    servo_us, dwell_ms : (r,) int32, servo pulse and wait of a pen action; 0 elsewhere.
    rest_ticks : (r,) int32, length of a rest; 0 elsewhere.
    ticks : (r,) int64, exact playing time of each record.
    stroke_of_record : (r,) int32, stroke that a ramp or a pen action belongs to; -1 for travel, rests and the end.
    start_steps : motor position at which the program starts, and ends: the rig's park position.
    steps_matrix : (2, 2) float64, steps/mm, the rig's kinematics matrix.
    drawing : the strokes as planned, machine mm, in the order in which they are drawn.
    groups : one per pen, in order.
    sheet, sheet_offset_mm : the sheet, and the machine position of its top left corner.
    rig_name, rig_fingerprint : the rig it was planned for.
    pen_width_mm : the rig's line width, for previews.
    warnings : plain sentences.
    """

    kind: NDArray[np.uint8]
    da: NDArray[np.int32]
    db: NDArray[np.int32]
    v_end: NDArray[np.int32]
    servo_us: NDArray[np.int32]
    dwell_ms: NDArray[np.int32]
    rest_ticks: NDArray[np.int32]
    ticks: NDArray[np.int64]
    stroke_of_record: NDArray[np.int32]
    start_steps: tuple[int, int]
    steps_matrix: NDArray[np.float64]
    drawing: Drawing
    groups: tuple[PenGroup, ...]
    sheet: Sheet
    sheet_offset_mm: tuple[float, float]
    rig_name: str
    rig_fingerprint: str
    pen_width_mm: float
    warnings: tuple[str, ...] = ()

    # What it amounts to

    def __len__(self) -> int:
        """Number of records."""
        return len(self.kind)

    @property
    def is_ramp(self) -> NDArray[np.bool_]:
        """(r,) bool: the record is a ramp."""
        return np.asarray(self.kind == RAMP)

    @property
    def ramps(self) -> int:
        """Number of ramps."""
        return int(np.count_nonzero(self.is_ramp))

    @cached_property
    def predicted_ticks(self) -> int:
        """Exact playing time of the whole program."""
        return int(self.ticks.sum())

    @property
    def predicted_s(self) -> float:
        """Playing time of the whole program, seconds."""
        return units.ticks_to_s(self.predicted_ticks)

    @cached_property
    def ticks_before(self) -> NDArray[np.int64]:
        """(r + 1,) int64: playing time before each record; the last entry is the whole time."""
        return np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(self.ticks)))

    @property
    def v_start(self) -> NDArray[np.int32]:
        """(r,) int32: path speed at the start of each ramp, steps/s; 0 for other records."""
        before = np.concatenate((np.zeros(1, dtype=np.int32), np.where(self.is_ramp, self.v_end, 0)[:-1]))
        return np.where(self.is_ramp, before, 0).astype(np.int32)

    @cached_property
    def position_steps(self) -> NDArray[np.int64]:
        """(r + 1, 2) int64: motor position before each record; the last entry is where the program ends."""
        moves = np.stack((self.da, self.db), axis=1).astype(np.int64)
        return np.asarray(np.concatenate((np.array([self.start_steps]), moves)).cumsum(axis=0))

    @property
    def end_steps(self) -> tuple[int, int]:
        """Motor position at the end."""
        a, b = self.position_steps[-1]
        return int(a), int(b)

    @cached_property
    def trajectory(self) -> Trajectory:
        """The planned motion in machine mm and mm/s."""
        at = np.flatnonzero(self.is_ramp)
        d_steps = np.stack((self.da[at], self.db[at]), axis=1).astype(np.float64)
        to_mm = np.linalg.inv(self.steps_matrix)
        d_mm = d_steps @ to_mm.T
        mm_per_step = np.hypot(*d_mm.T) / np.hypot(*d_steps.T)
        steps = np.concatenate((self.position_steps[:1], self.position_steps[at + 1]))
        speeds = np.stack((self.v_start[at], self.v_end[at]), axis=1) * mm_per_step[:, None]
        return Trajectory(
            points_mm=steps @ to_mm.T,
            speed_mm_s=speeds,
            stroke=self.stroke_of_record[at],
            start_ticks=self.ticks_before[at],
            ticks=self.ticks[at],
        )

    @cached_property
    def pen_down_mm(self) -> float:
        """Length of all strokes, mm."""
        return float(self.drawing.stroke_lengths_mm().sum())

    @cached_property
    def travel_mm(self) -> float:
        """Length of all pen-up moves, mm."""
        path = self.trajectory
        d_mm = np.diff(path.points_mm, axis=0)[path.stroke < 0]
        return float(np.hypot(d_mm[:, 0], d_mm[:, 1]).sum())

    def group_ticks(self, group: PenGroup) -> int:
        """Playing time of what one pen draws."""
        first, end = group.records
        return int(self.ticks_before[end] - self.ticks_before[first])

    @cached_property
    def frame_bytes(self) -> int:
        """Bytes of all move records as they go into frames (payloads, without framing)."""
        return len(pack(*self.wire_columns()).data)

    def wire_columns(self) -> tuple[NDArray[np.uint8], NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
        """Kind, first number, second number and end speed of every record, as `linewright.wirepack.pack` takes them."""
        first = np.where(self.kind == PEN, self.servo_us, np.where(self.kind == REST, self.rest_ticks, self.da))
        second = np.where(self.kind == PEN, self.dwell_ms, self.db)
        return self.kind, first, second, self.v_end

    def describe(self) -> dict[str, Any]:
        """The figures that scripts want, ready for JSON."""
        return {
            "strokes": len(self.drawing),
            "vertices": self.drawing.vertices,
            "pens": [
                {
                    "name": self.drawing.pens[group.pen].name,
                    "strokes": group.strokes[1] - group.strokes[0],
                    "predicted_s": units.ticks_to_s(self.group_ticks(group)),
                }
                for group in self.groups
            ],
            "pen_down_mm": round(self.pen_down_mm, 3),
            "travel_mm": round(self.travel_mm, 3),
            "ramps": self.ramps,
            "records": len(self),
            "frame_bytes": self.frame_bytes,
            "predicted_s": self.predicted_s,
            "predicted_ticks": self.predicted_ticks,
            "rig": self.rig_name,
            "rig_fingerprint": self.rig_fingerprint,
            "warnings": list(self.warnings),
        }

    def check_rig(self, rig: Rig) -> None:
        """Refuse a rig that moves differently from the one this was planned for.

        Raises
        ------
        ProgramError
        """
        if rig.fingerprint() != self.rig_fingerprint:
            raise ProgramError(
                f"this program was planned for the rig '{self.rig_name}' ({self.rig_fingerprint[:8]}); "
                f"the rig '{rig.name}' ({rig.fingerprint()[:8]}) moves differently",
                hint="plan the picture again with this rig",
            )

    # The file

    def save(self, path: str | Path) -> None:
        """Write the program to a file, whole or not at all.

        Raises
        ------
        ProgramError
            If the file cannot be written.
        """
        try:
            with replacing(path) as stream:
                self._write(stream)
        except OSError as error:
            raise ProgramError(
                f"cannot write {path}: {error.strerror or error}", hint="check the folder, its rights and free space"
            ) from error

    def _write(self, stream: Any) -> None:
        arrays = {name: getattr(self, name) for name in _COLUMNS}
        arrays |= {name: getattr(self.drawing, name) for name in _DRAWING}
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
                "start_steps": self.start_steps,
                "steps_matrix": self.steps_matrix.tolist(),
                "pens": [[pen.name, pen.colour, pen.width_mm] for pen in self.drawing.pens],
                "groups": [[g.pen, *g.strokes, *g.records] for g in self.groups],
                "sheet": [self.sheet.width_mm, self.sheet.height_mm, self.sheet.margin_mm, self.sheet.name],
                "sheet_offset_mm": self.sheet_offset_mm,
                "rig_name": self.rig_name,
                "rig_fingerprint": self.rig_fingerprint,
                "pen_width_mm": self.pen_width_mm,
                "warnings": self.warnings,
                "predicted_ticks": self.predicted_ticks,
            }
            archive.writestr("program.json", json.dumps(about, indent=1))

    @classmethod
    def load(cls, path: str | Path) -> Program:
        """Read a saved program.

        Raises
        ------
        ProgramError
            If the file cannot be read, is not a program, is damaged, or was written by another version.
        """
        hint = "plan the picture again and save it anew"
        try:
            with zipfile.ZipFile(path) as archive:
                return _Reader(archive).program()
        except OSError as error:
            raise ProgramError(f"cannot read {path}: {error.strerror or error}", hint=hint) from error
        except _DamageError as error:
            raise ProgramError(f"{path}: {error}", hint=hint) from error
        # What zipfile, zlib, json and numpy raise on damaged bytes; KeyError and TypeError are JSON of the wrong shape.
        except (zipfile.BadZipFile, ValueError, KeyError, TypeError, EOFError, SheetError, OverflowError) as error:
            raise ProgramError(f"{path} is no saved program, or is damaged ({error})", hint=hint) from error
        except (zipfile.LargeZipFile, NotImplementedError, RuntimeError, MemoryError, RecursionError) as error:
            raise ProgramError(f"{path} is no program of ours ({error})", hint=hint) from error
        except Exception as error:
            if type(error).__module__ != "zlib":  # zlib.error is not exported under a class of its own
                raise
            raise ProgramError(f"{path} is damaged ({error})", hint=hint) from error


class _DamageError(Exception):
    """The archive holds something else than it says."""


def _require(holds: bool, what: str) -> None:
    if not holds:
        raise _DamageError(what)


class _Reader:
    """Reads one archive, believing nothing."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        members = archive.infolist()
        names = [member.filename for member in members]
        expected = sorted(["program.json", *(f"{name}.npy" for name in (*_COLUMNS, *_DRAWING))])
        _require(sorted(names) == expected, "not the files that a saved program has")
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
        # The size in the directory may lie: read no more than one byte past it.
        with self._archive.open(name) as member:
            data = member.read(size + 1)
        _require(len(data) == size, f"{name} is not as long as the archive says")
        return data

    def _array(self, name: str, dtype: str) -> NDArray[Any]:
        said = self._about["arrays"][name]
        data = io.BytesIO(self._bytes(f"{name}.npy", FILE_LIMIT_BYTES))
        array: NDArray[Any] = np.lib.format.read_array(data, allow_pickle=False)
        _require(
            array.dtype == np.dtype(dtype) and said["dtype"] == dtype and list(array.shape) == said["shape"],
            f"{name} has type {array.dtype} and shape {array.shape}",
        )
        digest = hashlib.sha256(np.ascontiguousarray(array).tobytes()).hexdigest()
        _require(digest == said["sha256"], f"{name} does not match its checksum")
        array.setflags(write=False)
        return array

    def program(self) -> Program:
        about = self._about
        columns = {name: self._array(name, dtype) for name, dtype in _COLUMNS.items()}
        places = {name: self._array(name, dtype) for name, dtype in _DRAWING.items()}
        pens = tuple(Pen(str(n), str(c), None if w is None else float(w)) for n, c, w in about["pens"])
        width, height, margin, name = about["sheet"]
        offset_x, offset_y = (float(v) for v in about["sheet_offset_mm"])
        start_a, start_b = (int(v) for v in about["start_steps"])
        matrix = np.array(about["steps_matrix"], dtype=np.float64)
        _require(matrix.shape == (2, 2) and bool(np.isfinite(matrix).all()), "the steps per mm are no 2 x 2 matrix")
        _require(abs(float(np.linalg.det(matrix))) > 0.0, "the steps per mm lead nowhere")
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
            sheet_offset_mm=(offset_x, offset_y),
            rig_name=str(about["rig_name"]),
            rig_fingerprint=str(about["rig_fingerprint"]),
            pen_width_mm=float(about["pen_width_mm"]),
            warnings=tuple(str(text) for text in about["warnings"]),
        )
        _check_sense(program)
        _require(about["predicted_ticks"] == program.predicted_ticks, "the playing time is not the sum of its records")
        return replace(program)


def _check_sense(program: Program) -> None:
    """Refuse records that could not have come from the planner."""
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
    pulses, dwell = program.servo_us[pen], program.dwell_ms[pen]
    _require(bool(np.all((pulses >= SERVO_LOW_US) & (pulses <= SERVO_HIGH_US))), "a servo pulse out of range")
    _require(bool(np.all((dwell >= 0) & (dwell <= MAX_DWELL_MS))), "a pen wait out of range")
    rests = program.rest_ticks[rest]
    _require(bool(np.all((rests >= 0) & (rests <= MAX_REST_TICKS))), "a rest out of range")
    ticks = np.zeros(len(kind), dtype=np.int64)
    ticks[ramp] = ramp_ticks(program.da[ramp], program.db[ramp], program.v_start[ramp], program.v_end[ramp])
    ticks[pen] = dwell.astype(np.int64) * units.ms_to_ticks(1)
    ticks[rest] = rests
    _require(bool(np.array_equal(ticks, program.ticks)), "the durations are not those of this version's timing")

    strokes = program.stroke_of_record
    count = len(drawing)
    _require(bool(np.all((strokes >= -1) & (strokes < count))), "a record of an unknown stroke")
    _require(
        bool(np.array_equal(strokes[pen], np.repeat(np.arange(count), 2))), "the pen does not visit each stroke once"
    )
    edges = [group.strokes[0] for group in program.groups] + [count]
    records = [group.records[0] for group in program.groups] + [len(kind)]
    _require(
        len(program.groups) > 0
        and edges[0] == records[0] == 0
        and all(g.strokes == s for g, s in zip(program.groups, pairwise(edges), strict=True))
        and all(g.records == r for g, r in zip(program.groups, pairwise(records), strict=True))
        and all(0 <= g.pen < len(drawing.pens) for g in program.groups)
        and edges == sorted(edges)
        and records == sorted(records),
        "the pens' parts do not make up the whole",
    )
