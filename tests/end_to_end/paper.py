"""Combined ink of several runs of a drawing, stroke by stroke."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from whole_rig import STEP_MM, assert_clean

from linewright.simulation.replay import read_trace

TOLERANCE_MM = 2 * STEP_MM + 0.02  # both ends of a run are rounded to steps; a curve is flattened to 0.02 mm


@dataclass
class Paper:
    """Result of several runs: strokes cut short, strokes drawn twice completely, and the widest seam: the distance
    between the cut and the continuation of a stroke.
    """

    cut: int = 0
    twice: int = 0
    seam_mm: float = 0.0


def on_paper(program, tapes):
    """Check that the union of the runs is the drawing, in its order."""
    strokes = [line(points) for points in program.drawing]
    paper = Paper()
    due = 0
    parts = []  # of the next stroke

    def is_whole(ink, stroke):
        return 0 <= stroke < len(strokes) and shapely.hausdorff_distance(ink, strokes[stroke]) <= TOLERANCE_MM

    def is_part(run, stroke):
        return 0 <= stroke < len(strokes) and strokes[stroke].buffer(TOLERANCE_MM).covers(run)

    for tape in tapes:
        trace = read_trace(tape, keep_drawn=True)
        if tape == tapes[-1]:  # only a power cut breaks the limits of motion
            assert_clean(trace)
        for run in map(line, trace.drawn):
            if is_part(run, due):
                parts.append(run)
                ink_mm = sum(part.length for part in parts)  # a stroke that goes there and back lies on itself
                if is_whole(shapely.MultiLineString(parts), due) and ink_mm >= strokes[due].length - 2 * TOLERANCE_MM:
                    paper.cut += len(parts) - 1
                    for before, after in itertools.pairwise(parts):
                        seam_mm = shapely.Point(before.coords[-1]).distance(shapely.Point(after.coords[0]))
                        paper.seam_mm = max(paper.seam_mm, seam_mm)
                    due += 1
                    parts = []
            elif is_whole(run, due - 1):
                # A dot is drawn by lowering the pen, so an interrupted dot looks complete.
                is_dot = strokes[due - 1].length == 0
                paper.cut += is_dot
                paper.twice += not is_dot
            elif is_part(run, due - 1) and run.length <= 2 * TOLERANCE_MM:
                paper.cut += 1  # the last part of a stroke that counted as complete
            else:
                raise AssertionError(f"a run at {run.coords[0]} is no part of stroke {due}")
    assert due == len(strokes)
    assert not parts
    return paper


def line(points):
    return shapely.LineString(points if len(points) > 1 else np.repeat(points, 2, 0))
