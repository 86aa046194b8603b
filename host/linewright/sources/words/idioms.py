"""`plainly`: rewrites requests and idioms as plain sentences of the same meaning."""

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

_TAKES: Final = r"\b(?:having|has|have|had|taking|takes|take|took|enjoying|enjoys|gets|getting) (?:an? |its |his |her |their |some )?"
_BODY: Final = r"(?:shoulder|shoulders|back|head|nose|hands?|paws?|wing|tail|lap|arms?|mouth|beak|chest|horns?|belly|knees?|pouch|hump|fingers?|toes?|tongue|neck|hair|face|trunk|feet|foot|ears?)"
_WHOSE: Final = r"((?:an? |the |my |his |her |their |its |our |your )?(?:(?:old|big|little|small|huge|tiny|young|sleeping|sleepy) )?\w+)(?:'s|s')"

_SAID: Final = (
    (_TAKES + r"(?:\w+ )?bath\b", "bathing"),
    (_TAKES + r"(?:\w+ )?shower\b", "showering"),
    (_TAKES + r"(?:\w+ )?(?:nap|snooze|sleep|kip)\b", "sleeping"),
    (_TAKES + r"(?:\w+ )?(?:rest|break)\b", "resting"),
    (_TAKES + r"(?:\w+ )?(?:chat|talk|conversation|gossip)\b", "talking"),
    (_TAKES + r"(?:\w+ )?(?:breakfast|lunch|dinner|supper|meal|snack)\b", "eating"),
    (_TAKES + r"(?:cup of )?(tea|coffee|cocoa)\b(?! party)", r"drinking \1"),
    (_TAKES + r"(?:\w+ )?(?:fight|quarrel|argument)\b", "fighting"),
    (_TAKES + r"picnic\b", "sitting by a picnic"),
    (_TAKES + r"(?:photo|photograph|picture|selfie)s? of\b", "photographing"),
    (_TAKES + r"(?:photo|photograph|picture|selfie)s?\b(?! of)(?=$| with| in| on| by)", "photographing"),
    (r"\b(?:taking|takes|take) ((?:an?|the|its|his|her|their) (?:\w+ ){0,2}\w+) (?:out )?for an? walk\b", r"walking \1"),
    (r"\b(?:going|goes|go|went|out) for an? (?:\w+ )?(walk|stroll|swim|drive|ride|run|sail)\b", r"to \1"),
    (r"\b(?:going|goes|go|went) (?=\w+ing\b)", ""),
    (r"\b(?:trying|tries|learning|learns|wanting|wants|ready|starting|preparing|hoping|needing|about|pretending) (?:how )?to (?=\w)", "to "),
    (r"\b(?:is|are) about to (?=\w)", "to "),
    (r"\b(?:sticking|sticks|poking|pokes|putting|puts) (?:its|his|her|their|an?) (?:\w+ )?(?:heads?|noses?|necks?|tongues?) (?=out of|through|from)", "looking "),
    (r"\b(?:out of|at|in|from|through) (?:an?|the) (?:open |top |kitchen )?windows? of ", "in "),
    (rf"\b(on|in|from|at|above|over|under) {_WHOSE} ({_BODY})\b", r"\1 the \3 of \2"),
    (rf"{_WHOSE} {_BODY}\b(?! of)", r"\1"),
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
    (r"\b(?:an? |the )?(?:wedding couple|bridal couple|newlyweds|bride and groom)\b", "a bride and a groom"),
    (r"\bsharing (?=an? umbrella|the umbrella)", "under "),
    (r"\b(?:pile|heap|pot|mountain|lots|hoard) of (?:gold|coins|gold coins|jewels)\b", "treasure"),
    (r"\b(its|his|her|their) own (?=\w)", r"\1 "),
    (r"\b(reading|reads) (?:an? |the |some )?(?:\w+ )?(?:story|stories|tale|tales|fairy tales?|poems?)\b", r"\1 a book"),
    (r"\b(telling|tells) (?:an? |the |some )?(?:\w+ )?(?:story|stories|tale|tales|jokes?|lies|secrets?)\b", "talking"),
    (r"\b(?:making|makes|being|becoming) (?:best )?friends\b(?= with)?", "talking"),
    (r"\b(?:turning|turns|transforming|transforms|changing|changes) (an? [\w ]+?|the [\w ]+?|itself|himself|herself) (?:back )?into (?=an? |the )", r"pointing at \1 by "),
    (r"\b(an? |the )(\w+) (?:that is |which is )?(?:much )?(?:bigger|larger|taller) than (?:itself|himself|herself|themselves|it|him|her|an? \w+|the \w+)", r"\1huge \2"),
    (r"\b(an? |the )(\w+) (?:that is |which is )?(?:much )?(?:smaller|tinier) than (?:itself|himself|herself|themselves|it|him|her|an? \w+|the \w+)", r"\1tiny \2"),
    (r"\ban? (flute|piano|guitar|violin|trumpet|drum|cello|harp|accordion|saxophone|trombone|tuba|banjo|bagpipe) player\b", r"a man playing a \1"),
    (r"\b(?:in half|in two|to pieces)\b", ""),
    (r"fish in an? (?:glass |round |little |small )?bowl\b", "fish in a fish bowl"),
    (r"\bwashing up\b(?! the| some)", "washing dishes"),
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
    """A sentence in lower case, without phrases of request, and with idioms replaced by plain words."""
    before = ""
    while before != text:
        before = text
        for pattern, plain in _ASKED:
            text = re.sub(pattern, plain, text).strip()
    for pattern, plain in _SAID:
        text = re.sub(pattern, plain, text)
    return " ".join(text.split())
