"""The CSS cascade of an SVG: the winning value of each property on each element.

Presentation attributes, then rules of ``<style>`` by specificity and order, then ``style`` attributes, then
``!important`` declarations in the same order (CSS Cascading 4, section 6; presentation attributes count as author rules
of specificity 0: SVG 2, section 6.6). Inheritance is handled in `linewright.sources.svg.style`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any
from xml.etree.ElementTree import Element

import cssselect2
import tinycss2

from linewright.errors import SourceError
from linewright.sources.painting.notes import Notes
from linewright.sources.svg.document import Document, line_of
from linewright.sources.svg.grammar import valid

Declared = dict[str, str]
Declarations = tuple[tuple[str, str], ...]

# Properties of text.
FONT_PROPERTIES = (
    "font-family", "font-size", "font-style", "font-weight", "font-stretch", "font-variant", "font-kerning",
    "letter-spacing", "word-spacing", "text-anchor", "text-decoration", "direction", "writing-mode", "baseline-shift",
    "dominant-baseline", "alignment-baseline", "white-space", "unicode-bidi", "text-rendering", "kerning",
    "font-variation-settings", "font-optical-sizing",
)  # fmt: skip
# All properties that the reader uses, geometry included, which SVG 2 made properties.
PROPERTIES = frozenset((
    "fill", "fill-opacity", "fill-rule", "clip-rule", "stroke", "stroke-opacity", "stroke-width", "stroke-linecap",
    "stroke-linejoin", "stroke-miterlimit", "stroke-dasharray", "stroke-dashoffset", "paint-order",
    "color", "visibility", "display", "opacity", "overflow", "transform", "transform-origin", "transform-box",
    "clip-path", "mask", "mask-type", "filter", "mix-blend-mode", "isolation",
    "marker-start", "marker-mid", "marker-end", "stop-color", "stop-opacity",
    "x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", *FONT_PROPERTIES,
))  # fmt: skip

# Properties without presentation attributes (SVG 2, section 6.6, lists those that have them).
_NO_ATTRIBUTES = frozenset(("font-kerning", "font-variation-settings", "font-optical-sizing"))

# Selectors that refer to earlier siblings have quadratic cost (cssselect2 keeps a list of all earlier siblings
# for each child): 2000 children are 2 million entries, 16 MB.
MOST_SIBLINGS = 2000

# Selectors nested in selectors are read recursively; people write two or three levels.
MOST_NESTED = 32

# Rules without class and id are tried on every element (with the name, if they have one): a million trials take one to
# two seconds.
MOST_TRIALS = 5_000_000


class Cascade:
    """Computes `declared` for the elements of one document.

    Parameters
    ----------
    document : its ``sheets`` apply in order.
    notes : receives warnings about unsupported parts.

    Raises
    ------
    SourceError : the rules exceed `MOST_TRIALS`.
    """

    def __init__(self, document: Document, notes: Notes) -> None:
        root, sheets = document.root, document.sheets
        self._notes = notes
        normal, important = cssselect2.Matcher(), cssselect2.Matcher()
        wide = any(len(element) > MOST_SIBLINGS for element in root.iter()) if sheets else False
        rules = 0
        self._simple, self._asks_ids = True, False
        for sheet in sheets:
            for prelude, declarations in _rules(tinycss2.parse_stylesheet(sheet, True, True), notes):
                rules += _add_rule(prelude, declarations, normal, important, wide, notes)
                self._simple = self._simple and all(_is_simple(token) for token in _without_gaps(prelude))
                self._asks_ids = self._asks_ids or any(token.type == "hash" for token in prelude)
        self._matched: dict[Element, tuple[Declarations, Declarations]] = {}
        if rules and not self._simple:
            _count_trials(document, normal)
        if rules:
            # Rules that refer only to names, classes and ids have equal results for elements with equal ones: a
            # thousand rules on ten thousand such elements cost a thousand steps, not ten million.
            alike: dict[tuple[str, str, str], tuple[Declarations, Declarations]] = {}
            for wrapper in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree():
                element = wrapper.etree_element
                key = (element.tag, element.get("class", ""), element.get("id", "") if self._asks_ids else "")
                found = alike.get(key) if self._simple else None
                if found is None:
                    found = alike[key] = _matches(normal, wrapper), _matches(important, wrapper)
                if found != ((), ()):
                    self._matched[wrapper.etree_element] = found

    def _invalid(self, name: str, value: str, element: Element) -> None:
        self._notes.add(_INVALID.format(name=name, value=value[:40]), line_of(element))

    def declared(self, element: Element) -> Declared:
        """The winning value of every property of `PROPERTIES` that is set on ``element``."""
        attributes = element.attrib
        declared: Declared = {}
        for name in attributes:
            if name in PROPERTIES and name not in _NO_ATTRIBUTES:
                value = attributes[name].strip()
                if valid(name, value):
                    declared[name] = value
                else:
                    self._invalid(name, value, element)
        matched = self._matched.get(element)
        if matched is not None:
            declared.update(matched[0])
        inline = attributes.get("style")
        inline_important: Declarations = ()
        if inline:
            inline_normal, inline_important, dropped = _parse_declarations(inline)
            for name, value in dropped:
                self._invalid(name, value, element)
            declared.update(inline_normal)
        if matched is not None:
            declared.update(matched[1])
        declared.update(inline_important)
        return declared


def _count_trials(document: Document, matcher: Any) -> None:
    """Refuse a file whose rules would be tried more than `MOST_TRIALS` times."""
    names = Counter(e.tag.rpartition("}")[2].lower() for e in document.root.iter())
    named = matcher.lower_local_name_selectors
    trials = sum(n * (len(matcher.other_selectors) + len(named.get(name, ()))) for name, n in names.items())
    if trials > MOST_TRIALS:
        raise SourceError(
            f"{document.name}: the rules of its style sheet without a class or an id would be tried {trials} times on "
            f"the elements, more than {MOST_TRIALS}",
            hint="open it in a drawing program and save it as plain SVG",
        )


def _matches(matcher: Any, wrapper: Any) -> Declarations:  # the CSS libraries have no types
    pairs = (pair for _, _, pseudo, payload in matcher.match(wrapper) if pseudo is None for pair in payload)
    return tuple(dict(pairs).items())


def _rules(parsed: Iterable[Any], notes: Notes) -> Iterator[tuple[Any, Any]]:
    """Selector and content of every style rule, including those of matching ``@media`` blocks."""
    for rule in parsed:
        if rule.type == "qualified-rule":
            yield rule.prelude, rule.content
        elif rule.type == "at-rule" and rule.lower_at_keyword == "media":
            query = tinycss2.serialize(rule.prelude).strip().lower()
            if rule.content is None or query not in ("", "all", "print", "screen"):
                notes.add(f"style sheet: the rules for '@media {query[:40]}' are left out")
            else:
                yield from _rules(tinycss2.parse_rule_list(rule.content, True, True), notes)
        elif rule.type == "at-rule" and rule.lower_at_keyword == "import":
            notes.add("style sheet: '@import' is never followed; nothing outside the file is read")
        elif rule.type == "error":
            notes.add(f"style sheet: {rule.message}")


def _without_gaps(prelude: Any) -> list[Any]:
    """The tokens of a selector list without white space at its ends and around its commas."""
    tokens = list(prelude)
    kept = []
    for i, token in enumerate(tokens):
        if token.type == "whitespace":
            around = [tokens[j] for j in (i - 1, i + 1) if 0 <= j < len(tokens)]
            if len(around) < 2 or any(t.type == "literal" and t.value == "," for t in around):
                continue
        kept.append(token)
    return kept


def _is_simple(token: Any) -> bool:
    """Whether a token refers to a name, a class or an id only."""
    if token.type == "literal":
        return token.value in (".", ",", "*")
    return token.type in ("ident", "hash", "comment")


def _depth(tokens: Any) -> int:
    """Nesting depth of a selector's brackets and functions, counted up to `MOST_NESTED` + 1."""
    depth, level = 0, list(tokens)
    while level and depth <= MOST_NESTED:
        level = [
            inner
            for token in level
            for inner in (getattr(token, "arguments", None) or getattr(token, "content", None) or ())
            if not isinstance(inner, str)
        ]
        depth += 1
    return depth


