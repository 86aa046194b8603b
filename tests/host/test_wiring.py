"""The wiring diagram: every pin once, grounds everywhere, no crossing lines, and valid pictures."""

from __future__ import annotations

import io
import itertools
import json
import re
import xml.etree.ElementTree as ET

import pytest
import shapely
from PIL import Image

from linewright import cli
from linewright.errors import InputError
from linewright.pictures import svg_writer
from linewright.pictures.letters import lettered
from linewright.pictures.scene import Ink, Label
from linewright.pictures.wiring_picture import COLOURS, HEIGHT_MM, WIDTH_MM, wiring_scene
from linewright.rig.rig import Rig
from linewright.rig.wiring import KINDS, SECTIONS_MM2, Wiring, capacitor_v, section_mm2

REAL = Rig.default().changed({"board": "rp2040"})
RIGS = [
    REAL,
    REAL.changed({"supply.servo": "usb", "kinematics.type": "crossed-belt", "board": "rp2350"}),
    REAL.changed({"supply.servo": "regulator", "axis.x.endstop": "none", "supply.switch_v": 3.3}),
    REAL.changed({"axis.x.endstop": "none", "axis.y.endstop": "none", "name": "M" * 80, "pins.rest_current": 11}),
    REAL.changed({"supply.switch_v": 24.0, "pins.rest_current": 11, "supply.servo": "regulator"}),
    REAL.changed({"supply.switch_v": 24.0, "supply.power_sense": "optocoupler", "pins.motor_power": 12}),
    REAL.changed({"supply.motor_v": 60.0, "supply.power_sense": "divider", "pins.motor_power": 12}),
    REAL.changed({"supply.motor_v": None, "supply.motor_a": None, "driver.current_a": None, "supply.servo_a": None}),
]


@pytest.mark.parametrize("rig", RIGS)
def test_every_pin_is_wired_and_every_part_has_its_ground(rig):
    lines = Wiring.of(rig).lines
    ends = " ".join(f"{line.start} {line.end}" for line in lines)
    for name, pin in rig.pins:
        if name.startswith("endstop") and getattr(rig, name[-1]).endstop == "none":
            continue
        assert pin is None or f"GPIO {pin}" in ends
    grounded = {line.start for line in lines if line.end == "ground bar"}
    assert {"motor supply -", "board GND", "servo -", "driver A motor ground", "driver B logic ground"} <= grounded
    assert {line.kind for line in lines} <= set(KINDS) == set(COLOURS)
    # Grounds come first: nothing floats while the rest is being wired.
    assert lines[0].kind == "ground"
    assert all(line.mm2 in SECTIONS_MM2 for line in lines)


@pytest.mark.parametrize("rig", RIGS)
def test_no_line_crosses_another_and_no_word_leaves_the_picture(rig):
    scene = wiring_scene(rig, Wiring.of(rig))
    wires = [
        (item.name, shapely.LineString(item.points_mm))
        for item in scene.items
        if isinstance(item, Ink) and item.name in KINDS and len(item.points_mm) > 1
    ]
    assert len(wires) > 25
    for (one, a), (other, b) in itertools.combinations(wires, 2):
        if one != other:
            assert not a.intersects(b), (one, other, a.intersection(b).wkt)
    for item in scene.items:
        if isinstance(item, Ink):
            assert (item.points_mm >= 0).all()
            assert (item.points_mm <= [WIDTH_MM, HEIGHT_MM]).all()
        if isinstance(item, Label):
            assert item.as_strokes, "fonts differ from computer to computer"
            points = lettered(item).points_mm
            assert (points >= 0).all(), item.text
            assert (points <= [WIDTH_MM, HEIGHT_MM]).all(), item.text


