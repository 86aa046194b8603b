"""Where Linewright keeps what outlives a command, by the rules of the system (on Linux the XDG base directories).

None of the folders need exist yet.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import platformdirs

_NAME: Final = "linewright"


def state_folder() -> Path:
    """Journals, the log of drawings, what is known of machines; ``~/.local/state/linewright`` on Linux."""
    return platformdirs.user_state_path(_NAME, appauthor=False)


def config_folder() -> Path:
    """What the user has set up; ``~/.config/linewright`` on Linux."""
    return platformdirs.user_config_path(_NAME, appauthor=False)


def cache_folder() -> Path:
    """What can be made again: compiled code, pictures of sentences; ``~/.cache/linewright`` on Linux."""
    return platformdirs.user_cache_path(_NAME, appauthor=False)
