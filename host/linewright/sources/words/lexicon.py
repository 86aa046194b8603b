"""Vocabulary: the meaning of each known word, and the nearest known words for an unknown one."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from functools import cache
from typing import Final

from linewright.sources.words.modifiers import MODIFIERS
from linewright.sources.words.scenes import SCENES
from linewright.sources.words.verbs import VERBS, verb_of

NUMBERS: Final[dict[str, int]] = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9,
    "ten": 10, "eleven": 11, "twelve": 12, "dozen": 12, "couple": 2, "pair": 2, "both": 2, "several": 4, "few": 3,
    "some": 3, "many": 7, "lots": 8, "hundred": 100, "hundreds": 100, "thousand": 1000, "dozens": 24, "countless": 12,
    "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
    "twenty": 20, "thirty": 30, "forty": 40, "fifty": 50,
}  # fmt: skip
MOST: Final = 20
"""Largest number of copies of one thing in a picture; larger numbers are reduced to it."""

GROUPS: Final = {
    "herd": 5, "flock": 6, "group": 4, "crowd": 7, "row": 4, "line": 4, "pack": 5, "swarm": 8, "school": 7, "choir": 5,
    "band": 4, "team": 4, "pile": 6, "heap": 6, "bunch": 4, "army": 7, "family": 3, "fleet": 4, "parade": 5, "queue": 4,
    "shoal": 7, "string": 4, "procession": 5, "gang": 4, "stack": 4, "tower": 4, "cluster": 5, "set": 3,
}  # fmt: skip

COLOURS: Final[dict[str, str]] = {
    "red": "#c8102e", "scarlet": "#c8102e", "crimson": "#a6192e", "blue": "#1f5fa8", "navy": "#1b365d", "azure": "#2f8fd0",
    "green": "#2e7d32", "yellow": "#e0a800", "golden": "#c99700", "gold": "#c99700", "orange": "#e07b00",
    "purple": "#6a3d9a", "violet": "#6a3d9a", "pink": "#d8508f", "brown": "#7b4a21", "grey": "#7a7a7a", "gray": "#7a7a7a",
    "silver": "#8c9196", "turquoise": "#1c9a96", "teal": "#14787a", "magenta": "#c2185b", "beige": "#b59f7b",
    "brass": "#b08d2c", "copper": "#b0622c", "bronze": "#8c6a2c", "lilac": "#9a7fc0", "maroon": "#6d1a2d",
}  # fmt: skip
YOUNG: Final = frozenset(
    {"cub", "puppy", "pup", "kitten", "piglet", "calf", "lamb", "foal", "fawn", "duckling", "gosling", "cygnet"}
)
"""Words for young animals, which are drawn small."""

PAPER: Final = frozenset({"white", "plain", "blank", "black-and-white", "snow-white"})
"""Colours that need no ink."""

ADJECTIVES: Final[dict[str, str]] = {
    **{name: name for name in MODIFIERS},
    "little": "small", "wee": "tiny", "minute": "tiny", "miniature": "tiny", "teeny": "tiny", "young": "small",
    "toy": "small", "mini": "small", "large": "big", "great": "big", "giant": "huge", "enormous": "huge",
    "gigantic": "huge", "massive": "huge", "colossal": "huge", "oversized": "huge", "monstrous": "huge", "grand": "big",
    "high": "tall", "lanky": "thin", "slim": "thin", "skinny": "thin", "slender": "thin", "narrow": "thin",
    "lean": "thin", "chubby": "fat", "plump": "fat", "round": "fat", "stout": "fat", "obese": "fat", "tubby": "fat",
    "stripy": "striped", "stripey": "striped", "stripes": "striped", "dotted": "spotted", "spotty": "spotted",
    "polka-dot": "spotted", "dotty": "spotted", "speckled": "spotted", "freckled": "spotted", "chequered": "checked",
    "checkered": "checked", "plaid": "tartan", "floral": "flowery", "flowered": "flowery", "blooming": "flowery",
    "hairy": "furry", "fluffy": "furry", "woolly": "woollen", "woolen": "woollen", "knitted": "woollen",
    "shaggy": "furry", "fuzzy": "furry", "scruffy": "furry", "bushy": "furry", "wood": "wooden", "timber": "wooden",
    "stone": "brick", "bricks": "brick", "ragged": "patched", "tattered": "patched", "patchwork": "patched",
    "shabby": "patched", "poor": "patched", "ancient": "old", "elderly": "old", "aged": "old", "rusty": "old",
    "haunted": "old", "abandoned": "old", "ruined": "broken", "cracked": "broken", "shattered": "broken",
    "damaged": "broken", "fiery": "burning", "flaming": "burning", "blazing": "burning", "icy": "frozen",
    "muddy": "dirty", "dusty": "dirty", "filthy": "dirty", "grubby": "dirty", "soaked": "wet", "dripping": "wet",
    "damp": "wet", "soggy": "wet", "melting": "wet", "stinking": "smelly", "stinky": "smelly", "shivering": "cold",
    "freezing": "cold", "chilly": "cold", "glowing": "shining", "shiny": "shining", "bright": "shining",
    "sparkling": "shining", "glittering": "shining", "luminous": "shining", "radiant": "shining", "famous": "shining",
    "quick": "fast", "speedy": "fast", "hurried": "fast", "racing": "fast", "steaming": "hot", "boiling": "hot",
    "warm": "hot", "magical": "magic", "enchanted": "magic", "fairytale": "magic", "cheerful": "happy", "glad": "happy",
    "jolly": "happy", "smiling": "happy", "merry": "happy", "friendly": "happy", "joyful": "happy", "delighted": "happy",
    "unhappy": "sad", "gloomy": "sad", "miserable": "sad", "lonely": "sad", "melancholy": "sad", "mournful": "sad",
    "grumpy": "angry", "cross": "angry", "furious": "angry", "mad": "angry", "evil": "angry", "bad": "angry", "naughty": "angry", "fierce": "angry",
    "bad-tempered": "angry", "wicked": "angry", "astonished": "surprised", "amazed": "surprised", "shocked": "surprised",
    "startled": "surprised", "confused": "dizzy", "drunk": "dizzy", "drunken": "dizzy", "scared": "frightened",
    "afraid": "frightened", "terrified": "frightened", "timid": "nervous", "shy": "nervous", "anxious": "nervous",
    "worried": "nervous", "weeping": "crying", "tearful": "crying", "asleep": "sleeping", "sleepy": "tired",
    "dozing": "sleeping", "snoring": "sleeping", "exhausted": "tired", "weary": "tired", "bored": "tired", "lazy": "tired",
    "romantic": "loving", "lovesick": "loving", "enamoured": "loving", "cyclopean": "one-eyed", "two-faced": "two-headed",
    "double-headed": "two-headed", "feathered": "winged", "mechanical": "mechanical", "clockwork": "mechanical",
    "robotic": "mechanical", "steampunk": "mechanical", "injured": "bandaged", "wounded": "bandaged", "hurt": "bandaged",
    "sick": "bandaged", "ill": "bandaged", "transparent": "ghostly", "spectral": "ghostly", "see-through": "ghostly",
    "upside-down": "upside down", "inverted": "upside down", "tilted": "leaning", "crooked": "leaning",
    "hovering": "floating", "levitating": "floating", "dangling": "floating", "hungry": "thirsty", "wise": "clever",
    "smart": "clever", "brilliant": "clever", "intelligent": "clever", "singing": "singing", "curious": "surprised",
    "noisy": "shouting", "loud": "shouting", "squashed": "short", "stretched": "long", "wide": "wide", "broad": "wide",
    "snow-covered": "snowy", "sprouting": "growing", "electrified": "electric", "checkerboard": "checked",
    "scarlet-spotted": "spotted", "dizzy": "dizzy", "victorious": "proud", "brave": "proud", "heroic": "proud",
    "noble": "proud", "mossy": "leafy", "overgrown": "leafy", "camouflaged": "leafy", "midnight": "dark", "shadowy": "dark",
    "wrinkled": "old", "wobbly": "leaning", "floating": "floating", "crazy": "dizzy", "gnarled": "old", "crumpled": "old",
}  # fmt: skip

WORN_BY_ADJECTIVE: Final[dict[str, str]] = {
    "bearded": "beard", "moustached": "moustache", "mustachioed": "moustache", "crowned": "crown", "horned": "horns",
    "masked": "mask", "bespectacled": "glasses", "booted": "rubber boots", "caped": "cape", "armoured": "armour",
    "royal": "crown", "one-legged": "wooden leg", "hatted": "bowler hat", "angelic": "halo", "elegant": "top hat",
    "posh": "top hat", "festive": "party hat", "scarfed": "scarf",
}  # fmt: skip

IDLE: Final = frozenset(
    [
        "the",
        "its",
        "his",
        "her",
        "their",
        "my",
        "your",
        "our",
        "this",
        "that",
        "these",
        "those",
        "very",
        "really",
        "rather",
        "quite",
        "so",
        "too",
        "just",
        "also",
        "little-bit",
        "big-bit",
        "is",
        "are",
        "was",
        "were",
        "be",
        "being",
        "been",
        "who",
        "which",
        "whom",
        "there",
        "it",
        "he",
        "she",
        "they",
        "them",
        "him",
        "please",
        "of",
        "then",
        "still",
        "completely",
        "extremely",
        "slightly",
        "carefully",
        "happily",
        "sadly",
        "slowly",
        "quickly",
        "quietly",
        "proudly",
        "loudly",
        "gently",
        "together",
        "away",
        "along",
        "back",
        "down",
        "up",
        "around",
        "about",
        "only",
        "each",
        "other",
        "every",
        "own",
        "more",
        "most",
        "such",
        "as",
        "like",
        "while",
        "when",
        "where",
        "fresh",
        "own",
        "proper",
        "real",
        "beautiful",
        "pretty",
        "nice",
        "lovely",
        "cute",
        "funny",
        "silly",
        "strange",
        "weird",
        "odd",
        "ordinary",
        "normal",
        "typical",
        "simple",
        "good",
        "fine",
        "sweet",
        "wild",
        "elegantly",
        "peacefully",
        "busily",
        "alone",
        "home",
        "itself",
        "himself",
        "herself",
        "themselves",
        "here",
        "everywhere",
        "outside",
        "inside-out",
        "bit",
        "lot",
        "kind",
        "sort",
        "type",
        "piece",
        "covered",
        "made",
        "called",
        "named",
        "and",
        "but",
        "or",
        "new",
        "modern",
        "classic",
        "old-fashioned",
        "wonderful",
        "amazing",
        "handsome",
        "gentle",
        "polite",
        "famous",
        "perfect",
        "favourite",
        "favorite",
        "secret",
        "tame",
        "rubber-soled",
        "gracefully",
        "joyfully",
        "i",
        "me",
        "we",
        "us",
        "you",
        "can",
        "could",
        "will",
        "would",
        "should",
        "may",
        "might",
        "must",
        "show",
        "want",
        "draw",
        "let's",
        "lets",
        "some",
        "something",
        "busy",
        "local",
        "foreign",
        "english",
        "french",
        "italian",
        "spanish",
        "chinese",
        "polar",
        "arctic",
        "tropical",
        "african",
        "indian",
        "american",
        "european",
    ]
)
"""Words without effect on the drawing."""

PREPOSITIONS: Final[dict[str, str]] = {
    "on": "on", "on top of": "on", "atop": "on", "onto": "on", "upon": "on", "aboard": "in", "in": "in", "inside": "in",
    "into": "in", "within": "in", "out of": "in", "inside of": "in", "with": "with", "without": "without", "under": "under",
    "underneath": "under", "below": "under", "beneath": "under", "over": "over", "above": "over", "by": "by",
    "beside": "by", "next to": "by", "near": "by", "at": "by", "alongside": "by", "close to": "by", "behind": "behind",
    "in front of": "before", "before": "before", "between": "between", "among": "among", "amongst": "among",
    "amid": "among", "around": "among", "surrounded by": "among", "against": "against", "from": "from", "for": "for",
    "to": "to", "towards": "to", "toward": "to", "of": "of", "through": "along", "across": "along", "along": "along",
    "past": "by", "off": "on", "down": "on", "up": "on", "about": "about", "like": "like", "as": "as", "after": "after",
    "on the back of": "on", "on the roof of": "on", "on the edge of": "on", "in the middle of": "in", "at the foot of": "by",
    "at the end of": "on", "on the side of": "by", "at the top of": "on", "on the shoulder of": "on shoulder",
    "on the head of": "on top", "on the nose of": "on nose", "in the shade of": "under", "full of": "full of",
    "filled with": "full of",     "to the left of": "left", "to the right of": "right", "left of": "left", "right of": "right",
    "on the left of": "left", "on the right of": "right", "on the left side of": "left", "on the right side of": "right",
    "tied to": "tied", "facing": "facing", "opposite": "facing",
    "covered with": "full of", "covered in": "full of", "instead of": "without", "outside": "by", "beyond": "behind",
    "wrapped in": "in", "made of": "made of", "made from": "made of", "made out of": "made of", "dressed as": "as",
    "disguised as": "as", "dressed like": "as", "dressed up as": "as", "at the bottom of": "in", "during": "in", "all over": "full of",
}  # fmt: skip

WEATHER: Final[dict[str, str]] = {
    "stormy": "storm", "thundery": "storm", "windy": "wind", "breezy": "wind", "blustery": "wind", "rainy": "rain", "drizzly": "rain",
    "foggy": "fog", "misty": "fog", "snowy": "snow", "wintry": "snow", "winter": "snow", "sunny": "day", "summer": "day",
    "starry": "night", "moonlit": "night", "rough": "storm",
}  # fmt: skip
"""Adjectives of a place that mean weather, by the names of `scenes.SCENES`."""

BODY: Final[dict[str, str]] = {
    "shoulder": "shoulder", "shoulders": "shoulder", "back": "back", "head": "top", "hat": "top", "nose": "nose",
    "hand": "hand", "hands": "hand", "paw": "hand", "paws": "hand", "wing": "hand", "tail": "tail", "lap": "lap",
    "arm": "hand", "arms": "hand", "roof": "top", "top": "top", "mouth": "mouth", "beak": "mouth", "trunk": "trunk",
    "mast": "top", "deck": "in", "side": "hand", "claw": "hand", "claws": "hand", "chest": "chest", "horn": "top",
    "antlers": "top", "belly": "chest", "roof-top": "top", "chimney": "top", "ears": "top", "knee": "lap", "knees": "lap",
    "pouch": "pouch", "antenna": "top", "fin": "back", "hump": "back", "shell": "back", "lips": "mouth",
    "finger": "hand", "fingers": "hand", "flippers": "hand", "legs": "feet", "toes": "feet", "whiskers": "mouth",
    "feet": "feet", "foot": "feet", "basket": "in", "neck": "neck", "teeth": "mouth", "hair": "top", "face": "eyes",
}  # fmt: skip
"""Parts of the thing just named: ``on its back``."""

BODY_OF: Final[dict[str, tuple[str, ...]]] = {
    "roof": ("house", "barn", "church", "castle", "tower", "windmill", "bus", "car", "train"),
    "chimney": ("house",), "mast": ("sailing boat", "ship"), "deck": ("ship", "sailing boat"),
}  # fmt: skip
"""Parts named without an owner, with possible owners: "on the roof" means a house's."""

