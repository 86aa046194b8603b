"""Whether the demo's cards and the drawings of `drawing_sets.py` are planned as an older checkout plans them.

    .venv/bin/python bench/same_programs.py [--before CHECKOUT]

Each checkout plans in a process of its own, with this environment's libraries: the cards by its command line, on A6
with the default rig; the drawings by its planner alone. Their records are compared, byte for byte. Without
CHECKOUT the digests are printed. Exit status 1 where a program differs.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
PARTS = ("host", "shared_protocol", "device", "bench")

PLANNING = """
import contextlib, hashlib, io, sys
from pathlib import Path
import drawing_sets
from linewright import motion
from linewright.cli import main
from linewright.program.file import load
from linewright.rig.rig import Rig

def told(name, program):
    digest = hashlib.sha256()
    for column in "kind da db v_end servo_us dwell_ms rest_ticks ticks".split():
        digest.update(getattr(program, column).tobytes())
    print(name, digest.hexdigest()[:12], len(program), sum(program.ticks.tolist()), sep=";")

for name, drawing in drawing_sets.drawings().items():
    told(name, motion.plan(drawing, Rig.default()))
for card in sorted((Path(sys.argv[1]) / "demo").glob("*.svg")):
    with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):
        main(["plan", str(card), "--sheet", "A6", "-o", "card.lw"])
    told(card.stem, load(Path("card.lw")))
    Path("card.lw").unlink()
"""


def programs(checkout: Path) -> dict[str, list[str]]:
    """For each drawing: digest and number of its records, and their duration in ticks."""
    with tempfile.TemporaryDirectory() as folder:
        kept = {f"XDG_{kind}_HOME": f"{folder}/{kind}" for kind in ("CONFIG", "STATE", "DATA")}
        path = os.pathsep.join(str(checkout / part) for part in PARTS)
        command = [sys.executable, "-c", PLANNING, str(checkout)]
        environment = {**os.environ, **kept, "PYTHONPATH": path}
        found = subprocess.run(command, cwd=folder, env=environment, stdout=subprocess.PIPE, text=True, check=True)
    return {name: rest for name, *rest in (line.split(";") for line in found.stdout.splitlines())}


def main() -> int:
    """Print one line for each drawing."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--before", type=Path, metavar="CHECKOUT", help="an older state of this repository")
    options = parser.parse_args()
    ours = programs(HERE)
    before = programs(options.before.resolve()) if options.before else ours
    for name, (digest, records, ticks) in ours.items():
        was = before.get(name, ["no such drawing", "0", "0"])
        verdict = "the same" if was[0] == digest else f"differs: {was[1]} records before, {int(was[2]) / 5e6:.2f} s"
        print(f"{name:14} {digest} {records:>6} records {int(ticks) / 5e6:8.2f} s  {verdict if options.before else ''}")
    return int(any(before.get(name) != found for name, found in ours.items()))


if __name__ == "__main__":
    sys.exit(main())
