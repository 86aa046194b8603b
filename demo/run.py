"""The demo: four postcards of Marrow Quay, drawn on the virtual rig by the board's own code.

Everything goes the way it goes on a real machine: each SVG is placed on an A6 card, tidied and planned; the virtual
rig is started as a process of its own; the program is streamed to it over the real protocol; the pulses that come out
are checked one by one and integrated to the path of the pen. ``out/`` then holds, for each card, the preview, the
speed map, what the pen drew and an overlay of both, and ``summary.md`` and ``summary.json`` for all.

    python demo/run.py [--out FOLDER] [--interpreter cpython|micropython] [CARD ...]
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from rich import box
from rich.console import Console
from rich.table import Table

from linewright import units, wording
from linewright.board.session import Session
from linewright.board.session_values import DrawResult, Progress
from linewright.drawing.strokes import Drawing
from linewright.errors import LinewrightError
from linewright.pictures import album, contact_sheet, overlay
from linewright.planning.pipeline import Placement, PlanTask, prepare
from linewright.program.program import Program
from linewright.rig.rig import Rig
from linewright.run import course
from linewright.simulation.replay import TraceReport
from linewright.virtual.port import VirtualTransport, open_transport

HERE: Final = Path(__file__).resolve().parent

CARDS: Final = {
    "heron": ("A heron in the reeds", False),
    "lighthouse": ("A lighthouse in the rain", False),
    "drifter": ("A herring drifter", True),
    "helmet": ("A brass diving helmet", False),
}
"""File, title, and whether the card lies crosswise."""

MARGIN_MM: Final = 4.0
"""The frames of the cards stand 5.6 mm or more from the edge of the paper."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """One card, and everything that is known about it afterwards."""

    name: str
    title: str
    program: Program
    result: DrawResult
    trace: TraceReport
    took_s: float

    @property
    def good(self) -> bool:
        """Exact in time and place, and no pulse out of bounds."""
        return (
            self.result.finished
            and self.result.played_ticks == self.result.predicted_ticks
            and self.result.final_position_error_steps == 0
            and self.trace.broken == 0
        )

    def figures(self) -> dict[str, object]:
        """For ``summary.json``."""
        deviation = self.trace.deviation
        return {
            "card": self.name,
            **self.program.describe(),
            "played_s": units.ticks_to_s(self.result.played_ticks),
            "played_ticks": self.result.played_ticks,
            "final_position_error_steps": self.result.final_position_error_steps,
            "max_deviation_mm": None if deviation is None else deviation.max_mm,
            "rms_deviation_mm": None if deviation is None else deviation.rms_mm,
            "step_pulses": self.trace.steps_a + self.trace.steps_b,
            "checks": sum(check.checked for check in self.trace.checks),
            "checks_broken": self.trace.broken,
            "retransmitted_frames": self.result.retransmitted_frames,
            "bytes_sent": self.result.bytes_sent,
            "bytes_per_ramp": self.program.frame_bytes / self.program.ramps,
            "took_s": self.took_s,
        }


def main() -> int:
    """Draw the cards; 0 when all of them came out exact."""
    parser = argparse.ArgumentParser(description="Draws the postcards of Marrow Quay on the virtual rig.")
    parser.add_argument(
        "cards", nargs="*", metavar="CARD", help=f"some of: {', '.join(CARDS)} (all when none is named)"
    )
    parser.add_argument("--out", type=Path, default=Path("out"), help="folder for the pictures (default: out)")
    parser.add_argument("--interpreter", default="cpython", help="what runs the board's code: cpython or micropython")
    options = parser.parse_args()
    if unknown := set(options.cards) - set(CARDS):
        parser.error(f"no card is called {', '.join(sorted(unknown))}; there are {', '.join(CARDS)}")
    console = Console(highlight=False, width=None if sys.stdout.isatty() else 120)
    console.print("\n[bold]Marrow Quay harbour fair[/bold]: postcards, drawn on the spot\n")
    began_s = time.monotonic()
    try:
        drawn = [draw_card(name, options, console) for name in options.cards or CARDS]
        sheet = contact_sheet.contact_sheet([album.drawn_scene(d.program, _path_of(d), d.title) for d in drawn])
        (options.out / "cards.png").write_bytes(sheet)
    except LinewrightError as error:
        hint = f"\n  next: {error.hint}" if error.hint else ""
        console.print(f"the demo failed: {error}{hint}", style="bold", markup=False)
        return 1
    table = summary(drawn)
    console.print()
    console.print(table)
    for line in verdict(drawn, time.monotonic() - began_s):
        console.print(line)
    console.print(f"\nLook at {options.out / 'cards.png'} first, then at the overlays beside it.", markup=False)
    console.print("Draw a picture of your own on a page in the browser: make desk", markup=False)
    write_summary(drawn, options.out)
    return 0 if all(d.good for d in drawn) else 1


def draw_card(name: str, options: argparse.Namespace, console: Console) -> Drawn:
    """Plan one card, draw it, read what the pen did, and write its pictures."""
    title, landscape = CARDS[name]
    began_s = time.monotonic()
    rig = Rig.default()
    placement = Placement(sheet="A6", landscape=landscape, margin_mm=MARGIN_MM, fit="keep", turn_deg=0)
    job = prepare(PlanTask(str(HERE / f"{name}.svg"), rig, placement))
    for warning in job.warnings:
        console.print(f"note: {warning}", markup=False)
    program = job.program
    with console.status(f"{title}: at the greeting") as status:

        def on_progress(now: Progress) -> None:
            left = wording.duration(now.left_s)
            status.update(f"{title}: {now.state}, stroke {now.stroke} of {now.strokes}, {left} of its time left")

        transport = open_transport(f"virtual:interpreter={options.interpreter}", rig=rig)
        if not isinstance(transport, VirtualTransport):
            raise TypeError("the virtual port is no virtual rig")
        try:
            session = Session(transport, rig)
            session.greet()
            session.home()
            result = course.draw(session, program, on_progress=on_progress)
            status.update(f"{title}: reading the tape")
            trace = transport.report(program.drawing, keep_drawn=True)
        finally:
            transport.discard()
        status.update(f"{title}: developing the pictures")
        drawn = Drawn(name, title, program, result, trace, time.monotonic() - began_s)
        album.write(album.preview_scene(program, title), options.out, f"{name}-preview")
        album.write(album.speed_scene(program, title), options.out, f"{name}-speed")
        album.write(album.drawn_scene(program, _path_of(drawn), title), options.out, f"{name}-drawn")
        scene = album.trace_scene(program, trace, title)
        album.write(scene, options.out, f"{name}-overlay", long_side_px=overlay.LONG_SIDE_PX)
    return drawn


def _path_of(drawn: Drawn) -> Drawing:
    if drawn.trace.drawn is None:
        raise ValueError("the tape was read without the path of the pen")
    return drawn.trace.drawn


def summary(drawn: list[Drawn]) -> Table:
    """The table a person enjoys reading."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("picture", no_wrap=True)
    for heading in ("strokes", "ink", "travel", "predicted", "played", "off the line", "step pulses", "bytes/ramp"):
        table.add_column(heading, justify="right", no_wrap=True)
    for d in drawn:
        deviation = d.trace.deviation
        exact = d.result.played_ticks == d.result.predicted_ticks
        table.add_row(
            d.name,
            str(len(d.program.drawing)),
            wording.length(d.program.pen_down_mm),
            wording.length(d.program.travel_mm),
            wording.duration(d.program.predicted_s),
            "to the tick" if exact else wording.duration(units.ticks_to_s(d.result.played_ticks)),
            "?" if deviation is None else f"{deviation.max_mm * 1000:.1f} \u00b5m",
            wording.grouped(d.trace.steps_a + d.trace.steps_b),
            f"{d.program.frame_bytes / d.program.ramps:.2f}",
        )
    return table


