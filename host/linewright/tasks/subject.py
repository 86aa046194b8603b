"""The subject of a drawing from the user's options: a file, a text, a pattern, or a sentence."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final

from linewright.errors import InputError
from linewright.planning.text_file import text_from, text_of

if TYPE_CHECKING:
    from linewright.tasks.front import Front

LONGEST_NAME: Final = 30
"""Longest name made from words."""

RANDOM: Final = "random"
"""As a sentence: choose a random one from our word lists."""

SEEDS: Final = 10_000
"""Number of compositions for a random choice: four digits can be remembered and typed again."""


@dataclass(frozen=True)
class NamedSource:
    """The named subject as typed; exactly one of the first five must be given.

    Parameters
    ----------
    source, text_file : files; the text file ``-`` is the standard input.
    text, pattern, sentence : text to write, pattern to draw, sentence to compose or to have painted.
    maker_file : file of the picture maker; None: the usual one.
    anew : ask the picture maker even if a picture is cached.
    piped : standard input; None if there is none.
    """

    source: str | None = None
    text: str | None = None
    text_file: str | None = None
    pattern: str | None = None
    sentence: str | None = None
    maker_file: Path | None = None
    anew: bool = False
    piped: BinaryIO | None = None

    def given(self) -> list[str]:
        """Names of the given options."""
        options = {
            "SOURCE": self.source,
            "--text": self.text,
            "--text-file": self.text_file,
            "--pattern": self.pattern,
            "--sentence": self.sentence,
        }
        return [name for name, value in options.items() if value is not None]


@dataclass(frozen=True)
class Subject:
    """A source and its method.

    Parameters
    ----------
    source : what the method reads.
    method : method with settings; None: the one that suits the file.
    name : of the drawing, for messages and file names.
    """

    source: str
    method: str | None
    name: str


def subject(named: NamedSource, method: str | None, front: Front) -> Subject:
    """The named subject. If a picture maker draws a sentence, its picture file is the source.

    Parameters
    ----------
    method : the method, as for `--as`; None: not given.

    Raises
    ------
    InputError : no subject or several were given, the method does not suit it, or the picture maker failed.
    """
    given = named.given()
    if len(given) != 1:
        many = f"{' and '.join(given)} were given, but only one of them can be drawn"
        raise InputError(
            many if given else "no picture to draw was named",
            hint="name a FILE, or --text, --pattern or --sentence; `linewright surprise` invents a pattern",
        )
    if named.sentence is None and (named.maker_file is not None or named.anew):
        raise InputError(f"--maker and --anew go with --sentence, not with {given[0]}", hint="leave them out")
    if named.sentence is not None:
        if method is not None and _takes(method) in ("text", "seed"):
            _fitting(method, ("photograph",), "--sentence")
        if _from_the_store(named, method):
            return _composed(named.sentence, method, front)
        return _painted(named.sentence, named, method, front)
    if named.text_file is not None:
        return _lettered(_read(named.text_file, named.piped), method, "--text-file")
    if named.text is not None:
        return _lettered(named.text, method, "--text")
    if named.pattern is not None:
        if method is not None:
            raise InputError(
                "--as does not go with --pattern", hint="write settings after the pattern's name, as in wheels:seed=3"
            )
        fitting = _fitting(named.pattern, ("seed",), "--pattern")
        return Subject("", fitting, _slug(named.pattern.replace("seed=", "")))
    file = named.source or ""
    takes = None if method is None else _takes(method)
    if takes == "seed":
        raise InputError(f"--as {method} makes a pattern and takes no file", hint=f"draw it with --pattern {method}")
    if takes == "sentence":
        raise InputError(f"--as {method} draws a sentence and takes no file", hint='draw it with --sentence "..."')
    if takes == "text":
        raise InputError(
            f"--as {method} writes text and takes no picture",
            hint="use it with --text WORDS or --text-file FILE, or leave it out",
        )
    return Subject(file, method, Path(file).name)


def composition(seed: int | None) -> tuple[int, str]:
    """The number of a composition and its pattern; ``seed`` None: a random one."""
    number = random.randrange(1, SEEDS) if seed is None else seed
    return number, f"surprise:seed={number}"


def _lettered(text: str, method: str | None, option: str) -> Subject:
    return Subject(text, _fitting(method or "lettering", ("text",), option), _slug(text))


def _from_the_store(named: NamedSource, method: str | None) -> bool:
    """Whether the store draws a sentence: it is requested, or no picture maker is set up."""
    from linewright.folders import config_folder
    from linewright.maker.setup import FILE_NAME

    if method is not None:
        return _takes(method) == "sentence"
    return named.maker_file is None and not named.anew and not (config_folder() / FILE_NAME).exists()


def _composed(sentence: str, method: str | None, front: Front) -> Subject:
    """A subject drawn from the store."""
    from linewright.sources.words.inventing import invent

    if sentence.strip() == RANDOM:
        sentence = invent(random.Random())
        front.say(f'the subject is "{sentence}"')
    return Subject(sentence, method or "words", _slug(sentence))


def _painted(sentence: str, named: NamedSource, method: str | None, front: Front) -> Subject:
    """Have a picture made for a sentence, or take the cached one."""
    from linewright.maker import find_maker, picture_of, subjects

    maker = find_maker(named.maker_file)
    if sentence.strip() == RANDOM:
        sentence = subjects.subject(random.Random())
        front.say(f'the subject is "{sentence}"')
    made = picture_of(sentence, maker, anew=named.anew, report=front.progress)
    for note in made.notes:
        front.note(note)
    if made.kept:
        front.say(f"using the saved picture of these words, {made.path}; --anew makes a new one")
    else:
        front.say(f"the picture is saved as {made.path}")
    return Subject(str(made.path), method, f"{_slug(sentence)}{made.path.suffix}")


def _takes(method: str) -> str:
    from linewright.sources import methods

    return methods.method(method.partition(":")[0].strip()).takes


def _fitting(method: str, takes: tuple[str, ...], option: str) -> str:
    """The method, if it accepts such a source."""
    from linewright.sources import methods

    found = methods.method(method.partition(":")[0].strip(), takes).takes
    if found not in takes:
        what = "makes a pattern" if found == "seed" else f"takes a {found}"
        raise InputError(
            f"{option} does not go with {method}, which {what}", hint="`linewright methods` lists all methods"
        )
    return method


def _read(name: str, piped: BinaryIO | None) -> str:
    """A text file, or the standard input."""
    return text_from(piped, name) if name == "-" and piped is not None else text_of(Path(name))


def _slug(words: str) -> str:
    """A file name from the first words: lower case, with hyphens."""
    found = re.sub(r"[\W_]+", "-", words.lower()).strip("-")
    whole = found[: LONGEST_NAME + 1].rpartition("-")[0] if len(found) > LONGEST_NAME else found
    return whole[:LONGEST_NAME] or found[:LONGEST_NAME] or "text"
