"""Saved programs with valid checksums that exceed the rig's limits are refused."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from linewire.messages import RATE
from linewright import cli, motion
from linewright.drawing.strokes import Drawing
from linewright.program import file as program_file
from linewright.program.duration import ramp_ticks
from linewright.program.program import PEN, Program
from linewright.rig.rig import Rig


@pytest.fixture(scope="module")
def made() -> Program:
    """Two strokes across the sheet."""
    return motion.plan(Drawing.from_strokes([[[10, 10], [200, 150]], [[40, 120], [180, 20]]]), Rig.default())


def forged(made: Program, path: Path, **columns: np.ndarray | tuple[int, int]) -> None:
    """Write the program with other records and their durations."""
    changed = replace(made, **columns)
    ticks = changed.ticks.copy()
    at = changed.is_ramp
    ticks[at] = ramp_ticks(changed.da[at], changed.db[at], changed.v_start[at], changed.v_end[at])
    program_file.save(replace(changed, ticks=ticks), path)
    program_file.load(path)  # the file itself is valid


def put(column: np.ndarray, record: int, value: int) -> np.ndarray:
    changed = column.copy()
    changed[record] = value
    return changed


def longest_even(made: Program) -> int:
    """The longest ramp at constant speed."""
    even = made.is_ramp & (made.v_start == made.v_end)
    return int(np.where(even, made.ticks, 0).argmax())


def beyond_the_reach(made: Program, path: Path) -> str:
    forged(made, path, start_steps=(-8000, 0))
    return "moves x -100.0.*reaches 0..310.*record 1 of"


def far_in_one_stroke(made: Program, path: Path) -> str:
    """In the middle, out and back."""
    out, back = (int(i) for i in np.flatnonzero(made.is_ramp & (made.stroke_of_record == 1))[:2])
    da = put(put(made.da, out, int(made.da[out]) - 5000), back, int(made.da[back]) + 5000)
    forged(made, path, da=da)
    return f"moves x -.*record {out + 1} of {len(made)}, stroke 2"


def beyond_the_rate(made: Program, path: Path) -> str:
    record = longest_even(made)
    forged(made, path, v_end=put(made.v_end, record, RATE))
    # The next ramp begins at the same speed.
    return rf"needs .* steps/s of motor [AB]; its step_rate_hz is .*record ({record + 1}|{record + 2}) of"


def beyond_the_acceleration(made: Program, path: Path) -> str:
    """Immediately at a speed within the motors' rates."""
    record = int(np.flatnonzero(made.is_ramp)[0])
    assert made.v_start[record] == 0
    forged(made, path, v_end=put(made.v_end, record, int(made.v_end[record]) * 2))
    return rf"accelerates by .* steps/s2; the rig's axes allow .*record ({record + 1}|{record + 2}) of"


def beyond_the_servo(made: Program, path: Path) -> str:
    record = int(np.flatnonzero(made.kind == PEN)[1])
    forged(made, path, servo_us=put(made.servo_us, record, 2400))
    return f"2400 us; the rig's pen allows 1300..1600 us.*record {record + 1} of"


@pytest.mark.parametrize(
    "forge", [beyond_the_reach, far_in_one_stroke, beyond_the_rate, beyond_the_acceleration, beyond_the_servo]
)
def test_a_forged_program_is_refused_before_the_machine_is_looked_for(
    forge: Callable[[Program, Path], str],
    made: Program,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """With exit code 2, value, limit and place; the named port does not exist."""
    job = tmp_path / "job.lw"
    expected = forge(made, job)
    assert cli.run(["draw", str(job), "--port", str(tmp_path / "no board"), "--json"]) == 2
    said = json.loads(capsys.readouterr().out)
    assert re.search(expected, said["error"]), said["error"]
    assert "plan the picture again" in said["hint"]


def test_the_program_itself_gets_as_far_as_the_port(
    made: Program, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An unchanged program is accepted, so the others are refused for their forged part."""
    job = tmp_path / "job.lw"
    forged(made, job)
    assert cli.run(["draw", str(job), "--port", str(tmp_path / "no board"), "--json"]) != 0
    assert "no board" in json.loads(capsys.readouterr().out)["error"]