def verdict(drawn: list[Drawn], took_s: float) -> list[str]:
    """What the table means, in sentences."""
    step_um = 1000 * drawn[0].program.step_mm
    checks = sum(check.checked for d in drawn for check in d.trace.checks)
    ink = sum(d.program.pen_down_mm for d in drawn)
    played = sum(units.ticks_to_s(d.result.played_ticks) for d in drawn)
    broken = sum(d.trace.broken for d in drawn)
    kinds = "speed, acceleration, set-up, width, spacing, pen at rest"
    limits = wording.count(broken, "BROKE A LIMIT", "BROKE A LIMIT") if broken else "not one broke a limit"
    real, here = wording.duration(played), wording.duration(took_s)
    lines = [
        f"{wording.length(ink)} of ink. One motor step is {step_um:g} \u00b5m: compare it with the deviation.",
        f"{wording.count(checks, 'figure')} of the pulses checked ({kinds}): {limits}.",
        f"On a real machine this is {real} of drawing; here it took {here}.",
    ]
    for d in drawn:
        if not d.good:
            lines.append(f"{d.title} did NOT come out exact: see summary.json")
    return lines


def write_summary(drawn: list[Drawn], out: Path) -> None:
    """``summary.json`` for scripts and ``summary.md`` for people."""
    (out / "summary.json").write_text(json.dumps([d.figures() for d in drawn], indent=1) + "\n", encoding="utf-8")
    lines = [
        "# Marrow Quay harbour fair: the postcards",
        "",
        "| picture | strokes | ink | travel | predicted | played | off the line | pulses checked | bytes/ramp |",
        "|---|---:|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for d in drawn:
        deviation = d.trace.deviation
        lines.append(
            f"| {d.title} | {len(d.program.drawing)} | {wording.length(d.program.pen_down_mm)} "
            f"| {wording.length(d.program.travel_mm)} | {d.program.predicted_s:.3f} s "
            f"| {units.ticks_to_s(d.result.played_ticks):.3f} s "
            f"| {'?' if deviation is None else f'{deviation.max_mm:.4f} mm'} "
            f"| {d.trace.steps_a + d.trace.steps_b} | {d.program.frame_bytes / d.program.ramps:.2f} |"
        )
    for d in drawn:
        lines += ["", f"## {d.title}", "", f"![planned]({d.name}-preview.png)", f"![drawn]({d.name}-drawn.png)"]
        lines += [f"![one over the other]({d.name}-overlay.png)", f"![speed]({d.name}-speed.png)"]
    (out / "summary.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
