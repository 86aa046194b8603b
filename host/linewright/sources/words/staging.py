"""`Stage`: draw a phrase, with everything that belongs to it, as a group.

More than 500 lines: two of its methods are tables, a line or two per preposition and verb.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from linewright.sources.words import contents, placing, ties
from linewright.sources.words.acting import WINGS_ART, Troupe, pulled_out, sleeps
from linewright.sources.words.art import Anchor, Art, scale, shift, turn
from linewright.sources.words.figure import FEET
from linewright.sources.words.groups import PERSON, Group, grounded, joined
from linewright.sources.words.modifiers import halves, modified
from linewright.sources.words.phrases import Act, Phrase, Relation
from linewright.sources.words.plans import Bird, FourLegs, bird, four_legs
from linewright.sources.words.script import drawn
from linewright.sources.words.store.entry import Thing
from linewright.sources.words.verbs import VERBS

_EACH_OWN: Final = frozenset({"with", "bears", "full of", "of", "made of", "in hat"})
"""Relations drawn for each of several copies; other relations are drawn once for all of them."""

_ALL_AT_ONE: Final = frozenset({"target", "string", "front", "behind", "over", "catch"})
_ON_WALLS: Final = frozenset({"picture", "clock", "mirror", "watch"})
_TOGETHER: Final = frozenset({"carry", "bring", "deliver", "steal", "lift"})
"""Verbs that several figures do with one shared object."""

_SHARED: Final = frozenset({"eat", "drink", "read", "knit", "juggle", "fish", "sing"})
"""Verbs that both figures do when one does them with another."""

_BY_HAND: Final = frozenset({"hold", "hold2", "mouth", "play", "serve", "up", "juggle", "made"})
_SIDE_BY_SIDE: Final = frozenset({"over", "under", "behind", "before"})
"""Relations of somebody to several things side by side: over a fox and a hare."""
_FIRES: Final = frozenset({"fire", "fireplace", "candle", "cauldron", "volcano"})
_GIVES_WAY: Final = frozenset({"island", "hill", "raft", "carpet", "cloud", "pier", "bridge", "wall", "log", "table"})
"""Things that may be widened so that all figures on them fit."""

_LAST: Final = frozenset({"upside down", "leaning", "lying", "floating", "fast", "shining"})
"""Modifiers that apply to the whole group."""

_ON_LEGS: Final = frozenset({"stilts", "wooden leg"})


class Stage(Troupe):
    """Draws phrases.

    Parameters
    ----------
    things : all things by name.
    seed : for random choices.
    """

    def __init__(self, things: Mapping[str, Thing], seed: int) -> None:
        super().__init__(things)
        self.rng = random.Random(f"stage {seed}")

    def plain(self, name: str, factor: float = 1.0) -> Group:
        """A thing alone, with what belongs to its kind."""
        return self.group(Phrase(name, name), factor)

    def shown(self, name: str) -> Art:
        """A thing for the picture sheet: shoes as a pair, clothes shaped by a body on a figure."""
        thing = self.things[name]
        if thing.on_body and thing.worn == "feet" and name not in _ON_LEGS:
            one = drawn(FEET[str(thing.art).removeprefix("&")])
            pair = Art((*one.moved(shift(0.8 * one.width, 3)).shapes, *one.shapes))
            return grounded(pair.moved(scale(thing.size * PERSON / max(pair.width, pair.height))), keep_below=False)
        if thing.on_body and name in _ON_LEGS:
            return self.group(Phrase("man", "man", acts=[Act("wear", Phrase(name, name))])).art
        if thing.on_body:
            return self.garment(thing)
        return thing.natural() if thing.worn else self.plain(name).art

    def group(self, phrase: Phrase, factor: float = 1.0) -> Group:
        """Draw a phrase with all its attributes as one group."""
        if phrase.count > 1:
            return self._several(phrase, factor)
        phrase = self._flown(replace(phrase, acts=[_with_default(act) for act in phrase.acts]))
        thing = self.things[phrase.name]
        lone = self._one(phrase, thing)
        if factor != 1.0:
            lone = replace(lone, art=lone.art.moved(scale(factor)))
        leant = "wheels" in thing.can and any(r.kind == "against" for r in phrase.relations)
        for name in phrase.modifiers:
            if name == "leaning" and leant:
                continue  # on both wheels, or it would fall
            if name == "lying" and (isinstance(thing.art, FourLegs) or self.figured(phrase, thing)):
                continue  # on folded legs already, or stretched out
            if name in _LAST:
                lone = replace(lone, art=modified(lone.art, name), up=lone.up or name == "floating")
        # Figures inside something act on others outside of it.
        around = [
            r
            for r in phrase.relations
            if r.kind == "of"
            or (r.kind == "in" and "contains" in self.things[r.object.name].can)
            or (r.kind in ("in", "on") and r.place != "shared" and "seats" in self.things[r.object.name].can)
            or (r.kind == "on" and not r.place and self._high(r.object.name))
        ]
        outward = [a for a in phrase.acts if around and VERBS[a.verb].role in ("target", "catch")]
        for act in phrase.acts:
            if act not in outward:
                lone = self._effect(lone, phrase, act)
        for relation in around:
            lone = self.related(lone, phrase, relation)
        for act in outward:
            lone = self._effect(lone, phrase, act)
        # Somebody on a tray on a hill: place the tray first, then the hill under both.
        under = sorted((r for r in phrase.relations if r.kind == "on"), key=lambda r: self.things[r.object.name].size)
        for relation in phrase.relations:
            if relation not in around:
                lone = self.related(lone, phrase, under.pop(0) if relation.kind == "on" and not around else relation)
        return lone

    def _high(self, name: str) -> bool:
        """Whether a figure on it is far above all others: on a tower, not on a bridge."""
        return self.things[name].theme == "buildings" and name not in _GIVES_WAY

    def _flown(self, phrase: Phrase) -> Phrase:
        """The phrase with a held balloon or kite on a string."""

        def flies(other: Phrase | None) -> bool:
            return other is not None and other.name in ("balloon", "kite") and other.count == 1 and not other.relations

        if not self.things[phrase.name].can & {"acts"}:
            return phrase
        acts = [
            Act("fly", a.object) if flies(a.object) and VERBS[a.verb].role in ("hold", "hold2") else a
            for a in phrase.acts
        ]
        strings = [r for r in phrase.relations if r.kind == "with" and flies(r.object)]
        acts += [Act("fly", r.object) for r in strings]
        return replace(phrase, acts=acts, relations=[r for r in phrase.relations if r not in strings])

    def _several(self, phrase: Phrase, factor: float) -> Group:
        """Several copies: in a row, or scattered in the air."""
        own = [r for r in phrase.relations if r.kind in _EACH_OWN or r.kind.startswith("on ")]
        shared = [r for r in phrase.relations if r not in own]
        act = next(
            (a for a in phrase.acts if VERBS[a.verb].role in ("hold2", "up", "hold") and a.object is not None), None
        )
        together = (
            act
            if act
            and act.object
            and act.object.count == 1
            and ((phrase.count < 4 and _long(self.things[act.object.name])) or act.verb in _TOGETHER)
            else None
        )
        mount = next((r for r in shared if r.kind == "on" and self._one_bicycle(phrase, r)), None)
        if mount is not None:
            return self._pillion(phrase, mount, factor)
        acts = [a for a in phrase.acts if a is not together]
        ride_all = [a for a in acts if VERBS[a.verb].role == "in" and a.object and a.object.count == 1]
        acts = [a for a in acts if a not in ride_all]
        to_one = [a for a in acts if a.object and a.object.count == 1 and VERBS[a.verb].role in _ALL_AT_ONE]
        acts = [Act(a.verb) if a in to_one else a for a in acts]
        if together is not None:
            acts.append(Act("lift", Phrase("", "")))
        if any(self.seats(r) for r in shared):
            acts.append(Act("sit"))
        acts = [_each(act, phrase.count) for act in acts]
        single = replace(phrase, count=1, relations=own, acts=acts)
        one = self.group(single, factor)
        copies = self._rows(phrase, one, shared, one_row=phrase.lined or (together is not None and phrase.count < 6))
        order = copies if phrase.stacked else sorted(copies, key=lambda g: -g.art.bounds()[1])
        whole = joined(order, max(copies, key=lambda g: g.art.bounds()[2]) if to_one else copies[len(copies) // 2])
        x0, _, x1, y1 = whole.art.bounds()
        if not whole.living:
            whole = replace(whole, art=whole.art.with_places(seat=Anchor((x0 + x1) / 2, y1, 0.9 * (x1 - x0))))
        if together is not None and together.object is not None:
            whole = self._carried_together(whole, copies, together.object)
        for ride in ride_all:
            assert ride.object is not None
            whole = contents.inside(whole, self.group(ride.object))
        for act in to_one:
            whole = self._effect(whole, phrase, act)
        for relation in shared:
            whole = self.related(whole, phrase, relation)
        return whole

    def _one_bicycle(self, phrase: Phrase, relation: Relation) -> bool:
        """Whether several share one vehicle with wheels and handlebars that is ridden astride: a bicycle."""
        under = relation.object
        mount = self.things[under.name]
        ridden = under.count == 1 and self.ridden(phrase, under) and not isinstance(mount.art, FourLegs)
        return ridden and phrase.count < 5 and "wheels" in mount.can and "bars" in mount.natural().places

    def _pillion(self, phrase: Phrase, mount: Relation, factor: float) -> Group:
        """Seat several riders: the first in the saddle, the others behind."""
        alone = replace(phrase, count=1, relations=[r for r in phrase.relations if r is not mount])
        rider = self.group(replace(alone, relations=[*alone.relations, mount]), factor)
        guest = self.group(replace(alone, acts=[*alone.acts, Act("ride", Phrase("", ""))]), factor)
        hip, seat = rider.art.place("hip"), guest.art.place("hip")
        apart = max(0.2 * rider.art.width, 0.45 * guest.art.width)
        behind = [guest.moved(hip.x - apart * i - seat.x, hip.y + 2 - seat.y) for i in range(phrase.count - 1, 0, -1)]
        return joined([*behind, rider], rider)

    def seats(self, relation: Relation) -> bool:
        """Whether it is a place to sit on."""
        return relation.kind in ("on", "in") and "seats" in self.things[relation.object.name].can

    def _rows(self, phrase: Phrase, one: Group, shared: list[Relation], *, one_row: bool) -> list[Group]:
        """The copies: up to five in a row; more in several rows, offset so that each is visible."""
        count = phrase.count
        standing = any(r.kind in ("on", "in", "over", "before") for r in shared)
        rows = 1 if one_row or standing or count < 6 else 2 if count < 11 else 3
        apart = 0.5 if any(r.kind == "in" for r in shared) and not one.art.places.get("hip") else 1.04
        if rows == 1 and count > 4:
            apart = min(apart, 0.9 if phrase.lined else 0.72)
        if phrase.stacked:
            return self._stack(one, count)
        found = []
        left = count
        for row in range(rows):
            here = -(-left // (rows - row))
            left -= here
            x = 0.5 * one.art.width * (row % 2)
            for i in range(here):
                size = 1.0 if i == 0 else self.rng.uniform(0.88, 1.04)
                copy = replace(one, art=one.art.moved(scale(size)))
                x0, _, x1, _ = copy.art.bounds()
                rise = (self.rng.uniform(0, 0.5) * one.art.height) if one.up else 0.0
                back = 0.10 * one.art.height * (i % 2) if rows == 1 and count > 4 and not one.up else 0.0
                found.append(copy.moved(x - x0, rise + back + 0.72 * row * one.art.height))
                x += (x1 - x0) * apart + 2
        return found

    def _stack(self, one: Group, count: int) -> list[Group]:
        """Copies stacked on each other."""
        found = [one]
        for _ in range(count - 1):
            copy = replace(one, art=one.art.moved(scale(self.rng.uniform(0.9, 1.02))))
            seat = found[-1].art.place("seat")
            x0, y0, x1, _ = copy.art.bounds()
            found.append(copy.moved(seat.x - (x0 + x1) / 2 + self.rng.uniform(-2, 2), seat.y - y0 - 1))
        return found

    def _carried_together(self, whole: Group, carriers: list[Group], phrase: Phrase) -> Group:
        """One long thing on the raised hands of several figures."""
        hands = [g.art.place(name) for g in carriers for name in ("hand", "hand2")]
        x0, x1 = min(h.x for h in hands), max(h.x for h in hands)
        y = max(h.y for h in hands) + 3
        load = self.group(phrase).art
        kind = self.things[phrase.name]
        if load.height > load.width and kind.theme not in ("buildings", "furniture") and "acts" not in kind.can:
            load = load.moved(turn(-90))
        share = 1.05 if _long(self.things[phrase.name]) else 0.4
        k = max(1.0, (x1 - x0) * share / max(load.width, 1.0))
        load = load.moved(scale(k))
        a, b, c, _ = load.bounds()
        load = load.moved(shift((x0 + x1) / 2 - (a + c) / 2, y - b))
        return replace(whole, art=Art((*whole.art.shapes, *load.shapes), whole.art.places))

    def _one(self, phrase: Phrase, thing: Thing) -> Group:
        figured = self.figured(phrase, thing)
        if "old" in phrase.modifiers and "acts" in thing.can:
            aged = [Phrase("glasses", "glasses")] + (
                [] if "woman" in thing.name or "person" in thing.can else [Phrase("beard", "beard")]
            )
            phrase = replace(phrase, worn=[*phrase.worn, *aged], modifiers=[m for m in phrase.modifiers if m != "old"])
        if phrase.other_half:
            art = halves(self.natural(thing), self.natural(self.things[phrase.other_half]))
        elif figured:
            art = self.figure_art(thing, phrase, self.main_act(phrase))
        else:
            thing = self._as_it_is(phrase, thing)
            stated = [*phrase.worn, *(a.object for a in phrase.acts if a.verb == "wear" and a.object is not None)]
            art = self.wearing(self.natural(thing), stated)
        for name in phrase.modifiers:
            if name.startswith("verb "):
                continue
            if name not in _LAST:
                art = modified(art, name)
        for act in phrase.acts:
            verb = VERBS[act.verb]
            if verb.sign == "howling":
                art = modified(art, "howling")
            elif verb.sign and verb.sign not in _LAST:
                art = modified(art, verb.sign)
        if phrase.pen:
            art = art.mapped(lambda s: replace(s, pen=s.pen or phrase.pen))
        up = "up" in thing.can or (
            figured
            and any(VERBS[a.verb].role == "ride" and a.object and a.object.name == "broom" for a in self.acts(phrase))
        )
        return Group(
            grounded(art, keep_below=thing.theme == "vehicles"),
            up=up,
            afloat="floats" in thing.can,
            living="acts" in thing.can,
        )

    def _as_it_is(self, phrase: Phrase, thing: Thing) -> Thing:
        """A four-legged animal with its head raised to howl, or lowered on folded legs to sleep."""
        plan = thing.art
        if isinstance(plan, Bird) and plan.leg and any(a.verb == "sit" for a in phrase.acts):
            sitting = replace(plan, leg=0.0)
            return replace(thing, art=sitting, size=thing.size * bird(sitting).height / bird(plan).height)
        if not isinstance(plan, FourLegs):
            return thing
        if any(VERBS[a.verb].sign == "howling" for a in phrase.acts):
            return replace(thing, art=replace(plan, head_turn=plan.head_turn + 48))
        if sleeps(phrase):
            long, r = plan.leg
            x, y = plan.joint
            low = replace(plan, leg=(0.3 * long, r), joint=(x, min(y, 3.0)))
            size = thing.size * four_legs(low).height / four_legs(plan).height
            return replace(thing, art=low, size=size)
        return thing

    def _effect(self, me: Group, phrase: Phrase, act: Act) -> Group:
        """Draw an act's object and what belongs to the act."""
        verb = VERBS[act.verb]
        thing = act.object
        role = verb.role
        if role == "easel" and thing is not None:
            return contents.easel(me, self.natural(self.things["easel"]), self.group(thing).art)
        if role == "bubble" and thing is not None:
            return contents.bubble(me, self.group(thing).art)
        if thing is None:
            if (act.verb == "fly" and "flies" in self.things[phrase.name].can) or act.verb in ("fly", "swim"):
                return replace(me, up=act.verb == "fly", art=me.art)
            if act.verb == "hang" and "acts" not in self.things[phrase.name].can:
                return ties.hung_up(me)
            if act.verb == "jump":
                return replace(me, art=modified(me.art, "floating"))
            if role == "catch":
                return me
            return me
        if not thing.name:
            return me
        kind = self.things[thing.name]
        if (role == "none" and not verb.tool) or self.too_large(act):
            role = "target"  # whoever is named is drawn
        if role == "play" and thing.name == "chessboard":
            return self._at_table(me, thing)
        if role == "touch":
            other = self._facing(thing)
            return placing.beside(me, other, 3, first=me, at_hand=True)
        if role in ("target", "partner", "close", "catch") or (role == "climb" and "acts" in kind.can):
            gap = {"close": -0.06, "partner": 0.0}.get(role, 0.16) * PERSON
            other = self.group(thing)
            if role == "catch":
                return ties.hooked(me, other)
            turned = (
                other.mirrored()
                if other.living and act.verb not in ("chase", "follow", "flee", "escape", "hunt")
                else other
            )
            if act.verb == "feed":
                return placing.strewn(me, placing.beside(me, turned, gap + 8, first=me), self.rng)
            if act.verb in ("flee", "escape"):
                return placing.beside(turned, me, gap + 8, first=me)
            return placing.beside(me, turned, gap, first=me)
        if thing.name == "moon":
            thing = replace(thing, name="full moon", modifiers=[*thing.modifiers, "big"])
        if role == "breath" and "spout" in me.art.places:
            return me  # a whale's is drawn as it is
        if role == "breath":
            return placing.breathed(me, self.group(thing).art)
        if role == "behind":
            return placing.behind(me, self.group(thing))
        if role == "front" and act.verb != "type":
            other = self.group(thing)
            if "bars" in other.art.places:
                return placing.pushed(me, other)
            return placing.beside(me, other, -0.10 * PERSON, first=me, at_hand=True)
        if role == "string":
            other = self.group(thing)
            if pulled_out(act):
                return placing.pulled_out(me, other, self.plain("stool"))
            return ties.tied(me, other, pulls=act.verb not in ("walk", "lead"))
        if role == "fly":
            if ("flies" in kind.can and "contains" in kind.can) or thing.name in ("airplane", "helicopter", "rocket"):
                return replace(contents.inside(me, self.group(thing)), up=True)
            return ties.on_string(me, self.group(thing).art)
        if role == "over":
            return placing.above(me, self.group(thing))
        if role in ("on", "climb"):
            if (
                role == "on"
                and kind.can & {"stood", "ridden"}
                and "acts" in self.things[phrase.name].can
                and me.art.places.get("hip")
            ):
                return me
            return placing.on_top(me, self.group(thing), climbing=role == "climb")
        if role == "hang":
            by_feet = "upside down" in phrase.modifiers
            if phrase.name == "bat" and not by_feet:  # as bats do
                me, by_feet = replace(me, art=grounded(me.art.moved(turn(180)), keep_below=False)), True
            return ties.hung_from(me, self.group(thing), by_feet=by_feet)
        if role == "look":
            return me
        if role == "in" and self.at_the_wheel(thing):
            return contents.at_windows(me, self.group(thing), 1)
        if role == "in" and not (verb.pose and self.figured(phrase, self.things[phrase.name])):
            return contents.inside(me, self.group(thing))
        if (
            role in ("hold", "hold2", "mouth")
            and self.in_beak(act, self.things[phrase.name])
            and me.art.places.get("hip") is None
        ):
            if kind.can & {"acts"}:
                return ties.slung(me, self.group(_unwrapped(thing)))
            if role == "mouth" and not isinstance(self.things[phrase.name].art, Bird):
                return placing.beside(me, self.group(thing), -2.0, first=me)  # it nibbles at what lies before it
            at_hand = "hand" in me.art.places and "hand2" in me.art.places and "foot1" not in me.art.places
            return placing.borne(me, self.group(thing), "hand" if at_hand else "mouth", self.things[phrase.name])
        if self.in_claws(act, self.things[phrase.name]) and me.art.places.get("hip") is None:
            return ties.in_claws(me, self.group(thing), drawn(WINGS_ART))
        if role == "hold2" and not self.figured(phrase, self.things[phrase.name]):
            return placing.laden(self.group(thing), me)
        if role in _BY_HAND and not self.in_hand(phrase, thing) and not self.things[thing.name].worn:
            return placing.beside(me, self.group(thing), 0.06 * PERSON, first=me)  # no hand is free to hold it
        return me

    def related(self, me: Group, phrase: Phrase, relation: Relation) -> Group:
        """Draw a relation: the place of the group, or something with it."""
        kind, other = relation.kind, relation.object
        if relation.place == "shared":
            return me
        thing = self.things[other.name]
        if kind == "with":
            if self._in_cloth(phrase, other):
                return ties.slung(me, self.group(_unwrapped(other)))
            if "shell" in me.art.places and thing.theme == "buildings":
                return contents.housed(me, self.group(other))
            if thing.name == "chimney" and self.things[phrase.name].theme == "buildings":
                return placing.borne(me, self.group(other), "chimney", self.things[phrase.name])
            if (
                "acts" not in self.things[phrase.name].can
                and "carries" in self.things[phrase.name].can
                and "branch" not in me.art.places
                and thing.size < self.things[phrase.name].size
            ):
                return placing.borne(me, self.group(other), "seat", self.things[phrase.name])
            if self.figured(phrase, self.things[phrase.name]) and self.in_hand(phrase, other):
                return me
            if "branch" in me.art.places and thing.can & {"flies"}:
                return replace(contents.in_crown(self.group(other), me), living=False)
            return placing.beside(me, self._facing(self._joining(phrase, other)), 0.08 * PERSON, first=me)
        if (
            kind == "on"
            and phrase.count == 1
            and not phrase.other_half
            and self.ridden(phrase, other)
            and (main := self.main_act(phrase)) is not None
            and main.verb == "ride"
        ):
            return me
        if kind == "bears":
            return placing.borne(me, self.group(other), relation.place, self.things[phrase.name])
        if kind == "full of" and "pane1" in me.art.places:
            return contents.at_windows(self.group(replace(other, count=1)), me, 9)
        if kind in ("full of",):
            return contents.filled(me, self.group(replace(other, count=1)).art, other.count, self.things[phrase.name])
        if kind == "made of":
            return placing.patterned(me, self.group(replace(other, count=1)).art)
        if kind == "of":
            return contents.pictured(me, self.group(other).art, phrase.name)
        if other.name == "moon" and kind in ("before", "over", "behind", "under"):
            other = replace(other, name="full moon", modifiers=[*other.modifiers, "big"])
        if kind == "under" and self.figured(phrase, self.things[phrase.name]) and self.in_hand(phrase, other):
            return me
        fellows = [r for r in phrase.relations if r.kind == kind] if kind in _SIDE_BY_SIDE else []
        if relation in fellows[1:]:
            return me
        made = self.group(other)
        for fellow in fellows[1:]:
            made = placing.beside(made, self.group(fellow.object), 0.06 * PERSON, first=made)
        if len(fellows) > 1:
            made = replace(made, art=Art(made.art.shapes))
        if kind in ("left", "right"):
            return placing.at_side(me, made, left=kind == "left")
        if kind == "tied":
            flies = "acts" not in self.things[phrase.name].can and self.things[phrase.name].can & {"flies", "up"}
            return ties.tied_to(replace(me, up=bool(flies)), made)
        if kind == "has under":
            return replace(placing.below(made, me), living=False)
        if kind == "has over":
            return replace(placing.above(made, me), living=False)
        if kind == "on" and _falls_flat(thing, made.art):
            made = replace(made, art=grounded(made.art.moved(turn(-82)), keep_below=False))
        if kind == "on" and me.living and not made.living and other.count > 1 and made.art.width > 1.3 * me.art.width:
            made = replace(made, art=made.art.moved(scale(1.3 * me.art.width / made.art.width)))  # a hen's eggs
        if kind == "in" and "pane1" in made.art.places:
            return contents.at_windows(me, made, 1)
        if kind == "on" and thing.name == "wall" and phrase.name in _ON_WALLS:
            return ties.hung_from(me, made)
        if kind == "over" and not me.up and any(a.verb == "look" for a in phrase.acts):
            kind = "behind"  # "looking over a wall"
        if kind == "over" and thing.name in ("bridge", "hill") and not me.up:
            kind = "on"
        if (
            kind == "over"
            and thing.name in _FIRES
            and not me.up
            and not any(a.verb in ("jump", "fly") for a in phrase.acts)
        ):
            return placing.beside(me, made, -0.04 * PERSON, first=me)  # what is cooked over it is in their hands
        if kind == "on" and thing.name in _GIVES_WAY and not relation.place:
            made = placing.widened(made, me)
        elif kind == "on" and phrase.count > 1:
            me = placing.fitting(me, made)
        if kind == "on nose" and made.living:
            return placing.on_nose(me, made)
        if kind == "on" or kind.startswith("on "):
            place = relation.place or kind.removeprefix("on").strip()
            if "up" in thing.can and thing.name not in ("cloud",) and "seat" not in made.art.places:
                place = ""
            return placing.on_top(
                me, made, place=place, lie=thing.name in ("bed", "hammock", "sofa") and sleeps(phrase)
            )
        if kind in ("from", "in") and thing.name == "egg" and any(a.verb == "hatch" for a in phrase.acts):
            return contents.hatched(me, made)
        if kind == "by" and any(a.verb == "fly" and a.object is None for a in phrase.acts) and not made.living:
            return placing.flown_past(me, made)
        if kind == "from" and "acts" in thing.can:
            return placing.beside(made, me, 0.16 * PERSON, first=me)  # who runs away is ahead
        if kind == "from":
            if "contains" in thing.can or "carries" in thing.can:
                return contents.inside(me, made) if "contains" in thing.can else placing.on_top(me, made)
            return placing.beside(me, made, 8, first=me)
        if kind == "in" and thing.name == "puddle":
            return placing.on_top(me, made)
        if kind == "in hat":
            return contents.in_hat(me, made)
        if kind == "in":
            if thing.name in ("tree", "fir tree", "palm tree", "bush"):
                if phrase.count > 1 and not me.living:
                    one = self.group(replace(phrase, count=1, relations=[], acts=[]))
                    return contents.filled(made, one.art, phrase.count, thing)
                return contents.in_crown(me, made)
            if "seats" in thing.can and "contains" not in thing.can:
                return placing.on_top(me, made)
            return contents.inside(me, made, lie=sleeps(phrase) or thing.name in ("bed", "hammock"))
        if kind == "under" and made.afloat:
            return placing.under_water(me, made)
        if kind == "under":
            return placing.below(me, made)
        if kind == "over":
            return placing.above(me, made)
        if kind == "behind":
            return placing.behind(made, me, first=me)
        if kind == "before":
            return placing.behind(me, made)
        between = [r for r in phrase.relations if r.kind == "between"]
        if kind == "between" and len(between) > 1:
            if relation is not between[0]:
                return me
            return placing.between_two(me, made, self.group(between[1].object))
        if kind == "between":
            return placing.between(me, self.group(replace(other, count=1)), other.said)
        if kind == "among" and other.count == 1:
            return placing.behind(me, made)
        if kind == "among":
            return placing.among(me, self.group(replace(other, count=1)), other.count)
        if kind == "along":
            return placing.on_top(me, made) if "carries" in thing.can else placing.beside(me, made, 8, first=me)
        if kind == "to" or kind == "facing":
            return placing.beside(me, made.mirrored() if made.living else made, 0.16 * PERSON, first=me)
        if kind == "against":
            return placing.against(me, made)
        if kind in ("by", "for", "after", "about", "like", "as"):
            if thing.name == "table" and me.art.places.get("hip"):
                return placing.beside(me, made, -0.16 * PERSON, first=me)
            return placing.beside(me, self._facing(other) if kind == "by" else made, 0.07 * PERSON, first=me)
        return placing.beside(me, made, 8, first=me)

    def _in_cloth(self, phrase: Phrase, other: Phrase) -> bool:
        """Whether a bird carries somebody in a cloth hanging from its beak."""
        bird_of = self.things[phrase.name]
        wrapped = any(r.kind == "in" and r.object.name == "cloth" for r in other.relations)
        return wrapped and isinstance(bird_of.art, Bird) and "flies" in bird_of.can

    def _joining(self, phrase: Phrase, other: Phrase) -> Phrase:
        """A companion that does the same act: both who drink tea have a cup."""
        if "acts" not in self.things[other.name].can or other.acts:
            return other
        shared = [a for a in phrase.acts if a.verb in _SHARED and not self.too_large(a)]
        return replace(other, acts=shared)

    def _facing(self, phrase: Phrase) -> Group:
        made = self.group(phrase)
        return made.mirrored() if made.living and phrase.count == 1 else made

    def _at_table(self, me: Group, thing: Phrase) -> Group:
        """A table with a game in front of the player."""
        table = self.natural(self.things["table"]).moved(scale(0.72, 0.9))
        board = self.natural(self.things[thing.name]).moved(scale(0.8))
        on = table.place("on")
        x0, y0, x1, _ = board.bounds()
        game = board.moved(shift(on.x - (x0 + x1) / 2, on.y - y0))
        both = Group(Art((*table.shapes, *game.shapes)))
        return placing.beside(me, both, -0.12 * PERSON, first=me)


