"""Output files of tasks."""

from __future__ import annotations

from pathlib import Path

from linewright.errors import InputError
from linewright.files import is_there, replacing


def write_file(data: bytes, to: Path, *, over: bool = False) -> None:
    """Write a result to a file, whole or not at all.

    Parameters
    ----------
    data : its bytes.
    to : the file.
    over : replace an existing file.

    Raises
    ------
    InputError
        The file exists and may not be replaced, or cannot be written.
    """
    if is_there(to) and not over:
        raise InputError(f"{to} exists already", hint="name another file, or remove that one first")
    try:
        with replacing(to) as stream:
            stream.write(data)
    except OSError as error:
        hint = "check the folder, its permissions and the free space"
        raise InputError(f"cannot write {to}: {error.strerror or error}", hint=hint) from error
