"""Methods and patterns of other packages, found by the entry point group ``linewright.sources``.

An entry point's name is the method's name, as `--as` and `--pattern` take it. It refers to a class: a frozen dataclass
whose fields are made by `linewright.sources.settings`, with a ``read(source, wish)`` that returns a `Picture`, and with
two class variables::

    about: ClassVar[str] = "rings around stones in still water"   # one line for `linewright methods`
    takes: ClassVar[str] = "seed"                                 # "seed", "text" or "photograph"

A failing package is named in the error, and does not affect others.
"""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass
from functools import cache
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Final

import numpy as np

from linewright.errors import InputError, LinewrightError, SourceError
from linewright.sources.picture import Picture, Way, Wish

GROUP: Final = "linewright.sources"

TAKES: Final = ("photograph", "text", "seed")
"""Kinds of source for methods of other packages."""

_NAME: Final = re.compile(r"[a-z][a-z0-9-]*")
"""Names like ours; a colon or a comma would conflict with settings."""


@dataclass(frozen=True)
class Plugin:
    """A method of another package. Its class is imported when needed.

    Parameters
    ----------
    name : as `--as` takes it.
    package : the distribution that offers it, with its version.
    """

    name: str
    package: str
    entry: EntryPoint

    @property
    def about(self) -> str:
        """Description for users."""
        return str(self.kind().about)  # type: ignore[attr-defined]  # checked by `kind`

    @property
    def takes(self) -> str:
        """Kind of source."""
        return str(self.kind().takes)  # type: ignore[attr-defined]  # checked by `kind`

    def kind(self) -> type[Way]:
        """Its class.

        Raises
        ------
        InputError
            It cannot be imported or is incomplete; the message has the package's name.
        """
        try:
            found = self.entry.load()
        except Exception as error:  # importing the package may raise anything
            raise self._unfit(f"{type(error).__name__}: {error}") from error
        if not isinstance(found, type) or not dataclasses.is_dataclass(found):
            raise self._unfit(f"{self.entry.value} is not a dataclass")
        if not callable(getattr(found, "read", None)):
            raise self._unfit(f"{self.entry.value} has no method read(source, wish)")
        if not isinstance(getattr(found, "about", None), str) or getattr(found, "takes", None) not in TAKES:
            raise self._unfit(
                f"{self.entry.value} needs about, a line of text, and takes, one of {', '.join(TAKES)}, "
                "as class variables"
            )
        try:
            found()
        except Exception as error:
            raise self._unfit(f"it cannot be made with its usual settings: {error}") from error
        if any(field.metadata and "meaning" not in field.metadata for field in dataclasses.fields(found)):
            raise self._unfit("a setting of it was not made by linewright.sources.settings")
        kind: type[Any] = found
        return kind

    def guarded(self, way: Way) -> Way:
        """The method, wrapped so that its failures are attributed to its package."""
        return _Guarded(self, way)

    def _unfit(self, why: str) -> InputError:
        return InputError(
            f"the method {self.name} of the package {self.package} cannot be used: {why}",
            hint=f"update that package; `pip uninstall {self.package.split()[0]}` removes it",
        )


@dataclass(frozen=True)
class _Guarded:
    """A `Way` of another package."""

    plugin: Plugin
    way: Way

    def read(self, source: str, wish: Wish) -> Picture:
        """See `Way.read`.

        Raises
        ------
        SourceError
            Also if the package fails, or its result is no valid picture.
        """
        ended: list[BaseException] = []

        def report(state: str, done: float) -> None:
            try:
                wish.report(state, done)
            except BaseException as error:  # cancelled by the caller, not a failure of the package
                ended.append(error)
                raise

        try:
            picture = self.way.read(source, dataclasses.replace(wish, report=report))
        except LinewrightError:
            raise
        except Exception as error:
            if error in ended:
                raise
            raise self._failed(f"{type(error).__name__}: {error}") from error
        if wrong := _wrong(picture):
            raise self._failed(wrong)
        return picture

    def _failed(self, why: str) -> SourceError:
        return SourceError(
            f"the method {self.plugin.name} of the package {self.plugin.package} failed: {why}",
            hint="tell the authors of that package; Linewright's own methods work without it",
        )


def _wrong(picture: object) -> str:
    """What is wrong with a result; "" for nothing."""
    if not isinstance(picture, Picture):
        return f"it returned {type(picture).__name__}, not a Picture"
    if not np.isfinite(picture.drawing.points_mm).all():
        return "a point of its strokes is not finite"
    if not (0 < picture.width_mm < np.inf and 0 < picture.height_mm < np.inf):
        return f"its size is {picture.width_mm} x {picture.height_mm} mm"
    if len(picture.drawing) and not 0 <= picture.drawing.pen.min() <= picture.drawing.pen.max() < len(
        picture.drawing.pens
    ):
        return "a stroke uses a pen that it does not list"
    return ""


@cache
def installed() -> tuple[Plugin, ...]:
    """All methods offered by installed packages, by name, without importing the packages."""
    found = [
        Plugin(entry.name, f"{entry.dist.name} {entry.dist.version}" if entry.dist is not None else "unknown", entry)
        for entry in entry_points(group=GROUP)
    ]
    return tuple(sorted(found, key=lambda plugin: (plugin.name, plugin.package)))


def named(name: str) -> Plugin | None:
    """The method with this name; None if no package offers it.

    Raises
    ------
    InputError
        Two packages offer it.
    """
    found = [plugin for plugin in installed() if plugin.name == name]
    if len(found) > 1:
        packages = " and ".join(plugin.package for plugin in found)
        raise InputError(f"{packages} both offer a method {name}", hint="uninstall one of them")
    return found[0] if found else None


def refused(plugin: Plugin, ours: frozenset[str]) -> str:
    """Why a method cannot be used, in one line; "" if it can.

    Parameters
    ----------
    ours : names of Linewright's own methods.
    """
    if plugin.name in ours:
        return (
            f"the method {plugin.name} of the package {plugin.package} is not used: Linewright has a method of that "
            "name"
        )
    if _NAME.fullmatch(plugin.name) is None:
        return (
            f"the method {plugin.name!r} of the package {plugin.package} is not used: "
            "a name is made of small letters, digits and hyphens"
        )
    try:
        named(plugin.name)
        plugin.kind()
    except InputError as error:
        return error.message
    return ""
