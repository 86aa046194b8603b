"""Linewright plans pictures as pen strokes and draws them on a home-built two-axis pen machine.

For scripts and notebooks::

    import linewright as lw
    plan = lw.plan(lw.read("heron.svg"), rig=lw.Rig.load("rig.toml"), sheet="A5")
    plan.duration_s, plan.ink_mm      # a notebook shows the plan as a picture
    lw.draw(plan, port="virtual")

`read`, `photograph`, `letters` and `pattern` say what to draw; `Drawing.from_strokes` takes lines of your own, in mm.
docs/LIBRARY.md has five worked scripts. Names are imported when they are first used, so importing the package is fast.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Final

from linewright.version import __version__

if TYPE_CHECKING:
    from linewright.drawing.strokes import Drawing, Pen
    from linewright.errors import LinewrightError
    from linewright.library import Plan, Source, draw, letters, methods, pattern, photograph, plan, read, resume
    from linewright.rig.rig import Rig
    from linewright.tasks.draw_task import Drawn

__all__ = [
    "Drawing",
    "Drawn",
    "LinewrightError",
    "Pen",
    "Plan",
    "Rig",
    "Source",
    "__version__",
    "draw",
    "letters",
    "methods",
    "pattern",
    "photograph",
    "plan",
    "read",
    "resume",
]

_LIBRARY: Final = "linewright.library"
_WHERE: Final = {
    "Drawing": "linewright.drawing.strokes",
    "Drawn": "linewright.tasks.draw_task",
    "LinewrightError": "linewright.errors",
    "Pen": "linewright.drawing.strokes",
    "Rig": "linewright.rig.rig",
}
"""Public names defined in modules other than `library`, by the module that defines them."""


def __getattr__(name: str) -> object:
    """Import a public name when it is first used."""
    if name not in __all__:
        raise AttributeError(f"module 'linewright' has no attribute {name!r}")
    found: object = getattr(import_module(_WHERE.get(name, _LIBRARY)), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(__all__)
