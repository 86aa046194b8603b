"""The public interface: examples of docs/LIBRARY.md run, names exist, imports are lazy."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import threading
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

import linewright as lw
from linewright import library
from linewright.errors import InputError, LinkError, ProgramError, SourceError
from linewright.run import journal

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "LIBRARY.md").read_text(encoding="utf-8")
SCRIPTS = re.findall(r"^## (\d)\. [^\n]*\n.*?^```python\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
SQUARE = [(0, 0), (20, 0), (20, 20), (0, 20), (0, 0)]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(autouse=True)
def place(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    for name in ("heron.svg", "heron.jpg"):
        shutil.copy(ROOT / "demo" / name, tmp_path)
    return tmp_path


def test_there_are_five_scripts():
    assert [number for number, _ in SCRIPTS] == list("12345")


@pytest.mark.slow
@pytest.mark.parametrize(("number", "script"), SCRIPTS)
def test_a_script_of_the_page_runs(number, script, capsys):
    if number == "3":
        pytest.importorskip("skimage")
    exec(compile(script, f"docs/LIBRARY.md, script {number}", "exec"), {"__name__": f"script_{number}"})
    if number == "3":
        assert capsys.readouterr().out.count(" min ") == 3
    if number == "4":
        assert "4 tags in" in capsys.readouterr().out
        assert len(list(Path().glob("tag-*.lw"))) == 4
    if number == "5":
        assert journal.unfinished() == []


def test_every_public_name_is_there_and_is_explained():
    page_names = set(re.findall(r"`lw\.(\w+)", PAGE))
    assert page_names <= set(lw.__all__)
    for name in lw.__all__:
        found = getattr(lw, name)
        assert name.startswith("__") or found.__doc__, name
    assert set(dir(lw)) == set(lw.__all__)
    with pytest.raises(AttributeError, match="has no attribute 'heron'"):
        _ = lw.heron


def test_importing_the_package_imports_nothing_heavy():
    said = "import sys, linewright; print(sorted({m.partition('.')[0] for m in sys.modules} & {'numpy', 'pydantic'}))"
    assert subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=True).stdout == "[]\n"


def test_a_drawing_of_ones_own_keeps_its_size_or_fills_the_sheet():
    square = lw.Drawing.from_strokes([np.array(SQUARE) + (300, -40)])
    kept = lw.plan(square, sheet="A5", fit=False)
    assert kept.ink_mm == pytest.approx(80.0, abs=0.05)
    filled = lw.plan(square, sheet="A5", margin_mm=10)
    # ISO 216: A5 is 148 mm wide.
    assert filled.ink_mm == pytest.approx(4 * (148 - 20), abs=0.1)
    assert filled.duration_s > kept.duration_s > 0
    assert kept.travel_mm > 0


def test_plans_and_drawings_show_themselves(monkeypatch):
    drawing = lw.Drawing.from_strokes([SQUARE, [(5, 5)]], [0, 1], (lw.Pen("black"), lw.Pen("a<b", "#a00000", 0.3)))
    shown = ElementTree.fromstring(drawing._repr_svg_())
    assert shown.get("viewBox") == "-5 -5 30 30"
    groups = shown.findall(f"{SVG}g")
    assert [one.get("stroke-width") for one in groups] == ["0.5", "0.3"]
    assert groups[1].find(f"{SVG}title").text == "a<b"
    assert groups[1].find(f"{SVG}path").get("d") == "M5,5h0"
    assert repr(drawing) == "<Drawing of 2 strokes with 6 vertices, pens: black, a<b>"
    plan = lw.plan(drawing, sheet="A6")
    assert repr(plan).startswith("<Plan 'drawing': 2 strokes, ")
    assert f"{plan.ink_mm / 1000:.2f} m of ink" in repr(plan)
    assert repr(plan).endswith(" s on A6, rig 'default'>")
    assert plan._repr_png_() is None
    assert ElementTree.fromstring(plan._repr_svg_()).tag == f"{SVG}svg"
    monkeypatch.setattr(library, "SHOWN_VERTICES", 3)
    assert plan._repr_svg_() is None
    assert plan._repr_png_().startswith(b"\x89PNG")
    assert "<polyline" in lw.pattern("wheels")._repr_svg_()


def test_what_is_wrong_is_said_before_anything_is_planned():
    with pytest.raises(SourceError, match="there is no such file"):
        lw.photograph("none.jpg")
    with pytest.raises(InputError, match="there is no method 'wheelz'"):
        lw.pattern("wheelz")
    with pytest.raises(InputError, match="hatching has no setting 'angel_deg'"):
        lw.photograph("heron.jpg", "hatching", angel_deg=3)


def test_a_plan_is_kept_and_belongs_to_its_rig(place):
    plan = lw.plan(lw.Drawing.from_strokes([SQUARE]), sheet="A6")
    with pytest.raises(InputError, match="does not end in"):
        plan.save("square.svg")
    plan.save("square.lw")
    assert lw.Plan.load("square.lw").program.predicted_ticks == plan.program.predicted_ticks
    with pytest.raises(ProgramError):
        lw.Plan.load("square.lw", lw.Rig.default().changed({"axis.x.travel_mm": 222.0}))


def test_pens_are_asked_for_in_words_and_the_drawing_waits():
    pens = (lw.Pen("black"), lw.Pen("red", "#a00000"))
    drawing = lw.Drawing.from_strokes([[(0, 0), (9, 0)], [(0, 5), (9, 5)]], [0, 1], pens)
    asked, threads = [], []

    def ask(what):
        asked.append(what)
        threads.append(threading.current_thread())

    seen = []
    assert lw.draw(lw.plan(drawing, sheet="A6"), ask=ask, on_progress=seen.append).finished
    assert asked == ["mount the pen 'black'", "mount the pen 'red'"]
    assert threads[1] is not threading.main_thread()
    assert any(now.state == "pen" for now in seen)


def test_a_port_that_is_not_there_is_a_link_error():
    with pytest.raises(LinkError):
        lw.draw(lw.plan(lw.Drawing.from_strokes([SQUARE]), sheet="A6"), "serial:/dev/none-of-this-name")


def test_nothing_to_carry_on_is_said():
    with pytest.raises(InputError, match="there is no drawing to resume"):
        lw.resume()
