"""Every error that Linewright raises on purpose.

::

    LinewrightError
     ├── InputError          a picture, a file or an option that cannot be used
     │    ├── SourceError    the picture itself (file, line or element)
     │    ├── SheetError     does not fit the sheet or the machine's reach
     │    ├── MakerError     the picture maker is not set up, or did not deliver
     │    └── ProgramError   a saved program is damaged, or made for another rig
     ├── RigError            the rig file (key, line, value, range)
     ├── PlanError           the limits and the path allow no motion
     └── LinkError           between the laptop and the board
          ├── PortError      the port cannot be opened, or went away
          │    └── PortBusy  another program has it open
          ├── NoAnswer       the port is open and nobody speaks our protocol
          ├── Mismatch       the board speaks another version or carries other code
          ├── Refused        the board refused a request (field, value, range)
          ├── BoardFault     the board stopped itself (fault name, position trusted or not)
          ├── Drifted        homing again has found the machine off by more than the limit (in `linewright.board.drift`)
          ├── PromptError    MicroPython's prompt answered with an error
          └── FlashError     the code cannot be put on this board

A message says what was wrong, the value, the limit and where; ``hint`` says what to do next.
Anything else that escapes is a bug in Linewright.
"""

from __future__ import annotations


class LinewrightError(Exception):
    """Base of all deliberate errors.

    Parameters
    ----------
    message : what was wrong, with value, limit, unit and place.
    hint : what the user can do next.
    """

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


class InputError(LinewrightError):
    """An input of the user cannot be used."""


class SourceError(InputError):
    """A picture cannot be read. ``where`` is the file, with line or element where known."""

    def __init__(self, message: str, *, where: str = "", hint: str = "") -> None:
        super().__init__(f"{where}: {message}" if where else message, hint=hint)
        self.where = where


class SheetError(InputError):
    """A drawing does not fit the sheet, or the sheet does not fit the machine."""


class MakerError(InputError):
    """No picture maker is set up, its file is wrong, or it returned no picture. The message contains no secret."""


class ProgramError(InputError):
    """A saved program is damaged, or belongs to another rig."""


class RigIssue:
    """One thing wrong with a rig file: which key, on which line, with which value, and what is allowed."""

    def __init__(self, key: str, value: object, allowed: str, *, line: int | None = None, why: str = "") -> None:
        self.key = key
        self.value = value
        self.allowed = allowed
        self.line = line
        self.why = why

    def __str__(self) -> str:
        place = f"line {self.line}: " if self.line is not None else ""
        why = f" ({self.why})" if self.why else ""
        # TOML has no null, so None means that the key is missing and there is no value to show.
        given = "" if self.value is None else f" = {self.value!r}:"
        return f"{place}{self.key}{given} {self.allowed}{why}"


class RigError(LinewrightError):
    """A rig file is not valid. ``issues`` lists everything that is wrong, not only the first."""

    def __init__(self, message: str, *, issues: tuple[RigIssue, ...] = (), hint: str = "") -> None:
        lines = [message, *(f"  {issue}" for issue in issues)]
        super().__init__("\n".join(lines), hint=hint)
        self.issues = issues


class PlanError(LinewrightError):
    """The path and the limits allow no motion."""


class LinkError(LinewrightError):
    """Communication with the board failed."""


class PortError(LinkError):
    """The port cannot be opened, or went away."""


class PortBusy(PortError):
    """The port is there, and another program has it open."""


class NoAnswer(LinkError):
    """The port is open, but no board that speaks our protocol answers."""


class Mismatch(LinkError):
    """The board speaks another protocol version or runs other code than this host."""


class Refused(LinkError):
    """The board refused a request and says which field, value and range."""

    def __init__(self, request: str, field: str, value: int, low: int, high: int, *, hint: str = "") -> None:
        super().__init__(f"the board refused '{request}': {field} = {value} is outside {low}..{high}", hint=hint)
        self.request = request
        self.field = field
        self.value = value
        self.low = low
        self.high = high


class BoardFault(LinkError):
    """The board stopped itself. ``position_trusted`` says whether it still knows where the pen is."""

    def __init__(self, name: str, *, position_trusted: bool, hint: str = "") -> None:
        trust = "it still knows where the pen is" if position_trusted else "it no longer knows where the pen is"
        super().__init__(f"the board stopped with fault '{name}'; {trust}", hint=hint)
        self.name = name
        self.position_trusted = position_trusted


class PromptError(LinkError):
    """Code run at MicroPython's prompt raised an exception. ``words`` is the board's traceback."""

    def __init__(self, words: str) -> None:
        super().__init__(f"MicroPython says: {words.strip()}")
        self.words = words


class FlashError(LinkError):
    """This version's code cannot be put on this board."""