@pytest.mark.parametrize("rig", RIGS)
def test_no_words_run_into_others_or_into_a_line(rig):
    """Letters are strokes, so what a picture shows is the same everywhere, and can be measured."""
    items = wiring_scene(rig, Wiring.of(rig)).items
    labels = [item for item in items if isinstance(item, Label)]
    boxes = []
    for label in labels:
        points = lettered(label).points_mm
        boxes.append(shapely.box(*points.min(axis=0), *points.max(axis=0)))
    tree = shapely.STRtree(boxes)
    one, other = tree.query(boxes, predicate="intersects")
    assert (one == other).all(), [(labels[i].text, labels[j].text) for i, j in zip(one, other, strict=True) if i != j]
    wires = [
        (item.name, shapely.LineString(item.points_mm))
        for item in items
        if isinstance(item, Ink) and item.name in KINDS and len(item.points_mm) > 1
    ]
    one, other = tree.query([wire for _, wire in wires], predicate="intersects")
    assert not len(one), [(wires[i], labels[j].text) for i, j in zip(one, other, strict=True)]


def test_wires_are_thick_enough():
    # Common practice, 5 A/mm2: 2.2 A want 0.44 mm2, the next that is made is 0.5.
    assert section_mm2(2.2) == 0.5
    assert section_mm2(12.0) == 2.5
    assert capacitor_v(24.0) == 35
    assert capacitor_v(48.0) == 100
    strong = {"driver.current_a": 1.5, "supply.motor_a": 10.0}
    wiring = Wiring.of(REAL.changed(strong))
    assert wiring.motor_fuse_a == 4.0  # 2 x 1.5 A x 1.25 = 3.75, the next of R10
    # Wires are sized for the fuse: 4 A need 0.8 mm2.
    assert min(line.mm2 for line in wiring.lines if line.kind == "motor supply") == 1.0
    # A supply of 7 A may never blow 4 A (2.1 x 4 = 8.4 A): its wires carry the full current, 7 A need 1.4 mm2.
    weak = Wiring.of(REAL.changed(strong | {"supply.motor_a": 7.0}))
    assert min(line.mm2 for line in weak.lines if line.kind == "motor supply") == 1.5
    with pytest.raises(InputError, match="more than 6 mm2 of wire carries"):
        section_mm2(30.1)
    with pytest.raises(InputError, match="no capacitor"):
        capacitor_v(72.0)


@pytest.mark.parametrize("volts", [5.0, 12.0, 24.0, 48.0])
def test_sensors_of_more_than_the_board_takes_have_a_fuse_a_resistor_and_every_end_of_their_optocoupler(volts):
    """5 A/mm2 (common practice); an infrared diode of 1.2 V at 2 to 3.3 mA (data sheets, from memory)."""
    lines = Wiring.of(REAL.changed({"supply.switch_v": volts})).lines
    for axis, pin in (("x", REAL.pins.endstop_x), ("y", REAL.pins.endstop_y)):
        for part in ("anode", "cathode", "collector", "emitter"):
            (line,) = [line for line in lines if f"optocoupler {part} {axis}" in (line.start + line.end)]
            assert ("GPIO" in line.start + line.end) == (part == "collector"), (
                "no side with its voltage meets the board"
            )
            if part == "anode":
                kohm = float(line.end.split(" kohm")[0])
                assert 2.0 <= (volts - 1.2) / kohm <= 3.3
        assert any(line.start == f"optocoupler collector {axis}" and line.end == f"board GPIO {pin}" for line in lines)
    fed = [line for line in lines if line.kind == "sensor supply"]
    assert len(fed) == 4
    for line in fed:
        assert float(re.search(r"fuse ([\d.]+) A", line.note)[1]) <= 5.0 * line.mm2
        assert "before the motor switch" in line.note, "a machine without motor power still sees its switches"