def _add_rule(prelude: Any, content: Any, normal: Any, important: Any, wide: bool, notes: Notes) -> int:
    """Add one style rule to the matchers; returns the number of supported selectors."""
    if _depth(prelude) > MOST_NESTED:
        notes.add(f"style sheet: a rule is left out: its selector is nested more than {MOST_NESTED} deep")
        return 0
    text = tinycss2.serialize(prelude).strip()
    if wide and any(
        (t.type == "literal" and t.value == "~") or "nth" in str(getattr(t, "lower_name", "")) for t in prelude
    ):
        why = f"it counts siblings, and some element has more than {MOST_SIBLINGS} children"
        notes.add(f"style sheet: the rule for '{text[:40]}' is left out: {why}")
        return 0
    usual, strong, dropped = _split(tinycss2.parse_blocks_contents(content))
    for name, value in dropped:
        notes.add(_INVALID.format(name=name, value=value[:40]))
    try:
        selectors = cssselect2.compile_selector_list(prelude)
    except cssselect2.SelectorError:
        notes.add(f"style sheet: the selector '{text[:40]}' is not understood")
        return 0
    for selector in selectors:
        normal.add_selector(selector, usual)
        important.add_selector(selector, strong)
    return len(selectors)


@lru_cache(maxsize=4096)
def _parse_declarations(text: str) -> tuple[Declarations, Declarations, Declarations]:
    return _split(tinycss2.parse_blocks_contents(text))


