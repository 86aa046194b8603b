"""`Holding`: things in a figure's hands, at its mouth, and in front of it while it plays.

A held thing is drawn as a group with all its attributes by `group`, which the stage provides.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from linewright.sources.words.art import Anchor, Art, chain, scale, shift, turn
from linewright.sources.words.figure import Figure, Props
from linewright.sources.words.figure import places as figure_places
from linewright.sources.words.groups import Group
from linewright.sources.words.phrases import Phrase
from linewright.sources.words.poses import Pose
from linewright.sources.words.script import drawn
from linewright.sources.words.store.entry import Thing
from linewright.sources.words.verbs import Verb

BRUSHED: Final = {"mouth brush": "mouth", "hair brush": "top"}
"""Places that are brushed, by a verb's role."""


class Holding:
    """Puts things into hands.

    Parameters
    ----------
    things : all things by name.
    """

    def __init__(self, things: Mapping[str, Thing]) -> None:
        self.things = things

    def group(self, phrase: Phrase, factor: float = 1.0) -> Group:
        """Draw a phrase with all its attributes as one group."""
        raise NotImplementedError

    def _small(self, phrase: Phrase, k: float, share: float = 1.0) -> Art:
        """A held thing, in the figure's units; smaller in small hands."""
        art = self.group(phrase).art
        if phrase.count > 1:  # a handful is as wide as one thing, so as not to hide the holder
            art = art.moved(scale(min(1.0, 30.0 / max(art.width, 1.0))))
        return art.moved(scale(share * min(k, 1.0) ** 0.55 / k))

    def _held(
        self,
        props: Props,
        phrase: Phrase,
        hand: Anchor,
        k: float,
        *,
        far: bool = False,
        top: Anchor | None = None,
        slant: float = 0.0,
        face: Anchor | None = None,
    ) -> None:
        """Put a thing into a hand by its grip; one that would hide the face is smaller and farther out."""
        art = self._small(phrase, k)
        grip = art.place("grip")
        if face is not None and "grip" not in art.places and "under" not in art.places:
            high = art.bounds()[3] - grip.y
            room = max(face.y - 3 - hand.y, 0.5 * high)
            art = art.moved(scale(min(1.0, room / max(high, 1.0))))
            grip = replace(art.place("grip"), x=art.bounds()[0] + 0.3 * art.width)
        if "under" in art.places and top is not None:  # an umbrella: above the head, and behind it
            high = art.bounds()[3] - 0.5 * art.height
            grow = max(1.0, min((top.y + 3 - hand.y) / max(0.62 * (high - grip.y) * 1.1, 1.0), 1.5))
            art = art.moved(scale(grow))
            grip = art.place("grip")
            lift = max(0.0, top.y + 2 - hand.y - (art.bounds()[3] - 0.46 * art.width * 0.5 - grip.y) + 0.1 * art.height)
            props.behind.append(
                Art(
                    art.moved(
                        shift(hand.x + 3 - grip.x, hand.y - grip.y + min(lift, 0.9 * (grip.y - art.bounds()[1])))
                    ).shapes
                )
            )
            return
        below = grip.y - art.bounds()[1]
        if below > hand.y + 1 and hand.y > 0:  # shorten what reaches below the feet, or its holder would float
            art = art.moved(scale(max(hand.y / below, 0.35)))
            grip = art.place("grip")
        if face is not None and not slant:
            x0, _, x1, y1 = art.moved(shift(hand.x - grip.x, hand.y - grip.y)).bounds()
            if y1 > face.y and x0 < face.x + 12 and x1 - x0 > 13:  # it would hide the face
                if grip.y - art.bounds()[1] < 0.36 * art.height:
                    slant = -32.0
                else:
                    grip = replace(grip, x=grip.x + (-0.36 if hand.x > face.x else 0.36) * art.width)
        moved = art.moved(turn(slant), shift(hand.x - grip.moved(turn(slant)).x, hand.y - grip.moved(turn(slant)).y))
        (props.far if far else props.held).append(Art(moved.shapes))

    def _in_arms(self, props: Props, phrase: Phrase, at: Mapping[str, Anchor], k: float) -> None:
        art = self._small(phrase, k)
        if art.height > 1.6 * max(art.width, 25.0) and self.things[phrase.name].theme in (
            "tools",
            "plants",
            "sport and play",
        ):
            art = Art(art.moved(turn(-90)).shapes)  # a ladder
        grip = art.place("grip") if "grip" in art.places and self.things[phrase.name].can & {"flat"} else None
        mouth, low = at.get("mouth"), (at["hand"].y + at["hand2"].y) / 2
        if mouth is not None and grip is None and "acts" not in self.things[phrase.name].can:  # the face stays free
            over = art.height - min(0.42 * art.height, 9.0)
            art = art.moved(scale(min(1.0, max((mouth.y - 2 - low) / max(over, 1.0), 0.45))))
        x0, y0, x1, y1 = art.bounds()
        x = (at["hand"].x + at["hand2"].x) / 2 + 2
        y = (at["hand"].y + at["hand2"].y) / 2
        if grip is None:
            grip = Anchor((x0 + x1) / 2, y0 + min(0.42 * (y1 - y0), 9))
        props.held.append(Art(art.moved(shift(x - grip.x + 3, y - grip.y)).shapes))

    def _tool(self, figure: Figure, pose: Pose, props: Props, verb: Verb, k: float) -> None:
        """Draw a verb's tool in the hand or on the feet."""
        if self.things[verb.tool].worn == "feet":
            return
        if verb.role == "made":
            return
        at = figure_places(figure, pose)
        if verb.role in BRUSHED:
            self._brush(props, Phrase(verb.tool, verb.tool), at, at[BRUSHED[verb.role]], k)
        else:
            slant = 115.0 if verb.role == "easel" else 0.0
            self._in_hand(props, Phrase(verb.tool, verb.tool), at, k, slant=slant)

    def _brush(self, props: Props, phrase: Phrase, at: Mapping[str, Anchor], brushed: Anchor, k: float) -> None:
        """A brush or a comb from the hand to what is brushed with it."""
        art = self._small(phrase, k)
        hand = at["hand"]
        props.held.append(_between(art, art.place("grip"), art.place("end"), hand, brushed, (0.6, 1.6)))

    def _in_hand(self, props: Props, phrase: Phrase, at: Mapping[str, Anchor], k: float, *, slant: float = 0.0) -> None:
        """Put a thing into the near hand; headphones and the like reach from there to the ear."""
        art = self._small(phrase, k)
        if "top" in at:  # no tool is much longer than its holder
            art = art.moved(scale(min(1.0, 1.25 * at["top"].y / max(art.height, 1.0))))
        if "ear" in art.places and "mouth" in at:
            ear = at.get("ear") or at["eyes"]
            props.held.append(
                _between(art, art.place("grip"), art.place("ear"), at["hand"], Anchor(ear.x, ear.y), (0.6, 1.6))
            )
        else:
            self._held(props, phrase, at["hand"], k, slant=slant, face=at.get("mouth"))

    def _own_things(self, figure: Figure, pose: Pose, props: Props, thing: Thing, k: float) -> None:
        """Draw the tools that belong to a kind of people."""
        at = figure_places(figure, pose)
        for i, name in enumerate(thing.holds):
            if self.things[name].theme == "instruments":
                self._instrument(props, at, Phrase(name, name), self.things[name], k)
            elif i == 0:
                self._in_hand(props, Phrase(name, name), at, k)
            else:
                self._held(props, Phrase(name, name), at["hand2"], k, far=True)

    def _arched(self, phrase: Phrase, at: Mapping[str, Anchor], k: float) -> list[Art]:
        """Things in an arc in the air above two hands."""
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

    def _instrument(self, props: Props, at: Mapping[str, Anchor], phrase: Phrase, kind: Thing, k: float) -> None:
        """Place of an instrument while it is played."""
        art = self._small(phrase, k, 0.9 if "front" not in kind.can and "keys" not in kind.can else 0.85)
        grip, end = art.place("grip"), art.places.get("end", art.place("mouth"))
        hand, other, mouth = at["hand"], at["hand2"], at["mouth"]
        how = kind.can
        if "violin" in how or "guitar" in how:
            root = Anchor(at["neck"].x + (4 if "violin" in how else 0), at["neck"].y - (5 if "violin" in how else 24))
            to = other
            if "violin" not in how:
                root = Anchor(hand.x, hand.y)
            moved = _between(art, end, grip, root, to, k_range=(0.7, 1.25))
            props.held.append(moved)
            if "violin" in how:
                props.front.append(
                    drawn(
                        f"l {hand.x - 6},{hand.y - 6} {hand.x + 22},{hand.y + 22}; T {hand.x - 5},{hand.y - 5},.8 {hand.x + 1},{hand.y + 1},.8"
                    )
                )
        elif "cello" in how:
            ground = min(at["foot1"].y, at["foot2"].y)
            moved = _between(
                art, art.place("low"), grip, Anchor(hand.x + 6, ground), Anchor(other.x + 4, other.y + 8), (0.8, 1.4)
            )
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
            drum = art.with_shapes(s for s in art.shapes if s.tag != "stick").moved(shift(x, ground - y0))
            props.front.append(Art(drum.shapes))
            if "drummed" in how:
                a, _, c, d = drum.bounds()
                for one, share in ((hand, 0.6), (other, 0.35)):
                    tip = (a + share * (c - a), d - 2.0)
                    props.front.append(drawn(f"T {one.x},{one.y},1.2 {tip[0]},{tip[1]},1; O {tip[0]},{tip[1]} 1.8"))
            if "keys" in how:
                hip = at["hip"]
                high = max(hip.y - 4 - ground, 6)
                props.far.append(
                    drawn(
                        f"B {hip.x - 11},{hip.y - 8} 22,4,1; l {hip.x - 8},{hip.y - 8} {hip.x - 10},{hip.y - 8 - high + 4}; l {hip.x + 8},{hip.y - 8} {hip.x + 10},{hip.y - 8 - high + 4}"
                    )
                )
        else:
            x0, y0, x1, y1 = art.bounds()
            props.held.append(
                Art(
                    art.moved(
                        shift((hand.x + other.x) / 2 + 4 - (x0 + x1) / 2, (hand.y + other.y) / 2 - (y0 + y1) / 2)
                    ).shapes
                )
            )


def _between(art: Art, a: Anchor, b: Anchor, to_a: Anchor, to_b: Anchor, k_range: tuple[float, float]) -> Art:
    """The drawing rotated and scaled so that one of its points is at a place and another points towards a second."""
    long = math.hypot(b.x - a.x, b.y - a.y)
    wanted = math.hypot(to_b.x - to_a.x, to_b.y - to_a.y)
    k = min(max(wanted / max(long, 1e-6), k_range[0]), k_range[1])
    angle = math.degrees(math.atan2(to_b.y - to_a.y, to_b.x - to_a.x) - math.atan2(b.y - a.y, b.x - a.x))
    m = chain(shift(-a.x, -a.y), scale(k), turn(angle), shift(to_a.x, to_a.y))
    return Art(art.moved(m).shapes)
