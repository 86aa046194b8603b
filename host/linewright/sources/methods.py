"""Table of the methods by name, and parsing of a name with settings."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from importlib import import_module
from typing import Final

from linewright.errors import InputError
from linewright.sources import plugins, settings
from linewright.sources.picture import Way
from linewright.sources.plugins import Plugin


@dataclass(frozen=True)
class Method:
    """One line of the table.

    Parameters
    ----------
    about : description for users.
    where : ``module:class`` of its `Way`, imported when needed.
    takes : kind of source: ``photograph``, ``text``, ``sentence``, or ``seed`` for patterns.
    """

    about: str
    where: str
    takes: str = "photograph"

    def kind(self) -> type[Way]:
        """Its class."""
        module, _, name = self.where.partition(":")
        found: type[Way] = getattr(import_module(module), name)
        return found


_TONE: Final = "linewright.sources.tone"
_PATTERNS: Final = "linewright.sources.patterns"

METHODS: Final[dict[str, Method]] = {
    "auto": Method(
        "chooses a method that suits the picture, and says why",
        "linewright.sources.choice:Automatic",
        "photograph, SVG",
    ),
    "portrait": Method("portraits: framed, background removed, most strokes in the face", f"{_TONE}.portrait:Portrait"),
    "strokes": Method("strokes along the form, more of them in darker areas", f"{_TONE}.strokes:Strokes"),
    "outline": Method("silhouettes and dark features, each as one line", f"{_TONE}.outline:Outline"),
    "contours": Method("contour lines of tone, as on a map", f"{_TONE}.contours:Contours"),
    "centre-lines": Method(
        "the lines of a drawing, each once; filled shapes also become lines",
        f"{_TONE}.centre_lines:CentreLines",
        "photograph, SVG",
    ),
    "wash": Method("light colours of one to three pens under lines of a dark one", f"{_TONE}.wash:Wash"),
    "areas": Method("flat areas of colour, hatched", f"{_TONE}.areas:Areas", "photograph, SVG"),
    "hatching": Method("straight lines, closer together in darker areas", f"{_TONE}.hatching:Hatching"),
    "cross-hatching": Method("the same in several directions that cross", f"{_TONE}.hatching:CrossHatching"),
    "streamlines": Method("long lines that follow the form", f"{_TONE}.streamlines:Streamlines"),
    "waves": Method("rows of waves with a larger amplitude in darker areas", f"{_TONE}.waves:Waves"),
    "spiral": Method("one spiral of waves", f"{_TONE}.waves:Spiral"),
    "one-line": Method("a single line without pen lifts", f"{_TONE}.one_line:OneLine"),
    "scribbles": Method("one line in loops, smaller and closer in darker areas", f"{_TONE}.scribbles:Scribbles"),
    "labyrinth": Method("winding passages, narrower in darker areas", f"{_TONE}.labyrinth:Labyrinth"),
    "stippling": Method("dots, closer together in darker areas", f"{_TONE}.stippling:Stippling"),
    "lettering": Method("single-line letters, as a pen writes them", "linewright.sources.lettering:Lettering", "text"),
    "words": Method("a drawing of a sentence, composed from a store", "linewright.sources.words.way:Words", "sentence"),
    "cells": Method("regions around scattered seeds, filled with rounded rings", f"{_PATTERNS}.cells:Cells", "seed"),
    "currents": Method("evenly spaced lines that follow a flow", f"{_PATTERNS}.currents:Currents", "seed"),
    "dunes": Method("ridge behind ridge", f"{_PATTERNS}.dunes:Dunes", "seed"),
    "ferns": Method("fronds that arch from one root", f"{_PATTERNS}.ferns:Ferns", "seed"),
    "folds": Method("one line that fills its field by folding", f"{_PATTERNS}.folds:Folds", "seed"),
    "growth": Method("weed or a tree", f"{_PATTERNS}.growth:Growth", "seed"),
    "heads": Method("the seeds of a sunflower", f"{_PATTERNS}.heads:Heads", "seed"),
    "islands": Method("a chart of islands with heights and shores", f"{_PATTERNS}.islands:Islands", "seed"),
    "pendulums": Method("two pendulums that come to rest", f"{_PATTERNS}.pendulums:Pendulums", "seed"),
    "ribbon": Method("one closed line around a random tree", f"{_PATTERNS}.ribbon:Ribbon", "seed"),
    "rosettes": Method("wreaths of engraved waves", f"{_PATTERNS}.rosettes:Rosettes", "seed"),
    "scales": Method("rows of ringed discs, like a herring's side", f"{_PATTERNS}.scales:Scales", "seed"),
    "tiles": Method("bundles of arcs that wander like rope", f"{_PATTERNS}.tiles:Tiles", "seed"),
    "wheels": Method("a wheel that rolls in a ring", f"{_PATTERNS}.wheels:Wheels", "seed"),
    "surprise": Method("one of these or several, composed and framed", f"{_PATTERNS}.surprise:Surprise", "seed"),
}

FOR_PHOTOGRAPHS: Final = "auto"
"""Default method for photographs."""


def usable() -> dict[str, Method | Plugin]:
    """All usable methods by name: ours, and those of other packages."""
    ours = frozenset(METHODS)
    return {**METHODS, **{one.name: one for one in plugins.installed() if not plugins.refused(one, ours)}}


def troubles() -> list[str]:
    """Reasons why methods of other packages cannot be used, one line each."""
    ours = frozenset(METHODS)
    return [why for one in plugins.installed() if (why := plugins.refused(one, ours))]


def method(name: str, among: tuple[str, ...] = ()) -> Method | Plugin:
    """The method with this name, ours or from another package.

    Parameters
    ----------
    among : kinds of source considered for suggestions; none: any.

    Raises
    ------
    InputError
        There is no such method, or its package cannot be used.
    """
    if name in METHODS:
        return METHODS[name]
    plugin = plugins.named(name)
    if plugin is not None:
        plugin.kind()  # raises if the package is faulty
        return plugin
    meant = [key for key, one in usable().items() if not among or one.takes in among]
    near = difflib.get_close_matches(name, meant, n=1)
    hint = f"did you mean {near[0]}? " if near else ""
    what = "pattern" if among == ("seed",) else "method"
    raise InputError(f"there is no {what} {name!r}", hint=f"{hint}there are {', '.join(meant)}")


def makes_its_own(words: str) -> bool:
    """Whether a method's picture has no proportion of its own and fills any area."""
    return method(words.partition(":")[0].strip()).takes in ("text", "seed", "sentence")


def chosen(words: str) -> Way:
    """The method for ``NAME`` or ``NAME:SETTING=VALUE,...``.

    Raises
    ------
    InputError
        There is no such method or setting, or a value is out of range.
    """
    name, _, rest = words.partition(":")
    name = name.strip()
    found = method(name)
    way = settings.parse(found.kind(), name, rest)
    return found.guarded(way) if isinstance(found, Plugin) else way


def in_words(name: str, way: Way) -> str:
    """A method in the notation that `chosen` reads: name, and settings that differ from the defaults."""
    rest = settings.written(way)
    return f"{name}:{rest}" if rest else name
