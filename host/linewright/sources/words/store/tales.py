"""Creatures of tales, and machines that live."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from linewright.sources.words.figure import Figure
from linewright.sources.words.plans import FourLegs
from linewright.sources.words.store.animals_land import FAT, HORSE, HORSETAIL, upright
from linewright.sources.words.store.entry import ALIVE, Thing
from linewright.sources.words.store.faces import face
from linewright.sources.words.store.people import LADY, LASHES

TALES: Final = "creatures of tales"

DRAGON: Final = """
S -10,0! -11,10 -5,17 4,18 9,15! 16,12 22,12 25,15 30,13 32,8! 31,4 26,2.6 16,2! 10,-4 0,-8 -8,-6 :head
S 9,1! 16,-2 24,-3 29,-1! 27,-6 16,-8 6,-6!; L 14,1.4 15.4,-2 17,1.6; L 19,1.8 20.4,-1.8 22,2; L 24,2.2 25.4,-1.4 27,2.4
S -4,15! -12,19 -20,30! -8,26 1,18!; S -10,8! -18,8 -24,2! -16,2 -11,2!; L -8,14 -15,14 -11,8; S 3,12! 7,16 12,14! 8,10.4!; E 7.6,13 1.3; O 27,11 1.3; s 33,9 38,13 35,17 41,21; s 33,7 40,9 39,13 45,15
s 31,5 22,2.4 12,1.6 8,-1 :mouth
@top 0,17,13; @eyes 8,13,11; @mouth 27,0,7
"""
BACKWING: Final = (
    "S 4,8! -4,34 -14,46! -18,34 -26,38! -26,26 -34,26! -26,12 -10,4!; s -14,45 -10,24 0,10; s -26,37 -16,20 -2,8"
)
DINO: Final = """
T -2,3,6 3,9,6.4 12,7,5 20,4,4.4 :head
E 8,11.6 1.3; D 22,6 .8; s 24,1.4 16,1 9,3 :mouth
@top 3,15,11; @eyes 8,11.6,10; @mouth 18,1.4,6
"""
TREX: Final = """
T -4,4,9 6,9,9 18,7,7 26,5,6 :head
E 8,14.6 1.6; l 5,18 11,16.6; D 30,9 .9; L 32,2 12,0.4 10,-4 28,-4 ~; s 31,1 22,0 12,1 8,4 :mouth; v 12,0 30,0.4 7,1.4
@top 3,18,14; @eyes 8,14.6,12; @mouth 22,0,8
"""
ROBOT: Final = """
B -4,-4 8,7; B -14,2 28,23,3 :head
E -5.4,15 4; E 6.4,15 4; B -8,5.4 16,4,1; l -4,5.4 -4,9.4; l 0,5.4 0,9.4; l 4,5.4 4,9.4; l 0,25 0,32; O 0,34 2.6; B -18,11 4,7,1; B 14,11 4,7,1
@top 0,25,22; @eyes 0.5,15,20; @mouth 0,7,9
"""
FAIRY: Final = (
    "S -4,16! -18,34 -34,38 -34,24 -18,14!; S -4,12! -16,10 -26,-2 -18,-6 -6,4!; S 4,18! 14,36 26,40 28,26 14,16!"
)
FEATHERS: Final = "S -4,16! -14,38 -30,46 -40,40! -36,36 -40,30! -34,28 -36,20! -28,20 -28,12! -16,8 -4,8!; S 4,18! 10,36 22,46 32,42! 29,37 33,32! 27,30 29,23! 20,22 12,12!"


def tale(name: str, size: float, *also: str, figure: Figure | None = None, art: str | FourLegs | None = None,
         pose: str = "stand", holds: tuple[str, ...] = (), wears: tuple[str, ...] = (), can: str = "",
         near: tuple[str, ...] = ()) -> Thing:  # fmt: skip
    """One creature."""
    return Thing(name, also, size, TALES, art, figure, pose, holds, wears, ALIVE | frozenset(can.split()), near=near)


_dragon = FourLegs(
    DRAGON, 1.0, joint=(14, 18), length=40, leg=(16, 4.8), rump=14, chest=13, belly=14.5, neck=(9, 7), merge=True,
    tail="S 4,6! -14,4 -30,-6 -46,0 -52,12! -58,14 -62,24! -50,22 -44,14! -40,10 -30,2 -14,-8 4,-8!",
    over="L -22,9 -18,18 -13,11 -8,19 -3,12 ~ :free; l -22,9 -18,18 -13,11 -8,19 -3,12 :free; A 18,-4 6,2 200,340; A 20,-9 6,2 200,340; A 2,-9 14,3 200,340",
    above="&push 4,6\n" + BACKWING + "\n&pop",
)  # fmt: skip
_unicorn = FourLegs(
    HORSE + "; L 6,20 14,41 11,19; l 8.4,26 11.4,24.6; l 10.4,31 12.4,30", 0.95, joint=(15, 23), length=46, leg=(33, 3.4),
    rump=12.5, chest=12, belly=11, neck=(9.5, 6.6), tail=HORSETAIL, foot="hoof", merge=True,
)  # fmt: skip
_dino = FourLegs(
    DINO, 0.9, joint=(22, 52), length=46, leg=(20, 6), rump=19, chest=16, belly=19.5, neck=(12, 5), merge=True,
    tail="S 4,10! -18,6 -40,-6 -62,-16! -40,-16 -18,-12 4,-12!", foot="bare",
    over="o -8,8 3; o 2,10 2.4; o 10,4 3; o -16,4 2.4",
)  # fmt: skip

CREATURES: Final = (
    tale("dragon", 1.25, "wyvern", figure=upright(_dragon, FAT, back=BACKWING, front="A 0,18 8,2 200,340; A 0,12 9,2 200,340; A 0,6 9,2 200,340"), art=_dragon, can="flies carries"),
    tale("unicorn", 1.05, figure=upright(_unicorn), art=_unicorn, can="carries"),
    tale("winged horse", 1.05, "pegasus", figure=upright(_unicorn, back=FEATHERS),
         art=replace(_unicorn, head=HORSE, above="&push 2,4\nS 6,2! -4,24 -18,40 -34,46! -30,38 -36,32! -28,28 -32,20! -22,18 -22,10! -10,6\n&pop"), can="flies carries"),
    tale("dinosaur", 1.4, "brontosaurus", "diplodocus", "brachiosaurus", "dino", figure=upright(_dino, FAT, neck=(30.0, 5.0)), art=_dino, can="carries"),
    tale("tyrannosaurus", 1.3, "t-rex", "tyrannosaur", "t rex", art="""
