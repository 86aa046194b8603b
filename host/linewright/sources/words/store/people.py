"""People in their kinds: a head, clothes, and what they have in their hands."""

from __future__ import annotations

from typing import Any, Final

from linewright.sources.words.figure import Figure
from linewright.sources.words.store.clothes import TORSO
from linewright.sources.words.store.entry import ALIVE, Thing
from linewright.sources.words.store.faces import face

SHIRT: Final = "/l -4,28 0,23; /l 4,28 0,23; /l -10,1 10,1"
BUTTONS: Final = "/l 0,28 0,-2; /D 2.4,22 .8; /D 2.4,15 .8; /D 2.4,8 .8"
BELT: Final = "L -10,2 10,2 10,6 -10,6; B -2,2 5,4"
WIDE: Final = "S -10,-1 -15,8 -14,20 -7,28 7,28 14,20 15,8 10,-1 0,-3 :main"
LADY: Final = "S -9,0 -7.4,10 -9.6,22 -5,28 5,28 9.6,22 7.4,10 9,0 0,-2 :main"


def person(
    name: str,
    head: str,
    *also: str,
    size: float = 1.0,
    pose: str = "stand",
    holds: str = "",
    wears: str = "",
    near: tuple[str, ...] = (),
    **body: object,
) -> Thing:
    """One kind of people; what is held and worn is told with commas between."""
    figure = Figure(head, **{"front": SHIRT, **body})  # type: ignore[arg-type]  # names are those of the fields
    return Thing(
        name, also, size, "people", None, figure, pose, tuple(filter(None, holds.split(","))),
        tuple(filter(None, wears.split(","))), ALIVE | {"person"}, near=near,
    )  # fmt: skip


LASHES: Final = "E 3,15.5 1.1; E 9,15.5 1.0; l 3,17 2,18.4; l 4,17 4,18.6; l 9,17 9.4,18.6; l 10,16.6 11.2,18"
CHILD: Final[dict[str, Any]] = {"leg": (22.0, 4.0), "arm": (24.0, 3.0), "spine": 19.0,
                "torso": "S -7.5,0 -8.5,10 -8.5,17 -4,21 4,21 8.5,17 8.5,10 7.5,0 0,-2 :main"}  # fmt: skip
BABY: Final[dict[str, Any]] = {"leg": (12.0, 4.4), "arm": (15.0, 3.4), "spine": 16.0, "foot": "bare",
               "torso": "S -8,-2 -10,8 -8,15 -4,18 4,18 8,15 10,8 8,-2 0,-5 :main"}  # fmt: skip