def _split(declarations: Iterable[Any]) -> tuple[Declarations, Declarations, Declarations]:
    """Declarations of known properties: normal ones, important ones, and those with invalid values."""
    normal: list[tuple[str, str]] = []
    important: list[tuple[str, str]] = []
    dropped: list[tuple[str, str]] = []
    for declaration in declarations:
        if declaration.type != "declaration":
            continue
        name, value = declaration.lower_name, tinycss2.serialize(declaration.value).strip()
        target = important if declaration.important else normal
        if name == "marker":
            names: tuple[str, ...] = ("marker-start", "marker-mid", "marker-end")
        elif name == "font":
            for pair in font_shorthand(value):
                target.append(pair)
            continue
        else:
            names = (name,) if name in PROPERTIES else ()
        for one in names:
            (target if valid(one, value) else dropped).append((one, value))
    return tuple(normal), tuple(important), tuple(dropped)


def font_shorthand(value: str) -> list[tuple[str, str]]:
    """The longhands of ``font`` (CSS Fonts 4, section 2.7); none if size or family is missing."""
    found = _FONT.fullmatch(value.strip())
    if found is None:
        return []
    pairs = [*((name, "normal") for name in _FONT_WORDS), ("font-kerning", "auto")]
    for word in found[1].split():
        for name, words in _FONT_WORDS.items():
            if word.lower() in words or (name == "font-weight" and word.isdigit()):
                pairs.append((name, word))
    return [*pairs, ("font-size", found[2]), ("font-family", found[3])]


_FONT = re.compile(
    r"((?:[a-zA-Z-]+\s+|\d00\s+)*?)([\d.]+(?:px|pt|pc|mm|cm|in|em|ex|rem|q|%)|(?:xx?-)?(?:small|large)|medium)"
    r"(?:\s*/\s*\S+)?\s+(.+)"
)
_FONT_WORDS = {
    "font-style": ("italic", "oblique"), "font-weight": ("bold", "bolder", "lighter"), "font-variant": ("small-caps",),
    "font-stretch": ("condensed", "expanded", "semi-condensed", "semi-expanded", "extra-condensed", "extra-expanded",
                     "ultra-condensed", "ultra-expanded"),
}  # fmt: skip
_INVALID = "{name} '{value}' is not valid; it is ignored"