T -10,38,15 -34,34,9 -56,26,5 -78,22,2; T 2,24,8 8,12,5.4 2,4,4.6; T 2,4,4 12,2.4,3.4
T -12,34,18 6,44,16 16,58,11 20,70,9 :main
T -10,26,12 -2,14,7 -12,6,5.4; T -12,4,4.6 2,2.8,3.6; T 20,54,3 28,48,2.4 30,52,2; l 30,52 33,53; l 30,52 33,50
&push 20,72
""" + TREX + """
&pop
A 14,46 6,2 200,340; A 14,41 7,2 200,340; A 12,36 8,2 200,340; L -26,44 -24,52 -18,49 -13,57 -8,53 -2,61 2,58 ~; l -26,44 -24,52 -18,49 -13,57 -8,53 -2,61 2,58
@hand 30,50,6; @seat -14,52,24; @neck 19,66,18; @foot1 0,0,10
""", figure=replace(upright(FourLegs(TREX), FAT), arm=(16.0, 2.6), tail="T 4,2,9 -18,-6,5 -38,-16,2"), can="carries"),
    tale("sea serpent", 0.9, "sea monster", "lake monster", "hydra", "monster of the lake", art="""
V -70,2 70,2 16,1.6; T -66,0,2 -60,14,3 -58,20,2; S -44,2! -40,24 -26,30 -12,24 -8,2!; S -38,2! -34,16 -26,20 -18,16 -14,2! ~; s -38,2 -34,16 -26,20 -18,16 -14,2
L -36,26 -32,34 -28,29 -24,36 -20,28; T 12,2,8 10,24,7.4 16,44,6.6 :main; &push 16,46
""" + DRAGON + """
&pop
A 14,14 5,1.6 200,340; A 13,22 5,1.6 200,340; A 14,30 5,1.6 200,340; l 2,2 24,2; @seat -26,30,18; @hand 30,50,6; @neck 14,38,15,10
""", can="swims carries"),
    tale("mermaid", 0.95, "merman", "siren", art="""
