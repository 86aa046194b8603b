"""Verbs: pose of the subject and place of the object."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Verb:
    """One verb.

    Parameters
    ----------
    pose : of an upright figure; empty: the thing keeps its own shape.
    role : place of the object: ``hold`` (near hand), ``hold2`` (both hands), ``mouth``, ``feet``, ``ride``, ``in``,
        ``front`` (on the ground before it), ``target`` (someone a step away), ``up`` (on raised hands), ``juggle``,
        ``bubble`` (thought of), ``easel`` (pictured), ``string`` (at the end of a line), ``over``, ``on``, ``wear``,
        ``play``, ``none``.
    tool : held in the hand for the act.
    default : the object when none is named.
    after : prepositions before the object.
    sign : a modifier of the subject.
    together : two of them do it facing each other.
    seated : done sitting by default.
    """

    pose: str = ""
    role: str = "none"
    tool: str = ""
    default: str = ""
    after: tuple[str, ...] = ()
    sign: str = ""
    together: bool = False
    seated: bool = False


VERBS: Final[dict[str, Verb]] = {
    "hold": Verb("hold", "hold"), "carry": Verb("carry", "hold2"), "show": Verb("present", "hold"),
    "give": Verb("present", "hold"), "wear": Verb("", "wear"), "read": Verb("read", "hold2", default="book"),
    "write": Verb("read", "hold2", "pencil", "letter"), "eat": Verb("eat", "mouth", default="sandwich"),
    "drink": Verb("eat", "mouth", default="cup", after=("from",)), "smoke": Verb("eat", "mouth", default="pipe"),
    "play": Verb("hold", "play", after=("on", "with"), together=True),
    "paint": Verb("paint", "easel", "paintbrush"), "draw": Verb("paint", "easel", "pencil"),
    "photograph": Verb("sight", "target", "camera"), "film": Verb("sight", "target", "camera"),
    "ride": Verb("ride", "ride", after=("on",)), "drive": Verb("sit_hold", "in", default="car"),
    "sail": Verb("sit_hold", "in", default="sailing boat", after=("in",)), "row": Verb("row", "in", default="rowing boat"),
    "steer": Verb("sit_hold", "in", default="ship"), "pilot": Verb("sit_hold", "in", default="biplane"),
    "fly": Verb("fly", "fly"), "juggle": Verb("juggle", "juggle", default="ball", after=("with",)),
    "lift": Verb("lift", "up", default="weights"), "push": Verb("push", "front"),
    "pull": Verb("pull", "string"), "drag": Verb("pull", "string"), "tow": Verb("pull", "string"),
    "walk": Verb("walk", "string"), "lead": Verb("walk", "string"), "run": Verb("run"),
    "race": Verb("run", "target", after=("against", "with")), "chase": Verb("run", "target", sign="fast"), "follow": Verb("walk", "target"), "catch": Verb("aim", "target", "butterfly net"),
    "hunt": Verb("run", "target", "butterfly net"), "flee": Verb("run", "target", after=("from",)),
    "jump": Verb("jump", "over", after=("over",)), "leap": Verb("jump", "over", after=("over",)),
    "climb": Verb("climb", "climb", after=("up", "on", "onto")), "sit": Verb("sit", seated=True), "stand": Verb("stand"),
    "lie": Verb("lie"), "kneel": Verb("kneel"), "sleep": Verb("", sign="sleeping"),
    "dream": Verb("", "bubble", after=("of", "about"), sign="sleeping"),
    "think": Verb("think", "bubble", after=("of", "about")), "remember": Verb("think", "bubble"),
    "dance": Verb("dance", "partner", after=("with",), together=True), "do ballet": Verb("ballet"),
    "sing": Verb("present", sign="singing"), "shout": Verb("up", sign="shouting", after=("at",), role="target"),
    "howl": Verb("", sign="howling", after=("at",), role="behind"), "laugh": Verb("", sign="laughing"),
    "cry": Verb("", sign="crying"), "smile": Verb("", sign="happy"), "wave": Verb("wave", "target", after=("to", "at")),
    "point": Verb("present", "target", after=("at", "to")), "look": Verb("", "target", after=("at", "for", "into")),
    "look through": Verb("look", "look"), "watch": Verb("", "target"), "listen": Verb("present", "touch", after=("to",)),
    "examine": Verb("present", "touch", "stethoscope"), "measure": Verb("present", "target", "thermometer"),
    "feed": Verb("present", "target", "bread"), "kiss": Verb("aim", "close", together=True, sign="loving"),
    "hug": Verb("aim", "close", together=True, sign="happy"), "fight": Verb("box", "target", after=("with", "against"), together=True),
    "box": Verb("box", "target", after=("with", "against"), together=True), "kick": Verb("kick", "feet", default="football"),
    "throw": Verb("throw", "hold", default="ball"), "hit": Verb("throw", "target", "hammer"),
    "fish": Verb("fish", "catch", "fishing rod", after=("for",)), "cook": Verb("hold", "hold", default="frying pan"),
    "bake": Verb("carry", "hold2", default="cake"), "serve": Verb("present", "serve", "tray"),
    "sell": Verb("present", "hold"), "offer": Verb("present", "hold"),
    "water": Verb("hold", "target", "watering can"), "sweep": Verb("broom", "target", "broom"),
    "clean": Verb("broom", "target", "mop"), "dig": Verb("dig", "target", "spade", after=("for",)),
    "knit": Verb("read", "made", "knitting", "knitting"), "sew": Verb("read", "made", "knitting", "knitting"), "mend": Verb("read", "hold2", default="net"),
    "repair": Verb("hold", "target", "hammer"), "build": Verb("hold", "target", "hammer"),
    "cut": Verb("aim", "target", "scissors"), "chop": Verb("lift", "target", "axe"), "saw": Verb("aim", "target", "saw"),
    "brush": Verb("eat", "mouth brush", "toothbrush"), "comb": Verb("eat", "hair brush", "comb"), "wash": Verb("carry", "target", "sponge"),
    "conduct": Verb("conduct", "target", "baton"), "swim": Verb("swim"), "dive": Verb("swim"), "float": Verb("", sign="floating"),
    "balance": Verb("balance", "balance", after=("on",)), "skate": Verb("balance", "none", "ice skates"),
    "ski": Verb("ride", "none", "skis"), "surf": Verb("balance", "on", default="surfboard"),
    "hang": Verb("hang", "hang", after=("from", "on", "off")), "swing": Verb("sit", "on", default="swing", seated=True), "bounce": Verb("jump"),
    "wait": Verb("fold", after=("for",), role="target"), "rest": Verb("sit", sign="tired", seated=True),
    "meet": Verb("present", "target", together=True), "visit": Verb("wave", "target"), "greet": Verb("wave", "target"),
    "find": Verb("present", "target"), "guard": Verb("hold", "target", "sword"), "cross": Verb("walk", "on"),
    "blow": Verb("blow", "mouth", default="trumpet"), "ring": Verb("wave", "hold", default="bell"),
    "open": Verb("present", "target"), "steal": Verb("run", "hold2"), "bring": Verb("carry", "hold2"),
    "deliver": Verb("carry", "hold2"), "collect": Verb("hold", "hold"), "pick": Verb("present", "hold"),
    "bath": Verb("", "in", default="bathtub"), "count": Verb("present", "target"), "teach": Verb("present", "target", "book"),
    "study": Verb("read", "hold2", default="book"), "phone": Verb("think", "hold", default="telephone"),
    "iron": Verb("hold", "target"), "type": Verb("keys", "front", default="typewriter"), "pose": Verb("present"),
    "march": Verb("walk"), "crawl": Verb("kneel"), "escape": Verb("run", after=("from",), role="target"),
    "tame": Verb("present", "target", "stool"), "train": Verb("present", "target", "baton"), "admire": Verb("present", "target"),
    "polish": Verb("present", "target", "sponge"), "hide": Verb("kneel"), "fall": Verb("up", after=("into",), role="none"),
    "melt": Verb("", sign="wet"), "burn": Verb("", sign="burning"), "explode": Verb("", sign="burning"),
    "parachute": Verb("hang", "parachute"), "shower": Verb("up", sign="wet"), "do": Verb("dance"), "have": Verb("", "with"),
    "marry": Verb("aim", "close", together=True, sign="happy"), "toast": Verb("present", "hold", default="glass"),
    "practise": Verb("ballet", "play"), "rob": Verb("run", "target"), "weigh": Verb("balance", "on", default="bathroom scales"),
    "breathe": Verb("", "breath"), "spin": Verb("dance"), "stir": Verb("hold", "front", "spoon", "cauldron"), "cuddle": Verb("carry", "hold2"),
    "talk": Verb("present", "target", after=("to", "with", "at"), together=True), "stroke": Verb("present", "touch"),
    "pour": Verb("present", "target", "teapot", "cup"), "vacuum": Verb("push", "front", default="vacuum cleaner"),
    "roast": Verb("present", "hold", default="marshmallow"), "shine": Verb("", sign="shining"),
    "spout": Verb("", "breath", default="drop"), "pop": Verb(), "hatch": Verb(), "cheer": Verb("up", "target", sign="happy", after=("for",)),
    "camp": Verb("sit", "target", default="tent"), "bury": Verb("dig", "target", "spade"), "put": Verb("present", "hold"),
    "knock": Verb("present", "target", after=("at", "on")), "reach": Verb("wave", "target", after=("for",)), "love": Verb("", "target", sign="loving"),
    "shoot": Verb("aim", "target", "bow and arrow", after=("at",)), "shop": Verb("carry", "hold2", default="basket", after=("for",)),
    "rake": Verb("broom", "target", "rake"), "touch": Verb("present", "touch"), "yawn": Verb("", sign="tired"),
    "milk": Verb("aim", "target", "bucket"), "sledge": Verb("ride", "ride", default="sledge"), "enter": Verb("walk", "target"),
    "pray": Verb("kneel"), "warm": Verb("aim", "target", after=("at", "by")), "sneeze": Verb("", sign="shouting"), "leave": Verb("walk", "target"),
    "fill": Verb("present", "target", "bucket"), "decorate": Verb("wave", "target"), "explore": Verb("walk", "on"), "want": Verb("think", "bubble"), "propose": Verb("kneel", "target", after=("to",)),
    "skateboard": Verb("ride", "ride", default="skateboard"), "cycle": Verb("ride", "ride", default="bicycle"), "mow": Verb("push", "front", default="lawn mower"), "coat": Verb("aim", "target", "paintbrush"),
}  # fmt: skip

OTHER_WORDS: Final[dict[str, str]] = {
    "gaze": "look", "stare": "look", "peer": "look", "observe": "watch", "spot": "watch", "see": "watch", "stroll": "walk",
    "wander": "walk", "hop": "jump", "skip": "jump", "snooze": "sleep", "nap": "sleep", "doze": "sleep", "snore": "sleep",
    "munch": "eat", "nibble": "eat", "devour": "eat", "lick": "eat", "chew": "eat", "taste": "eat", "sip": "drink",
    "jog": "run", "sprint": "run", "hurry": "run", "rush": "run", "gallop": "run", "trot": "run",
    "weep": "cry", "sob": "cry", "grin": "smile", "giggle": "laugh", "scream": "shout", "yell": "shout", "roar": "shout",
    "bark": "shout", "whistle": "sing", "hum": "sing", "embrace": "hug", "wrestle": "fight", "battle": "fight",
    "sketch": "draw", "fix": "repair", "shovel": "dig", "grab": "hold", "grip": "hold", "clutch": "hold", "present": "show",
    "fetch": "bring", "transport": "carry", "tug": "pull", "haul": "pull", "shove": "push", "roll": "push", "soar": "fly",
    "glide": "fly", "hover": "fly", "paddle": "row", "navigate": "steer", "perch": "sit", "rest": "rest", "pedal": "cycle",
    "prance": "dance", "waltz": "dance", "twirl": "dance", "tango": "dance", "tango with": "dance",
    "pilots": "pilot", "scrub": "wash", "bathe": "bath", "gather": "collect", "juggles": "juggle", "perform": "do",
    "compose": "write", "angle": "fish", "hoist": "lift", "raise": "lift", "haunt": "fly", "attack": "fight", "cradle": "carry",
    "dress": "wear", "use": "hold", "study": "study", "conquer": "climb", "ascend": "climb", "pursue": "chase",
    "wed": "marry", "sled": "sledge", "welcome": "greet", "saw": "saw", "trim": "cut", "pass": "walk",
    "spit": "breathe", "puff": "breathe", "strum": "play", "toss": "throw", "hurl": "throw", "inspect": "examine", "lug": "carry", "stack": "carry",
    "share": "eat", "crow": "sing", "land": "fly", "splash": "swim", "greet": "greet", "shake": "greet",
    "live": "stand", "scare": "chase", "frighten": "chase", "play with": "play", "help": "greet",
    "drop": "hold",
    "lose": "hold", "buy": "hold", "plant": "put", "peek": "look", "peep": "look", "slide": "sit", "crash": "run",
    "tow": "tow", "dangle": "hang", "sniff": "eat", "smell": "eat", "travel": "walk", "move": "walk",
    "march": "march", "strut": "walk", "sneak": "walk", "tiptoe": "walk", "go": "walk", "come": "walk", "operate": "type",
    "bow": "show", "boil": "cook", "fry": "cook", "peddle": "sell", "hand": "give", "hail": "wave", "discover": "find",
    "uncover": "find", "rescue": "find", "save": "find", "speak": "talk", "chat": "talk", "gossip": "talk", "ask": "talk",
    "argue": "talk", "whisper": "talk", "tell": "talk", "answer": "talk", "scold": "talk", "tease": "talk", "invite": "talk",
    "discuss": "talk", "interview": "talk", "pat": "stroke", "pet": "stroke", "tickle": "stroke", "scratch": "stroke",
    "comfort": "stroke", "grill": "roast", "spray": "spout", "squirt": "spout", "spurt": "spout", "emerge": "pop", "appear": "pop",
    "burst": "pop", "clap": "cheer", "celebrate": "cheer", "win": "cheer", "aim": "point", "bite": "eat", "peck": "eat", "suck": "eat",
    "slurp": "drink", "gobble": "eat", "guzzle": "drink", "swallow": "eat", "call": "shout", "carve": "cut", "shear": "cut", "slice": "cut",
    "dust": "wash", "wipe": "wash", "rub": "wash", "dry": "wash", "rinse": "wash", "mop": "clean", "hoover": "vacuum", "exercise": "lift",
    "grow": "water", "harvest": "collect", "hike": "walk", "step": "walk", "wade": "walk", "keep": "hold", "launch": "throw",
    "learn": "study", "meditate": "sit", "relax": "rest", "lounge": "lie", "sunbathe": "lie", "beat": "hit", "hammer": "hit",
    "mix": "stir", "whisk": "stir", "peel": "hold", "press": "point", "protect": "guard", "post": "give", "send": "give", "rise": "fly",
    "slip": "fall", "trip": "fall", "tumble": "fall", "snorkel": "dive", "soak": "bath", "spread": "hold", "squeeze": "hold",
    "stay": "stand", "stretch": "cheer", "take": "hold", "tear": "hold", "telephone": "phone", "tie": "hold", "turn": "spin",
    "unpack": "open", "unwrap": "open", "wrap": "hold", "wake": "cheer", "weave": "knit", "crochet": "knit", "weed": "dig", "wink": "smile",
    "yodel": "sing", "punch": "box", "plough": "drive", "park": "drive", "place": "put", "stick": "put", "order": "shout",
    "get": "have", "own": "have", "try": "hold", "blast": "fly", "zoom": "fly", "drift": "float", "bob": "float", "wrestling": "fight",
    "creep": "walk", "lurk": "hide", "snuggle": "hug", "flap": "fly", "flutter": "fly", "slither": "crawl", "swoop": "fly",
    "enjoy": "hold", "loom": "stand", "grow up": "stand", "adore": "love", "admiring": "admire", "chop down": "chop", "wash up": "wash",
}  # fmt: skip

IRREGULAR: Final[dict[str, str]] = {
    "holding": "hold", "held": "hold", "rode": "ride", "riding": "ride", "driving": "drive", "drove": "drive",
    "lying": "lie", "lay": "lie", "sat": "sit", "sitting": "sit", "ran": "run", "running": "run", "slept": "sleep",
    "asleep": "sleep", "swam": "swim", "sang": "sing", "wore": "wear", "dressed": "wear", "read": "read", "wrote": "write",
    "ate": "eat", "drank": "drink", "flew": "fly", "caught": "catch", "fought": "fight", "threw": "throw", "fed": "feed",
    "digging": "dig", "dug": "dig", "swept": "sweep", "hung": "hang", "built": "build", "sold": "sell", "gave": "give",
    "stood": "stand", "knelt": "kneel", "dreamt": "dream", "thought": "think", "made": "build", "making": "build",
    "makes": "build", "make": "build", "playing": "play", "having": "have", "has": "have", "have": "have", "shone": "shine", "shot": "shoot", "got": "have", "gets": "have", "getting": "have", "took": "hold", "poured": "pour", "told": "talk", "bitten": "eat", "bit": "", "woke": "cheer", "won": "cheer", "fell": "fall", "lit": "", "stuck": "put", "put": "put", "putting": "put", "shorn": "cut", "stroke": "stroke", "chopped": "chop",
    "skiing": "ski", "awake": "stand", "burnt": "burn", "dying": "lie", "taking": "hold", "takes": "hold",
    "doing": "do", "does": "do", "wearing": "wear", "clad": "wear", "married": "marry", "blowing": "blow", "kept": "hold",
    "driven": "drive", "ridden": "ride", "eaten": "eat", "drawn": "draw", "led": "lead", "worn": "wear", "taken": "hold",
    "stolen": "steal", "thrown": "throw", "seen": "watch", "hidden": "hide", "beaten": "hit", "written": "write",
    "hands": "", "photographing": "photograph", "barking": "shout",
}  # fmt: skip


def verb_of(word: str) -> str:
    """The verb of a form, empty if none: ``juggling`` gives ``juggle``."""
    if word in IRREGULAR:
        return IRREGULAR[word]
    stems = [word]
    if word.endswith("ies"):
        stems.append(word[:-3] + "y")
    if word.endswith("es"):
        stems.append(word[:-2])
    if word.endswith("s"):
        stems.append(word[:-1])
    for ending in ("ing", "ed"):
        if word.endswith(ending) and len(word) >= len(ending) + 2:
            stem = word[: -len(ending)]
            stems += [stem, stem + "e"]
            if len(stem) > 2 and stem[-1] == stem[-2]:
                stems.append(stem[:-1])
            if ending == "ed" and stem.endswith("i"):
                stems.append(stem[:-1] + "y")
    for stem in stems:
        if stem in VERBS:
            return stem
        if stem in OTHER_WORDS:
            return OTHER_WORDS[stem]
    return ""
