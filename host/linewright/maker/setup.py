"""The TOML file that describes a picture maker: reading, checking, and an example."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Final, Literal
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, field_validator, model_validator

from linewright.errors import MakerError
from linewright.files import opened
from linewright.folders import config_folder
from linewright.rig.toml_lines import find_places, line_of, read_toml

FILE_LIMIT_BYTES: Final = 65_536
"""Largest accepted file; a maker's file has some twenty lines."""

FILE_NAME: Final = "maker.toml"

_VARIABLE: Final = re.compile(r"\$\{([A-Za-z_][A-Za-z0-9_]*)\}")

EXAMPLE: Final = """\
# How `--sentence` gets its pictures. Keep one of the two tables, [command] or [endpoint], and change it to fit.

# What the maker is asked for. {sentence} is what was typed; simple pictures become the best lines.
wording = "{sentence}, drawn in black ink lines on white paper, no shading"

timeout_s = 120     # all in all, from the question to the last byte
size_mb = 30        # a larger answer is refused
attempts = 2        # a maker that charges for every picture wants 1

# A program on this computer. {sentence} is the wording above, {file} where the picture goes; without {file}, it
# comes on the program's standard output. No shell reads this, so nothing needs quoting.
[command]
words = ["my-painter", "{sentence}", "{file}"]
suffix = ".png"     # of {file}

# An address on this computer or on the net. ${NAME} takes a variable from the environment, so that no key stands here.
# [endpoint]
# url = "http://127.0.0.1:8080/paint"
# headers = { Authorization = "Bearer ${PAINTER_KEY}" }
# answer = "picture"                # the answer is the picture itself,
# # answer = "base64:images.0.data" # or JSON with the picture in base64 at that place,
# # answer = "url:images.0.url"     # or JSON with the picture's address there
# [endpoint.body]                   # sent as JSON; without a body it is asked with GET, {sentence} in the url
# words = "{sentence}"
# width = 1024
# height = 1024
"""

_HINT: Final = "`linewright maker example` prints a valid one"

Text = Annotated[str, StringConstraints(min_length=1, max_length=4000)]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class ProgramMaker(_Table):
    """A program that makes pictures.

    Parameters
    ----------
    words : the program and its arguments, with ``{sentence}`` and ``{file}`` where they go.
    suffix : of the file that it writes.
    """

    words: Annotated[list[Text], Field(min_length=1, max_length=200)]
    suffix: Annotated[str, StringConstraints(pattern=r"^\.[A-Za-z0-9]{1,8}$")] = ".png"

    @field_validator("words")
    @classmethod
    def _asks_for_the_sentence(cls, words: list[str]) -> list[str]:
        if not any("{sentence}" in word for word in words[1:]):
            raise ValueError('one of the words after the program must have "{sentence}" in it')
        return words


class AddressMaker(_Table):
    """An address that makes pictures.

    Parameters
    ----------
    url : http or https; ``${NAME}`` from the environment, ``{sentence}`` where it is asked with GET.
    headers : likewise with ``${NAME}``.
    body : sent as JSON, with ``{sentence}`` in any of its texts; none: asked with GET.
    answer : ``picture``, or ``base64:PLACE`` or ``url:PLACE`` with keys and numbers parted by points.
    """

    url: Text
    headers: dict[str, Text] = Field(default_factory=dict)
    body: dict[str, Any] | None = None
    answer: Annotated[str, StringConstraints(pattern=r"^(picture|(base64|url):[^.\s]+(\.[^.\s]+)*)$")] = "picture"

    @field_validator("url")
    @classmethod
    def _is_an_address(cls, url: str) -> str:
        parts = urlsplit(_VARIABLE.sub("x", url).replace("{sentence}", "x"))
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise ValueError("an address begins with http:// or https:// and a host")
        return url

    @field_validator("headers")
    @classmethod
    def _are_headers(cls, headers: dict[str, str]) -> dict[str, str]:
        for name, value in headers.items():
            if not re.fullmatch(r"[A-Za-z0-9!#$%&'*+.^_`|~-]+", name) or "\n" in value or "\r" in value:
                raise ValueError(f"{name!r} is no header: one line each, a name of letters, digits and hyphens")
        return headers

    @model_validator(mode="after")
    def _asks_for_the_sentence(self) -> AddressMaker:
        where = self.url if self.body is None else repr(self.body)
        if "{sentence}" not in where:
            place = "url" if self.body is None else "body"
            raise ValueError(f'"{{sentence}}" must occur in its {place}')
        return self

    @property
    def kind(self) -> Literal["picture", "base64", "url"]:
        """What its answer is."""
        word = self.answer.partition(":")[0]
        return "base64" if word == "base64" else "url" if word == "url" else "picture"

    @property
    def place(self) -> tuple[str, ...]:
        """Where in a JSON answer the picture or its address is."""
        return tuple(self.answer.partition(":")[2].split("."))


