"""`Document`: the XML tree of an SVG from untrusted bytes, with line numbers, ids and style sheets.

Entities that only abbreviate a text (namespaces, as some drawing programs write them) are expanded. Entities that refer
to files or to other entities (local files, expansion bombs), and files and trees beyond `FileLimits`, are refused.
Nothing is fetched.
"""

from __future__ import annotations

import os
import re
import zlib
from xml.etree.ElementTree import Element, ParseError
from xml.parsers.expat import ExpatError

import defusedxml.ElementTree
from defusedxml.common import DefusedXmlException

from linewright.errors import SourceError
from linewright.sources.painting.limits import FileLimits, refuse
from linewright.sources.painting.notes import Notes
from linewright.sources.source_file import source_file

SVG_NAMESPACE = "http://www.w3.org/2000/svg"
_LINE = "{linewright}line"  # attribute for the line number in the tree; cannot clash with the file's
# A reference to an entity defined in the file; XML's five and numeric ones are single characters.
_REFERENCE = re.compile(r"&(?!amp;|lt;|gt;|quot;|apos;|#)|%[\w.:-]+;")
_TEXTS = ("style", "title", "text")  # elements whose text is kept, with that of their children
_MAGIC = {
    b"\x89PNG": "a PNG picture", b"\xff\xd8\xff": "a JPEG picture", b"GIF8": "a GIF picture", b"%PDF": "a PDF",
    b"RIFF": "a WebP picture or another RIFF file", b"BM": "a BMP picture", b"PK\x03\x04": "a zip archive",
}  # fmt: skip


class Document:
    """The tree of one SVG file.

    Attributes
    ----------
    root : the outermost ``svg`` element.
    ids : first element of each id.
    sheets : texts of the ``style`` elements in document order.
    name : name of the file in messages.
    """

    def __init__(self, root: Element, name: str, notes: Notes) -> None:
        self.root = root
        self.name = name
        self._parents: dict[Element, Element] | None = None
        self.ids: dict[str, Element] = {}
        self.sheets: list[str] = []
        for element in root.iter():
            label = element.get("id")
            if label is not None:
                self.ids.setdefault(label, element)
            if local_name(element) == "style":
                self._add_sheet(element, notes)

    def _add_sheet(self, element: Element, notes: Notes) -> None:
        kind = element.get("type", "text/css").strip().lower()
        media = element.get("media", "all").strip().lower()
        if kind not in ("", "text/css"):
            notes.add(f"a style sheet of type '{kind[:40]}' is left out; only text/css is read", line_of(element))
        elif media in ("", "all", "screen", "print"):
            self.sheets.append(element.text or "")

    def target(self, reference: str) -> Element | None:
        """The element that ``#id`` refers to; None if there is none."""
        return self.ids.get(reference[1:]) if reference.startswith("#") else None

    def parent(self, element: Element) -> Element | None:
        """The parent element; None for the root."""
        if self._parents is None:
            self._parents = {child: above for above in self.root.iter() for child in above}
        return self._parents.get(element)

    def describe(self, origin: object) -> str:
        """Like `where`, for the origin of a mark."""
        return self.where(origin if isinstance(origin, Element) else None)

    def where(self, element: Element | None) -> str:
        """Place of an element for messages: file, line, tag and id."""
        if element is None:
            return self.name
        label = element.get("id")
        tag = local_name(element) or "element"
        shown = f'<{tag} id="{label[:40]}">' if label else f"<{tag}>"
        return f"{self.name}, line {line_of(element)}, {shown}"


def local_name(element: Element) -> str | None:
    """``"path"`` for an SVG path; None for elements in other namespaces."""
    tag = element.tag
    if tag.startswith("{"):
        space, _, name = tag[1:].partition("}")
        return name if space == SVG_NAMESPACE else None
    return tag


def href_of(element: Element) -> str:
    """Value of ``href`` in SVG 2 or SVG 1.1 notation; "" if absent."""
    return element.get("href", element.get("{http://www.w3.org/1999/xlink}href", "")).strip()