def _unwrapped(phrase: Phrase) -> Phrase:
    """The phrase without the cloth that carries it, where the carrier draws the cloth."""
    return replace(phrase, relations=[r for r in phrase.relations if r.object.name != "cloth"])


def _with_default(act: Act) -> Act:
    """The act with the verb's default object if none is named: vacuuming has a vacuum cleaner."""
    verb = VERBS[act.verb]
    if (
        act.object is not None
        or act.strange
        or not verb.default
        or verb.role not in ("in", "front", "target", "breath")
    ):
        return act
    return Act(act.verb, Phrase(verb.default, verb.default))


def _each(act: Act, count: int) -> Act:
    """The act of one of several: three mice playing three violins play one each."""
    thing = act.object
    if thing is None or thing.count < 2 or VERBS[act.verb].role in ("target", "in", "juggle"):
        return act
    return Act(act.verb, replace(thing, count=max(1, round(thing.count / count))))


def _falls_flat(thing: Thing, art: Art) -> bool:
    """Whether a thing lies flat under what is on it: a leaf, a pencil, a carrot."""
    lies = thing.theme in ("food", "tools") or thing.name == "leaf"
    return lies and art.height > 1.2 * art.width and not {"seat", "in"} & set(art.places)


def _long(thing: Thing) -> bool:
    return thing.size >= 0.6 or thing.theme in ("furniture", "buildings")