FEELINGS: Final[dict[str, tuple[str, frozenset[str]]]] = {
    "afraid": ("frightened", frozenset({"of"})), "scared": ("frightened", frozenset({"of", "by"})),
    "frightened": ("frightened", frozenset({"of", "by"})), "terrified": ("frightened", frozenset({"of", "by"})),
    "proud": ("proud", frozenset({"of"})), "angry": ("angry", frozenset({"with", "at", "about"})),
    "cross": ("angry", frozenset({"with"})), "mad": ("angry", frozenset({"at"})), "fond": ("loving", frozenset({"of"})),
    "tired": ("tired", frozenset({"of"})), "bored": ("tired", frozenset({"of", "by", "with"})),
    "jealous": ("angry", frozenset({"of"})), "surprised": ("surprised", frozenset({"by", "at"})),
    "happy": ("happy", frozenset({"about"})), "sad": ("sad", frozenset({"about"})),
    "loving": ("loving", frozenset({"to"})),
}  # fmt: skip
"""Feelings towards somebody: adjective to modifier, and the prepositions before the other one."""

PLURALS: Final[dict[str, str]] = {
    "mice": "mouse", "geese": "goose", "men": "man", "women": "woman", "children": "boy", "feet": "foot", "teeth": "tooth",
    "wolves": "wolf", "knives": "knife", "leaves": "leaf", "loaves": "loaf", "oxen": "ox", "people": "man", "elves": "elf",
    "calves": "calf", "shelves": "shelf", "thieves": "thief", "octopi": "octopus", "cacti": "cactus", "sheep": "sheep",
    "deer": "deer", "fish": "fish", "policemen": "policeman", "firemen": "fireman", "snowmen": "snowman", "moose": "moose",
    "postmen": "postman", "fishermen": "fisherman", "dice": "dice", "dwarves": "dwarf", "scarves": "scarf", "kids": "boy",
    "mermen": "merman", "halves": "half", "wives": "wife", "hippopotami": "hippopotamus", "squid": "squid",
    "spectacles": "glasses", "spacemen": "spaceman", "seamen": "seaman", "aircraft": "airplane", "salmon": "salmon",
    "trout": "trout", "swine": "pig", "cattle": "cow", "poultry": "hen", "parents": "woman",
}  # fmt: skip


