"""What to do next, in the words of the page: hints of the tasks name commands, of which a page has none."""

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
    "resume": "Carry it on",
    "ports": "Look again",
    "trial": "a trial sheet",
    "fit": "the form of the trial sheet",
    "arrange": "its slip on the page",
    "plan": "the sheet on the page",
}
"""Commands, and where the page does the same."""

_COMMAND: Final = re.compile(r"`linewright ([^`]*)`")
_KEPT: Final = "u-"
"""How the names of files begin that pages have sent; see `linewright.desk.uploads`."""

_LASTING: Final = re.compile(r"; a virtual rig that lasts: `[^`]*`")


def on_page(text: str) -> str:
    """A message with the page's own ways in place of commands; those that it has not are for a terminal.

    Examples
    --------
    >>> on_page("home first: `linewright board home`")
    "home first: 'Home it'"
    >>> on_page("put its code on it with `linewright board flash`")
    'put its code on it with `linewright board flash` in a terminal'
    """
    return _COMMAND.sub(_way, _LASTING.sub("", _unplaced(text)))


def _unplaced(text: str) -> str:
    """Files that came from a page have no place that anybody there knows."""
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
    """An error for the page."""
    return {"text": on_page(str(error)), "hint": on_page(error.hint)}