def line_of(element: Element) -> int | None:
    """Line of the start tag in the file."""
    text = element.get(_LINE)
    return None if text is None else int(text)


def read_bytes(path: str | os.PathLike[str], limits: FileLimits) -> bytes:
    """The contents of a file, unpacked if gzipped (``.svgz``).

    Raises
    ------
    SourceError
        The file cannot be read, or exceeds the size limit, packed or unpacked.
    """
    with source_file(path) as file:
        size = os.fstat(file.fileno()).st_size
        if size > limits.file_bytes:
            raise _too_large(os.fspath(path), size, limits)
        return file.read(limits.file_bytes + 1)


def parse_document(data: bytes, name: str, limits: FileLimits, notes: Notes) -> Document:
    """Parse the bytes of an SVG, packed or not.

    Raises
    ------
    SourceError
        The data is no SVG, declares forbidden entities, or exceeds a limit; the message has the line if known.
    """
    if data[:2] == b"\x1f\x8b":
        data = _unpack(data, name, limits)
    if len(data) > limits.file_bytes:
        raise _too_large(name, None, limits)
    root = _parse_tree(data, name, limits)
    tag = local_name(root)
    if tag != "svg":
        raise SourceError(
            f"not an SVG: the outermost element is <{root.tag.rpartition('}')[2][:40]}>, not <svg>",
            where=name,
            hint="save the picture as plain SVG",
        )
    if not root.tag.startswith("{"):
        notes.add("the file lacks the SVG namespace (xmlns); browsers will not show it, it is read all the same")
    return Document(root, name, notes)


def _parse_tree(data: bytes, name: str, limits: FileLimits) -> Element:
    parser = _LimitedParser(name, limits)
    try:
        # Parsed in pieces, so that limits are noticed early. Within one token the pieces grow, because the parser
        # rereads an unfinished token with each piece, which would be quadratic with equal ones.
        at = 0
        while at < len(data):
            piece = data[at : at + max(2**16, at - parser.position)]
            parser.feed(piece)
            at += len(piece)
        root = parser.close()
    except DefusedXmlException as problem:
        name_of_entity = str(getattr(problem, "name", ""))[:40]
        raise SourceError(
            f"the XML entity '{name_of_entity}' is refused: it refers to a file or to other entities, or is longer "
            f"than {limits.entity_characters} characters; such entities can read other files or blow up memory",
            where=f"{name}, line {parser.line}",
            hint="open it in a drawing program and save it as plain SVG",
        ) from None
    except (ParseError, ExpatError, ValueError, LookupError) as problem:
        raise _no_xml(data, name, problem) from None
    if not isinstance(root, Element):
        raise SourceError("not an SVG: the file has no element", where=name, hint="save the picture as plain SVG")
    return root


class _LimitedParser(defusedxml.ElementTree.DefusedXMLParser):  # type: ignore[misc]  # the library ships no types
    """Counts while parsing, so that a hostile tree is refused before it is built; records line numbers."""

    def __init__(self, name: str, limits: FileLimits) -> None:
        self._builder = _CountingBuilder(name, limits, self)
        self._limits = limits
        super().__init__(target=self._builder)

    def defused_entity_decl(
        self,
        name: str,
        is_parameter: bool,
        value: str | None,
        base: str | None,
        system: str | None,
        public: str | None,
        notation: str | None,
    ) -> None:
        """Accept an entity with a short text; refuse all others."""
        harmless = value is not None and len(value) <= self._limits.entity_characters and not _REFERENCE.search(value)
        if is_parameter or not harmless:
            super().defused_entity_decl(name, is_parameter, value, base, system, public, notation)

    @property
    def position(self) -> int:
        """Byte offset of the token being parsed."""
        return max(int(self.parser.CurrentByteIndex), 0)

    @property
    def line(self) -> int:
        """Line being parsed."""
        return int(self.parser.CurrentLineNumber)