class Maker(_Table):
    """A picture maker: one of a command and an endpoint, and what holds for both.

    Parameters
    ----------
    wording : what the maker is asked for; ``{sentence}`` is what was typed.
    timeout_s : from the question to the last byte.
    size_mb : of the answer.
    attempts : how often it is asked before that is called a failure.
    """

    wording: Text = "{sentence}"
    timeout_s: Annotated[float, Field(ge=0.1, le=3600)] = 120.0
    size_mb: Annotated[float, Field(ge=0.001, le=500)] = 30.0
    attempts: Annotated[int, Field(ge=1, le=10)] = 2
    command: ProgramMaker | None = None
    endpoint: AddressMaker | None = None

    @field_validator("timeout_s", "size_mb", mode="before")
    @classmethod
    def _whole_numbers_are_numbers(cls, value: object) -> object:
        return float(value) if isinstance(value, int) and not isinstance(value, bool) else value

    @model_validator(mode="after")
    def _is_one(self) -> Maker:
        if "{sentence}" not in self.wording:
            raise ValueError('wording must have "{sentence}" in it')
        if (self.command is None) == (self.endpoint is None):
            raise ValueError("there must be exactly one of the tables [command] and [endpoint]")
        return self

    @property
    def size_bytes(self) -> int:
        """Largest accepted answer, bytes."""
        return int(self.size_mb * 2**20)

    def asked(self, sentence: str) -> str:
        """The prompt: the sentence in the file's wording."""
        return self.wording.replace("{sentence}", sentence)

    def secrets(self, environment: Mapping[str, str]) -> tuple[str, ...]:
        """Values of all environment variables that the file uses."""
        if self.endpoint is None:
            return ()
        texts = (self.endpoint.url, *self.endpoint.headers.values())
        names = {name for text in texts for name in _VARIABLE.findall(text)}
        return tuple(environment[name] for name in names if environment.get(name))


def filled(text: str, environment: Mapping[str, str]) -> str:
    """A text with each ``${NAME}`` replaced by the environment variable.

    Raises
    ------
    MakerError : a variable is not set. The message has its name and no values.
    """
    for name in _VARIABLE.findall(text):
        if not environment.get(name):
            raise MakerError(
                f"the picture maker needs the environment variable {name}, which is not set",
                hint=f"set it before you start linewright: export {name}=...",
            )
    return _VARIABLE.sub(lambda match: environment[match[1]], text)


def find_maker(path: Path | None = None) -> Maker:
    """The maker of a file, or of the one in the user's config folder.

    Raises
    ------
    MakerError : there is no such file, or it is wrong.
    """
    if path is not None:
        return load_maker(path)
    usual = config_folder() / FILE_NAME
    if not usual.exists():
        raise MakerError(
            "no picture maker is set up, so a sentence cannot become a picture",
            hint="`linewright maker new` writes a file to edit, for a program or an address of your choice; "
            "`linewright surprise` needs none",
        )
    return load_maker(usual)


def new_maker(path: Path | None = None) -> Path:
    """Write the example to the maker's file and return its path.

    Raises
    ------
    MakerError : the file exists already, or cannot be written.
    """
    path = path or config_folder() / FILE_NAME
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(EXAMPLE)
    except FileExistsError:
        raise MakerError(
            f"{path} exists already and is unchanged", hint="edit it, or name another file with --maker"
        ) from None
    except OSError as error:
        raise MakerError(f"{path} cannot be written: {error.strerror}", hint="name another with --maker") from error
    return path


def load_maker(path: Path) -> Maker:
    """Read and check a maker's file.

    Raises
    ------
    MakerError : the file cannot be read or is wrong; the message lists all problems by line.
    """
    try:
        with opened(path) as file:
            data = file.read(FILE_LIMIT_BYTES + 1)
    except OSError as error:
        raise MakerError(f"{path}: cannot be read: {error.strerror}", hint=_HINT) from error
    if len(data) > FILE_LIMIT_BYTES:
        raise MakerError(
            f"{path}: more than {FILE_LIMIT_BYTES:,} bytes, the limit for a picture maker's file", hint=_HINT
        )
    try:
        text = data.decode("utf-8-sig")
        raw = read_toml(text)
    except ValueError as error:  # includes UnicodeDecodeError
        raise MakerError(f"{path}: not valid TOML: {error}", hint=_HINT) from error
    try:
        return Maker.model_validate(raw)
    except ValidationError as error:
        places = find_places(text)
        wrong = []
        for issue in error.errors(include_url=False, include_context=False, include_input=False):
            where = tuple(str(part) for part in issue["loc"])
            line = line_of(places, where)
            at = f"line {line}: " if line is not None else ""
            key = f"{'.'.join(where)}: " if where else ""
            wrong.append(f"  {at}{key}{_words(issue['type'], issue['msg'])}")
        raise MakerError("\n".join([f"{path} is not a valid picture maker's file:", *wrong]), hint=_HINT) from None


def _words(kind: str, message: str) -> str:
    """Message for a problem with a key; replaces those of the library that do not suit users."""
    plain = {"extra_forbidden": "there is no such key", "missing": "this key is missing"}
    return plain.get(kind, message.removeprefix("Value error, ").replace("Input should", "it should"))
