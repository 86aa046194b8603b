"""`Troupe`: draws upright figures with pose, clothes, held things and mounts.

Things in hands are placed by `holding`. More than 500 lines: dressing, posing and riding change one figure in turn, and
each depends on the result of the one before.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Final

import shapely

from linewright.sources.words.art import Anchor, Art, Shape, scale, shift, turn
from linewright.sources.words.figure import Figure, Props, garment, posed
from linewright.sources.words.figure import places as figure_places
from linewright.sources.words.groups import PERSON, grounded
from linewright.sources.words.holding import BRUSHED, Holding
from linewright.sources.words.modifiers import PATTERNS, modified
from linewright.sources.words.phrases import Act, Phrase, Relation
from linewright.sources.words.plans import Bird, FourLegs
from linewright.sources.words.poses import POSES, Pose
from linewright.sources.words.script import drawn, eye_lines, mouth_line, ready
from linewright.sources.words.store.clothes import TORSO
from linewright.sources.words.store.entry import Thing
from linewright.sources.words.store.people import LADY
from linewright.sources.words.verbs import VERBS, Verb

_SEATED: Final = POSES["sit"].feet
_ASTRIDE: Final = POSES["ride"].feet
_DRESSES: Final = frozenset({"feet", "body", "hands"})
_BY_NATURE: Final = frozenset(
    [
        "swim",
        "fly",
        "float",
        "dive",
        "walk",
        "run",
        "jump",
        "cross",
        "chase",
        "follow",
        "climb",
        "sit",
        "stand",
        "lie",
        "wait",
        "hide",
        "crawl",
        "march",
        "fall",
        "flee",
        "escape",
        "hunt",
    ]
)
_CARRIED: Final = frozenset({"carry", "bring", "deliver", "steal"})
_STILL: Final = frozenset(
    {"hang", "swing", "lie", "fall", "stand", "float", "sail", "fly", "wait", "rest", "run", "walk"}
)
"""Verbs that inanimate things can do without arms and legs."""

_STANDING: Final = frozenset({"stand", "hold", "carry", "read", "present", "eat", "look", "think", "aim", "blow", "wave",
                              "juggle", "up", "fish", "paint", "flute", "violin", "guitar", "fold", "drum", "conduct"})  # fmt: skip

WINGS_ART: Final = (
    "S -4,0! -16,24 -34,36 -48,30! -43,26 -48,20! -41,18 -43,10! -33,10 -32,2! -18,-2 -4,-6!; "
    "s -40,24 -24,18 -10,6; s -38,14 -22,10 -10,2; S 14,2! 22,20 36,30 46,24! 42,20 46,15! 40,12 40,5! 30,5 28,-2! 20,-3"
)


class Troupe(Holding):
    """Draws figures.

    Parameters
    ----------
    things : all things by name.
    """

    def natural(self, thing: Thing) -> Art:
        """Drawing of a thing in paper units, with the clothes and tools that belong to its kind."""
        if thing.art is None and thing.figure is not None:
            return self.figure_art(thing, Phrase(thing.name), None)
        if thing.on_body:
            return self.shown(thing.name)
        art = thing.natural()
        k = thing.size * PERSON / (max(art.width, art.height) if thing.by == "span" else art.height)
        return grounded(art.moved(scale(k)), keep_below=thing.theme == "vehicles")

    def garment(self, thing: Thing) -> Art:
        """Drawing of clothes in their worn shape, without a wearer."""
        script = str(thing.art)
        if script == "&wings":
            wings = drawn(WINGS_ART)
            return grounded(wings.moved(scale(thing.size * PERSON / wings.width)), keep_below=False)
        if script == "&cape":
            cape = drawn(
                "S -8,58! -16,30 -24,0! 0,4 24,0! 16,30 8,58! 0,54; s -6,50 -10,26 -13,3; s 6,50 10,26 13,3; B -8,56 16,5,2; O 0,58 2"
            )
            return cape.moved(scale(thing.size * PERSON / cape.height))
        lady = script in ("&dress", "&skirt", "&tutu")
        figure = _clothed(Figure("", torso=LADY if lady else Figure("").torso, leg=(36.0, 5.4)), script)
        wanted = {"&trousers": "legs", "&skirt": "skirt", "&tutu": "front", "&apron": "front", "&waistcoat": "front",
                  "&lifejacket": "front"}.get(script, "sleeves")  # fmt: skip
        art = garment(figure, wanted)
        return grounded(art.moved(scale(0.62)), keep_below=False)

    def shown(self, name: str) -> Art:
        """Drawing of a thing for the picture sheet."""
        raise NotImplementedError

    def main_act(self, phrase: Phrase) -> Act | None:
        """The act that decides the pose: the first with a pose that says more than how the figure sits."""
        posing = [a for a in self.acts(phrase) if VERBS[a.verb].pose]
        busy = [
            a
            for a in posing
            if a.verb not in ("sit", "stand", "walk", "wait", "rest", "fly", "run", "jump") or a.object is not None
        ]
        riding = next((a for a in busy if VERBS[a.verb].role == "ride"), None)
        if riding is not None and all(self._also_held(riding, a) for a in busy if a is not riding):
            return riding  # the objects of other acts are held
        if len(busy) > 1 and busy[0].verb == "smoke":
            return busy[1]  # the pipe stays in the mouth
        return next(iter(busy or posing), None)

    def acts(self, phrase: Phrase) -> list[Act]:
        """Acts, including those expressed by a preposition: ``with a cello`` holds it, ``on a horse`` rides it."""
        found = [
            *phrase.acts,
            *(Act(name.removeprefix("verb ")) for name in phrase.modifiers if name.startswith("verb ")),
        ]
        for relation in phrase.relations:
            if "acts" not in self.things[phrase.name].can:
                break
            if relation.kind == "with" and self.holdable(relation.object):
                verb = "play" if self.things[relation.object.name].theme == "instruments" else "hold"
                if self.things[relation.object.name].can & {"looked"}:
                    verb = "look through"
                found.append(Act(verb, relation.object))
            if relation.kind == "under" and self.overhead(phrase, relation.object):
                found.append(Act("hold", relation.object))
            if relation.kind == "on" and relation.place != "shared" and self.ridden(phrase, relation.object):
                found.append(Act("ride", relation.object))
        return found

    def holdable(self, phrase: Phrase) -> bool:
        """Whether the thing can be held in the hands."""
        thing = self.things[phrase.name]
        if phrase.name in ("teddy bear", "doll"):
            return True
        if "acts" in thing.can or thing.theme in ("buildings", "furniture", "vehicles", "sky and weather"):
            return False
        return thing.size <= 1.25 and phrase.name not in ("tree", "fir tree", "palm tree")

    def too_large(self, act: Act) -> bool:
        """Whether food or a drink is too large for a hand; it then stands in front of the figure."""
        thing = self.things[act.object.name] if act.object is not None and act.object.name else None
        if VERBS[act.verb].role != "mouth" or thing is None:
            return False
        # A stalk or a leaf is bitten off and held.
        bite = thing.theme in ("food", "plants") and thing.size <= 1.25 and "branch" not in thing.natural().places
        return "acts" in thing.can or (thing.size > 0.7 and not bite)

    def at_the_wheel(self, phrase: Phrase) -> bool:
        """Whether the driver is shown at the vehicle's window."""
        return "pane1" in self.things[phrase.name].natural().places

    def overhead(self, phrase: Phrase, over: Phrase) -> bool:
        """Whether the thing is held above the head, like an umbrella."""
        return self.things[over.name].name in ("umbrella", "parasol") and self.things[phrase.name].art is None

    def ridden(self, phrase: Phrase, under: Phrase) -> bool:
        """Whether the rider sits astride."""
        rider, mount = self.things[phrase.name], self.things[under.name]
        if "acts" not in rider.can:
            return False
        if under.name in ("broom", "scooter") or "ridden" in mount.can:
            return True
        return (
            isinstance(mount.art, FourLegs) and mount.size > 0.5 and rider.figure is not None and "person" in rider.can
        )

    def figured(self, phrase: Phrase, thing: Thing) -> bool:
        """Whether the thing is drawn as an upright figure with hands."""
        if thing.art is None:
            return True
        alive = "acts" in thing.can
        if thing.figure is not None and alive and any(self._seen_above_the_rim(r) for r in phrase.relations):
            return True
        worn = [*phrase.worn, *(a.object for a in phrase.acts if a.verb == "wear" and a.object is not None)]
        if any(self.things[w.name].worn in _DRESSES for w in worn):
            return True
        return any(self._wants_hands(act, thing) for act in self.acts(phrase))

    def _seen_above_the_rim(self, relation: Relation) -> bool:
        """Whether somebody sits or lies in a thing that shows only the upper part of its occupant."""
        other = self.things[relation.object.name]
        if relation.kind == "in hat":
            return True
        if relation.kind != "in":
            return False
        carries = other.theme == "vehicles" and other.can & {"contains", "driven"}
        return bool(carries) or other.name in ("bathtub", "box", "barrel", "basket", "fountain", "bed", "hammock")

    def in_beak(self, act: Act, thing: Thing) -> bool:
        """Whether a flying bird carries the thing in its beak."""
        held = act.verb in ("hold", "carry", "bring", "deliver") and act.object is not None
        if held and isinstance(thing.art, Bird):
            prey = act.object is not None and self.things[act.object.name].can & {"acts", "person"} == {"acts"}
            return "flies" in thing.can and self._small_thing(act.object) and not prey
        # Animals without a body for hands (ant, caterpillar, lobster) take the thing in the mouth.
        at_mouth = (
            (held or act.verb == "eat") and thing.figure is None and "acts" in thing.can and thing.theme != "tales"
        ) and not self.on_back(act, thing)
        return at_mouth and act.object is not None and act.object.count == 1 and not self.too_large(act)

    def on_back(self, act: Act, thing: Thing) -> bool:
        """Whether an animal carries the thing on its back because it is large."""
        if act.verb not in _CARRIED or act.object is None or not act.object.name or "acts" not in thing.can:
            return False
        large = self.things[act.object.name].size * (1.0 + 0.5 * (act.object.count > 1)) >= 0.7
        return large and (isinstance(thing.art, FourLegs) or (thing.figure is None and not isinstance(thing.art, Bird)))

    def in_claws(self, act: Act, thing: Thing) -> bool:
        """Whether a flying bird carries the thing in its claws because it is too large for the beak."""
        load = self.things[act.object.name] if act.object is not None and act.object.name else None
        flier = isinstance(thing.art, Bird) and "flies" in thing.can
        return act.verb in _CARRIED and load is not None and flier and not self.in_beak(act, thing)

    def _small_thing(self, phrase: Phrase | None) -> bool:
        return phrase is not None and phrase.name != "" and phrase.count == 1 and self.things[phrase.name].size <= 0.5

    def _wants_hands(self, act: Act, thing: Thing) -> bool:
        """Whether an act needs hands that the thing does not have by nature."""
        verb = VERBS[act.verb]
        if self.in_beak(act, thing) or self.too_large(act) or self.on_back(act, thing) or self.in_claws(act, thing):
            return False
        if not verb.pose:
            return False
        if "acts" not in thing.can:
            if act.verb in _STILL:
                return False
            return verb.role not in ("none", "over", "on") and not thing.can & {"wheels", "floats", "flies"}
        if act.verb in _BY_NATURE and (act.object is None or verb.role in ("target", "over", "fly", "climb", "on")):
            return False
        if act.verb == "hang" and thing.name == "bat":
            return False
        on_its_back = act.verb == "carry" and act.object is not None and "carries" in thing.can
        return not (on_its_back and thing.figure is None)

    def _body(self, thing: Thing) -> Figure:
        """The thing's upright body; arms and legs are added if it has none."""
        if thing.figure is not None:
            return thing.figure
        art = self.shown(thing.name) if thing.on_body else thing.natural()
        hand = "claw" if any(s.tag == "claw" for s in art.shapes) else "mitten"
        art = art.with_shapes(s for s in art.shapes if s.tag != "claw")
        k = 56.0 / max(art.height, 0.62 * art.width)
        art = grounded(art.moved(scale(k)), keep_below=False)
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
        puppet = Art(
            (*art.shapes, *face),
            {n: p for n, p in art.places.items() if n in ("top", "eyes", "mouth", "neck", "trunk")},
        )
        filled = {name: puppet.place(name) for name in ("top", "eyes", "mouth", "neck")}
        return Figure(
            "", torso=ready(puppet.with_places(**filled)), arm=(44.0, 4.4) if hand == "claw" else (30.0, 2.3), leg=(18.0, 2.6), spine=0.5 * y1,
            shoulder=_shoulder(puppet, 0.5 * y1), below="bare", stance=2.0, hand=hand,
        )  # fmt: skip

    def figure_art(self, thing: Thing, phrase: Phrase, act: Act | None) -> Art:
        """Drawing of an upright figure, in paper units."""
        figure = self._body(thing)
        stated = [*phrase.worn, *(a.object for a in phrase.acts if a.verb == "wear" and a.object is not None)]
        taken = {self.things[w.name].worn for w in stated}
        worn = [
            *(Phrase(n, n) for n in thing.wears if self.things[n].worn not in taken and n not in phrase.bare),
            *stated,
        ]
        props = Props()
        for one in worn:
            piece = self.things[one.name]
            script = piece.art if isinstance(piece.art, str) else ""
            if piece.worn == "body":
                figure = _clothed(figure, script)
                props = replace(props, dress=partial(_coloured, one))
            elif piece.worn == "feet":
                props = replace(props, foot=script.removeprefix("&"), shoe=partial(_coloured, one))
            elif piece.worn == "hands":
                props = replace(props, hand=script, glove=partial(_coloured, one))
        verb = VERBS[act.verb] if act else Verb()
        if any(a.verb == "smoke" and a is not act for a in phrase.acts):
            worn.append(Phrase("pipe", "pipe"))
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
            pose = self._reaching(figure, pose, act, verb, k)
            pose, seated_on = self._give(figure, pose, props, act, verb, k)
        elif not any(VERBS[a.verb].pose for a in self.acts(phrase)):
            self._own_things(figure, pose, props, _bared(thing, phrase), k)
        if act is not None and verb.tool:
            self._tool(figure, pose, props, verb, k)
        elif act is not None and verb.role in ("target", "touch") and pose.hands[1][0] > 0:
            self._own_things(figure, pose, props, _bared(thing, phrase), k)
        for extra in self.acts(phrase):
            if extra.object is not None and act is not None and self._also_held(act, extra):
                there = figure_places(figure, pose)
                hand = there["hand2" if verb.role == "string" else "hand"]
                self._held(props, extra.object, hand, k, top=there.get("top"))
        art = posed(figure, pose, props)
        if pose.lying:
            art = art.moved(turn(pose.lying))
        ground = 0.0 if seated_on is None else seated_on.bounds()[1]
        if pose.lying:
            ground = art.bounds()[1]
        if seated_on is not None and seated_on.places.get("floor"):
            ground = seated_on.places["floor"].y
        return art.moved(shift(0, -ground), scale(k))

    def _reaching(self, figure: Figure, pose: Pose, act: Act, verb: Verb, k: float) -> Pose:
        """The pose with hands placed for the act: below what is brushed, or at the handles of what is pushed."""
        at = figure_places(figure, pose)
        neck, arm = at["neck"], figure.arm[0]
        if verb.role in BRUSHED:
            goal = at.get(BRUSHED[verb.role], at["mouth"])
            x, y = (goal.x + 2 - neck.x) / arm, (goal.y - 15 - neck.y) / arm
            if verb.role == "hair brush":
                x, y = (goal.x + 20 - neck.x) / arm, (goal.y + 6 - neck.y) / arm
            far = min(1.0, 1.2 / max(math.hypot(x, y), 1e-6))
            return pose.holding(near=(x * far, y * far))
        if verb.role == "mouth" and at["mouth"].x - neck.x > 10:  # below the end of a snout, not before the face
            x = min((at["mouth"].x - neck.x + 4) / arm, 0.95)
            return pose.holding(near=(x, min(-0.02, (at["mouth"].y - neck.y - 9) / arm)))
        if verb.role == "front" and act.object is not None and act.object.name:
            bars = self.group(act.object).art.places.get("bars")
            if bars is not None:
                y = (bars.y / k - neck.y) / arm
                return pose.holding(far=(0.72, y + 0.05), near=(0.82, y))
        return pose

    def _also_held(self, main: Act, other: Act) -> bool:
        """Whether a hand is free for another held thing."""
        verb = VERBS[main.verb]
        if main.verb == "hang":
            return self._one_handed(other)
        led = main.verb in ("walk", "lead")  # a rope takes one hand
        busy = verb.tool or not (led or verb.role in ("ride", "in", "none", "wear", "target", "touch"))
        return other is not main and not busy and VERBS[other.verb].role in ("hold", "hold2", "mouth", "play")

    def _one_handed(self, act: Act) -> bool:
        """Whether one hand is enough for the act, so that the other can hold on."""
        return VERBS[act.verb].role in ("hold", "mouth") and act.object is not None and not self.too_large(act)

    def in_hand(self, phrase: Phrase, thing: Phrase) -> bool:
        """Whether the figure holds the thing already, so that it need not be drawn beside it."""
        main = self.main_act(phrase)
        if main is None:
            return False
        if main.object is thing:
            return True
        return any(act.object is thing and self._also_held(main, act) for act in self.acts(phrase))

    def _pose(self, thing: Thing, phrase: Phrase, act: Act | None, verb: Verb) -> Pose:
        name = verb.pose or thing.pose
        if act is not None and pulled_out(act):
            name = "present"
        if act is not None and act.object is not None and verb.role == "play":
            name = _playing(self.things[act.object.name])
        if act is not None and act.verb == "fly" and act.object is not None:
            name = "wave"
        if (
            act is not None
            and act.verb == "balance"
            and act.object
            and "ridden" not in self.things[act.object.name].can
        ):
            name = "balance"
        pose = POSES[name]
        if any(r.kind in ("in", "on") and r.object.name in ("bed", "hammock") for r in phrase.relations) and name in (
            "stand",
            "sit",
            "lie",
        ):
            return POSES["lie"]
        seated = any(VERBS[a.verb].seated for a in phrase.acts) or any(
            (r.kind == "on" or r.kind == "in" or r.kind == "by") and "seats" in self.things[r.object.name].can
            for r in phrase.relations
        )
        perched = thing.figure is not None and thing.figure.below == "tail"
        seated = seated or (perched and any(r.kind == "on" for r in phrase.relations))
        if name in ("stand", "lie") and seated:
            return POSES["sit"]
        if (
            (name == "stand" or (name == "hold" and thing.art is None))
            and sleeps(phrase)
            and not any(r.kind in ("in", "on") for r in phrase.relations)
        ):
            return POSES["lie"]
        if name == "hang" and any(self._one_handed(a) for a in self.acts(phrase)):
            return pose.holding(near=(0.74, -0.16))
        if seated and name in _STANDING:
            return replace(pose, feet=_SEATED, forward=True)
        if act is not None and verb.role == "play" and act.object and name in ("keys",):
            return pose
        return pose

    def _give(
        self, figure: Figure, pose: Pose, props: Props, act: Act, verb: Verb, k: float
    ) -> tuple[Pose, Art | None]:
        """Put an act's object in place; returns the pose, and the drawing that the figure sits on, if any."""
        wanted = act.object
        if wanted is None and verb.default and not act.strange and verb.role not in ("fly", "easel", "bubble"):
            wanted = Phrase(verb.default, verb.default)
        at = figure_places(figure, pose)
        role = verb.role
        if wanted is None or not wanted.name:
            return pose, None
        kind = self.things[wanted.name]
        if role == "in" and self.at_the_wheel(wanted):
            return pose, None
        if role == "play":
            role = "play" if kind.theme == "instruments" else "feet" if "round" in kind.can else "hold"
            if wanted.name in ("chessboard", "playing cards"):
                role = "hold" if wanted.name == "playing cards" else "none"
        if (
            role in ("ride", "in")
            or (role == "on" and kind.can & {"stood", "ridden"})
            or (role == "balance" and kind.can & {"ridden", "round"})
        ):
            return self._mounted(figure, pose, props, wanted, kind, k)
        if role in ("hold", "hold2", "serve", "made") or (role == "balance"):
            two = role == "hold2"
            if role == "made":
                wanted = replace(wanted, name="knitting", worn=[], relations=[]) if verb.tool else wanted
                two = True
            if role == "serve":
                self._held(props, wanted, Anchor(at["hand"].x + 2, at["hand"].y + 7, 8), k)
            elif two:
                self._in_arms(props, wanted, at, k)
            else:
                self._held(props, wanted, at["hand"], k, top=at.get("top"), face=at.get("mouth"))
        elif role == "mouth" and not self.too_large(act):
            art = self._small(wanted, k)
            share = min(1.0, 34.0 / max(art.width, art.height, 1.0))
            x0, _, x1, _ = art.bounds()
            if art.place("grip").x > x0 + 0.7 * (x1 - x0):  # held by its handle, away from the face
                art = art.moved(scale(-1, 1))
            grip = art.moved(scale(share)).place("grip")
            if wanted.count > 1:  # so that the face is seen
                grip = replace(grip, x=art.moved(scale(share)).bounds()[0])
            props.held.append(
                Art(art.moved(scale(share), shift(at["hand"].x + 2 - grip.x, at["hand"].y - grip.y)).shapes)
            )
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
        elif role == "play":
            self._instrument(props, at, wanted, kind, k)
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
            props.front.append(
                art.moved(shift(foot.x + 12 - x0, (ground if pose is not POSES["kick"] else foot.y + 2) - y0))
            )
        elif role == "juggle":
            props.front.extend(self._arched(wanted, at, k))
        return pose, None

    def _mounted(
        self,
        figure: Figure,
        pose: Pose,
        props: Props,
        phrase: Phrase,
        kind: Thing,
        k: float,
    ) -> tuple[Pose, Art | None]:
        """Seat a figure on a mount or vehicle: below the hip, with the hands on its handles."""
        mount = self.group(replace(phrase, relations=[r for r in phrase.relations if r.kind not in ("on",)])).art.moved(
            scale(1 / k)
        )
        wheeled = "pedal1" in mount.places
        if wheeled:
            pose = POSES["balance"] if phrase.name == "unicycle" else POSES["pedal"]
            long = math.hypot(
                mount.place("seat").x - mount.place("pedal2").x, mount.place("seat").y - mount.place("pedal2").y
            )
            mount = mount.moved(scale(0.95 * (figure.leg[0] + 3) / max(long, 1.0)))
        inside = ("contains" in kind.can or "driven" in kind.can) and "in" in mount.places
        standing = "stood" in kind.can or phrase.name == "ball"
        if not wheeled and not standing:
            pose = replace(pose, feet=_SEATED if inside else _ASTRIDE, forward=True, one_skin=False)
            if pose.lying:
                pose = replace(POSES["ride"], lying=0.0)
        if standing:
            pose = POSES["balance"]
            pose = (
                replace(pose, feet=((-0.3, -0.92), (0.35, -0.9)))
                if phrase.name != "ball"
                else replace(pose, feet=((-0.12, -1.0), (0.16, -0.97)))
            )
        if not wheeled and not inside and not standing:
            least = 0.34 * _figure_height(figure, POSES["stand"])
            if phrase.name == "broom":
                mount = mount.moved(turn(-78))
                grip = mount.place("ride")
                mount = mount.with_places(seat=Anchor(grip.x, grip.y, 20))
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
            bars = Anchor(hip.x + 17, hip.y + 3)
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
        lowest = mount.bounds()[1]
        return pose, Art(mount.shapes, {"floor": Anchor(0, lowest)})

    def wearing(self, art: Art, worn: list[Phrase]) -> Art:
        """The thing wearing hats, glasses and the like; a hat replaces its usual hat."""
        if "head" in art.places and any(self.things[one.name].worn == "top" for one in worn):
            art = art.with_shapes(s for s in art.shapes if s.tag != "hat").with_places(top=art.place("head"))
        for one in worn:
            piece = self.things[one.name]
            if piece.worn == "feet" and isinstance(piece.art, str):
                continue
            if piece.art == "&cape":
                continue
            made = self._at_place(one, art.places if "top" in art.places else _all_places(art))
            art = (
                art.over(made)
                if piece.worn == "back" and piece.art and "wings" not in str(piece.art)
                else Art((*art.shapes, *made.shapes), art.places)
            )
        return art

    def _at_place(self, phrase: Phrase, places: Mapping[str, Anchor]) -> Art:
        piece = self.things[phrase.name]
        where = "top" if piece.worn == "round" else piece.worn
        at = places.get(where) or Anchor(0, 0, 10)
        text = WINGS_ART if piece.art == "&wings" else piece.art
        art = drawn(text if isinstance(text, str) and text not in TORSO and piece.worn not in ("feet", "body") else "")
        for name in phrase.modifiers:
            hangs = name == "long" and piece.worn in ("mouth", "neck")
            art = art.moved(scale(1.0, 1.9)) if hangs else modified(art, name)
        if phrase.pen:
            art = art.mapped(lambda s: replace(s, pen=s.pen or phrase.pen))
        return Art(art.moved(scale(at.size / 20.0), turn(at.turn), shift(at.x, at.y)).shapes)


