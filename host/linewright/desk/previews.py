"""`Previews`: a photograph drawn by every method, small; figures that no longer hold are reckoned anew."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from linewright.desk import workers
from linewright.desk.making import PreviewsWish, PreviewWish

if TYPE_CHECKING:
    from collections.abc import Hashable
    from pathlib import Path

    from linewright.desk.geometry import GeometryShelf
    from linewright.desk.making import WorkerWish
    from linewright.desk.questions import DeskNotes
    from linewright.desk.screen import Screen
    from linewright.planning.arrangement import Arrangement, Item
    from linewright.rig.rig import Rig


@dataclass(frozen=True)
class OnSheet:
    """The item that is looked at, among what lies on the sheet now."""

    item: Item
    arrangement: Arrangement
    folder: Path
    rig: Rig

    @property
    def decides(self) -> Hashable:
        """All that decides strokes and figures of every method, its settings aside."""
        item = replace(self.item, method=None, at_mm=None, align=None, repeat=None)
        return item, self.arrangement.sheet, self.arrangement.margin_mm, self.rig

    @property
    def method(self) -> str:
        """The name of the method that draws it; "": the one that suits it."""
        return (self.item.method or "").partition(":")[0]


class Previews:
    """The small pictures of one item.

    Parameters
    ----------
    wish : makes something; returns its number. The newest wish wins.
    """

    def __init__(
        self, screen: Screen, shelf: GeometryShelf, notes: DeskNotes, wish: Callable[[WorkerWish], int]
    ) -> None:
        self._screen = screen
        self._shelf = shelf
        self._notes = notes
        self._wish = wish
        self._now: OnSheet | None = None
        self._usual: tuple[str, ...] = ()  # each method as it comes
        self._number = 0
        self._put(item=None, list=[])

    @property
    def item(self) -> str | None:
        """The id of the item; None: nothing is looked at."""
        return None if self._now is None else self._now.item.id

    def of(self, now: OnSheet | None) -> None:
        """Look at another item, or at none."""
        for one in self._shown["list"]:
            self._shelf.drop(one["geometry"])
        self._now, self._usual, self._number = now, (), 0
        self._put(item=self.item, list=[])
        if now is not None:
            item = replace(now.item, method=None)
            self._number = self._wish(PreviewsWish(now.arrangement, now.folder, now.rig, item))

    def changed(self, now: OnSheet) -> None:
        """The sheet has changed: what does not hold any more waits until `go_on`."""
        before, self._now = self._now, now
        assert before is not None, "an item is looked at"
        anew = before.decides != now.decides
        listed = []
        for one, usual in zip(self._shown["list"], self._usual, strict=True):
            method, own = one["method"], one["own"]
            if now.item.method is not None and now.method == usual.partition(":")[0]:
                method, own = now.item.method, now.item.method != usual
            elif now.item.method is None and one["pick"]:
                method, own = usual, False
            waits = anew or method != one["method"] or one["state"] == "making"
            new = {"state": "waiting", "error": None, **_NO_FIGURES} if waits else {}
            listed.append({**one, "method": method, "own": own, **new})
        if listed != self._shown["list"]:
            self._number = 0  # what is being made now is no longer wanted
            self._put(list=listed)

    def go_on(self) -> None:
        """Make the next one that waits."""
        waiting = [n for n, one in enumerate(self._shown["list"]) if one["state"] == "waiting"]
        if self._now is None or not waiting or self._number:
            return
        self._change(waiting[0], state="making")
        now, method = self._now, self._shown["list"][waiting[0]]["method"]
        self._number = self._wish(PreviewWish(now.arrangement, now.folder, now.rig, now.item, method))

    def heard(self, number: int, what: str, value: Any) -> None:
        """The worker has said something."""
        if number != self._number or what in (workers.PROGRESS, workers.PART):
            return
        self._number = 0
        if not self._usual:
            self._begin(what, value)
        else:
            self._take(what, value)
        self.go_on()

    def _begin(self, what: str, value: Any) -> None:
        if what != workers.MADE:
            self._notes.add("error", value.text, value.hint)
            return
        self._usual = tuple(value)
        listed = [
            {
                "method": name,
                "pick": not i,
                "own": False,
                "state": "waiting",
                "error": None,
                "geometry": None,
                "width_mm": None,
                "height_mm": None,
                **_NO_FIGURES,
            }
            for i, name in enumerate(self._usual)
        ]
        self._put(list=listed)
        assert self._now is not None, "an item is looked at"
        self.changed(self._now)

    def _take(self, what: str, value: Any) -> None:
        (at,) = (n for n, one in enumerate(self._shown["list"]) if one["state"] == "making")
        self._shelf.drop(self._shown["list"][at]["geometry"])
        if what == workers.MADE:
            data, figures = value
            self._change(at, state="ready", geometry=self._shelf.put(data, "p"), **figures)
        else:
            self._change(at, state="refused", geometry=None, error={"text": value.text, "hint": value.hint})

    def _change(self, at: int, **new: Any) -> None:
        listed = list(self._shown["list"])
        listed[at] = {**listed[at], **new}
        self._put(list=listed)

    def _put(self, **new: Any) -> None:
        self._shown = {**getattr(self, "_shown", {}), **new}
        self._screen.put("previews", self._shown)


_NO_FIGURES: Final[dict[str, Any]] = {"predicted_s": None, "ink_mm": None, "strokes": None, "pens": []}
"""While they are reckoned; the picture of before stays."""
