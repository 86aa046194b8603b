"""A machine with known errors, under the board's own code: true lines, even pressure, no limit exceeded."""

from __future__ import annotations

import numpy as np
import pytest

from end_to_end.whole_rig import assert_clean, circle, draw
from linewright.board.session import Session
from linewright.rig.rig import Rig
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.virtual.harness import LockstepRig

KNOWN = {
    "corrections.scale_x": 0.02,
    "corrections.scale_y": -0.015,
    "corrections.squareness_deg": 1.5,
    "corrections.backlash_x_mm": 0.4,
    "corrections.backlash_y_mm": 0.25,
    "corrections.pen_height.x_mm": [0.0, 310.0],
    "corrections.pen_height.y_mm": [0.0, 310.0],
    "corrections.pen_height.change_us": [[0.0, 120.0], [-90.0, 30.0]],
    "homing.passes": 1,
}
FAULTS = Faults(
    scale_x=0.02,
    scale_y=-0.015,
    skew_deg=1.5,
    backlash_x_mm=0.4,
    backlash_y_mm=0.25,
    paper_tilt_x_us=120.0,
    paper_tilt_y_us=-90.0,
)
STROKES = [
    [[20, 20], [120, 20], [120, 60], [20, 60], [20, 20]],
    circle(70, 40, 15),
    [[25, 55], [60, 25], [61, 26], [26, 56]],
    [[90, 40]],
]


@pytest.mark.parametrize("kind", ["cartesian", "crossed-belt"])
def test_known_errors_are_gone_on_the_board(tmp_path, kind):
    rig = Rig.default().changed(KNOWN | {"kinematics.type": kind})
    run = draw(tmp_path, STROKES, rig, faults=FAULTS)
    assert run.result.finished
    assert run.result.final_steps == run.result.expected_steps
    assert_clean(run.trace)
    found = run.trace.deviation
    assert (found.strokes_drawn, found.strokes_cut, found.stray_runs) == (len(STROKES), 0, 0)
    # Half a step of either motor, the take-up of both axes, and the tolerance of the circle's chords.
    assert found.max_mm < 0.06
    low, high = run.trace.pressure_us
    assert 20.0 < low <= high < 40.0


def test_the_same_drawing_is_far_off_while_they_are_not_known(tmp_path):
    run = draw(tmp_path, STROKES, Rig.default().changed({"homing.passes": 1}), faults=FAULTS)
    assert run.trace.deviation.max_mm > 2.0
    low, high = run.trace.pressure_us
    assert high - low > 40.0


def pen_mm(carriage_mm):
    """Pen position on rails that are not square."""
    x, y = carriage_mm
    return np.array([x + np.tan(np.radians(FAULTS.skew_deg)) * y, y])


def test_a_jog_ends_where_it_was_asked_and_says_so():
    rig = Rig.default().changed(KNOWN)
    lockstep = LockstepRig(Machine.from_rig(rig), faults=FAULTS)
    places = [(60.0, 30.0), (20.0, 50.0), (100.0, 10.0), (40.0, 45.0)]

    def host(link):
        session = Session(link, rig)
        session.greet()
        session.home()
        at = []
        for place in places:
            session.jog(place)
            report = session.fresh_report()
            at.append((rig.true_at((report["a"], report["b"])), pen_mm(lockstep.world.carriage_mm)))
        return at

    with lockstep.host_time():
        shown = lockstep.run(host)
    zero = shown[0][1] - places[0]  # position of the sheet's zero in the world
    for place, (said, truly) in zip(places, shown, strict=True):
        assert said == pytest.approx(place, abs=0.02)
        assert truly - zero == pytest.approx(place, abs=0.03)
