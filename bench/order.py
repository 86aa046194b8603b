"""Length of the travel found by the ordering of strokes, its processor time and memory.

    python bench/order.py [--points FOLDER] [--quick]

Random strokes in a square of 200 mm, from park and back to it. 1000 of them against elkai (K. Helsgaun's solver LKH),
in one run; 10 000 against the lower bound of Held and Karp ("The traveling-salesman problem and minimum spanning
trees", Operations Research 18, 1970, and part II, 1971), which no order can beat. Time is processor time, so other
work on the machine does not count; compiled code is warm. ``--points`` names a folder with instances of TSPLIB (G.
Reinelt 1991) as ``NAME.tsp`` with ``NAME.opt.tour`` beside it; the source distribution of tsplib95 0.7.1 has pcb442
below tests/data.

The plot ``bench/order.png`` shows time and memory against the number of strokes; ``--quick`` skips the slow parts.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from pathlib import Path

import elkai
import matplotlib as mpl
import numba
import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing
from linewright.rig.rig import Rig
from linewright.tidy import Cost, order, travel, travel_mm

PARK = (0.0, 0.0)
SIDE_MM = 200.0
HERE = Path(__file__).resolve().parent


def strokes(n: int, seed: int) -> NDArray[np.float64]:
    """(n, 2, 2) straight strokes, as long as the distance to their neighbours."""
    rng = np.random.default_rng(seed)
    at = rng.uniform(0, SIDE_MM, (n, 1, 2))
    return np.concatenate((at, at + rng.normal(0, SIDE_MM / np.sqrt(n) / 2, (n, 1, 2))), axis=1)


def drawing(both: NDArray[np.float64]) -> Drawing:
    return Drawing(both.reshape(-1, 2), np.arange(0, 2 * len(both) + 1, 2), np.zeros(len(both), dtype=np.int64))


def ours(both: NDArray[np.float64], effort: str) -> tuple[float, float]:
    """Travel in mm, and processor time in s."""
    given = drawing(both)
    began_s = time.process_time()
    found = order(given, start_mm=PARK, end_mm=PARK, effort=effort)
    took_s = time.process_time() - began_s
    return travel_mm(found, start_mm=PARK, end_mm=PARK), took_s


def theirs(both: NDArray[np.float64]) -> tuple[float, float]:
    """The same by elkai: ends are nodes, and the edge between the ends of a stroke is free, so all tours take it."""
    nodes = np.vstack((both.reshape(-1, 2), [PARK, PARK]))
    d = np.hypot(*(nodes[:, None] - nodes[None]).transpose(2, 0, 1))
    weights = np.rint(1000 * d).astype(int) + 2 * int(1000 * d.max())
    i = np.arange(len(nodes))
    weights[i, i ^ 1] = weights[i, i] = 0
    began_s = time.process_time()
    tour = np.array(elkai.DistanceMatrix(weights.tolist()).solve_tsp(runs=1))
    took_s = time.process_time() - began_s
    between = (tour[:-1] ^ 1) != tour[1:]
    assert between.sum() == len(both) + 1
    return float(d[tour[:-1], tour[1:]][between].sum()), took_s


@numba.njit(cache=True)
def _one_tree(
    x: NDArray[np.float64], y: NDArray[np.float64], pi: NDArray[np.float64], degree: NDArray[np.int64]
) -> float:
    """Least cost of a tree over all strokes but the first, with a link to each end of the first; and the degrees of
    ends.

    Strokes are contracted: a link costs the distance of two ends plus the prices ``pi`` of both (R. C. Prim 1957).
    """
    n = len(x) // 2
    degree[:] = 0
    total = 0.0
    near = np.full(n, np.inf)
    own = np.zeros(n, dtype=np.int64)
    other = np.zeros(n, dtype=np.int64)
    done = np.zeros(n, dtype=np.bool_)
    done[0] = done[1] = True
    new = 1
    for _ in range(n - 2):
        best = -1
        for s in range(2, n):
            if done[s]:
                continue
            for i in (2 * s, 2 * s + 1):
                for j in (2 * new, 2 * new + 1):
                    d = np.sqrt((x[i] - x[j]) ** 2 + (y[i] - y[j]) ** 2) + pi[i] + pi[j]
                    if d < near[s]:
                        near[s], own[s], other[s] = d, i, j
            if best < 0 or near[s] < near[best]:
                best = s
        done[best] = True
        total += near[best]
        degree[own[best]] += 1
        degree[other[best]] += 1
        new = best
    for i in (0, 1):
        least, at = np.inf, -1
        for j in range(2, len(x)):
            d = np.sqrt((x[i] - x[j]) ** 2 + (y[i] - y[j]) ** 2) + pi[i] + pi[j]
            if d < least:
                least, at = d, j
        total += least
        degree[i] += 1
        degree[at] += 1
    return total


def bound_mm(both: NDArray[np.float64], upper_mm: float, rounds: int) -> float:
    """Held and Karp's bound: in a tour every end has one link, so prices on ends do not change the best tour, but the
    best tree.
    """
    nodes = np.vstack(([PARK, PARK], both.reshape(-1, 2)))
    x, y = np.ascontiguousarray(nodes[:, 0]), np.ascontiguousarray(nodes[:, 1])
    pi, degree = np.zeros(len(x)), np.zeros(len(x), dtype=np.int64)
    best, scale, since = 0.0, 1.5, 0
    before = np.zeros(len(x))
    for _ in range(rounds):
        value = _one_tree(x, y, pi, degree) - pi.sum()
        if value > best:
            best, since = value, 0
        else:
            since += 1
        if since >= 6:
            scale, since = scale * 0.7, 0
        off = degree - 1.0
        if not off.any():
            break
        # Two thirds of the new direction, one of the last (Volgenant and Jonker 1982 damp likewise).
        way = 0.7 * off + 0.3 * before
        pi += scale * (upper_mm - value) / (off**2).sum() * way
        before = off
    return best


def thousand() -> None:
    print("1000 strokes, travel in mm (processor time in s)")
    for seed in (1, 2, 3):
        both = strokes(1000, seed)
        ref, ref_s = theirs(both)
        found = {effort: ours(both, effort) for effort in ("quick", "normal", "best")}
        low = bound_mm(both, ref, 1500)
        parts = [f"{e} {mm:.0f} ({s:.2f}) = {mm / ref:.4f}" for e, (mm, s) in found.items()]
        print(
            f"  seed {seed}: elkai {ref:.0f} ({ref_s:.1f}), Held-Karp {low:.0f} = {low / ref:.4f}; {'; '.join(parts)}"
        )


def ten_thousand(rounds: int) -> None:
    both = strokes(10_000, 1)
    found = {effort: ours(both, effort) for effort in ("quick", "normal", "best")}
    low = bound_mm(both, found["best"][0], rounds)
    print(f"10 000 strokes: Held-Karp bound {low:.0f} mm after {rounds} rounds")
    for effort, (mm, s) in found.items():
        print(f"  {effort:7s} {mm:.0f} mm = {mm / low:.4f} of the bound, {s:.1f} s")


def in_time() -> None:
    """Orders minimise time on the rig; this compares with the order of least length."""
    rig = Cost.of_rig(Rig.default())
    given = drawing(strokes(1000, 1))
    by_time, by_length = (order(given, start_mm=PARK, end_mm=PARK, cost=c) for c in (rig, Cost()))
    one, other = (travel(d, start_mm=PARK, end_mm=PARK, cost=rig) for d in (by_time, by_length))
    print(f"1000 strokes on the default rig: {one:.1f} s of travel ordered by time, {other:.1f} s ordered by length")


def points(folder: Path) -> None:
    for file in sorted(folder.glob("*.tsp")):
        best_file = file.with_suffix(".opt.tour")
        text = file.read_text(encoding="ascii", errors="replace")
        if not best_file.exists() or "EUC_2D" not in text:
            continue
        rows = [line.split() for line in text.split("NODE_COORD_SECTION")[1].splitlines() if len(line.split()) == 3]
        at = np.array([[float(x), float(y)] for _, x, y in rows])
        words = best_file.read_text(encoding="ascii").split("TOUR_SECTION")[1].split()
        best = np.array([int(w) for w in words[: len(at)]]) - 1

        def rounded(tour: NDArray[np.int64], at: NDArray[np.float64] = at) -> int:
            # TSPLIB's EUC_2D: every distance is rounded to a whole number.
            step = at[tour] - np.roll(at[tour], -1, axis=0)
            return int(np.floor(np.hypot(step[:, 0], step[:, 1]) + 0.5).sum())

        start = (float(at[0, 0]), float(at[0, 1]))
        for effort in ("normal", "best"):
            began_s = time.process_time()
            found = order(Drawing.from_strokes(at[1:, None, :]), start_mm=start, end_mm=start, effort=effort)
            took_s = time.process_time() - began_s
            number = {tuple(p): i for i, p in enumerate(at.tolist())}
            tour = np.array([0, *(number[tuple(p)] for p in found.points_mm.tolist())])
            mine, known = rounded(tour), rounded(best)
            print(f"{file.stem}: optimum {known}, {effort} {mine} = {mine / known:.4f} ({took_s:.1f} s)")


MEASURE = """
import json, re, sys
sys.path.insert(0, {here!r})
from order import PARK, drawing, ours, strokes
ours(strokes(20, 1), "normal")
def peak_mb():
    # Not getrusage: across exec Linux keeps the peak of whoever started this.
    return int(re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1]) / 1024