PEOPLE: Final = (
    person("man", face("short"), "person", "gentleman", "fellow", "guy", "husband", "neighbour", "somebody", "father", "dad", "daddy", "papa", "uncle", "tourist", "friend"),
    person("woman", face("long", eyes=LASHES, nose="small"), "lady", "wife", "mother", "mum", "mom", "mommy", "aunt", "auntie", "girlfriend", "madam", torso=LADY, below="dress", front="/l -8,6 8,6; /l -8,4 8,4"),
    person("boy", face("spiky", nose="small"), "child", "kid", "schoolboy", "brother", "teenager", "son", "lad", size=0.72, **CHILD, front="/l -9,14 9,14; /l -9,10 9,10; /l -9,6 9,6"),
    person("girl", face("pigtails", eyes=LASHES, nose="small"), "daughter", "schoolgirl", "sister", size=0.72, below="dress", **CHILD, front="/l -8,5 8,5"),
    person("baby", face("tuft", nose="small"), "infant", "newborn", "toddler", size=0.48, pose="sit", below="bare", **BABY, front="S -9,3! 0,0 9,3! 9,-4 4,-8 -4,-8 -9,-4"),
    person("old man", face("bald", beard="moustache", nose="long"), "grandfather", "grandpa", "grandad", "granddad", "elder", "pensioner", holds="walking stick", front=BUTTONS),
    person("old woman", face("bun", eyes=LASHES, nose="hook"), "grandmother", "grandma", "granny", wears="glasses", holds="walking stick", below="dress", torso=LADY),
    person("sailor", face("short", beard="chin"), "seaman", "mariner", "seafarer", "deckhand", wears="sailor hat,striped jersey", front=""),
    person("captain", face("short", beard="full"), "skipper", "admiral", "ferryman", "pilot", "lamp keeper", "lighthouse keeper", wears="captain's cap,pipe", front=BUTTONS + "; /D -3,22 .8; /D -3,15 .8; /D -3,8 .8"),
    person("fisherman", face("short", beard="full"), "angler", "fisher", "net mender", wears="rain hat", holds="fishing rod", pose="fish", below="trousers", foot="boot", front=TORSO["&raincoat"][1]),
    person("diver", face("none", nose="round"), "frogman", "scuba diver", wears="diving helmet on", front=BELT, foot="boot", near=("swimmer",)),
    person("pirate", face("curly", beard="moustache", nose="long"), "buccaneer", "corsair", wears="pirate hat,eye patch,striped jersey", holds="sword", pose="hold", front="", foot="boot"),
    person("king", face("curly", beard="full"), "monarch", "emperor", "ruler", wears="crown", holds="sceptre", pose="hold", below="robe", torso=WIDE, front="/l -2,28 -2,-4; /l 4,28 4,-4; /V -14,25 14,25 6,1"),
    person("queen", face("long", eyes=LASHES, nose="small"), "empress", wears="crown,necklace", below="robe", torso=LADY, front="/l -8,6 8,6"),
    person("prince", face("bob", nose="small"), wears="crown,cape", holds="", front=BELT, foot="boot"),
    person("princess", face("long", eyes=LASHES, nose="small"), wears="crown", below="robe", torso=LADY, size=0.92, front="/l -8,6 8,6; /V -7,25 7,25 3,1"),
    person("knight", face("none"), "warrior in armour", "crusader", wears="knight's helmet,armour", holds="sword,shield", pose="hold", front="", foot="boot"),
    person("soldier", face("short", beard="moustache"), "guard", "guardsman", "sentry", "night watchman", "watchman", wears="bearskin", holds="", front=BUTTONS + "; L -10,1 10,1 10,5 -10,5; l -9,27 8,4"),
    person("viking", face("long", beard="full"), "warrior", "barbarian", wears="viking helmet", holds="axe", pose="hold", front=BELT, foot="boot"),
    person("cowboy", face("short", beard="stubble"), "cowgirl", "rancher", "sheriff", wears="cowboy hat,neckerchief", front=BELT + "; L 0,20 -3,15 3,15", foot="boot"),
    person("chef", face("short", beard="moustache"), "cook", "baker", "kitchen maid", wears="chef hat,apron", holds="spoon", pose="hold", torso=WIDE, front=""),
    person("waiter", face("parted", beard="moustache", nose="long"), "waitress", "butler", wears="bow tie,waistcoat", holds="tray", pose="present", front=""),
    person("doctor", face("parted"), "physician", "surgeon", "vet", "dentist", wears="glasses", holds="stethoscope", pose="hold", below="skirt", front=BUTTONS + "; l -9,10 -4,10; L 5,16 9,16 9,20 5,20"),
    person("nurse", face("bun", eyes=LASHES, nose="small"), wears="nurse cap", holds="syringe", pose="hold", below="dress", torso=LADY, front="l -2,20 2,20; l 0,18 0,22; /l -8,6 8,6"),
    person("scientist", face("spiky", nose="long"), "professor", "inventor", "chemist", "researcher", wears="glasses", holds="test tube", pose="hold", below="dress", front=BUTTONS + "; l -9,10 -4,10"),
    person("teacher", face("bun", eyes=LASHES), "schoolteacher", "librarian", wears="glasses", holds="book", pose="hold", below="skirt", torso=LADY, near=("student", "pupil")),
    person("policeman", face("short", beard="moustache"), "police officer", "policewoman", "constable", "officer", wears="police helmet", front=BUTTONS + "; " + BELT),
    person("firefighter", face("short", beard="stubble"), "fireman", wears="fire helmet", holds="axe", pose="hold", foot="boot", front="/l -12,18 12,18; /l -12,15 12,15; /l 0,28 0,-2; L -10,1 10,1 10,5 -10,5"),
    person("postman", face("short"), "mailman", "postwoman", "courier", wears="captain's cap,satchel bag", holds="letter", pose="present", front=BUTTONS),
    person("farmer", face("short", beard="stubble"), "peasant", "shepherd", "gardener", wears="straw hat", holds="pitchfork", pose="hold", foot="boot", front="L -6,-2 6,-2 6,15 -6,15; l -6,15 -6,27; l 6,15 6,27; B -3,6 6,6"),
    person("painter", face("curly", beard="chin", nose="long"), "artist", wears="beret", holds="paintbrush,palette", pose="hold", below="skirt", front="S -4,28! 0,24! 4,28!; S 0,24! -6,20 -6,26; S 0,24! 6,20 6,26; D -5,12 .9; D 3,8 1; D 6,15 .8"),
    person("astronaut", face("tuft"), "spaceman", "cosmonaut", "space man", wears="space helmet", torso=WIDE, foot="boot", arm=(33.0, 4.6), leg=(34.0, 6.0), front="B -7,8 14,10,1; O -3,14 1.4; O 2,14 1.4; l -5,10.6 5,10.6; L -14,2 14,2 14,5 -14,5", back="B -17,4 34,24,3"),
    person("clown", face("none", nose="ball", more="O -12,20 7; O 13,20 6; O -13,12 6; M 5,6 10"), "jester", "fool", "joker", wears="small hat,ruff", foot="long", torso=WIDE, front="O 2,20 2.4; O 2,12 2.4; O 2,4 2.4"),
    person("acrobat", face("parted", beard="moustache"), "gymnast", "tumbler", pose="handstand", below="trousers", foot="point", front="/l -15,24 15,14; /l -15,19 15,9; /l -15,14 15,4; /l -15,29 15,19"),
    person("juggler", face("parted", beard="moustache"), "strongman", "tightrope walker", "entertainer", pose="juggle", below="trousers", foot="shoe", front="/l -15,24 15,14; /l -15,19 15,9; /l -15,14 15,4; /l -15,29 15,19"),
    person("magician", face("parted", beard="chin", nose="long"), "conjurer", "conjuror", wears="top hat,bow tie,cape", holds="magic wand", pose="hold", front=BUTTONS),
    person("ballerina", face("bun", eyes=LASHES, nose="small"), "ballet dancer", "dancer", pose="ballet", wears="tutu", torso=LADY, below="bare", foot="point", front="", leg=(38.0, 3.4), arm=(33.0, 2.6)),
    person("musician", face("bob"), "bandsman", "singer", "violinist", "fiddler", "guitarist", wears="bow tie", holds="violin", pose="violin", front=BUTTONS),
    person("conductor", face("curly", nose="long"), "maestro", wears="bow tie", pose="conduct", holds="baton", front=BUTTONS, below="coat"),
    person("bride", face("long", eyes=LASHES, nose="small"), wears="veil", holds="bouquet", pose="carry", below="robe", torso=LADY, front="/V -7,25 7,25 3,1; /l -8,5 8,5"),
    person("groom", face("parted"), "bridegroom", wears="top hat,bow tie", holds="rose", pose="present", below="trousers", front="S -11,29! -13,10 -15,-22 -6,-25 -1,4! 1,29!; S 11,29! 13,10 15,-22 8,-25 3,4! 1,29!; l -8,28 1,10; l 10,28 1,10; l 1,22 1,10; O 7,19 2.6; O 7,19 1; l 7,16.4 6.4,13; D 1,7 .8"),
    person("builder", face("short", beard="stubble"), "bricklayer", "carpenter", "mason", "workman", "worker", "plumber", "mechanic", "engineer", "joiner", wears="helmet", holds="hammer", pose="hold", foot="boot", front=BELT),
    person("blacksmith", face("bald", beard="full"), "smith", wears="apron", holds="hammer", pose="hold", torso=WIDE, front="", arm=(33.0, 4.6)),
    person("boxer", face("short", nose="ball"), "fighter", pose="box", wears="boxing gloves", below="bare", front="L -10,-2 10,-2 10,5 -10,5; O -4,20 .6; O 4,20 .6"),
    person("thief", face("short", beard="stubble", nose="ball"), "robber", "burglar", "bandit", "crook", wears="mask,woolly hat,striped jersey", holds="sack", pose="hold", front=""),
    person("detective", face("parted", beard="stubble", nose="long"), "spy", "sleuth", "inspector", wears="deerstalker,pipe", holds="magnifying glass", pose="hold", below="dress", front=TORSO["&raincoat"][1]),
    person("monk", face("tonsure", nose="ball"), "friar", "abbot", below="robe", torso=WIDE, pose="read", holds="book", front="S -12,25! -17,31 -14,38 0,40 13,38 14,30 11,25! 4,20 -6,20; l -3,20 -3,8; l 5,20 5,8; B 0,8.6 2,9; B -2.4,12.6 6.8,2; L -14,4 14,4 14,7 -14,7; s 7,5 8,-6 7,-16; s 9,5 11,-4 10,-12; O 7,-17 1.3; O 10,-13 1.3", near=("nun", "priest")),
    person("skier", face("none"), wears="woolly hat,goggles,skis", holds="ski pole", pose="hold", front="/l -11,16 11,16; /l -11,12 11,12"),
    person("swimmer", face("none"), "bather", wears="swim cap,goggles", below="bare", foot="bare", front="/L -12,-6 12,-6 12,5 -12,5; /l -12,1 12,1"),
    person("photographer", face("curly", nose="long"), wears="beret", holds="camera", pose="aim"),
    person("father christmas", face("none", beard="long", nose="ball"), "santa claus", "santa", "father xmas", wears="santa hat", holds="sack", pose="hold", torso=WIDE, foot="boot", below="coat", front=BELT + "; B -14,-4 28,4,2"),
    person("gnome", face("none", beard="long", nose="ball"), "dwarf", "garden gnome", "elf", "leprechaun", "imp", "goblin", size=0.5, wears="party hat", leg=(14.0, 4.8), arm=(22.0, 3.2), spine=19.0, foot="boot", torso="S -9,0 -11,8 -9,16 -4,21 4,21 9,16 11,8 9,0 0,-2 :main", front="L -10,1 10,1 10,5 -10,5; B -2,1 5,4"),
    person("giant", face("spiky", beard="full", nose="ball"), "ogre", "troll", "cyclops", size=1.75, torso=WIDE, holds="uprooted tree", pose="hold", below="skirt", foot="bare", head_size=0.85, arm=(36.0, 5.0), leg=(36.0, 6.4), front="v -14,2 14,2 6,2; l -9,27 4,4"),
)  # fmt: skip