S -30,12! -44,22 -50,14 -42,8 -48,-2 -40,0 -30,6!; T 0,44,10 -4,28,10 -12,14,8 -22,8,5 -31,9,3 :main
A -6,36 4,3 200,340; A 3,36 4,3 200,340; A -8,28 4,3 200,340; A 1,28 4,3 200,340; A -10,20 4,3 200,340; A -18,14 4,3 200,340; s -10,45 0,42 10,46
&push 0,46
""" + LADY.replace(":main", "") + """
S -8,17 -5,21 -1,17 -4.6,13; S 1,17 5,21 8,17 4.6,13
T 9,24,2.8 20,14,2.6 16,4,2.4; T -9,24,2.8 -18,12,2.6 -12,2,2.4
&pop
&push 0,74
""" + face("long", eyes=LASHES, nose="small") + """
&pop
@hand 16,50,7; @seat -20,16,14; @neck 0,74,14
""", figure=Figure(face("long", eyes=LASHES, nose="small"), torso=LADY, front="S -8,17 -5,21 -1,17 -4.6,13; S 1,17 5,21 8,17 4.6,13", below="tail"), can="swims"),
    tale("fairy", 0.6, "pixie", "sprite", figure=Figure(face("bun", eyes=LASHES, nose="small"), torso=LADY, below="skirt", back=FAIRY, foot="point", leg=(30.0, 3.2), arm=(28.0, 2.6), front="/l -8,5 8,5"), holds=("magic wand",), pose="hold", can="flies"),
    tale("angel", 0.95, "cherub", "cupid", figure=Figure(face("curly", eyes=LASHES, nose="small"), below="robe", back=FEATHERS, front="/l -9,6 9,6", foot="bare"), wears=("halo",), can="flies"),
    tale("devil", 0.9, "demon", "satan", figure=Figure(face("none", beard="chin", nose="hook", more="l 0,19.4 5,17.6; l 12,19 8.4,17.6"), tail="s 2,0 -12,-10 -24,-2 -30,14; L -30,12 -36,18 -29,25 -25,17", below="bare", one_skin=True, foot="hoof"), wears=("horns",), holds=("pitchfork",), pose="hold"),
    tale("ghost", 0.8, "spirit", "spook", "phantom", art="""
S -24,0! -26,40 -20,72 0,88 20,72 26,40 24,0! 18,8 12,-1! 6,8 0,-1! -6,8 -12,-1! -18,8 :main
T -22,44,4 -36,50,3.6 -42,46,3; T 22,44,4 36,54,3.6 42,52,3; O -6,62 4,6 #0.9,0; O 9,62 4,6 #0.9,0; O 1.6,46 5,7 :mouth
@top 0,87,32; @eyes 1.6,62,26; @mouth 1.6,46,10; @hand 42,52,7; @hand2 -42,46,7; @neck 0,40,40
""", can="flies"),
    tale("skeleton", 0.95, art="""
