"""A million vertices through `linewright plan`: processor time, time on the clock and memory of the whole command.

    .venv/bin/python bench/million.py [--vertices 1000000] [--only many|one|tip] [--times 1]

``many`` are strokes of 20 vertices all over A4, 0.2 mm apart, a letter in front of each vertex; ``one`` is a spiral in
a single stroke; ``tip`` is ``many`` with the pen's tip planned for. The reference is Python's XML parser on the same
bytes.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

PARSING = "import sys; from xml.etree import ElementTree; ElementTree.parse(sys.argv[1])"
PAGE_MM = (180.0, 260.0)
PER_STROKE = 20


def strokes(vertices: int, what: str) -> list[NDArray[np.float64]]:
    """Lines in mm on the page, the same in every run."""
    if what == "one":
        along = np.linspace(0.0, 1.0, vertices)
        turn = 2.0 * np.pi * 700.0 * along
        radius = 16.0 + 64.0 * along
        return [np.column_stack((90.0 + radius * np.cos(turn), 130.0 + radius * np.sin(turn)))]
    chance = np.random.default_rng(1)
    count = vertices // PER_STROKE
    at = chance.uniform((5.0, 5.0), np.array(PAGE_MM) - 5.0, (count, 1, 2))
    turn = np.cumsum(chance.normal(0.0, 0.3, (count, PER_STROKE)), axis=1) + chance.uniform(0.0, 6.3, (count, 1))
    return list(at + np.cumsum(0.2 * np.stack((np.cos(turn), np.sin(turn)), axis=2), axis=1))


def as_svg(lines: list[NDArray[np.float64]]) -> str:
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="{0:g}mm" height="{1:g}mm" viewBox="0 0 {0:g} {1:g}">'
    paths = ["L".join(f"{x:.3f} {y:.3f}" for x, y in line.tolist()) for line in lines]
    return "\n".join((head.format(*PAGE_MM), *(f'<path d="M{d}" fill="none" stroke="#000"/>' for d in paths), "</svg>"))


def measured(command: list[str]) -> tuple[float, float, float]:
    """Processor time and clock time, s, and peak memory, MB, of a command."""
    code = (
        "import resource, subprocess, sys, time\n"
        "start = time.perf_counter()\n"
        "subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)\n"
        "used = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        "print(used.ru_utime + used.ru_stime, time.perf_counter() - start, used.ru_maxrss / 1024)"
    )
    said = subprocess.run([sys.executable, "-c", code, *command], capture_output=True, text=True, check=True).stdout
    cpu_s, clock_s, memory_mb = map(float, said.split())
    return cpu_s, clock_s, memory_mb


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--vertices", type=int, default=1_000_000)
    parser.add_argument("--only", choices=("many", "one", "tip"))
    parser.add_argument("--times", type=int, default=1)
    given = parser.parse_args()
    program = str(Path(sys.executable).with_name("linewright"))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drawing.svg"
        for what in ("many", "one", "tip") if given.only is None else (given.only,):
            path.write_text(as_svg(strokes(given.vertices, what)))
            command = [program, "plan", str(path), "--sheet", "A4"]
            if what == "tip":
                rig = Path(folder) / "rig.toml"
                text = subprocess.run([program, "rig", "default"], capture_output=True, text=True, check=True).stdout
                for old, new in (
                    ('shaper = "none"', 'shaper = "tip"'),
                    ("x_hz = 0.0", "x_hz = 14.0"),
                    ("y_hz = 0.0", "y_hz = 19.0"),
                ):
                    text = text.replace(old, new)
                rig.write_text(text)
                command += ["--rig", str(rig)]
            parsing_s, _, _ = measured([sys.executable, "-c", PARSING, str(path)])
            runs = [measured(command) for _ in range(given.times)]
            cpu_s, clock_s, memory_mb = (statistics.median(column) for column in zip(*runs, strict=True))
            print(
                f"{what}: {cpu_s:.1f} s of processor time ({cpu_s / parsing_s:.0f} times parsing the XML alone), "
                f"{clock_s:.1f} s on the clock, {memory_mb:.0f} MB",
                flush=True,
            )


if __name__ == "__main__":
    main()
