"""Writes docs/BRING-UP.md and docs/wiring.svg: bring-up of a new machine from the rig file to repeatable homing.

    .venv/bin/python tests/end_to_end/bring_up_walk.py

All output is real; the user works at a wrongly wired virtual rig and answers what
it shows. `test_bring_up_walk.py` repeats it and compares.
"""

from __future__ import annotations

import io
import os
import sys
import tempfile
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path

from rich.console import Console

from linewright import cli
from linewright.board.session import Session
from linewright.bringup.dialogue import Dialogue
from linewright.bringup.hands import Hands
from linewright.bringup.notebook import Notebook
from linewright.bringup.onlooker import Onlooker
from linewright.bringup.steps import STEPS
from linewright.cli.bring_up import WIDTH, DialogueScreen
from linewright.cli.tables import board as board_report
from linewright.pictures import svg_writer
from linewright.pictures.wiring_picture import wiring_scene
from linewright.rig.rig import Rig
from linewright.rig.wiring import Wiring
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.virtual.bystander import BesideWorld
from linewright.virtual.harness import LockstepRig, LockstepWire

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "BRING-UP.md"
PICTURE = ROOT / "docs" / "wiring.svg"

ANSWERS = ("--usual", "--answer", "name=harbour rig", "--answer", "board=virtual")
WRONG = Faults(swapped_endstops=1.0, swapped_motors=1.0, reversed_a=1.0, inverted_servo=1.0)
MENDED = Faults(swapped_endstops=1.0, reversed_a=1.0, inverted_servo=1.0)
"""Faults after the user has swapped the two motor plugs."""

HEAD = """\
# A machine's first day

This is how a machine comes to life with Linewright: what a newcomer, with a machine that is just screwed together,
sees and answers. The machine here is a virtual rig that is wired wrong in four ways, which its owner does not know: the
two endstops sit on each other's pins, the two motor plugs are exchanged, motor A turns the wrong way, and the servo's
arm points the other way. Lines that begin with `>` are typed. What stands in brackets as "virtual rig" is what eyes and
fingers do at a real machine.

This page and its picture are written by `tests/end_to_end/bring_up_walk.py`, and a test makes the walk again, so what
stands here is what the program says.

You can take the same walk yourself, without any hardware:

```
linewright board bring-up --rig rig.toml --port virtual:swapped_endstops=1,reversed_a=1,inverted_servo=1
```

## The rig file

"""

WIRED = """
## The wiring

`linewright rig wiring rig.toml -o wiring.svg` draws it; without `-o` it lists every wire, with colour and thickness.

![the wiring of the harbour rig](wiring.svg)

## The first evening

```
$ linewright board bring-up --rig rig.toml --port virtual
"""

EVENING_ENDS = """\
```

## The next day

```
$ linewright board bring-up --rig rig.toml --port virtual
"""

END = """\
```

Four faults, three of them put right in the rig file, one by exchanging two plugs; the file as it was stays beside it.
"""


class Newcomer(Onlooker):
    """Answers by observation; asks for help once, corrects what is requested, and stops at the end of the evening."""

    def __init__(self, world, rig, typed):
        super().__init__(BesideWorld(world), rig)
        self.world = world
        self.typed = {key: list(lines) for key, lines in typed.items()}

    def answers(self, ask):
        truth = super().answers(ask)
        if ask.key == "after trouble":
            self.world.rewire(MENDED)
            return "again"
        return self.typed[ask.key].pop(0) if self.typed.get(ask.key) else truth


@contextmanager
def at_home():
    """A temporary folder for rig file and notebook."""
    before = os.environ.get("XDG_STATE_HOME")
    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_STATE_HOME"] = folder
        os.chdir(folder)
        try:
            yield Path(folder)
        finally:
            os.chdir(here)
            os.environ.pop("XDG_STATE_HOME")
            if before is not None:
                os.environ["XDG_STATE_HOME"] = before


def command(*words: str) -> list[str]:
    """A command with its output."""
    out = io.StringIO()
    with redirect_stdout(out), redirect_stderr(out):
        cli.run(words)
    shown = " ".join(f'"{word}"' if " " in word else word for word in words)
    return [f"$ linewright {shown}", *(line.rstrip() for line in out.getvalue().splitlines())]


def session(file: Path, machine: Machine, faults: Faults, typed: dict[str, tuple[str, ...]]) -> list[str]:
    """One session at the machine: the complete screen output."""
    rig = Rig.load(file)
    # A wire without a speed limit, so that displayed times are the same in every run.
    lockstep = LockstepRig(machine, faults=faults, wire=LockstepWire(bytes_per_s=1e12))
    lines: list[str] = []

    def host(link: LockstepWire) -> None:
        hands = Hands(Session(link, rig), rig, file)
        notebook = Notebook(lambda: "the harbour rig")
        notebook.read(rig)
        newcomer = Newcomer(lockstep.world, rig, typed)
        walked = Dialogue(STEPS, hands, DialogueScreen(lines.append, None, newcomer), notebook).walk()
        table = io.StringIO()
        Console(file=table, width=WIDTH, highlight=False).print(board_report.bring_up_table(STEPS, walked, hands))
        lines.append("")
        lines.extend(line.rstrip().replace(f"{file.parent}{os.sep}", "") for line in table.getvalue().splitlines())

    with lockstep.host_time():
        lockstep.run(host)
    return lines


def page() -> tuple[str, str]:
    """Text of the page, and the picture."""
    with at_home() as folder:
        file = folder / "rig.toml"
        out = ["```", *command("rig", "new", *ANSWERS), "```"]
        rig = Rig.load(file)
        picture = svg_writer.to_svg(wiring_scene(rig, Wiring.of(rig)))
        machine = Machine.from_rig(rig)  # the simulated machine does not change with corrections of the file
        first = session(file, machine, WRONG, {"ready drivers": ("help",), "ready pen": ("stop",)})
        second = session(file, machine, MENDED, {})
    text = (
        HEAD + "\n".join(out) + "\n" + WIRED + "\n".join(first) + "\n" + EVENING_ENDS + "\n".join(second) + "\n" + END
    )
    return text, picture


if __name__ == "__main__":
    text, picture = page()
    PAGE.write_text(text, encoding="utf-8")
    PICTURE.write_text(picture, encoding="utf-8")
    print(f"{PAGE} and {PICTURE} written", file=sys.stderr)
