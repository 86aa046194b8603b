"""Bytes per ramp on the wire, against LZMA of the same ramps as fixed-width structures.

    .venv/bin/python bench/wire_bytes.py

Bars (LINK.md): at most 4.5 bytes per ramp on average, and within 1.25 of LZMA. Drawings: the demo pictures through the
real planner, and synthetic sets through the small planner of ramp_sets.py.
"""

from __future__ import annotations

import lzma
import sys
from pathlib import Path

import numpy as np
import ramp_sets
from numpy.typing import NDArray

from linewire.framing import CHECKSUM, HEADER
from linewright.motion import plan
from linewright.rig import Rig
from linewright.sheet import Sheet, place, to_machine
from linewright.sources.svg import read_svg
from linewright.tidy import tidy
from linewright.wirepack import pack

ROOT = Path(__file__).resolve().parent.parent
Columns = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]

# Header, checksum, first record number, one byte of stuffing, delimiter.
FRAME_BYTES = HEADER + CHECKSUM + 4 + 2
# Literal context, position and alignment bits that suit records of 4 and 8 bytes: LZMA gets to choose the best.
LZMA_SHAPES = ((3, 0, 2), (0, 0, 2), (1, 3, 3), (0, 3, 3), (0, 2, 2))


def lzma_bytes(columns: Columns) -> int:
    """Smallest LZMA2 of the ramps alone, as structures i16, i16, i32, at the highest effort and over all shapes."""
    kind, da, db, v_end = columns
    ramp = kind == 0
    data = np.rec.fromarrays([da[ramp].astype("<i2"), db[ramp].astype("<i2"), v_end[ramp].astype("<i4")]).tobytes()
    best = len(data)
    for lc, lp, pb in LZMA_SHAPES:
        filters = [{"id": lzma.FILTER_LZMA2, "preset": 9 | lzma.PRESET_EXTREME, "lc": lc, "lp": lp, "pb": pb}]
        best = min(best, len(lzma.compress(data, format=lzma.FORMAT_RAW, filters=filters)))
    return best


def demo() -> dict[str, Columns]:
    rig = Rig.default()
    sheet = Sheet.named("A4")
    out: dict[str, Columns] = {}
    for file in sorted((ROOT / "demo").glob("*.svg")):
        picture = read_svg(file)
        drawing = place(picture.drawing, (picture.width_mm, picture.height_mm), sheet)
        program = plan(to_machine(tidy(drawing), sheet, rig), rig)
        kind = program.kind.astype(np.int64)
        first = np.select([kind == 0, kind == 1, kind == 2], [program.da, program.servo_us, program.ticks])
        second = np.select([kind == 0, kind == 1], [program.db, program.dwell_ms])
        out[file.stem] = (kind, first, second, program.v_end.astype(np.int64))
    return out


def synthetic() -> dict[str, Columns]:
    out: dict[str, Columns] = {}
    for name, strokes in ramp_sets.drawings().items():
        kind, first, second, v_end = ramp_sets.ramps(strokes).T
        pens = np.cumsum(kind == 1) % 2
        servo = np.where(pens == 1, 1700, 1300)
        out[name] = (kind, np.where(kind == 1, servo, first), np.where(kind == 1, 250, second), v_end)
    return out


def table(title: str, sets: dict[str, Columns]) -> tuple[float, float]:
    print(f"{title:16s} {'ramps':>7s} {'payload':>8s} {'on the wire':>12s} {'LZMA':>6s} {'ratio':>6s}   bytes per ramp")
    totals = np.zeros(4)
    for name, columns in sets.items():
        ramps = int((columns[0] == 0).sum())
        packed = pack(*columns)
        row = np.array([ramps, len(packed.data), len(packed.data) + FRAME_BYTES * len(packed), lzma_bytes(columns)])
        totals += row
        line(name, row)
    line("all", totals)
    return totals[1] / totals[0], totals[1] / totals[3]


def line(name: str, row: NDArray[np.float64]) -> None:
    ramps, packed, wire, reference = row
    print(
        f"{name:16s} {ramps:7.0f} {packed / ramps:8.2f} {wire / ramps:12.2f} {reference / ramps:6.2f} "
        f"{packed / reference:6.2f}"
    )


if __name__ == "__main__":
    table("synthetic", synthetic())
    per_ramp, ratio = table("demo pictures", demo())
    print(f"bars: {per_ramp:.2f} of 4.5 bytes per ramp, {ratio:.2f} of 1.25 times LZMA")
    sys.exit(0 if per_ramp <= 4.5 and ratio <= 1.25 else 1)