S -13,84 -11,94 0,100 11,94 13,84 9,76 7,70 -7,70 -9,76 :head; O -5,85 3.6 #0.9,0; O 5,85 3.6 #0.9,0; L -1.6,79 1.6,79 0,82; l -6,74 6,74 :mouth; l -3,72 -3,76; l 0,72 0,76; l 3,72 3,76
l 0,70 0,38; A 0,62 11,5 180,360; A 0,56 11,5 180,360; A 0,50 9,4 180,360; A 0,44 7,3 180,360; l -13,66 13,66; S -10,40 0,34 10,40 6,32 -6,32; T -13,66,1.6 -19,50,1.6; T -19,48,1.6 -15,32,1.6; T 13,66,1.6 22,54,1.6; T 22,54,1.6 30,66,1.6; O -15,29 2.6; O 31,69 2.6; T -6,34,1.8 -7,18,1.8; T -7,17,1.8 -7,3,1.8; T 6,34,1.8 7,18,1.8; T 7,17,1.8 7,3,1.8; T -7,1.4,1.4 -13,1.4,1.4; T 7,1.4,1.4 13,1.4,1.4
@top 0,100,22; @eyes 0,85,18; @mouth 0,74,9; @hand 31,69,7; @hand2 -15,29,7; @neck 0,68,12; @foot1 -8,0,9; @foot2 8,0,9
"""),
    tale("vampire", 1.0, "count", figure=Figure(face("parted", nose="long", more="L 4,4.4 6,4.2 5,1; L 8,4.4 9.6,4.6 9.2,1.4; l 1,19.6 5,17.8; l 12,19 8.4,17.8"), front="/l -4,28 0,22; /l 4,28 0,22; S 0,22! -7,25 -6,18; S 0,22! 7,25 6,18", back="S -12,26! -18,36! -8,32 8,32 18,36! 12,26!"), wears=("cape",)),
    tale("mummy", 0.95, figure=Figure("S -11,4 -11,18 -4,26 5,26 11,18 10,4 3,1 :head; E 4,15 1.6; E -3,15 1.6; l -11,20 10,22; l -11,11 10,9; l -10,7 10,5; l -9,23 8,24; l -11,17 -6,18; M 2,7 5; @top 0,26,22; @eyes 1,15,13; @mouth 2,6,6", front="/l -12,24 12,21; /l -12,19 12,18; /l -12,14 12,10; /l -12,8 12,7; /l -12,3 12,1; s -9,6 -16,0 -15,-10", below="bare", one_skin=True, foot="bare"), pose="aim"),
    tale("witch", 1.0, "sorceress", "enchantress", figure=Figure(face("long", nose="hook", eyes=LASHES, more="D 12,7 .7"), torso=LADY, below="robe", front="/l -8,6 8,6"), wears=("wizard hat",), holds=("broom",), pose="hold"),
    tale("wizard", 1.0, "sorcerer", "warlock", "merlin", "druid", figure=Figure(face("long", beard="long", nose="long"), below="robe", front="L -12,4 12,4 12,7 -12,7"), wears=("wizard hat",), holds=("magic wand",), pose="hold"),
    tale("genie", 0.95, "djinn", art="""
S -4,0! -16,10 -8,22 -16,34 -10,46! 10,46! 14,34 2,20 6,8 0,0! :main; &push 0,44
S -9,0 -13,12 -15,22 -6,28 6,28 15,22 13,12 9,0 0,-2; T -14,22,4 -24,10,3.6 -6,12,3.4; T 14,22,4 24,10,3.6 4,14,3.4
&pop
&push 0,72
""" + face("bald", beard="chin", nose="ball") + """
&pop
s 0,99 -2,104 -8,106; @hand 22,54,7; @neck 0,73,14
""", wears=("turban",), can="flies"),
    tale("robot", 0.95, "android", "automaton", "mechanical man", figure=Figure(ROBOT, torso="B -14,-3 28,30,2 :main", front="B -9,10 18,12,1; A 0,12 7,7 0,180; l 0,12 4,17; O -6,4 2; O 0,4 2; O 6,4 2", arm=(33.0, 3.0), leg=(32.0, 3.8), hand="claw", foot="block", below="bare", stance=1.5)),
    tale("monster", 0.9, "beast", "creature", "yeti", "bigfoot", figure=Figure("""
S -14,2 -16,14 -10,24 0,27 10,24 17,14 14,2 4,-2 -6,-2 :head; E 1,15 7; S -10,4! -4,0 6,0 12,4! 8,-3 -6,-3; L -6,2.6 -3,1.4 -4.6,-1; L 5,1.2 8,2.4 7,-1.2; T -8,24,1.6 -12,34,1.4; T 9,24,1.6 14,34,1.4; O -12,36 2.6; O 14,36 2.6
@top 0,27,22; @eyes 1,15,16; @mouth 1,1,9
""", torso=FAT, arm=(34.0, 4.4), leg=(16.0, 6.4), hand="paw", foot="paw", below="bare", one_skin=True, stance=1.3, tail="T 2,0,5 -16,-8,4 -28,-2,2", front="v -12,18 -6,18 2,1.2; v 4,12 10,12 2,1.2; v -8,8 -2,8 2,1.2; O 0,4 2"), pose="up"),
    tale("alien", 0.7, "martian", "extraterrestrial", figure=Figure("""