def test_the_picture_feeds_each_sensor_and_its_optocoupler():
    """Two stubs of its supply for each axis; the optocoupler with its resistor and the ground of what it switches."""
    plain, fed = (wiring_scene(rig, Wiring.of(rig)).items for rig in (REAL, REAL.changed({"supply.switch_v": 24.0})))
    lines = [[item.name for item in items if isinstance(item, Ink)] for items in (plain, fed)]
    assert [kinds.count("sensor supply") for kinds in lines] == [0, 4]
    assert lines[1].count("ground") == lines[0].count("ground") + 2
    assert [label.text for label in fed if isinstance(label, Label)].count("24 V, 8.2 kohm") == 2


def test_what_the_servo_hangs_on_changes_the_caution():
    own = " ".join(Wiring.of(REAL).cautions)
    usb = " ".join(Wiring.of(REAL.changed({"supply.servo": "usb"})).cautions)
    assert "500 mA" in usb
    assert "500 mA" not in own
    for text in (own, usb):
        for word in ("unplugged", "grounds", "3.3 V", "Mains", "switch within reach", "motor plug under power"):
            assert word in text


def test_pictures_and_table_from_the_command_line(tmp_path, capsys):
    svg, png = tmp_path / "wiring.svg", tmp_path / "wiring.PNG"
    assert cli.run(["rig", "wiring", "-o", str(svg), "-o", str(png)]) == 0
    out = capsys.readouterr().out
    assert "driver A step" in out
    assert "ground bar" in out
    assert ET.parse(svg).getroot().attrib["width"] == f"{WIDTH_MM:g}mm"
    assert Image.open(io.BytesIO(png.read_bytes())).size[0] == 1600
    assert cli.run(["rig", "wiring", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["motor_fuse_a"] == 3.15
    assert len(said["lines"]) == len(Wiring.of(Rig.default()).lines)
    assert cli.run(["rig", "wiring", "-o", "wiring.pdf"]) == 2
    assert "neither .svg nor .png" in capsys.readouterr().err
    assert cli.run(["rig", "wiring", "-o", str(tmp_path / "no" / "such.svg")]) == 2


def test_list_and_picture_agree_and_leave_no_pin_of_a_driver_open():
    wiring = Wiring.of(REAL)
    scene = wiring_scene(REAL, wiring)
    words = [item.text for item in scene.items if isinstance(item, Label)]
    for name in "AB":
        assert any(line.start == f"driver {name} microstep pins" and "set to 16" in line.note for line in wiring.lines)
        assert any(line.start == f"driver {name} sleep, reset" for line in wiring.lines)
    assert words.count("set 16 microsteps") == 2
    assert "16 microsteps" in wiring.cautions[7]
    # The legend agrees with the list.
    assert {line.mm2 for line in wiring.lines if line.kind == "ground"} == {0.14, 0.5, 0.75}
    assert "0.75, signals 0.14" in words
    # A plus at both capacitors, and one at the supply.
    assert words.count("+") == 3
    (servo,) = [line for line in wiring.lines if line.end == "servo +"]
    assert servo.note == f"fuse {wiring.servo_fuse_a:g} A"
    assert servo.note in words


@pytest.mark.parametrize("command", ["wiring", "check"])
def test_first_of_all_it_says_whose_machine_it_is(command, tmp_path, monkeypatch, capsys):
    # A rig.toml in the folder is not used unless it is named, and the output says so.
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rig.toml").write_text(Rig.default_text())
    assert cli.run(["rig", command]) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first == f"the default rig; name yours: linewright rig {command} rig.toml"
    assert cli.run(["rig", command, "rig.toml"]) == 0
    assert capsys.readouterr().out.splitlines()[0] == "the rig of rig.toml"
    for words, file in (([], None), (["rig.toml"], "rig.toml")):
        assert cli.run(["rig", command, *words, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["file"] == file


def test_a_name_with_signs_of_markup_stays_text():
    rig = REAL.changed({"name": "<b>&heron"})
    assert "&lt;b&gt;&amp;heron" in svg_writer.to_svg(wiring_scene(rig, Wiring.of(rig)))
