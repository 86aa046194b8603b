"""`Stage`: from what is said of somebody to a group of drawings: dressed, posed, with all that belongs to it.

Units are those of paper: a grown person is 95 high. A group stands on y = 0; its places are those of whoever it is about.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely

from linewright.sources.words.art import Art, Place, Shape, chain, merged, scale, shift, turn
from linewright.sources.words.curves import arc, outline, smooth
from linewright.sources.words.figure import Figure, Props, posed
from linewright.sources.words.figure import places as figure_places
from linewright.sources.words.modifiers import halves, modified
from linewright.sources.words.plans import Bird, FourLegs
from linewright.sources.words.poses import POSES, Pose
from linewright.sources.words.reading import Act, Phrase, Relation
from linewright.sources.words.script import drawn, eye_lines, mouth_line, ready
from linewright.sources.words.store.clothes import TORSO
from linewright.sources.words.store.entry import Thing
from linewright.sources.words.verbs import VERBS, Verb

PERSON: Final = 95.0
"""Units of a grown person's height."""

_SEATED: Final = POSES["sit"].feet
_ASTRIDE: Final = POSES["ride"].feet
_STANDING: Final = frozenset({"stand", "hold", "carry", "read", "present", "eat", "look", "think", "aim", "blow", "wave",
                              "juggle", "up", "fish", "paint", "flute", "violin", "guitar", "fold", "drum", "conduct"})  # fmt: skip
_SIZES: Final = frozenset({"tiny", "small", "big", "huge", "tall", "short", "fat", "thin", "long", "wide"})
_LAST: Final = frozenset({"upside down", "leaning", "lying", "floating", "fast", "shining"})
"""Modifiers that take the whole of a group."""


@dataclass(frozen=True, eq=False)
class Group:
    """Drawings that belong together.

    Parameters
    ----------
    art : in units of paper, on y = 0.
    up : it belongs into the air, and does not stand.
    afloat : it lies in water by itself.
    living : it looks to the right and may be turned to look at another.
    """

    art: Art
    up: bool = False
    afloat: bool = False
    living: bool = False

    def moved(self, x: float, y: float) -> Group:
        """Somewhere else."""
        return replace(self, art=self.art.moved(shift(x, y)))

    def mirrored(self) -> Group:
        """Looking the other way."""
        return replace(self, art=self.art.moved(scale(-1, 1)))


def joined(groups: list[Group], first: Group) -> Group:
    """Groups from back to front as one, whose places are those of ``first``."""
    art = Art(tuple(s for g in groups for s in g.art.shapes), first.art.places)
    return replace(first, art=art)