def _shoulder(body: Art, high: float) -> float:
    """Distance from the body's middle to where the arms join at a height; small at narrow places such as an ant's
    waist.
    """
    x0, _, x1, _ = body.bounds()
    cut = body.silhouette().intersection(shapely.LineString([(x0, high), (x1, high)]))
    parts = [p for p in shapely.get_parts(cut) if p.length > 0]
    widest = min(0.36 * (x1 - x0), 22.0)
    if not parts:
        return widest
    a, _, c, _ = min(parts, key=lambda p: p.distance(shapely.Point(0, high))).bounds
    return min(widest, max(0.8 * min(-float(a), float(c)), 3.0))


def _coloured(phrase: Phrase, art: Art) -> Art:
    """A garment with its pattern and colour."""
    for name in phrase.modifiers:
        if name in PATTERNS:
            art = modified(art, name)
    return art.mapped(lambda s: replace(s, pen=s.pen or phrase.pen)) if phrase.pen else art


def _bared(thing: Thing, phrase: Phrase) -> Thing:
    """The thing without the parts that the sentence says are missing."""
    return replace(thing, holds=tuple(name for name in thing.holds if name not in phrase.bare))


def pulled_out(act: Act) -> bool:
    """Whether something is pulled out of a container, rather than along by a rope."""
    return (
        VERBS[act.verb].role == "string"
        and act.object is not None
        and any(r.kind in ("in", "in hat") for r in act.object.relations)
    )