def singulars(word: str) -> list[tuple[str, bool]]:
    """Possible singulars of a word, each with whether the word was a plural."""
    found = [(word, False)]
    if word in PLURALS:
        found.append((PLURALS[word], True))
    if word.endswith("ies"):
        found += [(word[:-3] + "y", True), (word[:-1], True)]
    if word.endswith("es"):
        found += [(word[:-2], True), (word[:-1], True)]
    elif word.endswith("s") and not word.endswith("ss"):
        found.append((word[:-1], True))
    return found


class Lexicon:
    """All drawable words: those of the store and those added by the user.

    Parameters
    ----------
    nouns : every word for a thing, with the thing's name.
    """

    def __init__(self, nouns: Mapping[str, str]) -> None:
        self.nouns = dict(nouns)
        self.longest = max((len(word.split()) for word in self.nouns), default=1)
        self._closed = {name.replace(" ", "").replace("-", ""): name for name in self.nouns}
        self._nearest = cache(self._search)

    def noun(self, words: list[str]) -> tuple[str, bool] | None:
        """The thing that these words name, and whether they are a plural."""
        head, last = words[:-1], words[-1]
        for one, plural in singulars(last):
            phrase = " ".join([*head, one])
            if phrase in self.nouns:
                return self.nouns[phrase], plural and phrase != " ".join(words)
            if one != last and phrase.replace("-", " ") in self.nouns:
                return self.nouns[phrase.replace("-", " ")], plural
        if not head:  # written as one word: a flowerpot, a birdcage
            for one, plural in singulars(last.replace("-", "")):
                if one in self._closed:
                    return self.nouns[self._closed[one]], plural
        plain = " ".join(words).replace("-", " ").replace("'s ", " ").replace("s' ", " ")
        if plain != " ".join(words) and plain in self.nouns:
            return self.nouns[plain], False
        return None

    def near(self, word: str) -> tuple[str, ...]:
        """Up to three things nearest to an unknown word: by meaning where known, else by spelling."""
        return self._nearest(word)

    def _search(self, word: str) -> tuple[str, ...]:
        from linewright.sources.words.kinds import KINDS
        from linewright.sources.words.store import things

        for one, _plural in singulars(word):
            told = [thing.name for thing in things().values() if one in thing.near]
            told += list(KINDS.get(one, ()))
            if told:
                return tuple(told[:3])
        known = [*self.nouns, *ADJECTIVES, *VERBS, *SCENES]
        close = difflib.get_close_matches(word, known, n=4, cutoff=0.72)
        names = [self.nouns.get(w, w) for w in close]
        return tuple(dict.fromkeys(names))[:3]

    def known(self, word: str) -> bool:
        """Whether a single word is known."""
        return bool(
            self.noun([word])
            or word in ADJECTIVES
            or word in COLOURS
            or word in NUMBERS
            or word in IDLE
            or word in PREPOSITIONS
            or word in WORN_BY_ADJECTIVE
            or word in PAPER
            or word in GROUPS
            or word in WEATHER
            or verb_of(word)
            or any(word == name or word in scene.words for name, scene in SCENES.items())
        )