class Stage:
    """Draws phrases.

    Parameters
    ----------
    things : all things by name.
    seed : decides on what is left to chance.
    """

    def __init__(self, things: Mapping[str, Thing], seed: int) -> None:
        self.things = things
        self.rng = random.Random(f"stage {seed}")

    # things as they are

    def plain(self, name: str, factor: float = 1.0) -> Group:
        """A thing by itself, with what belongs to it."""
        return self.group(Phrase(name, name), factor)

    def _natural(self, thing: Thing) -> Art:
        """The art of a thing in units of paper, with what it wears and holds by nature."""
        if thing.art is None and thing.figure is not None:
            return self._figure_art(thing, Phrase(thing.name), None)
        art = thing.natural()
        k = thing.size * PERSON / (max(art.width, art.height) if thing.by == "span" else art.height)
        return _grounded(art.moved(scale(k)), keep_below=thing.theme == "vehicles")

    def group(self, phrase: Phrase, factor: float = 1.0) -> Group:
        """All that is said of one phrase, as one group."""
        if phrase.count > 1:
            return self._several(phrase, factor)
        thing = self.things[phrase.name]
        lone = self._one(phrase, thing)
        if factor != 1.0:
            lone = replace(lone, art=lone.art.moved(scale(factor)))
        for name in phrase.modifiers:
            if name in _LAST:
                lone = replace(lone, art=modified(lone.art, name), up=lone.up or name == "floating")
        for act in phrase.acts:
            lone = self._effect(lone, phrase, act)
        for relation in phrase.relations:
            lone = self._related(lone, phrase, relation)
        return lone

    def _several(self, phrase: Phrase, factor: float) -> Group:
        """The same several times: in a row, or scattered in the air."""
        shared = [r for r in phrase.relations if r.kind in ("on", "in", "under", "by", "before", "behind", "over", "between")]
        own = [r for r in phrase.relations if r not in shared]
        act = next((a for a in phrase.acts if VERBS[a.verb].role in ("hold2", "up", "hold") and a.object is not None), None)
        together = act if act and act.object and act.object.count == 1 and phrase.count < 4 and _long(self.things[act.object.name]) else None
        acts = [a for a in phrase.acts if a is not together]
        ride_all = [a for a in acts if VERBS[a.verb].role == "in" and a.object and a.object.count == 1]
        acts = [a for a in acts if a not in ride_all]
        if together is not None:
            acts.append(Act("lift", Phrase("", "")))
        single = replace(phrase, count=1, relations=own, acts=acts)
        one = self.group(single, factor)
        copies = []
        x = 0.0
        for i in range(phrase.count):
            size = 1.0 if i == 0 else self.rng.uniform(0.88, 1.04)
            copy = replace(one, art=one.art.moved(scale(size)))
            x0, _, x1, _ = copy.art.bounds()
            rise = (self.rng.uniform(0, 0.5) * one.art.height) if one.up else 0.0
            back = 0.10 * one.art.height * (i % 2) if phrase.count > 4 and not one.up else 0.0
            copies.append(copy.moved(x - x0, rise + back))
            x += (x1 - x0) * (0.72 if phrase.count > 4 else 1.04) + 2
        order = sorted(copies, key=lambda g: -g.art.bounds()[1])
        whole = joined(order, copies[len(copies) // 2])
        if together is not None and together.object is not None:
            whole = self._carried_together(whole, copies, together.object)
        for ride in ride_all:
            assert ride.object is not None
            whole = self._in(whole, self.group(ride.object))
        for relation in shared:
            whole = self._related(whole, phrase, relation)
        return whole

    def _carried_together(self, whole: Group, carriers: list[Group], phrase: Phrase) -> Group:
        """One long thing on the raised hands of several."""
        hands = [g.art.place(name) for g in carriers for name in ("hand", "hand2")]
        x0, x1 = min(h.x for h in hands), max(h.x for h in hands)
        y = max(h.y for h in hands) + 3
        load = self.group(phrase).art
        if load.height > load.width:
            load = load.moved(turn(-90))
        k = max(1.0, (x1 - x0) * 1.05 / max(load.width, 1.0))
        load = load.moved(scale(k))
        a, b, c, _ = load.bounds()
        load = load.moved(shift((x0 + x1) / 2 - (a + c) / 2, y - b))
        return replace(whole, art=Art((*whole.art.shapes, *load.shapes), whole.art.places))

    # one thing, dressed and posed

    def _one(self, phrase: Phrase, thing: Thing) -> Group:
        figured = self._figured(phrase, thing)
        if "old" in phrase.modifiers and "acts" in thing.can:
            aged = [Phrase("glasses", "glasses")] + ([] if "woman" in thing.name or "person" in thing.can else [Phrase("beard", "beard")])
            phrase = replace(phrase, worn=[*phrase.worn, *aged], modifiers=[m for m in phrase.modifiers if m != "old"])
        if phrase.other_half:
            art = halves(self._natural(thing), self._natural(self.things[phrase.other_half]))
        elif figured:
            art = self._figure_art(thing, phrase, self._main_act(phrase))
        else:
            stated = [*phrase.worn, *(a.object for a in phrase.acts if a.verb == "wear" and a.object is not None)]
            art = self._wearing(self._natural(thing), stated)
        for name in phrase.modifiers:
            if name.startswith("verb "):
                continue
            if name not in _LAST:
                art = modified(art, name)
        for act in phrase.acts:
            verb = VERBS[act.verb]
            if verb.sign == "howling":
                art = modified(_head_back(art), "singing")
            elif verb.sign and verb.sign not in _LAST:
                art = modified(art, verb.sign)
        if phrase.pen:
            art = art.mapped(lambda s: replace(s, pen=s.pen or phrase.pen))
        up = "up" in thing.can
        return Group(_grounded(art, keep_below=thing.theme == "vehicles"), up=up, afloat="floats" in thing.can, living="acts" in thing.can)

    def _main_act(self, phrase: Phrase) -> Act | None:
        """What decides on the pose: the first that has one and more to say than how somebody sits."""
        posing = [a for a in self._acts(phrase) if VERBS[a.verb].pose]
        busy = [a for a in posing if a.verb not in ("sit", "stand", "walk", "wait", "rest")]
        return (busy or posing or [None])[0]

    def _acts(self, phrase: Phrase) -> list[Act]:
        """Acts, with those that are told by a preposition: ``with a cello`` is held, ``on a horse`` is ridden."""
        found = [*phrase.acts, *(Act(name.removeprefix("verb ")) for name in phrase.modifiers if name.startswith("verb "))]
        for relation in phrase.relations:
            if "acts" not in self.things[phrase.name].can:
                break
            if relation.kind == "with" and self._holdable(relation.object):
                verb = "play" if self.things[relation.object.name].theme == "instruments" else "hold"
                if self.things[relation.object.name].can & {"looked"}:
                    verb = "look through"
                found.append(Act(verb, relation.object))
            if relation.kind == "on" and relation.place != "shared" and self._ridden(phrase, relation.object):
                found.append(Act("ride", relation.object))
        return found

    def _holdable(self, phrase: Phrase) -> bool:
        thing = self.things[phrase.name]
        if phrase.name in ("teddy bear", "doll"):
            return True
        if "acts" in thing.can or thing.theme in ("buildings", "furniture", "vehicles", "sky and weather"):
            return False
        return thing.size <= 1.25 and phrase.name not in ("tree", "fir tree", "palm tree")

    def _ridden(self, phrase: Phrase, under: Phrase) -> bool:
        """Whether who is on it sits astride."""
        rider, mount = self.things[phrase.name], self.things[under.name]
        if "acts" not in rider.can:
            return False
        if under.name == "broom" or "ridden" in mount.can:
            return True
        return isinstance(mount.art, FourLegs) and mount.size > 0.5 and rider.figure is not None and "person" in rider.can

    def _figured(self, phrase: Phrase, thing: Thing) -> bool:
        """Whether it takes an upright body with hands."""
        if thing.art is None:
            return True
        if thing.figure is not None and "acts" in thing.can and phrase.count == 1 and any(
            r.kind == "in" and (self.things[r.object.name].theme == "vehicles" and self.things[r.object.name].can & {"contains", "driven"} or r.object.name in ("bathtub", "box", "barrel", "basket", "fountain", "bed", "hammock"))
            for r in phrase.relations
        ):
            return True
        if any(self.things[w.name].worn in ("feet", "body", "hands") for w in phrase.worn):
            return True
        for act in self._acts(phrase):
            verb = VERBS[act.verb]
            if act.verb == "wear" and act.object and self.things[act.object.name].worn in ("feet", "body", "hands"):
                return True
            if not verb.pose or "acts" not in thing.can and thing.name not in ("cactus", "snowman"):
                if verb.pose and verb.role not in ("none", "over", "on") and "wheels" not in thing.can and "floats" not in thing.can and "flies" not in thing.can:
                    return True
                continue
            natural = act.verb in ("swim", "fly", "float", "dive", "walk", "run", "jump", "cross", "chase", "follow", "climb", "sit", "stand", "lie", "wait", "hide", "crawl", "march", "fall", "flee", "escape", "hunt")
            if natural and (act.object is None or verb.role in ("target", "over", "fly", "climb", "on")):
                continue
            if act.verb == "hang" and thing.name == "bat":
                continue
            if act.verb == "carry" and act.object and "carries" in thing.can and thing.figure is None:
                continue
            if act.verb == "play" and act.object and self.things[act.object.name].theme == "sport and play" and not thing.figure:
                continue
            return True
        return False

    def _body(self, thing: Thing) -> Figure:
        """The upright body of a thing; what has none gets arms and legs."""
        if thing.figure is not None:
            return thing.figure
        art = thing.natural()
        k = 56.0 / max(art.height, 0.62 * art.width)
        art = _grounded(art.moved(scale(k)), keep_below=False)
        x0, _, x1, y1 = art.bounds()
        art = art.moved(shift(-(x0 + x1) / 2, 0))
        has_face = any(s.tag == "eye" for s in art.shapes)
        face: tuple[Shape, ...] = ()
        if not has_face:
            eyes, mouth = art.place("eyes"), art.place("mouth")
            for side in (-0.24, 0.26):
                lines, area = eye_lines(eyes.x + side * eyes.size, eyes.y, 2.2)
                face += (Shape(tuple(lines), area, "eye"),)
            face += (Shape((mouth_line(mouth.x, mouth.y, 0.5 * eyes.size),), None, "mouth"),)
        puppet = Art((*art.shapes, *face), {n: p for n, p in art.places.items() if n in ("top", "eyes", "mouth", "neck", "trunk")})
        filled = {name: puppet.place(name) for name in ("top", "eyes", "mouth", "neck")}
        return Figure(
            "", torso=ready(puppet.with_places(**filled)), arm=(30.0, 2.3), leg=(18.0, 2.6), spine=0.5 * y1,
            shoulder=min(0.36 * (x1 - x0), 22.0), below="bare", stance=2.0,
        )  # fmt: skip

    def _figure_art(self, thing: Thing, phrase: Phrase, act: Act | None) -> Art:
        """An upright figure, in units of paper."""
        figure = self._body(thing)
        stated = [*phrase.worn, *(a.object for a in phrase.acts if a.verb == "wear" and a.object is not None)]
        taken = {self.things[w.name].worn for w in stated}
        worn = [*(Phrase(n, n) for n in thing.wears if self.things[n].worn not in taken), *stated]
        props = Props()
        for one in worn:
            piece = self.things[one.name]
            art = piece.art if isinstance(piece.art, str) else ""
            if piece.worn == "body":
                figure = _clothed(figure, art)
            elif piece.worn == "feet":
                props = replace(props, foot=art.removeprefix("&"))
            elif piece.worn == "hands":
                props = replace(props, hand=art)
        verb = VERBS[act.verb] if act else Verb()
        pose = self._pose(thing, phrase, act, verb)
        high = _figure_height(figure, pose)
        k = (thing.size if thing.art is None else min(max(0.34 + 0.6 * thing.size, 0.45), 1.3)) * PERSON / high
        if act is not None and verb.role == "wear":
            act, verb = None, Verb()
        at = figure_places(figure, pose)
        for one in worn:
            piece = self.things[one.name]
            if piece.worn in ("body", "feet", "hands"):
                if piece.art == "&cape":
                    props.far.append(_cape(at))
                continue
            if piece.art == "&cape":
                props.far.append(_cape(at))
                continue
            made = self._at_place(one, at)
            (props.far if piece.worn == "back" else props.held).append(made)
        seated_on: Art | None = None
        if act is not None:
            pose, seated_on = self._give(figure, pose, props, thing, phrase, act, verb, k)
        elif not any(VERBS[a.verb].pose for a in self._acts(phrase)):
            self._own_things(figure, pose, props, thing, k)
        if act is not None and verb.tool:
            self._tool(figure, pose, props, verb, k)
        for extra in self._acts(phrase):
            if extra is not act and extra.object is not None and VERBS[extra.verb].role in ("hold", "hold2", "mouth", "play") and act is not None and verb.role in ("ride", "in", "none", "wear"):
                self._held(props, extra.object, figure_places(figure, pose)["hand"], k)
        art = posed(figure, pose, props)
        if pose.lying:
            art = art.moved(turn(pose.lying))
        ground = 0.0 if seated_on is None else seated_on.bounds()[1]
        if pose.lying:
            ground = art.bounds()[1]
        if seated_on is not None and seated_on.places.get("floor"):
            ground = seated_on.places["floor"].y
        art = art.moved(shift(0, -ground), scale(k))
        return art

    def _pose(self, thing: Thing, phrase: Phrase, act: Act | None, verb: Verb) -> Pose:
        name = verb.pose or (thing.pose if act is None or not verb.pose else "stand")
        if act is not None and act.object is not None and verb.role == "play":
            name = _playing(self.things[act.object.name])
        if act is not None and act.verb == "fly" and act.object is not None:
            name = "wave"
        if act is not None and act.verb == "balance" and act.object and "ridden" not in self.things[act.object.name].can:
            name = "balance"
        pose = POSES[name]
        if any(r.kind in ("in", "on") and r.object.name in ("bed", "hammock") for r in phrase.relations) and name in ("stand", "sit", "lie"):
            return POSES["lie"]
        seated = any(VERBS[a.verb].seated for a in phrase.acts) or any(
            (r.kind == "on" or r.kind == "in" or r.kind == "by") and "seats" in self.things[r.object.name].can for r in phrase.relations
        )
        if name == "stand" and seated:
            return POSES["sit"]
        if seated and name in _STANDING:
            return replace(pose, feet=_SEATED, forward=True)
        if act is not None and verb.role == "play" and act.object and name in ("keys",):
            return pose
        return pose

    def _give(
        self, figure: Figure, pose: Pose, props: Props, thing: Thing, phrase: Phrase, act: Act, verb: Verb, k: float
    ) -> tuple[Pose, Art | None]:
        """Put what somebody does something with where it belongs; returns the pose, and what it sits on."""
        wanted = act.object
        if wanted is None and verb.default and verb.role not in ("fly", "easel", "bubble"):
            wanted = Phrase(verb.default, verb.default)
        at = figure_places(figure, pose)
        role = verb.role
        if wanted is None or not wanted.name:
            return pose, None
        kind = self.things[wanted.name]
        if role == "play":
            role = "play" if kind.theme == "instruments" else "feet" if "round" in kind.can else "hold"
            if wanted.name in ("chessboard", "playing cards"):
                role = "hold" if wanted.name == "playing cards" else "none"
        if role in ("ride", "in") or (role == "on" and kind.can & {"stood", "ridden"}) or (role == "balance" and kind.can & {"ridden", "round"}):
            return self._mounted(figure, pose, props, wanted, kind, k, thing)
        if role in ("hold", "hold2", "serve", "made") or (role == "balance"):
            two = role == "hold2"
            if role == "made":
                wanted = replace(wanted, name="knitting", worn=[], relations=[]) if verb.tool else wanted
                two = True
            if role == "serve":
                self._held(props, wanted, Place(at["hand"].x + 2, at["hand"].y + 7, 8), k)
            elif two:
                self._in_arms(props, wanted, at, k)
            else:
                self._held(props, wanted, at["hand"], k, top=at.get("top"))
        elif role == "mouth":
            art = self._small(wanted, k)
            share = min(1.0, 34.0 / max(art.width, art.height, 1.0))
            grip = art.moved(scale(share)).place("grip")
            props.held.append(Art(art.moved(scale(share), shift(at["hand"].x + 2 - grip.x, at["hand"].y - grip.y)).shapes))
        elif role == "look":
            art = self._small(wanted, k, 1.15)
            end, eyes = art.place("end"), at["eyes"]
            if kind.name == "telescope":
                high = end.y - art.bounds()[1]
                art = art.moved(scale((eyes.y - min(at["foot1"].y, at["foot2"].y)) / max(high, 1.0)))
                end = art.place("end")
                props.front.append(Art(art.moved(shift(eyes.x + 6 - end.x, eyes.y - end.y)).shapes))
            else:
                props.held.append(Art(art.moved(shift(eyes.x + 3 - end.x, eyes.y - 2 - end.y)).shapes))
        elif role == "brush":
            pass
        elif role == "play":
            self._instrument(figure, props, at, wanted, kind, k)
        elif role == "up":
            art = self._small(wanted, k, 0.9)
            x0, y0, x1, _ = art.bounds()
            middle = ((at["hand"].x + at["hand2"].x) / 2, max(at["hand"].y, at["hand2"].y) + 2)
            props.held.append(art.moved(shift(middle[0] - (x0 + x1) / 2, middle[1] - y0)))
        elif role == "feet":
            art = self._small(wanted, k, 0.9)
            foot = at["foot2"]
            x0, y0, _, _ = art.bounds()
            ground = min(at["foot1"].y, at["foot2"].y)
            props.front.append(art.moved(shift(foot.x + 12 - x0, (ground if pose is not POSES["kick"] else foot.y + 2) - y0)))
        elif role == "juggle":
            props.front.extend(self._arched(wanted, at, k))
        return pose, None

    def _small(self, phrase: Phrase, k: float, share: float = 1.0) -> Art:
        """What a figure has in hand, in the figure's units; smaller in small hands."""
        art = self.group(phrase).art
        return art.moved(scale(share * min(k, 1.0) ** 0.55 / k))

    def _held(
        self, props: Props, phrase: Phrase, hand: Place, k: float, *, far: bool = False, top: Place | None = None,
        slant: float = 0.0,
    ) -> None:
        """In a hand, by its grip."""
        art = self._small(phrase, k)
        grip = art.place("grip")
        if "under" in art.places and top is not None:  # an umbrella: above the head, and behind it
            high = art.bounds()[3] - 0.5 * art.height
            grow = max(1.0, min((top.y + 3 - hand.y) / max(0.62 * (high - grip.y) * 1.1, 1.0), 1.5))
            art = art.moved(scale(grow))
            grip = art.place("grip")
            lift = max(0.0, top.y + 2 - hand.y - (art.bounds()[3] - 0.46 * art.width * 0.5 - grip.y) + 0.1 * art.height)
            props.behind.append(Art(art.moved(shift(hand.x - 3 - grip.x, hand.y - grip.y + min(lift, 0.9 * (grip.y - art.bounds()[1])))).shapes))
            return
        moved = art.moved(turn(slant), shift(hand.x - grip.moved(turn(slant)).x, hand.y - grip.moved(turn(slant)).y))
        (props.far if far else props.held).append(Art(moved.shapes))

    def _in_arms(self, props: Props, phrase: Phrase, at: Mapping[str, Place], k: float) -> None:
        art = self._small(phrase, k)
        grip = art.place("grip") if "grip" in art.places and self.things[phrase.name].can & {"flat"} else None
        x0, y0, x1, y1 = art.bounds()
        x = (at["hand"].x + at["hand2"].x) / 2 + 2
        y = (at["hand"].y + at["hand2"].y) / 2
        if grip is None:
            grip = Place((x0 + x1) / 2, y0 + min(0.42 * (y1 - y0), 9))
        props.held.append(Art(art.moved(shift(x - grip.x + 3, y - grip.y)).shapes))

    def _tool(self, figure: Figure, pose: Pose, props: Props, verb: Verb, k: float) -> None:
        """What a verb takes in hand, or on the feet."""
        if self.things[verb.tool].worn == "feet":
            return
        if verb.role == "made":
            return
        slant = {"easel": 115.0, "brush": -60.0}.get(verb.role, 0.0)
        self._held(props, Phrase(verb.tool, verb.tool), figure_places(figure, pose)["hand"], k, slant=slant)

    def _own_things(self, figure: Figure, pose: Pose, props: Props, thing: Thing, k: float) -> None:
        """What a kind of people has in hand by nature."""
        at = figure_places(figure, pose)
        for i, name in enumerate(thing.holds):
            if self.things[name].theme == "instruments":
                self._instrument(figure, props, at, Phrase(name, name), self.things[name], k)
            else:
                self._held(props, Phrase(name, name), at["hand" if i == 0 else "hand2"], k, far=i > 0)

    def _arched(self, phrase: Phrase, at: Mapping[str, Place], k: float) -> list[Art]:
        """Things in the air above two hands."""
        one = self._small(replace(phrase, count=1), k, 0.55)
        count = max(phrase.count, 3) if phrase.count < 8 else 7
        left, right = at["hand2"], at["hand"]
        top = at["top"].y + 22
        found = []
        for i in range(count):
            share = i / (count - 1)
            x = left.x + share * (right.x - left.x)
            y = left.y + 8 + (top - left.y - 8) * (1 - (2 * share - 1) ** 2)
            x0, y0, x1, y1 = one.bounds()
            found.append(Art(one.moved(shift(-(x0 + x1) / 2, -(y0 + y1) / 2), turn(25 * i), shift(x, y)).shapes))
        return found

    def _instrument(self, figure: Figure, props: Props, at: Mapping[str, Place], phrase: Phrase, kind: Thing, k: float) -> None:
        """Where an instrument is while it is played."""
        art = self._small(phrase, k, 0.9 if "front" not in kind.can and "keys" not in kind.can else 0.85)
        grip, end = art.place("grip"), art.places.get("end", art.place("mouth"))
        hand, other, mouth = at["hand"], at["hand2"], at["mouth"]
        how = kind.can
        if "violin" in how or "guitar" in how:
            root = Place(at["neck"].x + (4 if "violin" in how else 0), at["neck"].y - (5 if "violin" in how else 24))
            to = other
            if "violin" not in how:
                root = Place(hand.x, hand.y)
            moved = _between(art, end, grip, root, to, k_range=(0.7, 1.25))
            props.held.append(moved)
            if "violin" in how:
                props.front.append(drawn(f"l {hand.x - 6},{hand.y - 6} {hand.x + 22},{hand.y + 22}; T {hand.x - 5},{hand.y - 5},.8 {hand.x + 1},{hand.y + 1},.8"))
        elif "cello" in how:
            ground = min(at["foot1"].y, at["foot2"].y)
            moved = _between(art, art.place("low"), grip, Place(hand.x + 6, ground), Place(other.x + 4, other.y + 8), (0.8, 1.4))
            props.held.append(moved)
            props.front.append(drawn(f"T {hand.x - 16},{hand.y - 3},.7 {hand.x + 20},{hand.y + 3},.7"))
        elif "blown" in how:
            moved = art.moved(shift(mouth.x + 1 - end.x, mouth.y - end.y))
            props.held.append(Art(moved.shapes))
        elif how & {"front", "keys", "drummed"}:
            x0, y0, _, _ = art.bounds()
            ground = min(at["foot1"].y, at["foot2"].y)
            target = art.place("keys") if "keys" in how else art.place("grip")
            x = hand.x - target.x + 2 if "keys" in how else hand.x - x0 - 8
            if "drummed" in how:
                x = max(at["foot2"].x + 6, hand.x - 14) - x0
            props.front.append(Art(art.moved(shift(x, ground - y0)).shapes))
            if "keys" in how:
                hip = at["hip"]
                high = max(hip.y - 4 - ground, 6)
                props.far.append(drawn(f"B {hip.x - 11},{hip.y - 8} 22,4,1; l {hip.x - 8},{hip.y - 8} {hip.x - 10},{hip.y - 8 - high + 4}; l {hip.x + 8},{hip.y - 8} {hip.x + 10},{hip.y - 8 - high + 4}"))
        else:
            x0, y0, x1, y1 = art.bounds()
            props.held.append(Art(art.moved(shift((hand.x + other.x) / 2 + 4 - (x0 + x1) / 2, (hand.y + other.y) / 2 - (y0 + y1) / 2)).shapes))

    def _mounted(
        self, figure: Figure, pose: Pose, props: Props, phrase: Phrase, kind: Thing, k: float, rider: Thing
    ) -> tuple[Pose, Art | None]:
        """On what is ridden or driven: it is put below the hip, hands on its bars."""
        mount = self.group(replace(phrase, relations=[r for r in phrase.relations if r.kind not in ("on",)])).art.moved(scale(1 / k))
        wheeled = "pedal1" in mount.places
        if wheeled:
            pose = POSES["balance"] if phrase.name == "unicycle" else POSES["pedal"]
            long = math.hypot(mount.place("seat").x - mount.place("pedal2").x, mount.place("seat").y - mount.place("pedal2").y)
            mount = mount.moved(scale(0.95 * (figure.leg[0] + 3) / max(long, 1.0)))
        inside = ("contains" in kind.can or "driven" in kind.can) and "in" in mount.places
        standing = "stood" in kind.can or phrase.name == "ball"
        if not wheeled and not standing:
            pose = replace(pose, feet=_SEATED if inside else _ASTRIDE, forward=True, one_skin=False)
            if pose.lying:
                pose = replace(POSES["ride"], lying=0.0)
        if standing:
            pose = POSES["balance"]
            pose = replace(pose, feet=((-0.3, -0.92), (0.35, -0.9))) if phrase.name != "ball" else replace(pose, feet=((-0.12, -1.0), (0.16, -0.97)))
        if not wheeled and not inside and not standing:
            least = 0.34 * _figure_height(figure, POSES["stand"])
            if phrase.name == "broom":
                mount = mount.moved(turn(-78))
                grip = mount.place("ride")
                mount = mount.with_places(seat=Place(grip.x, grip.y, 20))
            elif mount.place("seat").y < least:
                mount = mount.moved(scale(min(least / max(mount.place("seat").y, 1.0), 3.0)))
        if inside:
            fit = 1.25 * mount.place("in").size / 26.0
            if fit < 0.8 and kind.name not in ("rowing boat",):
                mount = mount.moved(scale(min(0.8 / fit, 2.6)))
        at = figure_places(figure, pose)
        hip = at["hip"]
        feet = at["feet"]
        seat = mount.place("in" if inside else "seat")
        drop = hip.y - 5 if not standing else min(at["foot1"].y, at["foot2"].y)
        mount = mount.moved(shift((hip.x if not standing else feet.x) - seat.x, drop - seat.y))
        bars = mount.places.get("bars")
        if phrase.name == "broom":
            bars = Place(hip.x + 17, hip.y + 3)
        if bars is not None and phrase.name != "unicycle" and not standing:
            neck = at["neck"]
            arm = figure.arm[0]
            reach = ((bars.x - neck.x) / arm, (bars.y - neck.y) / arm)
            pose = replace(pose, hands=((reach[0] - 0.12, reach[1] + 0.02), reach))
        behind = Art(tuple(s for s in mount.shapes if s.tag != "front"), {})
        front = Art(tuple(s for s in mount.shapes if s.tag == "front"), {})
        if inside:
            props.far.append(behind)
            props.front.append(front)
        elif standing:
            props.far.append(mount)
        else:
            props.under.append(Art(mount.shapes))
        floor = Place(0, mount.bounds()[1] if "floats" not in kind.can else seat.y - mount.place("in").y + drop - seat.y)
        lowest = mount.bounds()[1]
        del floor, rider
        return pose, Art(mount.shapes, {"floor": Place(0, lowest)})

    def _wearing(self, art: Art, worn: list[Phrase]) -> Art:
        """Hats, glasses and the like on a thing as it is."""
        for one in worn:
            piece = self.things[one.name]
            if piece.worn == "feet" and isinstance(piece.art, str):
                continue
            if piece.art == "&cape":
                continue
            made = self._at_place(one, art.places if "top" in art.places else _all_places(art))
            art = art.over(made) if piece.worn == "back" and piece.art and "wings" not in str(piece.art) else Art((*art.shapes, *made.shapes), art.places)
        return art

    def _at_place(self, phrase: Phrase, places: Mapping[str, Place]) -> Art:
        piece = self.things[phrase.name]
        where = "top" if piece.worn == "round" else piece.worn
        at = places.get(where) or Place(0, 0, 10)
        text = WINGS_ART if piece.art == "&wings" else piece.art
        art = drawn(text if isinstance(text, str) and text not in TORSO and piece.worn not in ("feet", "body") else "")
        for name in phrase.modifiers:
            art = modified(art, name)
        if phrase.pen:
            art = art.mapped(lambda s: replace(s, pen=s.pen or phrase.pen))
        return Art(art.moved(scale(at.size / 20.0), turn(at.turn), shift(at.x, at.y)).shapes)

    # what happens around somebody

    def _effect(self, me: Group, phrase: Phrase, act: Act) -> Group:
        """Others that somebody does something to, and what goes with it."""
        verb = VERBS[act.verb]
        thing = act.object
        role = verb.role
        if role == "easel" and thing is not None:
            return self._easel(me, thing)
        if role == "bubble" and thing is not None:
            return self._bubble(me, thing)
        if thing is None:
            if act.verb == "fly" and "flies" in self.things[phrase.name].can or act.verb in ("fly", "swim"):
                return replace(me, up=act.verb == "fly", art=me.art)
            if act.verb == "jump":
                return replace(me, art=modified(me.art, "floating"))
            if role == "catch":
                return me
            return me
        if not thing.name:
            return me
        kind = self.things[thing.name]
        if role == "play" and thing.name == "chessboard":
            return self._at_table(me, thing)
        if role in ("target", "partner", "close", "catch") or (role == "climb" and "acts" in kind.can):
            gap = {"close": -0.06, "partner": 0.0}.get(role, 0.16) * PERSON
            other = self.group(thing)
            if role == "catch":
                return self._hooked(me, other)
            turned = other.mirrored() if other.living and act.verb not in ("chase", "follow", "flee", "escape", "hunt") else other
            if act.verb in ("flee", "escape"):
                return self._beside(turned, me, gap + 8, first=me)
            return self._beside(me, turned, gap, first=me)
        if thing.name == "moon":
            thing = replace(thing, name="full moon", modifiers=[*thing.modifiers, "big"])
        if role == "behind":
            return self._behind(me, self.group(thing))
        if role == "front" and act.verb != "type":
            other = self.group(thing)
            return self._beside(me, other, -0.10 * PERSON, first=me, at_hand=True)
        if role == "string":
            other = self.group(thing)
            return self._tied(me, other, pulls=act.verb not in ("walk", "lead"))
        if role == "fly":
            if "flies" in kind.can and "contains" in kind.can or thing.name in ("airplane", "helicopter", "rocket"):
                return replace(self._in(me, self.group(thing)), up=True)
            return self._on_string(me, thing)
        if role == "over":
            return self._over(me, self.group(thing))
        if role in ("on", "climb"):
            if role == "on" and kind.can & {"stood", "ridden"} and "acts" in self.things[phrase.name].can and me.art.places.get("hip"):
                return me
            return self._on(me, self.group(thing), climbing=role == "climb")
        if role == "hang":
            return self._hung(me, self.group(thing))
        if role == "look":
            return me
        if role == "in" and not self._figured(phrase, self.things[phrase.name]):
            return self._in(me, self.group(thing))
        if role == "hold2" and not self._figured(phrase, self.things[phrase.name]):
            return self._on(self.group(thing), me, place="back")
        if role == "parachute":
            return me
        return me

    def _related(self, me: Group, phrase: Phrase, relation: Relation) -> Group:
        """Where somebody is, or what is with it."""
        kind, other = relation.kind, relation.object
        if relation.place == "shared":
            return me
        thing = self.things[other.name]
        if kind == "with":
            if "acts" not in self.things[phrase.name].can and "carries" in self.things[phrase.name].can and thing.size < self.things[phrase.name].size:
                return self._borne(me, self.group(other), "seat", self.things[phrase.name])
            if self._holdable(other) and ("acts" in self.things[phrase.name].can) and self._figured(phrase, self.things[phrase.name]):
                return me
            return self._beside(me, self._facing(other), 0.08 * PERSON, first=me)
        if kind == "on" and self._ridden(phrase, other) and any(a.verb == "ride" for a in self._acts(phrase)):
            return me
        if kind == "bears":
            return self._borne(me, self.group(other), relation.place, self.things[phrase.name])
        if kind in ("full of",):
            return self._filled(me, other, self.things[phrase.name])
        if kind == "of":
            return self._pictured(me, other, phrase.name)
        if other.name == "moon" and kind in ("before", "over", "behind", "under"):
            other = replace(other, name="full moon", modifiers=[*other.modifiers, "big"])
        made = self.group(other)
        if kind == "on" or kind.startswith("on "):
            place = relation.place or kind.removeprefix("on").strip()
            if "up" in thing.can and thing.name not in ("cloud",) and "seat" not in made.art.places:
                place = ""
            return self._on(me, made, place=place, lie=thing.name in ("bed", "hammock", "sofa") and self._sleeps(phrase))
        if kind == "in":
            if thing.name in ("tree", "fir tree", "palm tree", "bush"):
                return self._before_centre(me, made)
            if "seats" in thing.can and "contains" not in thing.can:
                return self._on(me, made)
            return self._in(me, made, lie=self._sleeps(phrase) or thing.name in ("bed", "hammock"))
        if kind == "under":
            return self._under(me, made)
        if kind == "over":
            return self._over(me, made)
        if kind == "behind":
            return self._behind(made, me, first=me)
        if kind == "before":
            return self._behind(me, made)
        if kind == "between":
            return self._between(me, other)
        if kind == "among":
            return self._among(me, other)
        if kind == "along":
            return self._on(me, made) if "carries" in thing.can else self._beside(me, made, 8, first=me)
        if kind == "to" or kind == "facing":
            return self._beside(me, made.mirrored() if made.living else made, 0.16 * PERSON, first=me)
        if kind in ("by", "against", "for", "after", "about", "like", "as"):
            if thing.name == "table" and me.art.places.get("hip"):
                return self._beside(me, made, -0.16 * PERSON, first=me)
            return self._beside(me, self._facing(other) if kind == "by" else made, 2 if kind == "against" else 0.07 * PERSON, first=me)
        return self._beside(me, made, 8, first=me)

    def _sleeps(self, phrase: Phrase) -> bool:
        return "sleeping" in phrase.modifiers or any(VERBS[a.verb].sign == "sleeping" or a.verb == "lie" for a in phrase.acts)

    def _facing(self, phrase: Phrase) -> Group:
        made = self.group(phrase)
        return made.mirrored() if made.living and phrase.count == 1 else made

    def _beside(self, me: Group, other: Group, gap: float, *, first: Group, at_hand: bool = False) -> Group:
        x = me.art.bounds()[2] if not at_hand else me.art.place("hand").x
        x0 = other.art.bounds()[0]
        rise = 0.45 * PERSON if other.up and not me.up else 0.0
        moved = other.moved(x + gap - x0, rise)
        return joined([moved, me] if at_hand else [me, moved], first)

    def _on(self, me: Group, base: Group, *, place: str = "", climbing: bool = False, lie: bool = False) -> Group:
        """On top of something: feet or seat on its upper side."""
        if lie and "lie" in base.art.places:
            return self._in(me, base, lie=True)
        seat = base.art.place(place) if place and place in base.art.places else base.art.place("seat" if not place or place not in base.art.places else place)
        if climbing and "climb" in base.art.places:
            seat = base.art.place("climb")
        x0, y0, x1, _ = me.art.bounds()
        foot = me.art.place("feet") if "feet" in me.art.places else Place((x0 + x1) / 2, y0)
        hip = me.art.places.get("hip")
        grown = base
        if me.art.width > 1.9 * max(seat.size, 1.0) and not climbing:
            k = min(me.art.width / (1.9 * max(seat.size, 1.0)), 2.2)
            grown = replace(base, art=base.art.moved(scale(k)))
            seat = seat.moved(scale(k))
        high = y0
        x = (x0 + x1) / 2 if hip is None else foot.x
        if hip is not None and _sits(me.art):
            high = hip.y - 5
            x = hip.x
        placed = me.moved(seat.x - x, seat.y - high)
        lowest = placed.art.bounds()[1]
        both = joined([grown, placed], placed)
        if lowest < grown.art.bounds()[1]:
            both = both.moved(0, 0)
        return replace(both, up=base.up, afloat=base.afloat)

    def _in(self, me: Group, container: Group, *, lie: bool = False) -> Group:
        """Inside something: what is tagged ``front`` hides the lower half."""
        room = container.art.place("in")
        art = me.art
        if lie and "lie" in container.art.places:
            room = container.art.place("lie")
            if art.height > art.width:
                art = _grounded(art.moved(turn(90)), keep_below=False)
            k = min(1.0, 1.9 * room.size / max(art.width, 1.0))
            art = art.moved(scale(k))
            x0, y0, _, _ = art.bounds()
            art = art.moved(shift(room.x - x0 - 8, room.y - y0 - 3))
        else:
            wide = art.width
            if wide > 1.5 * room.size:
                grow = min(wide / (1.5 * room.size), 1.9)
                container = replace(container, art=container.art.moved(scale(grow)))
                room = container.art.place("in")
                art = art.moved(scale(max(min(1.0, 1.5 * room.size / wide), 0.5)))
            x0, y0, x1, y1 = art.bounds()
            hip = art.places.get("hip")
            has_front = any(s.tag == "front" for s in container.art.shapes)
            sink = (0.30 if hip is None else (hip.y - y0) / max(y1 - y0, 1.0)) * (y1 - y0) if has_front else 0.0
            middle = (x0 + x1) / 2 if hip is None else hip.x
            if not has_front:
                y = room.y - (y1 - y0) / 2 if room.size < 0.9 * container.art.width else room.y
                art = art.moved(shift(room.x - middle, y - y0))
            else:
                art = art.moved(shift(room.x - middle, room.y - sink - y0))
        front = [s for s in container.art.shapes if s.tag == "front"]
        behind = [s for s in container.art.shapes if s.tag != "front"]
        if front:  # what hangs out below the container is not seen
            low = container.art.bounds()[1]
            hull = shapely.union_all([s.area for s in front if s.area is not None]).convex_hull
            art = art.mapped(lambda s: _above(s, low, hull))
        if not front and container.art.place("in").size >= 0.3 * container.art.width and _see_through(container):
            behind, front = [], list(behind)
            front = [replace(s, area=None) for s in front]
            shapes = (*art.shapes, *front)
        else:
            shapes = (*behind, *art.shapes, *front)
        places = {**container.art.places, **{n: p for n, p in art.places.items() if n not in ("seat", "in")}}
        return replace(container, art=Art(shapes, places), living=me.living)

    def _under(self, me: Group, above: Group) -> Group:
        """Below something: in its shade, or between its legs."""
        if above.up or "under" in above.art.places:
            over = above.art.place("under") if "under" in above.art.places else None
            x0, _, x1, y1 = me.art.bounds()
            art = above.art
            if art.width < 0.9 * me.art.width:
                art = art.moved(scale(0.95 * me.art.width / art.width))
                over = art.place("under") if over is not None else None
            a, b, c, _ = art.bounds()
            y = y1 + 3 - (over.y if over is not None else b)
            if over is not None:
                y = max(y1 - 0.62 * art.height, 0.0) - b
            moved = art.moved(shift((x0 + x1) / 2 - (a + c) / 2, y))
            if above.art.places.get("grip") and above.art.width < 2.2 * me.art.width:
                return replace(me, art=Art((*me.art.shapes, *moved.shapes), me.art.places))
            return replace(me, art=Art((*moved.shapes, *me.art.shapes), me.art.places))
        if "on" in above.art.places or above.art.place("seat").y < me.art.height:  # a table, a bridge: it is made to fit
            room = 0.86 * above.art.place("seat").y
            k = max(1.0, me.art.height / max(room, 1.0))
            if k > 1.8:
                me = replace(me, art=me.art.moved(scale(1.8 / k)))
                k = 1.8
            base = replace(above, art=above.art.moved(scale(k)))
        else:
            base = above
        a, _, c, _ = base.art.bounds()
        x0, _, x1, _ = me.art.bounds()
        trunk = 0.22 * base.art.width if "branch" in base.art.places else 0.0
        return joined([base.moved((x0 + x1) / 2 - (a + c) / 2 - trunk, 2.0), me], me)

    def _over(self, me: Group, below: Group) -> Group:
        """In the air above something."""
        x0, y0, x1, _ = me.art.bounds()
        a, _, c, top = below.art.bounds()
        raised = below
        if below.up and below.art.height < 0.8 * PERSON:
            raised = below
        moved = me.moved((a + c) / 2 - (x0 + x1) / 2, top + 6 - y0)
        return replace(joined([raised, moved], moved), up=False)

    def _behind(self, front: Group, back: Group, *, first: Group | None = None) -> Group:
        """One partly hidden by the other, which stands a little lower on the sheet."""
        a, _, c, high = front.art.bounds()
        x0, _, x1, top = back.art.bounds()
        if back.up:
            grown = back.art.moved(scale(max(1.0, 0.75 * high / max(back.art.height, 1.0))))
            x0, _, x1, top = grown.bounds()
            moved = replace(back, art=grown).moved((a + c) / 2 - (x0 + x1) / 2 + 0.22 * (x1 - x0), max(0.3 * high, 1.02 * high - 0.8 * top))
            return joined([moved, front], first or front)
        offset = 0.0 if (x1 - x0) > 1.5 * (c - a) else 0.34 * (c - a)
        rise = 0.1 * high
        if top < 1.1 * high and (x1 - x0) < 1.2 * (c - a):  # it would not be seen
            rise = max(rise, 0.42 * high)
        moved = back.moved((a + c) / 2 - (x0 + x1) / 2 + offset, rise)
        return joined([moved, front], first or front)

    def _between(self, me: Group, other: Phrase) -> Group:
        one = self.group(replace(other, count=1))
        x0, _, x1, _ = me.art.bounds()
        left = one.moved(x0 - 4 - one.art.bounds()[2], 0)
        if one.living:
            right = one.mirrored()
            right = right.moved(x1 + 4 - right.art.bounds()[0], 0)
        else:
            right = one.moved(x1 + 4 - one.art.bounds()[0], 0)
        low = 0.34 * one.art.height if me.up or "web" in other.said or me.art.height < 0.5 * one.art.height and not me.living else 0.0
        return joined([left, right, me.moved(0, low)], me)

    def _among(self, me: Group, other: Phrase) -> Group:
        one = self.group(replace(other, count=1))
        x0, _, x1, _ = me.art.bounds()
        wide = one.art.width
        count = max(4, min(other.count, 8))
        found = []
        for i in range(count):
            x = x0 - 0.7 * wide + (x1 - x0 + 1.4 * wide) * i / (count - 1)
            a, _, c, _ = one.art.bounds()
            found.append((i % 2, one.moved(x - (a + c) / 2, (6.0 if i % 2 else -6.0))))
        back = [g for odd, g in found if odd]
        front = [replace(g, art=g.art.moved(shift(0, 0))) for odd, g in found if not odd]
        small = [g for g in front if g.art.height < 0.7 * me.art.height or abs(_middle(g) - _middle(me)) > 0.5 * me.art.width]
        return joined([*back, me, *small], me)

    def _before_centre(self, me: Group, tree: Group) -> Group:
        """In the crown of a tree."""
        room = tree.art.place("in")
        art = me.art
        k = min(1.0, 0.95 * room.size / max(art.width, 1.0))
        big = tree
        if k < 0.75:
            big = replace(tree, art=tree.art.moved(scale(min(0.75 / k, 2.0))))
            room = big.art.place("in")
            k = max(k, 0.75)
        art = art.moved(scale(k))
        x0, y0, x1, y1 = art.bounds()
        moved = replace(me, art=art.moved(shift(room.x - (x0 + x1) / 2, room.y - (y0 + y1) / 2)))
        return joined([big, moved], moved)

    def _borne(self, me: Group, other: Group, place: str, who: Thing) -> Group:
        """Something on a part of somebody."""
        at = me.art.place({"nose": "nose" if "nose" in me.art.places else "mouth", "": "seat"}.get(place, place))
        if place == "back" and not me.art.places.get("hip"):
            at = me.art.place("seat")
        if place == "hand" and "grip" in other.art.places:
            grip = other.art.place("grip")
            moved = other.moved(at.x - grip.x, at.y - grip.y)
            return joined([me, moved], me)
        x0, y0, x1, _ = other.art.bounds()
        limit = {"shoulder": 0.5, "top": 0.75, "hand": 0.5, "nose": 0.6, "lap": 0.7}.get(place, 1.0) * me.art.width
        k = min(1.0, max(limit, 12.0) / max(x1 - x0, 1.0))
        art = other.art.moved(scale(k))
        x0, y0, x1, _ = art.bounds()
        y = at.y
        if place == "top":
            y = max(y, me.art.bounds()[3] - 2) if any(w in who.wears for w in ("top hat", "wizard hat")) or who.name == "scarecrow" else y
        moved = replace(other, art=art.moved(shift(at.x - (x0 + x1) / 2, y - y0)))
        return joined([me, moved] if place != "back" or not me.art.places.get("hip") else [moved, me], me)

    def _filled(self, me: Group, other: Phrase, kind: Thing) -> Group:
        """Several things in a container, or in a tree."""
        room = me.art.place("in")
        count = max(other.count, 5) if other.count != 1 else 1
        one = self.group(replace(other, count=1)).art
        k = min(1.0, 1.0 * room.size / math.sqrt(count) / max(one.width, 1.0))
        one = one.moved(scale(k))
        x0, y0, x1, y1 = one.bounds()
        wide, high = x1 - x0, y1 - y0
        pieces: list[Shape] = []
        front = [s for s in me.art.shapes if s.tag == "front"]
        behind = [s for s in me.art.shapes if s.tag != "front"]
        if kind.theme == "plants":
            for i in range(count):
                a = math.tau * i / count
                r = 0.34 * room.size * (0.5 + 0.5 * (i % 2))
                pieces += one.moved(shift(room.x + 1.15 * r * math.cos(a) - (x0 + x1) / 2, room.y + 0.9 * r * math.sin(a) - (y0 + y1) / 2)).shapes
            return replace(me, art=Art((*me.art.shapes, *pieces), me.art.places))
        row = max(1, min(count, int(1.1 * room.size / max(wide * 0.7, 1.0))))
        for i in range(count - 1, -1, -1):
            level, column = divmod(i, row)
            in_row = min(row, count - level * row)
            x = room.x + (column - (in_row - 1) / 2) * wide * 0.75
            pieces += one.moved(shift(x - (x0 + x1) / 2, room.y - y0 - 0.45 * high + level * 0.55 * high)).shapes
        return replace(me, art=Art((*behind, *pieces, *front), me.art.places))

    def _pictured(self, me: Group, other: Phrase, name: str) -> Group:
        """A picture of something, or its statue."""
        art = self.group(other).art
        if "frame" in me.art.places and name != "easel":
            frame = me.art.place("frame")
            return replace(me, art=Art((*me.art.shapes, *_fitted(art, frame, 0.7).shapes), me.art.places))
        top = me.art.places.get("on", me.art.place("seat"))
        x0, y0, x1, _ = art.bounds()
        grown = me.art.moved(scale(max(1.0, 0.8 * (x1 - x0) / max(top.size, 1.0))))
        top = grown.places.get("on", grown.place("seat"))
        moved = art.moved(shift(top.x - (x0 + x1) / 2, top.y - y0))
        return replace(me, art=Art((*grown.shapes, *moved.shapes), {**grown.places, **moved.places}))

    def _easel(self, me: Group, thing: Phrase) -> Group:
        """An easel before the painter, with the picture on it."""
        easel = self._natural(self.things["easel"])
        k = min(max(me.art.height / 92.0, 0.5), 1.15)
        easel = easel.moved(scale(k))
        art = self.group(thing).art
        frame = easel.place("frame")
        shapes = (*easel.shapes, *_fitted(art, frame, 0.86).shapes)
        x = me.art.place("hand").x + 7
        moved = Art(shapes).moved(shift(x - easel.bounds()[0] + 6, 0))
        return replace(me, art=Art((*moved.shapes, *me.art.shapes), me.art.places))

    def _bubble(self, me: Group, thing: Phrase) -> Group:
        """A cloud with what somebody thinks of."""
        art = self.group(thing).art
        wide = max(0.75 * me.art.height, 46.0)
        top = me.art.place("top")
        cx, cy = top.x + 0.35 * wide, me.art.bounds()[3] + 0.55 * wide
        lobes = [shapely.Point(cx + 0.5 * wide * math.cos(a), cy + 0.3 * wide * math.sin(a)).buffer(0.2 * wide) for a in np.linspace(0, math.tau, 9)[:-1]]
        cloud = shapely.union_all([*lobes, shapely.box(cx - 0.45 * wide, cy - 0.26 * wide, cx + 0.45 * wide, cy + 0.26 * wide)])
        shapes = [Shape(tuple(outline(cloud)), cloud, "sign")]
        for share, r in ((0.12, 1.6), (0.3, 2.4), (0.5, 3.4)):
            x, y = top.x + 5 + share * 12, me.art.bounds()[3] + 2 + share * 0.2 * wide
            shapes.append(Shape((arc(x, y, r, r),), None, "sign"))
        inside = _fitted(art, Place(cx, cy, 0.82 * wide), 0.62)
        return replace(me, art=Art((*me.art.shapes, *shapes, *inside.shapes), me.art.places))

    def _at_table(self, me: Group, thing: Phrase) -> Group:
        """A table with a game before somebody."""
        table = self._natural(self.things["table"]).moved(scale(0.72, 0.9))
        board = self._natural(self.things[thing.name]).moved(scale(0.8))
        on = table.place("on")
        x0, y0, x1, _ = board.bounds()
        game = board.moved(shift(on.x - (x0 + x1) / 2, on.y - y0))
        both = Group(Art((*table.shapes, *game.shapes)))
        return self._beside(me, both, -0.12 * PERSON, first=me)

    def _hooked(self, me: Group, other: Group) -> Group:
        """What somebody fishes for, below the end of the line."""
        x1 = me.art.bounds()[2]
        a, b, c, d = other.art.bounds()
        k = min(1.0, 26.0 / max(d - b, 1.0))
        art = other.art.moved(scale(k))
        a, b, c, d = art.bounds()
        return replace(me, art=Art((*me.art.shapes, *art.moved(shift(x1 - (a + c) / 2, -0.3 * (d - b) - b)).shapes), me.art.places))

    def _tied(self, me: Group, other: Group, *, pulls: bool) -> Group:
        """A rope from hand to what is pulled or led."""
        if pulls:  # it comes after
            x0 = me.art.bounds()[0]
            moved = other.moved(x0 - 14 - other.art.bounds()[2], 0)
            start = me.art.places.get("rope") or me.art.place("hand2" if "hand2" in me.art.places else "back")
            if "hip" in me.art.places:  # somebody who pulls looks at the load
                moved = other.moved(me.art.bounds()[2] + 16 - other.art.bounds()[0], 0)
                start = me.art.place("hand")
                end = Place(moved.art.bounds()[0] + 2, 0.42 * moved.art.height)
            else:
                end = moved.art.places.get("mouth", Place(moved.art.bounds()[2], 0.4 * moved.art.height))
        else:
            moved = other.moved(me.art.bounds()[2] + 12 - other.art.bounds()[0], 0)
            start, end = me.art.place("hand"), moved.art.place("neck")
        sag = (start.x + end.x) / 2, min(start.y, end.y) - 3
        line = Shape((smooth(np.array(((start.x, start.y), sag, (end.x, end.y)))),), None, "sign")
        return joined([moved, me, Group(Art((line,)))], me)

    def _on_string(self, me: Group, thing: Phrase) -> Group:
        """A kite or a balloon high up, with its string in the hand."""
        art = self.group(thing).art
        hand = me.art.place("hand") if "hand" in me.art.places else me.art.place("top")
        x0, y0, x1, _ = art.bounds()
        moved = art.moved(shift(hand.x + 34 - x0, me.art.bounds()[3] + 14 - y0))
        end = moved.place("grip")
        line = smooth(np.array(((hand.x, hand.y), ((hand.x + end.x) / 2 + 6, (hand.y + end.y) / 2 - 6), (end.x, end.y))))
        return replace(me, art=Art((Shape((line,), None, "sign"), *moved.shapes, *me.art.shapes), me.art.places), up=False)

    def _hung(self, me: Group, above: Group) -> Group:
        """Hanging from something."""
        art = me.art
        x0, _, x1, y1 = art.bounds()
        place = above.art.places.get("branch") or above.art.places.get("hook") or above.art.places.get("bars")
        a, b, c, _ = above.art.bounds()
        if place is None:
            place = Place((a + c) / 2 + 0.3 * (c - a), b + 0.55 * (above.art.height))
        grip = art.place("hand") if "hip" in art.places else Place((x0 + x1) / 2, y1)
        lift = max(0.0, y1 - (place.y - 0.0)) + (6 if place.y < y1 + 6 else 0)
        top = above.moved(0, lift)
        moved = me.moved(place.x - grip.x, place.y + lift - max(grip.y, y1 if "hip" not in art.places else grip.y))
        return joined([top, moved], moved)


WINGS_ART: Final = (
    "S -4,0! -16,24 -34,36 -48,30! -43,26 -48,20! -41,18 -43,10! -33,10 -32,2! -18,-2 -4,-6!; "
    "s -40,24 -24,18 -10,6; s -38,14 -22,10 -10,2; S 14,2! 22,20 36,30 46,24! 42,20 46,15! 40,12 40,5! 30,5 28,-2! 20,-3"
)


def _grounded(art: Art, *, keep_below: bool) -> Art:
    """Standing on y = 0; a boat's waves may stay below."""
    x0, y0, x1, _ = art.bounds()
    if keep_below and y0 < 0:
        return art
    del x0, x1
    return art.moved(shift(0, -y0))


def _all_places(art: Art) -> dict[str, Place]:
    return {name: art.place(name) for name in ("top", "eyes", "mouth", "neck", "back", "hand", "feet", "chest")} | dict(art.places)


def _figure_height(figure: Figure, pose: Pose) -> float:
    """Of the figure standing, from ground to the top of its head."""
    del pose
    at = figure_places(figure, POSES["stand"])
    return max(at["top"].y, at["neck"].y + 4) if "top" in at else at["neck"].y + 26


def _clothed(figure: Figure, garment: str) -> Figure:
    below, front = TORSO[garment]
    return replace(figure, below=below or figure.below, front=front, one_skin=figure.one_skin and not below)


def _cape(at: Mapping[str, Place]) -> Art:
    neck, feet = at["neck"], at["feet"]
    low = feet.y + 0.22 * (neck.y - feet.y)
    return drawn(
        f"S {neck.x - 7},{neck.y - 1}! {neck.x - 20},{neck.y - 22} {neck.x - 29},{low}! {neck.x - 12},{low - 3} "
        f"{neck.x + 6},{low - 1}! {neck.x + 7},{neck.y - 1}!; s {neck.x - 12},{neck.y - 12} {neck.x - 20},{low + 2}"
    )


def _playing(kind: Thing) -> str:
    """The pose in which an instrument, or a game, is played."""
    for word, pose in (("violin", "violin"), ("cello", "cello"), ("guitar", "guitar"), ("keys", "keys"), ("drummed", "drum"), ("front", "keys"), ("held2", "carry")):
        if word in kind.can:
            return pose
    if "blown" in kind.can:
        return "flute" if kind.name == "flute" else "blow"
    if "round" in kind.can:
        return "kick"
    return "present" if kind.name == "tennis racket" else "sit_hold" if kind.name == "chessboard" else "hold"


def _between(art: Art, a: Place, b: Place, to_a: Place, to_b: Place, k_range: tuple[float, float]) -> Art:
    """Turned and scaled so that one of its points comes to a place and another towards a second."""
    long = math.hypot(b.x - a.x, b.y - a.y)
    wanted = math.hypot(to_b.x - to_a.x, to_b.y - to_a.y)
    k = min(max(wanted / max(long, 1e-6), k_range[0]), k_range[1])
    angle = math.degrees(math.atan2(to_b.y - to_a.y, to_b.x - to_a.x) - math.atan2(b.y - a.y, b.x - a.x))
    m = chain(shift(-a.x, -a.y), scale(k), turn(angle), shift(to_a.x, to_a.y))
    return Art(art.moved(m).shapes)


def _fitted(art: Art, frame: Place, tall: float) -> Art:
    """Scaled into a frame so wide, and so tall as a share of that."""
    x0, y0, x1, y1 = art.bounds()
    k = min(frame.size * 0.88 / max(x1 - x0, 1e-6), frame.size * tall * 0.95 / max(y1 - y0, 1e-6))
    return art.moved(shift(-(x0 + x1) / 2, -(y0 + y1) / 2), scale(k), shift(frame.x, frame.y))


def _above(shape: Shape, low: float, hull: shapely.Geometry) -> Shape:
    """A shape without what lies below a container's foot, or beside it below its rim."""
    x0, y0, x1, y1 = shape.area.bounds if shape.area is not None else (0, 0, 0, 0)
    del x0, y0, x1, y1
    a, b, c, d = hull.bounds
    rim = b + 0.55 * (d - b)
    gone = shapely.union_all([shapely.box(a - 200, low - 400, c + 200, b + 0.12 * (d - b)), shapely.box(a - 0.0, low - 400, c + 0.0, rim).difference(hull.buffer(0.5))])
    lines = [
        shapely.get_coordinates(part)
        for line in shape.lines if len(line) > 1
        for part in shapely.get_parts(shapely.difference(shapely.linestrings(line), gone)) if part.length > 0.3
    ]  # fmt: skip
    return replace(shape, lines=tuple(lines), area=None if shape.area is None else shape.area.difference(gone))


def _see_through(container: Group) -> bool:
    """Whether what is inside is seen through the wall: a bottle, a jar."""
    return not container.living and len(container.art.shapes) < 14 and container.art.height < 75


def _sits(art: Art) -> bool:
    """Whether a figure's feet are not below its hip."""
    hip, one, two = art.places.get("hip"), art.places.get("foot1"), art.places.get("foot2")
    if hip is None or one is None or two is None:
        return False
    return min(one.x, two.x) > hip.x + 0.25 * abs(hip.y - min(one.y, two.y))


def _head_back(art: Art) -> Art:
    return art


def _long(thing: Thing) -> bool:
    return thing.size >= 0.6 or thing.theme in ("furniture", "buildings")


def _middle(group: Group) -> float:
    x0, _, x1, _ = group.art.bounds()
    return (x0 + x1) / 2