SPECIAL: Final = (
    Thing("walking stick", ("cane", "stick", "crutch"), 0.55, "tools", "T 0,0,1.2 0,54,1.2; s 0,54 0,62 7,62 8,56; @grip 2,59,6", by="span"),
    Thing("sceptre", ("scepter",), 0.6, "tools", "T 0,0,1.6 0,56,1.6; O 0,62 6; l 0,68 0,74; l -3,71 3,71; B -3,50 6,4,1; @grip 0,40,6", by="span"),
    Thing("uprooted tree", (), 0.95, "plants", "T 0,4,2.6 0,40,2.2; s -1,4 -8,-2 -10,-10; s 0,4 0,-4 -2,-12; s 1,4 7,-2 12,-8; L -26,34 0,62 26,34 12,36 0,32 -12,36; L -21,52 0,78 21,52 10,54 0,50 -10,54; L -15,70 0,94 15,70 0,67; @grip 0,20,6", by="span"),
    Thing("tray", (), 0.4, "household", "L -22,0 22,0 26,5 -26,5; L 8,5 13,5 14,22 7,22; S -14,5! -18,14 -6,14 -10,5!; l -12,14 -12,20; @grip 0,0,8; @seat 0,5,30", by="span"),
    Thing("test tube", ("beaker", "potion"), 0.3, "tools", "S -5,36! -5,4 0,0 5,4 5,36!; l -7,36 7,36; l -5,18 5,18; O -1,11 1.4; O 2,15 1; O -2,44 2; O 3,50 3; @grip 0,22,6", by="span"),
    Thing("baton", (), 0.3, "tools", "T -2,-4,2 0,0,3 2,4,1.2; T 1,2,.8 20,38,.4; s 10,36 14,42 22,44; s 25,28 29,34 28,40; O 30,50 2.6,2; l 32.4,50.6 32.4,60; s 32.4,60 36,58 36,54; O 6,50 2.4,1.8; O 14,53 2.4,1.8; l 8.2,50.6 8.2,59; l 16.2,53.6 16.2,62; l 8.2,59 16.2,62; @grip 0,0,6", by="span"),
    Thing("ski pole", ("ski poles",), 0.7, "sport and play", "l 0,0 0,66; T 0,60,1.4 0,68,1.4; O 0,6 5,1.6; @grip 0,64,6", by="span"),
    Thing("bearskin", (), 0.35, "clothes", "S -12,-3! -16,14 -12,28 0,33 12,28 16,14 12,-3! 0,0; s -8,4 -9,10; s 0,6 -1,12; s 7,4 7,11; s -6,18 -7,24; s 4,18 4,25", worn="top", by="span"),
    Thing("viking helmet", (), 0.35, "clothes", "S -12,4! -22,8 -24,24! -18,16 -10,11!; S 12,4! 22,8 24,24! 18,16 10,11!; S -12,-1! -12,10 0,17 12,10 12,-1!; L -12,-2 12,-2 12,3 -12,3; D -7,.5 .8; D 0,.5 .8; D 7,.5 .8", worn="top", by="span"),
    Thing("neckerchief", ("bandana", "bandanna"), 0.3, "clothes", "S -10,2! 0,-2 10,2! 4,-6 0,-12! -4,-6; D -3,-3 .6; D 3,-3 .6; D 0,-7 .6", worn="neck", by="span"),
    Thing("nurse cap", (), 0.3, "clothes", "S -9,0! -12,9 0,7 12,9 9,0! 0,-2; l 0,1.4 0,6; l -2.4,3.6 2.4,3.6", worn="top", by="span"),
    Thing("police helmet", (), 0.35, "clothes", "S -11,1! -10,13 0,19 10,13 11,1!; S -14,-2! -11,2 11,2 15,-2! 0,-4; O 1,8 3.4; T 0,19,1 0,22,1.4", worn="top", by="span"),
    Thing("fire helmet", (), 0.35, "clothes", "S -12,0! -13,12 -5,19 6,19 14,11 13,0!; S -13,9! -10,20 2,26 11,21 15,11! 7,18.4 -5,18.4; s -4,18 -8,10 -8,0; S -29,-11! -15,1 14,1 21,-3! 12,-4.4 -11,-4.4; S 0,1! -1,15 7,19! 15,15 14,1! 7,-2; S 7,2! 2,6 6,10 7,16! 9,11 12,7 7,2!; s 7,3 5.4,6 7,9", worn="top", by="span"),
    Thing("space helmet", (), 0.4, "clothes", "o 0,-10 19,19; o 3,-10 14,12.4; A 3,-10 11.6,10 105,160; A 3,-10 9,7.4 115,150; S -15,-33! -17,-27 15,-27 13,-33!; D -9,-30 1; D 0,-29.6 1; D 9,-30 1; B -22,-14 5,9,1.6; l -19.5,-5 -19.5,14; O -19.5,16 2; l -24,20 -27,23; l -19.5,21 -19.5,25; l -15,20 -12,23", worn="round", by="span"),
    Thing("diving helmet on", (), 0.4, "clothes", "S -17,-26! -14,-20 -18,-8 -10,7 8,7 19,-7 17,-20 19,-26! 0,-29; O 5,-8 10.6; O 5,-8 8; E 2.4,-6.4 1; E 8,-6.4 1; s 7,-8 9,-9.4 7,-10; A 5,-11 3,2 200,340; D -12,-24 .8; D 0,-25.4 .8; D 13,-24 .8; A -14,-9 2.4,5 90,270; s -2,7 -10,16 -20,18", worn="round", by="span"),
    Thing("satchel bag", (), 0.3, "clothes", "l 7,14 -14,-14; B -24,-26 17,13,2; S -24,-13! -16,-22 -7,-13!", worn="back", by="span"),
    Thing("small hat", (), 0.3, "clothes", "S -10,1 0,-2 10,1 7,3 -7,3; L -5,2 -4,11 4,11 5,2; l 3,11 6,20; O 7,22 2.6", worn="top", by="span"),
    Thing("veil", (), 0.35, "clothes", "S -10,2! -18,-12 -24,-40! -12,-38 -9,-12!; O -6,3 3; O 0,4 3; O 6,3 3; D -6,3 .9; D 0,4 .9; D 6,3 .9", worn="top", by="span"),
    Thing("deerstalker", (), 0.35, "clothes", "S -10,0! -10,11 0,15 10,11 10,0!; S 4,1! 14,0 19,-4! 8,-3!; S -4,1! -14,0 -19,-4! -8,-3!; s -6,12 0,6 8,11; l -10,5 10,5; T -2,15,1 2,15,1", worn="top", by="span"),
    Thing("santa hat", ("christmas hat",), 0.3, "clothes", "S -11,2! -8,16 2,25 14,21 19,12! 12,15 9,9 11,2!; O 19,11 3.6; B -14,-3 28,6,3; s -2,10 2,17 8,19", worn="top", by="span"),
    Thing("swim cap", (), 0.3, "clothes", "S -12,-4! -12,6 -3,11 7,9 12,-1! 4,0 -6,-2; s -10,4 0,6 9,3", worn="top", by="span"),
)  # fmt: skip