def sleeps(phrase: Phrase) -> bool:
    """Whether the phrase says that somebody sleeps or lies."""
    return not {"sleeping", "lying"}.isdisjoint(phrase.modifiers) or any(
        VERBS[a.verb].sign == "sleeping" or a.verb == "lie" for a in phrase.acts
    )


def _all_places(art: Art) -> dict[str, Anchor]:
    return {name: art.place(name) for name in ("top", "eyes", "mouth", "neck", "back", "hand", "feet", "chest")} | dict(
        art.places
    )


def _figure_height(figure: Figure, pose: Pose) -> float:
    """Height of the standing figure, from the ground to the top of its head."""
    del pose
    at = figure_places(figure, POSES["stand"])
    return max(at["top"].y, at["neck"].y + 4) if "top" in at else at["neck"].y + 26


def _clothed(figure: Figure, garment: str) -> Figure:
    below, front = TORSO[garment]
    return replace(figure, below=below or figure.below, front=front, one_skin=figure.one_skin and not below)


def _cape(at: Mapping[str, Anchor]) -> Art:
    neck, feet = at["neck"], at["feet"]
    low = feet.y + 0.22 * (neck.y - feet.y)
    return drawn(
        f"S {neck.x - 7},{neck.y - 1}! {neck.x - 20},{neck.y - 22} {neck.x - 29},{low}! {neck.x - 12},{low - 3} "
        f"{neck.x + 6},{low - 1}! {neck.x + 7},{neck.y - 1}!; s {neck.x - 12},{neck.y - 12} {neck.x - 20},{low + 2}"
    )


def _playing(kind: Thing) -> str:
    """Pose for playing an instrument or a game of this kind."""
    for word, pose in (
        ("violin", "violin"),
        ("cello", "cello"),
        ("guitar", "guitar"),
        ("keys", "keys"),
        ("drummed", "drum"),
        ("front", "keys"),
        ("held2", "carry"),
    ):
        if word in kind.can:
            return pose
    if "blown" in kind.can:
        return "flute" if kind.name == "flute" else "blow"
    if "round" in kind.can:
        return "kick"
    return "present" if kind.name == "tennis racket" else "sit_hold" if kind.name == "chessboard" else "hold"
