"""Bytes per ramp on the wire, against LZMA of the same ramps as fixed-width structures.

    .venv/bin/python bench/wire_bytes.py

Bars (LINK.md): at most 4.5 bytes per ramp on average, and within 1.25 of LZMA. Drawings: the demo pictures and the
synthetic ones of drawing_sets.py, planned for the default rig. Nothing is timed, so every run prints the same.
"""

from __future__ import annotations

import lzma
import sys
from pathlib import Path

import drawing_sets
import numpy as np
from numpy.typing import NDArray
from rich.console import Console
from rich.table import Table

from linewire.framing import CHECKSUM, HEADER
from linewright import motion
from linewright.planning.pipeline import Placement, PlanTask, prepare
from linewright.program.program import Program
from linewright.rig.rig import Rig

ROOT = Path(__file__).resolve().parent.parent
MOST_BYTES, MOST_RATIO = 4.5, 1.25

# Header, checksum, first record number, one byte of stuffing, delimiter.
FRAME_BYTES = HEADER + CHECKSUM + 4 + 2
# Literal context, position and alignment bits that suit records of 4 and 8 bytes: LZMA gets to choose the best.
LZMA_SHAPES = ((3, 0, 2), (0, 0, 2), (1, 3, 3), (0, 3, 3), (0, 2, 2))


def lzma_bytes(program: Program) -> int:
    """Smallest LZMA2 size of the ramps alone, as structures i16, i16, i32, at the highest effort and over all
    layouts.
    """
    ramp = program.is_ramp
    columns = [program.da[ramp].astype("<i2"), program.db[ramp].astype("<i2"), program.v_end[ramp].astype("<i4")]
    data = np.rec.fromarrays(columns).tobytes()
    best = len(data)
    for lc, lp, pb in LZMA_SHAPES:
        filters = [{"id": lzma.FILTER_LZMA2, "preset": 9 | lzma.PRESET_EXTREME, "lc": lc, "lp": lp, "pb": pb}]
        best = min(best, len(lzma.compress(data, format=lzma.FORMAT_RAW, filters=filters)))
    return best


def measure(program: Program) -> NDArray[np.float64]:
    """Ramps, payload bytes (pen actions included), bytes on the wire, bytes of LZMA."""
    packed = program.packed()
    size = len(packed.data)
    return np.array([program.ramps, size, size + FRAME_BYTES * len(packed), lzma_bytes(program)], dtype=np.float64)


def show(title: str, programs: dict[str, Program]) -> tuple[float, float]:
    """Print one table; returns bytes per ramp and ratio to LZMA over all of it."""
    table = Table("drawing", "ramps", "bytes/ramp", "on the wire", "LZMA", "ratio", title=title)
    rows = {name: measure(program) for name, program in programs.items()}
    rows["all"] = np.sum(list(rows.values()), axis=0)
    for name, (ramps, packed, wire, reference) in rows.items():
        figures = (f"{ramps:,.0f}", *(f"{x:.2f}" for x in (packed / ramps, wire / ramps, reference / ramps)))
        table.add_row(name, *figures, f"{packed / reference:.2f}")
    Console(width=100).print(table)
    ramps, packed, _, reference = rows["all"]
    return packed / ramps, packed / reference


def main() -> int:
    """Print both tables and compare the demo pictures with the bars."""
    rig = Rig.default()
    show("synthetic", {name: motion.plan(drawing, rig) for name, drawing in drawing_sets.drawings().items()})
    files = sorted((ROOT / "demo").glob("*.svg"))
    per_ramp, ratio = show(
        "demo", {file.stem: prepare(PlanTask(str(file), rig, Placement(sheet="A4"))).program for file in files}
    )
    print(f"bars: {per_ramp:.2f} of {MOST_BYTES} bytes per ramp, {ratio:.2f} of {MOST_RATIO} times LZMA")
    return 0 if per_ramp <= MOST_BYTES and ratio <= MOST_RATIO else 1


if __name__ == "__main__":
    sys.exit(main())
