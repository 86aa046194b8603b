"""`Notes`: warnings collected while a picture is read, each text once with count and first line."""

from __future__ import annotations


class Notes:
    """Collects warnings for the user; equal texts are merged."""

    def __init__(self) -> None:
        self._seen: dict[str, tuple[int, int | None]] = {}

    def add(self, text: str, line: int | None = None, count: int = 1) -> None:
        """Note ``text``, which occurred ``count`` times, first on ``line`` of the file."""
        before, first = self._seen.get(text, (0, line))
        self._seen[text] = (before + count, first)

    def texts(self) -> tuple[str, ...]:
        """Every note once, in order of first occurrence."""
        return tuple(_sentence(text, count, line) for text, (count, line) in self._seen.items())


def _sentence(text: str, count: int, line: int | None) -> str:
    if line is None:
        return text if count == 1 else f"{text} ({count} times)"
    return f"line {line}: {text}" if count == 1 else f"line {line}: {text} ({count} times, first here)"