class _CountingBuilder:
    """Target of the parser: builds standard elements, drops comments, refuses too many or too deeply nested ones."""

    def __init__(self, name: str, limits: FileLimits, parser: _LimitedParser) -> None:
        self._name = name
        self._limits = limits
        self._parser = parser
        self._open: list[Element] = []
        self._kept = 0  # number of open elements that keep their text
        self._text: list[str] = []  # pieces of text since the last tag
        self._last: Element | None = None  # owner of that text: the open element, or its last child
        self._root: Element | None = None
        self._count = 0
        self._characters = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self._count += 1
        limits = self._limits
        if self._count > limits.elements:
            raise refuse(
                "too many elements",
                None,
                limits.elements,
                "elements",
                where=self._where(),
                hint="split the picture into several files",
            )
        if len(self._open) >= limits.depth:
            raise refuse(
                "elements nested too deeply",
                None,
                limits.depth,
                "levels",
                where=self._where(),
                hint="ungroup the picture before saving it",
            )
        self._characters += sum(map(len, attributes.values()))
        if self._characters > limits.expanded_characters:
            raise refuse(
                "too much text once its entities are expanded",
                None,
                limits.expanded_characters,
                "characters",
                where=self._where(),
                hint="save the picture as plain SVG",
            )
        self._flush()
        attributes[_LINE] = str(self._parser.line)
        element = Element(tag, attributes)
        if self._open:
            self._open[-1].append(element)
        else:
            self._root = element
        self._open.append(element)
        self._kept += self._kept > 0 or tag.endswith(_TEXTS)
        self._last = None

    def end(self, _tag: str) -> None:
        self._flush()
        self._last = self._open.pop()
        self._kept -= self._kept > 0

    def data(self, text: str) -> None:
        # Other text is not used, and some files have megabytes of it.
        if self._kept:
            self._text.append(text)

    def _flush(self) -> None:
        """Store the text since the last tag."""
        if self._text:
            text = "".join(self._text)
            self._characters += len(text)
            self._text.clear()
            if self._last is None:
                self._open[-1].text = text
            else:
                self._last.tail = text

    def close(self) -> Element | None:
        return self._root

    def _where(self) -> str:
        return f"{self._name}, line {self._parser.line}"


def _unpack(data: bytes, name: str, limits: FileLimits) -> bytes:
    unpacker = zlib.decompressobj(wbits=31)  # 31: expect a gzip header
    try:
        plain = unpacker.decompress(data, limits.file_bytes + 1)
    except zlib.error as problem:
        raise SourceError(f"the packed SVG is damaged: {problem}", where=name, hint="save it again") from None
    if len(plain) <= limits.file_bytes and not unpacker.eof:
        raise SourceError("the packed SVG ends too early", where=name, hint="fetch or save it again")
    return plain


def _too_large(name: str, size: int | None, limits: FileLimits) -> SourceError:
    return refuse(
        "the file is too large" if size is not None else "the file is too large once it is unpacked",
        size,
        limits.file_bytes,
        "bytes",
        where=name,
        hint="simplify the picture, or remove embedded photographs from it",
    )


def _no_xml(data: bytes, name: str, problem: Exception) -> SourceError:
    """The error for data that is not XML, with its actual type if known."""
    if not data.strip():
        return SourceError("not an SVG: the file is empty", where=name, hint="save the picture again")
    for magic, kind in _MAGIC.items():
        if data.startswith(magic):
            return SourceError(f"not an SVG: this is {kind}", where=name, hint="save or convert the picture as SVG")
    position = getattr(problem, "position", None)
    place = f"{name}, line {position[0]}, column {position[1] + 1}" if position else name
    reason = str(problem).partition(":")[0]
    return SourceError(
        f"not an SVG: it is not well-formed XML ({reason})",
        where=place,
        hint="open it in a drawing program and save it as plain SVG",
    )
