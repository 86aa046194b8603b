"""Hints in the page's terms: the tasks' hints name commands, which the page does not have."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from linewright.folders import state_folder

if TYPE_CHECKING:
    from linewright.errors import LinewrightError

WAYS: Final[dict[str, str]] = {
    "board home": "Home it",
    "board info": "the line of the machine",
    "board check": "Check the board",
    "board pen": "the pen's heights",
    "board bring-up": "Begin bring-up",
    "resume": "Carry on",
    "ports": "Search again",
    "trial": "a trial sheet",
    "fit": "the form of the trial sheet",
    "arrange": "its slip on the page",
    "plan": "the sheet on the page",
}
"""Commands, with the place on the page that does the same."""

_COMMAND: Final = re.compile(r"`linewright ([^`]*)`")
_KEPT: Final = "u-"
"""Prefix of uploaded files' names; see `linewright.desk.uploads`."""

_LASTING: Final = re.compile(r"; `linewright virtual --stay`[^;]*")


def on_page(text: str) -> str:
    """A message with commands replaced by places on the page; commands without one are marked as for a terminal.

    Examples
    --------
    >>> on_page("home first: `linewright board home`")
    "home first: 'Home it'"
    >>> on_page("put its code on it with `linewright board flash`")
    'put its code on it with `linewright board flash` in a terminal'
    """
    return _COMMAND.sub(_way, _LASTING.sub("", _unplaced(text)))


def _unplaced(text: str) -> str:
    """Paths of uploaded files are removed, because the user does not know them."""
    if _KEPT not in text:
        return text
    return re.sub(rf"{re.escape(str(state_folder()))}\S*{_KEPT}[0-9a-f]{{16}}\.\w+", "the file", text)


def _way(found: re.Match[str]) -> str:
    words = found[1].split()
    for many in (2, 1):
        if (way := WAYS.get(" ".join(words[:many]))) is not None:
            name = f" '{words[1]}'" if words[0] == "trial" and words[1:] else ""
            return f"{way}{name}" if name else f"'{way}'"
    return f"{found[0]} in a terminal"


def told(error: LinewrightError) -> dict[str, str]:
    """An error as a page value."""
    return {"text": on_page(str(error)), "hint": on_page(error.hint)}