S -6,-1 -16,12 -17,24 -6,33 8,33 18,24 17,12 7,-1 :head; S -11,17 -8,22 -1,16 -4,11 #0.9,45; S 13,17 10,22 3,16 6,11 #0.9,45; s -2,4 1,3 4,4 :mouth; l -6,33 -12,44; l 8,33 14,44; O -12,46 3; O 14,46 3
@top 1,33,24; @eyes 1,16,24; @mouth 1,4,6
""", torso="S -6,0 -8,10 -6,20 -3,25 3,25 6,20 8,10 6,0 :main", spine=24.0, arm=(30.0, 2.2), leg=(26.0, 2.6), hand="paw", foot="web", below="bare", one_skin=True), pose="wave"),
    tale("snowman", 0.9, "snow man", art="""
T -20,46,1.2 -40,58,1; l -36,56 -44,54; l -36,56 -40,64; T 20,46,1.2 40,60,1; l 37,58 45,58; l 37,58 38,66
O 0,22 24,23 :main; O 0,54 17,16; O 0,78 13,12.6 :head; L 2,79 17,76 2,75.6; E -3.4,82.4 1.4; E 5.4,82.4 1.4; D -6,73 .9; D -2,71 .9; D 3,70.6 .9; D 7.4,72.4 .9; D 1,60 1.2; D 1,52 1.2; D 1,30 1.2; D 1,22 1.2
S -13,68! 0,63 13,68! 14,63 0,58 -14,63; S 6,61! 10,48 8,42! 15,43! 14,58!
L -9,92 -9,106 9,106 9,92 :hat; L -15,89 15,89 15,92 -15,92 :hat; l -9,95 9,95 :hat
@top 0,106,18; @head 0,91,22; @eyes 1,82.4,14; @mouth 1,71,9; @hand 40,60,7; @hand2 -40,58,7; @neck 0,66,24; @feet 0,0,30
"""),
    tale("scarecrow", 1.0, art="""
T -2,0,1.6 0,50,1.6; T -44,64,1.4 44,64,1.4; l -44,64 -50,68; l -44,64 -51,62; l -44,64 -48,58; l 44,64 50,68; l 44,64 51,62; l 44,64 48,58
L -38,58 -38,70 -10,70 10,70 38,70 38,58 14,58 14,28 -14,28 -14,58 :main; v -38,58 -38,70 2,1; v 38,58 38,70 2,1; v -14,28 14,28 5,3; B 2,36 8,9; l 1,35 4,39; l 11,46 8,43; L -4,70 4,70 0,63; l 0,62 0,34
O 0,82 12 :head; L -6,86 -3,83 -3.4,86.4; l -6.4,86 -2.6,82.6; l -2.6,86 -6.4,82.6; l 2.6,86 6.4,82.6; l 6.4,86 2.6,82.6; L -1.4,79.6 1.6,79.6 0,82; v -6,76 6,76 4,1.4; S -22,90! -10,86 10,86 22,90! 10,94 -10,94; S -10,92! -8,104 6,107 10,92!; l -9.6,95 9.6,95; l -8,72 -12,66; l 8,72 12,66
@top 0,106,18; @eyes 0,84,14; @mouth 0,76,8; @hand 44,64,7; @hand2 -44,64,7; @neck 0,71,16; @seat 0,105,16; @shoulder -26,70,10
"""),
    tale("centaur", 1.15, art="""
S -40,44! -50,40 -54,26 -50,14! -46,28 -38,36!; T -30,34,9 -34,16,4 -32,4,3.6; L -35,4 -28,4 -27,0 -36,0; T 16,32,6 18,16,4 17,4,3.6; L 14,4 21,4 22,0 13,0
T -30,44,13 -6,41,12 14,44,12.5 :main; +T 16,48,10 18,62,9; T -20,34,8 -24,17,4 -21,4,3.6; L -24,4 -17,4 -16,0 -25,0; T 8,32,6 7,16,4 7,4,3.6; L 4,4 11,4 12,0 3,0
&push 18,60,0.9
S -9,0 -10,12 -10.5,23 -5,28 5,28 10.5,23 10,12 9,0; T -9,24,3.2 -18,12,3 -8,6,2.8; T 9,24,3.2 20,16,3 26,26,2.8; O 27,28 3.6; v -9,1 9,1 4,1.4
&pop
&push 18,86,0.9
""" + face("curly", beard="chin") + """
&pop
@hand 42,86,7; @seat -18,56,20; @back -20,56,20
""", can="carries"),
)  # fmt: skip
