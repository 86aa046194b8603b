"""Folders for state, settings and caches, as the operating system defines them (on Linux the XDG base directories).

The folders may not exist yet.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import platformdirs

_NAME: Final = "linewright"


def state_folder() -> Path:
    """Folder of journals, the log of drawings and known machines; ``~/.local/state/linewright`` on Linux."""
    return platformdirs.user_state_path(_NAME, appauthor=False)


def config_folder() -> Path:
    """Folder of the user's settings; ``~/.config/linewright`` on Linux."""
    return platformdirs.user_config_path(_NAME, appauthor=False)


def cache_folder() -> Path:
    """Folder of data that can be recreated, such as compiled code and pictures of sentences; ``~/.cache/linewright`` on
    Linux.
    """
    return platformdirs.user_cache_path(_NAME, appauthor=False)
