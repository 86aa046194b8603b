"""Where Linewright keeps what outlives a command: journals, the log of drawings, which cautions have been seen."""

from __future__ import annotations

import os
from pathlib import Path


def state_folder() -> Path:
    """``$XDG_STATE_HOME/linewright``, or ``~/.local/state/linewright`` (XDG base directories); it may not exist yet."""
    state = os.environ.get("XDG_STATE_HOME", "")
    folder = Path(state) if Path(state).is_absolute() else Path.home() / ".local" / "state"
    return folder / "linewright"
