"""Path of the pen tip of an elastic machine, computed independently of planner and virtual rig.

A program's records are read as SPEC.md of the wire and the kernel's docstring state them: a ramp is a straight piece
in steps with constant acceleration; the motor that makes more steps makes them at the moments of that motion, the other
one makes each of its own when it is nearest. The staircases that result drag each carriage through its backlash, and
this drives the tip as the damped oscillator ``y'' + 2 z w y' + w^2 y = w^2 x``, which scipy integrates
(`scipy.signal.lsim`, by matrix exponentials).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.signal
import shapely

TICK_S = 200e-9
GRID_S = 2.5e-4
RAMP, PEN = "ramp", "pen"


@dataclass(frozen=True)
class Axis:
    """One axis: natural frequency (Hz) and damping ratio; 0 Hz is stiff."""

    hz: float
    damping: float = 0.05


@dataclass(frozen=True)
class Traced:
    """Where the tip is, ``places_mm`` (n, 2) at ``seconds`` (n,), and when each stroke's pen is on the paper."""

    seconds: np.ndarray
    places_mm: np.ndarray
    drives_mm: np.ndarray
    on_paper: list[tuple[float, float]]


def dragged(drive_mm: np.ndarray, play_mm: float) -> np.ndarray:
    """Carriage behind a drive with backlash, homed in + direction: whichever side of the gap meets it moves it."""
    carriage, at = np.empty_like(drive_mm), float(drive_mm[0])
    for i, drive in enumerate(drive_mm.tolist()):
        if drive > at:
            at = drive  # pushed in the direction of homing, where drive and carriage agree
        elif drive + play_mm < at:
            at = drive + play_mm
        carriage[i] = at
    return carriage


def trace(program, kinds: dict[int, str], axes: tuple[Axis, Axis], play_mm=(0.0, 0.0)) -> Traced:
    """Play a program's columns; ``kinds`` says which numbers in ``kind`` stand for ramps and pen actions."""
    times, places = [np.zeros(1)], [np.array([program.start_steps], dtype=float)]
    now, speed, at = 0, 0.0, np.array(program.start_steps, dtype=float)
    downs, ups = [], []
    for i in range(len(program.kind)):
        kind = kinds.get(int(program.kind[i]))
        if kind == RAMP:
            move = np.array([program.da[i], program.db[i]], dtype=float)
            size = np.abs(move)
            n, length = int(size.max()), math.hypot(*move)
            v0, v1 = speed, float(program.v_end[i])
            done = np.arange(1, n + 1) / n
            v = np.sqrt(v0 * v0 + (v1 * v1 - v0 * v0) * done)
            seconds = 2.0 * length * done / (v0 + v)
            times.append(now * TICK_S + seconds / seconds[-1] * int(program.ticks[i]) * TICK_S)
            nearest = np.floor(np.arange(1, n + 1)[:, None] * size / n + 0.5)
            places.append(at + np.sign(move) * nearest)
            at, speed = at + move, v1
        elif kind == PEN:
            if program.dwell_ms[i]:
                # Down: on the paper when the wait is over. Up: off it when that is over, so that lifting is seen.
                (downs if len(downs) == len(ups) else ups).append((now + int(program.ticks[i])) * TICK_S)
                speed = 0.0
        else:
            speed = 0.0
        now += int(program.ticks[i])
    moment, steps = np.concatenate(times), np.concatenate(places)
    grid = np.arange(0.0, now * TICK_S + GRID_S, GRID_S)
    # Between two moments of the grid the drive is where it was on average: exact for what the oscillator can follow.
    area = np.concatenate((np.zeros((1, 2)), np.cumsum(steps[:-1] * np.diff(moment)[:, None], axis=0)))
    whole = np.column_stack([np.interp(grid, moment, area[:, j]) for j in (0, 1)])
    beyond = np.maximum(grid - moment[-1], 0.0)[:, None] * steps[-1]
    mean = np.diff(whole + beyond, axis=0) / GRID_S
    drive = np.vstack((mean, mean[-1:])) @ np.linalg.inv(program.steps_matrix).T
    drive = np.column_stack([dragged(drive[:, j], play_mm[j]) for j in (0, 1)])
    tip = np.empty_like(drive)
    for j, axis in enumerate(axes):
        if not axis.hz:
            tip[:, j] = drive[:, j]
            continue
        w = 2.0 * math.pi * axis.hz
        system = scipy.signal.lti([w * w], [1.0, 2.0 * axis.damping * w, w * w])
        start = drive[0, j]
        _, out, _ = scipy.signal.lsim(system, drive[:, j] - start, grid, interp=False)
        tip[:, j] = out + start
    return Traced(grid, tip, drive, list(zip(downs, ups, strict=True)))


def off_lines_mm(traced: Traced, strokes, through=lambda places: places) -> float:
    """Largest distance of the ink from its stroke, and of a stroke's vertices from the ink."""
    worst = 0.0
    for stroke, (down, up) in zip(strokes, traced.on_paper, strict=True):
        inside = (traced.seconds >= down) & (traced.seconds <= up)
        ink = through(traced.places_mm[inside])
        line = shapely.LineString(stroke) if len(stroke) > 1 else shapely.Point(stroke[0])
        drawn = shapely.LineString(ink)
        worst = max(
            worst,
            float(shapely.distance(shapely.points(ink), line).max()),
            float(shapely.distance(shapely.points(stroke), drawn).max()),
        )
    return worst
