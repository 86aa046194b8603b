"""`plainly`: ways of asking and of saying things that mean the same as a plain sentence, rewritten to that."""

from __future__ import annotations

import re
from typing import Final

_ASKED: Final = (
    (r"^(?:hi|hello|hey|ok|okay|please|now|well)\b[ ,!]*", ""),
    (r"^(?:please )?(?:can|could|would|will) (?:you|we|i) (?:please )?", ""),
    (r"^(?:please )?i(?:'d| would)? (?:want|like|love|wish|need)(?: you)?(?: to)? (?:see |have |draw )?", ""),
    (r"^what (?:do|does|would|might) (.*?) look like\b", r"\1"),
    (r"^(?:how|what) about ", ""),
    (r"^(?:let's|let us|let me) (?:have|see|draw) ", ""),
    (r"^(?:please )?(?:give|show|make|draw|sketch|paint|imagine|picture)(?: me| us)? (?=an? |the |some |one |two |three )", ""),
    (r"^once (?:upon a time )?there (?:was|were|lived) ", ""),
    (r"^(?:there|here|this|it) (?:is|are|was) ", ""),
    (
        (
            r"^an? (?:(?:nice|simple|little|small|quick|line) )*(?:picture|drawing|sketch|image|postcard) (?:of|with|showing) "
            r"(?!.*\b(?:wall|frame|museum|gallery|hanging|hangs|easel|nail)\b)"
        ),
        "",
    ),
    (r"[ ,]*\bplease$", ""),
)  # fmt: skip

_SAID: Final = (
    (r"\b(?:creature|animal|beast|monster|thing|being)s? (?:that|which|who|,)? ?(?:is|are|was|has|,)? ?half\b", "half"),
    (r"\ba (?:cross|mix|mixture|blend|hybrid) (?:between|of) (?:an? )?(\w+) and (?:an? )?(\w+)", r"half \1 half \2"),
    (r"\b(?:creature|animal|beast|monster|thing|being) with the head of (?:an? )?(\w+) and the (?:body|tail|legs) of (?:an? )?(\w+)",
     r"half \1 half \2"),
    (r"\bhalf-?(\w+),? half-?(\w+)", r"half \1 half \2"),
    (r"\b(?:someone|anybody|anyone|everybody|everyone)\b", "somebody"),
    (r"\b(?:one|each) (?:behind|after|beside) (?:the other|another)\b", "in a row"),
    (r"\bside by side\b", "in a row"),
    (r"\b(?:hand in hand|arm in arm|back to back|as usual|by (?:its|his|her|their) tails?)\b", ""),
    (r"\b(?:in the middle of|in the centre of|at the heart of) (?=the? ?(?:sea|city|forest|desert|night|jungle|ocean))", "in "),
    (r"\b(?:from|off|on) the ceiling\b", ""),
    (r"\b(?:holding|shaking) hands\b", "meeting"),
    (r"\bon top of (?:each other|one another)\b|\bstacked\b(?! on)", "in a stack"),
    (r"\bswinging (?=from|on (?:a|the) (?:lamp|rope|branch|tree|chandelier|vine))", "hanging "),
    (r" through an? straw\b| with an? carrot nose\b(?! and)", ""),
    (r"\bwith an? carrot nose and\b", "with"),
    (r"\bin love with\b", "loving to"),
    (r"\bon the way to\b", "to"),
    (r"\bwith nothing but\b", "with"),
    (r"\b(?:blowing|blows|huffing and puffing) (?:down|at|away)\b", "looking at"),
    (r"\btied (?:together )?to\b|\battached to\b|\bfastened to\b|\bon (?:a|the) (?:leash|lead|string) (?:of|held by)\b", "tied to"),
)  # fmt: skip


def plainly(text: str) -> str:
    """A sentence, in small letters, without the frame of a question, and with other turns of phrase as plain ones."""
    before = ""
    while before != text:
        before = text
        for pattern, plain in _ASKED:
            text = re.sub(pattern, plain, text).strip()
    for pattern, plain in _SAID:
        text = re.sub(pattern, plain, text)
    return " ".join(text.split())
