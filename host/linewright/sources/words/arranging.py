"""`arrange`: combine groups and scenes to one balanced picture."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Final

import numpy as np

from linewright.sources.words.art import Art, Shape, merged, scale, shift
from linewright.sources.words.groups import PERSON, Group, joined
from linewright.sources.words.phrases import Act, Phrase, Reading
from linewright.sources.words.scenes import SCENES, Box, skies
from linewright.sources.words.staging import Stage
from linewright.sources.words.verbs import VERBS

GAP: Final = 0.13 * PERSON
"""Gap between two groups."""


def arrange(reading: Reading, stage: Stage, seed: int) -> Art:
    """The whole picture, in paper units."""
    groups = _groups([_swimming(s, reading, stage) for s in reading.subjects], stage)
    rng = random.Random(f"scene {seed}")
    if not groups:
        return _scene_alone(reading, rng)
    afloat = any(reading.scenes.values())
    over = reading.above and bool(reading.scenes) and not all(_stands(s, stage) for s in reading.subjects)
    row = _row(groups, flip=rng.random() < 0.35)
    art = Art(tuple(s for g in row for s in g.art.shapes))
    x0, y0, x1, y1 = art.bounds()
    if not reading.scenes:
        return art if y0 < -1 or all(g.up or g.afloat for g in row) else art.over(_ground_line(x0, x1, rng))
    swims = "under water" in reading.scenes or "sky" in reading.scenes or "space" in reading.scenes
    floats = afloat and not swims
    if (afloat and swims) or (all(g.up for g in row) and not floats and not over):
        art = art.moved(shift(0, 0.22 * (y1 - y0) + 12))
    elif over:
        art = art.moved(shift(0, max(105.0, 0.5 * (y1 - y0)) - art.bounds()[1]))
    elif floats:
        art = art.moved(shift(0, -0.14 * min(y1 - y0, PERSON)))
    if "street" in reading.scenes and any(a.verb == "cross" for s in reading.subjects for a in s.acts):
        art = art.moved(shift(0, -6)).over(_zebra(*art.bounds()[::2]))
    x0, y0, x1, y1 = art.bounds()
    wide, high = x1 - x0, y1 - min(y0, 0.0)
    # A scene should be visible beside its figures: leave room on both sides, and use a sheet's proportion.
    target = max(wide * 1.45, 1.2 * (y1 * 1.25), 120.0)
    top = max(y1 * 1.25, target / 1.5)
    middle = (x0 + x1) / 2 + rng.uniform(-0.06, 0.06) * target
    middle = min(max(middle, x1 - target / 2 + 4), x0 + target / 2 - 4)
    box = Box(middle - target / 2, middle + target / 2, -14.0, top)
    del high
    if over:  # what lies below them ends there; the sky goes on
        low = Box(box.x0, box.x1, box.y0, y0 * 1.02)
        below, front = skies(low, rng, [name for name in reading.scenes if not SCENES[name].sky])
        behind, _ = skies(box, rng, [name for name in reading.scenes if SCENES[name].sky] or ["sky"])
        return merged([behind, below, art, front])
    behind, front = skies(box, rng, list(reading.scenes))
    return merged([behind, art, front])


def _stands(one: Phrase, stage: Stage) -> bool:
    """Whether a group stays on the ground although it is "over" something: ``a lighthouse shining over the sea``."""
    thing = stage.things[one.name]
    return thing.theme == "buildings" or any(
        a.verb in ("look", "watch", "shine", "stand", "rest", "sit") for a in one.acts
    )


def _zebra(x0: float, x1: float) -> Art:
    """Stripes of a zebra crossing, from one side to the other of the figures on it."""
    shapes = []
    for x in np.arange(x0 - 4, x1 + 4, 13.0):
        stripe = np.array(((x, -11.0), (x + 3, 1.0), (x + 10, 1.0), (x + 7, -11.0), (x, -11.0)))
        shapes.append(Shape((stripe,), None, "ground"))
    return Art(tuple(shapes))


def _swimming(one: Phrase, reading: Reading, stage: Stage) -> Phrase:
    """Let upright figures in an underwater scene swim, unless they do something else."""
    calm = stage.things[one.name].art is None and stage.main_act(one) is None and not one.relations
    return replace(one, acts=[*one.acts, Act("swim")]) if calm and "under water" in reading.scenes else one


def _groups(subjects: list[Phrase], stage: Stage) -> list[Group]:
    """Groups of the subjects; two who act together face each other."""
    found: list[Group] = []
    subjects_in: list[int] = []  # of each group
    i = 0
    while i < len(subjects):
        one = subjects[i]
        other = subjects[i + 1] if i + 1 < len(subjects) else None
        act = next((a for a in one.acts if VERBS[a.verb].together), None)
        if other is not None and act is not None and any(a.verb == act.verb for a in other.acts):
            found.append(_pair(one, other, stage))
            subjects_in.append(2)
            i += 2
            _gather(found, subjects_in, other, stage)
            continue
        if one.count == 2 and act is not None:
            spread = [r for r in one.relations if r.kind != "with"]
            alone = replace(one, count=1, relations=[r for r in one.relations if r.kind == "with"])
            if any(stage.seats(relation) for relation in spread):
                alone = replace(alone, acts=[*one.acts, Act("sit")])
            both = _pair(alone, alone, stage)
            for relation in spread:
                both = stage.related(both, one, relation)
            found.append(both)
        else:
            found.append(stage.group(one))
        subjects_in.append(1)
        i += 1
        _gather(found, subjects_in, one, stage)
    return found


def _gather(found: list[Group], subjects_in: list[int], last: Phrase, stage: Stage) -> None:
    """Merge the last groups into one where their subjects share a place."""
    shared = [r for r in last.relations if r.place == "shared"]
    if not shared:
        return
    wanted, together = last.fellows + 1, [found.pop()]
    count = subjects_in.pop()
    while found and count < wanted:
        together.insert(0, found.pop())
        count += subjects_in.pop()
    row = _row(together, flip=False)
    whole = replace(joined(row, row[0]), living=False)
    whole = replace(whole, art=Art(whole.art.shapes))
    for relation in shared:
        whole = stage.related(whole, last, replace(relation, place=""))
    found.append(whole)
    subjects_in.append(count)


def _pair(one: Phrase, other: Phrase, stage: Stage) -> Group:
    """Two who play, dance or fight with each other."""
    game = next(
        (
            a.object
            for a in one.acts
            if a.verb == "play" and a.object and a.object.name in ("chessboard", "playing cards")
        ),
        None,
    )
    table = next((r for p in (one, other) for r in p.relations if r.object.name == "table"), None)
    if game is not None:
        calm = [
            replace(
                p,
                relations=[r for r in p.relations if r is not table],
                acts=[a for a in p.acts if a.object is not game or game.name == "playing cards"],
            )
            for p in (one, other)
        ]
        left, right = stage.group(calm[0]), stage.group(calm[1]).mirrored()
        desk = stage.plain("table").art.moved(scale(0.7, 0.85))
        on = desk.place("on")
        board = stage.plain(game.name).art.moved(scale(0.7))
        a, b, c, _ = board.bounds()
        middle = Group(Art((*desk.shapes, *board.moved(shift(on.x - (a + c) / 2, on.y - b)).shapes)))
        gap = -0.1 * PERSON
        seen = [left, middle.moved(left.art.bounds()[2] + gap - middle.art.bounds()[0], 0)]
        seen.append(right.moved(seen[1].art.bounds()[2] + gap - right.art.bounds()[0], 0))
        return replace(
            left, art=Art(tuple(s for g in (seen[0], seen[2], seen[1]) for s in g.art.shapes), left.art.places)
        )
    left, right = stage.group(one), stage.group(other).mirrored()
    close = any(VERBS[a.verb].role in ("close", "partner") for a in one.acts)
    moved = right.moved(left.art.bounds()[2] + (-0.04 * PERSON if close else 0.08 * PERSON) - right.art.bounds()[0], 0)
    return replace(left, art=Art((*left.art.shapes, *moved.art.shapes), left.art.places))


def _row(groups: list[Group], *, flip: bool) -> list[Group]:
    """Groups side by side; the last of several faces the first; flying ones are higher."""
    placed = []
    x = 0.0
    high = max((g.art.height for g in groups if not g.up), default=0.0)
    for i, group in enumerate(groups):
        turned = (
            group.mirrored()
            if group.living
            and not group.fixed
            and ((len(groups) > 1 and i == len(groups) - 1) or (len(groups) == 1 and flip))
            else group
        )
        x0, _, x1, _ = turned.art.bounds()
        rise = 0.55 * high if group.up and high else 0.0
        placed.append(turned.moved(x - x0, rise))
        x += x1 - x0 + GAP
    return placed


def _ground_line(x0: float, x1: float, rng: random.Random) -> Art:
    """Ground as a hand-drawn line: one long stroke and two short ones."""
    wide = x1 - x0
    lines = []
    for a, b, y in ((-0.06, 1.06, 0.0), (0.12, 0.34, -3.4), (0.62, 0.78, -4.2)):
        x = np.linspace(x0 + a * wide, x0 + b * wide, 5)
        lines.append(np.column_stack((x, y + np.array([rng.uniform(-0.4, 0.4) for _ in x]))))
    return Art(tuple(Shape((line,), None, "ground") for line in lines))


def _scene_alone(reading: Reading, rng: random.Random) -> Art:
    """A scene without figures."""
    if not reading.scenes:
        return Art()
    behind, front = skies(Box(-120, 120, -14, 150), rng, list(reading.scenes))
    return front.over(behind)
