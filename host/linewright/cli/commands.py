"""Commands whose help shows argument names without Python types."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import typer
from typer.core import TyperArgument, TyperCommand

if TYPE_CHECKING:
    from typer._click import Context, HelpFormatter


class HelpfulCommand(TyperCommand):
    """A command whose help lists arguments by their own names."""

    def format_options(self, ctx: Context, formatter: HelpFormatter) -> None:
        """Write the arguments, then the options."""
        records = {
            kind: [
                (param.display_name_raw if isinstance(param, TyperArgument) else record[0], _ranges(record[1]))
                for param in self.get_params(ctx)
                if param.param_type_name == kind and (record := param.get_help_record(ctx)) is not None
            ]
            for kind in ("argument", "option")
        }
        for kind, rows in records.items():
            if rows:
                with formatter.section(f"{kind.capitalize()}s"):
                    formatter.write_dl(rows)


def _ranges(words: str) -> str:
    words = re.sub(r"(-?[\d.]+)<=x<=(-?[\d.]+)", r"\1 to \2", words)
    return re.sub(r"\bx>=(-?[\d.]+)", r"\1 or more", words)


class Commands(typer.Typer):
    """A `typer.Typer` whose commands are `HelpfulCommand`."""

    def command(self, name: str | None = None, **settings: Any) -> Callable[[Any], Any]:
        """See `typer.Typer.command`."""
        return super().command(name, cls=HelpfulCommand, **settings)

    def for_one(self, words: Sequence[str]) -> Commands:
        """Only the command that the words begin with, or all commands if they begin with none.

        Building the parser of all commands takes as long as a short command.
        """
        commands = [one for one in self.registered_commands if one.name == words[0]] if words else []
        groups = [one for one in self.registered_groups if one.name == words[0]] if words else []
        if not commands and not groups:
            return self
        narrow = copy.copy(self)
        narrow.registered_commands, narrow.registered_groups = commands, groups
        return narrow