base = peak_mb()
mm, s = ours(strokes({n}, 1), "normal")
print(json.dumps([mm, s, base, peak_mb()]))
"""


def against_n(sizes: tuple[int, ...]) -> None:
    """Each size in a separate process; slopes below and above the size at which the search is capped."""
    mpl.use("Agg")
    from matplotlib import pyplot

    rows = []
    for n in sizes:
        words = [sys.executable, "-c", MEASURE.format(here=str(HERE), n=n)]
        mm, s, base_mb, peak_mb = json.loads(subprocess.run(words, check=True, capture_output=True, text=True).stdout)
        rows.append((n, s, peak_mb, peak_mb - base_mb))
        print(
            f"  {n:7d} strokes: {s:6.2f} s, {peak_mb:.0f} MB ({peak_mb - base_mb:.0f} MB above the start); {mm:.0f} mm"
        )
    n, s, _, more = np.array(rows).T
    figure, axes = pyplot.subplots(1, 2, figsize=(10, 4.2), layout="constrained")
    for axis, values, unit, name in (
        (axes[0], s, "s", "processor time"),
        (axes[1], more, "MB", "memory above the start"),
    ):
        # Up to 20 000 strokes the search effort per stroke is constant, beyond that the total (`tour.KICKS`).
        slopes = [
            np.polyfit(np.log(n[part]), np.log(np.maximum(values[part], 1e-3)), 1)[0]
            for part in ((n >= 300) & (n <= 10_000), n >= n[-1] / 10)
        ]
        words = f"N^{slopes[0]:.2f} from 300 to 10 000, N^{slopes[1]:.2f} over the last decade"
        axis.loglog(n, np.maximum(values, 1e-3), "o-", color="#1f3347")
        axis.set(xlabel="strokes", ylabel=f"{name}, {unit}")
        axis.set_title(f"{name}:\n{words}", fontsize="medium")
        axis.grid(visible=True, which="major", alpha=0.3)
        print(f"  {name}: {words}")
    figure.savefig(HERE / "order.png", dpi=110)
    pyplot.close(figure)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--points", type=Path)
    parser.add_argument("--quick", action="store_true")
    options = parser.parse_args()
    ours(strokes(20, 1), "normal")
    thousand()
    in_time()
    if options.points:
        points(options.points)
    ten_thousand(20 if options.quick else 200)
    against_n((100, 300, 1000, 3000, 10_000) if options.quick else (100, 300, 1000, 3000, 10_000, 30_000, 100_000))
