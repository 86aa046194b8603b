"""What is to be drawn, as the command line says it: a file, a text, a pattern, or a sentence."""

from __future__ import annotations

import random
import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from linewright.cli import output
from linewright.errors import InputError
from linewright.planning.text_file import text_from, text_of

LONGEST_NAME: Final = 30
"""Letters of a drawing's name that is made of its words."""

RANDOM: Final = "random"
"""As a sentence: one from our own word lists."""


@dataclass(frozen=True)
class Given:
    """The options that name something to draw, as they were typed; exactly one of the first five is wanted."""

    source: str | None = None
    text: str | None = None
    text_file: str | None = None
    pattern: str | None = None
    sentence: str | None = None
    maker_file: Path | None = None
    anew: bool = False

    def named(self) -> list[str]:
        """Those that were given, as the user calls them."""
        options = {
            "SOURCE": self.source,
            "--text": self.text,
            "--text-file": self.text_file,
            "--pattern": self.pattern,
            "--sentence": self.sentence,
        }
        return [name for name, value in options.items() if value is not None]


@dataclass(frozen=True)
class Asked:
    """A source and the way to its strokes.

    Parameters
    ----------
    source : what the way reads.
    method : the way, with its settings; None: what suits the file.
    name : of the drawing, for people and for the names of its pictures.
    """

    source: str
    method: str | None
    name: str


def asked(given: Given, method: str | None, *, as_json: bool) -> Asked:
    """The one thing that was asked for; a sentence is a picture file afterwards.

    Raises
    ------
    InputError : none, or more than one, or a way that does not go with it; or the picture maker did not deliver.
    """
    named = given.named()
    if len(named) != 1:
        many = f"{' and '.join(named)} were given, but only one thing can be drawn at once"
        raise InputError(
            many if named else "nothing to draw was named",
            hint="name a FILE, or --text, --pattern or --sentence; `linewright surprise` needs no idea at all",
        )
    if given.sentence is None and (given.maker_file is not None or given.anew):
        raise InputError(f"--maker and --anew go with --sentence, not with {named[0]}", hint="leave them out")
    if given.sentence is not None:
        if method is not None and _takes(method) in ("text", "seed"):
            _fitting(method, ("photograph",), "--sentence")
        if _from_the_store(given, method):
            return _composed(given.sentence, method)
        return _painted(given.sentence, given, method, as_json=as_json)
    if given.text_file is not None:
        return _lettered(_read(given.text_file), method, "--text-file")
    if given.text is not None:
        return _lettered(given.text, method, "--text")
    if given.pattern is not None:
        if method is not None:
            raise InputError(
                "--as does not go with --pattern", hint="settings stand after its name, as in wheels:seed=3"
            )
        fitting = _fitting(given.pattern, ("seed",), "--pattern")
        return Asked("", fitting, _slug(given.pattern.replace("seed=", "")))
    file = given.source or ""
    takes = None if method is None else _takes(method)
    if takes == "seed":
        raise InputError(f"--as {method} grows from a seed, not from a file", hint=f"draw it with --pattern {method}")
    if takes == "sentence":
        raise InputError(f"--as {method} draws a sentence, not a file", hint='draw it with --sentence "..."')
    if takes == "text":
        raise InputError(
            f"--as {method} writes a text, not a file",
            hint="lettering is for --text WORDS and --text-file FILE; a picture is drawn without it",
        )
    return Asked(file, method, Path(file).name)


def _lettered(text: str, method: str | None, option: str) -> Asked:
    return Asked(text, _fitting(method or "lettering", ("text",), option), _slug(text))


def _from_the_store(given: Given, method: str | None) -> bool:
    """Whether the store draws a sentence: it is asked for, or no picture maker is set up."""
    from linewright.folders import config_folder
    from linewright.maker.setup import FILE_NAME

    if method is not None:
        return _takes(method) == "sentence"
    return given.maker_file is None and not given.anew and not (config_folder() / FILE_NAME).exists()


def _composed(sentence: str, method: str | None) -> Asked:
    """A sentence that the store draws."""
    from linewright.sources.words.inventing import invent

    if sentence.strip() == RANDOM:
        sentence = invent(random.Random())
        output.say(f'the subject is "{sentence}"', stderr=True)
    return Asked(sentence, method or "words", _slug(sentence))


def _painted(sentence: str, given: Given, method: str | None, *, as_json: bool) -> Asked:
    """Have a picture made of a sentence, or take the one that is kept."""
    from linewright.cli.progress import ProgressBar
    from linewright.maker import find_maker, picture_of, subjects

    maker = find_maker(given.maker_file)
    if sentence.strip() == RANDOM:
        sentence = subjects.subject(random.Random())
        output.say(f'the subject is "{sentence}"', stderr=True)
    with ProgressBar(shown=not as_json) as bar:
        made = picture_of(sentence, maker, anew=given.anew, report=bar.share)
    if not as_json:
        for note in made.notes:
            output.warn(note)
        if made.kept:
            output.say(f"a picture of these words is kept: {made.path}; --anew has another made", stderr=True)
        else:
            output.say(f"the picture is kept as {made.path}", stderr=True)
    return Asked(str(made.path), method, f"{_slug(sentence)}{made.path.suffix}")


def _takes(method: str) -> str:
    from linewright.sources import methods

    return methods.method(method.partition(":")[0].strip()).takes


def _fitting(method: str, takes: tuple[str, ...], option: str) -> str:
    """The method, if it takes one of these."""
    from linewright.sources import methods

    found = methods.method(method.partition(":")[0].strip(), takes).takes
    if found not in takes:
        what = "grows from a seed" if found == "seed" else f"takes a {found}"
        raise InputError(
            f"{option} does not go with {method}, which {what}", hint="`linewright methods` lists what there is"
        )
    return method


def _read(name: str) -> str:
    """A text file, or the standard input."""
    return text_from(sys.stdin.buffer, name) if name == "-" else text_of(Path(name))


def _slug(words: str) -> str:
    """A name for files: the first words, small, with hyphens."""
    found = re.sub(r"[\W_]+", "-", words.lower()).strip("-")
    whole = found[: LONGEST_NAME + 1].rpartition("-")[0] if len(found) > LONGEST_NAME else found
    return whole[:LONGEST_NAME] or found[:LONGEST_NAME] or "text"
