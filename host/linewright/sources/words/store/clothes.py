"""What is worn. The script's origin is the place where it is worn, and 20 units are as wide as that place.

Hats sit on ``top``, glasses on ``eyes``, scarves on ``neck``; what dresses the body changes the figure (see `garments`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from linewright.sources.words.store.entry import Thing


def worn(name: str, place: str, art: str, *also: str, size: float = 0.35) -> Thing:
    """Something to wear."""
    return Thing(name, also, size, "clothes", art, worn=place, by="span")


CLOTHES: Final = (
    worn("top hat", "top", "S -16,-1 0,-4 16,-1 14,2 -14,2; L -10,1 -11,24 11,24 10,1; A 0,24 11,2 0,360; L -10,3 10,3 10.4,8 -10.4,8 #1.1,0"),
    worn("bowler hat", "top", "S -10,0! -11,10 -5,16 5,16 11,10 10,0! ; S -16,1.4 0,-3 16,1.4 12,-2 0,-4 -12,-2; l -10.4,3.6 10.4,3.6", "bowler", "derby", "hat"),
    worn("cap", "top", "S -11,-1! -11,9 -4,13 5,12 10,6 11,-1!; S 4,1! 14,3 22,-2! 14,-3 4,-3!; D -1,13 1.2; s -2,12 1,6 0,-1", "baseball cap", "flat cap"),
    worn("straw hat", "top", "S -20,-1 -10,-4 10,-4 20,-1 10,2 -10,2; S -10,1! -9,10 9,10 10,1!; l -10,3 10,3; l -10,5 10,5; v -18,-1 18,-1 10,.6; s 10,4 16,2 18,-5", "boater", "sun hat", "sunhat"),
    worn("bonnet", "top", "S -13,-8! -16,4 -8,13 4,13 13,7 15,-2! 8,2 -4,2 -9,-4!; V -9,-4 14,-2 5,1.6; s -12,-7 -9,-18 -4,-22; S -4,-22! -10,-26 -10,-20 -4,-22!; S -4,-22! 2,-26 3,-20 -4,-22!"),
    worn("cowboy hat", "top", "S -22,5! -14,-3 0,-4 14,-3 22,5! 14,1 -14,1; S -10,0! -10,12 -5,15 0,12 5,15 10,12 10,0!; l -10,3.6 10,3.6", "stetson", "sombrero"),
    worn("wizard hat", "top", "S -17,-1 0,-5 17,-1 10,2 -10,2; S -11,1! -6,16 2,30 10,38! 9,22 11,1!; L -3,8 -1,12 3,12 0,14.6 1,19 -3,16.4 -7,18 -5.6,14 -8,11 -4,11; O 5,9 1.4; O 5,24 1.6", "pointed hat", "witch's hat", "witch hat", "magic hat"),
    worn("chef hat", "top", "S -11,6! -19,12 -16,22 -8,22 -4,28 5,28 8,22 16,22 18,12 11,6!; B -11,-3 22,10,1; l -5,8 -6,14; l 0,8 0,15; l 5,8 6,14", "chef's hat", "toque"),
    worn("crown", "top", "L -12,-1 -15,14 -8,8 -4,17 0,8 4,17 8,8 15,14 12,-1; l -12.4,3 12.4,3; O -15,15.6 1.6; O -4,18.6 1.6; O 4,18.6 1.6; O 15,15.6 1.6; O 0,5.6 1.2", "tiara", "diadem"),
    worn("helmet", "top", "S -13,-6! -14,6 -6,14 6,14 14,6 13,-6!; l -13,-3 13,-3; s 0,14 1,6 0,-3; s -6,14 -8,6 -8,-3; s 7,13.6 9,6 8,-3", "hard hat", "bicycle helmet", "crash helmet"),
    worn("knight's helmet", "top", "&push 0,-3,0.82\ns 0,12 -12,26 -22,18; S 0,10! -8,24 -20,24 -24,12! -14,16 -6,8!; S -13,-22! -14,4 -6,12 6,12 14,4 14,-22! 4,-25; L -4,-4 16,-2 16,-8 -4,-8; l 0,-13 14,-13; l 2,-17 14,-17; l -4,-6 -12,-6\n&pop"),
    worn("sailor hat", "top", "S -13,2! -12,9 0,12 12,9 13,2! ; S -13,-3! -15,4 15,4 13,-3!; D 0,12.6 1.4", "sailor's hat", "sailor cap"),
    worn("captain's cap", "top", "S -10,2! -16,10 -6,15 8,15 17,10 11,2!; B -11,-3 22,6,1; S 2,-3! 14,-2 18,-6! 10,-6 0,-4!; O 4,8 2.2; l 4,5.8 4,2.4", "captain's hat", "peaked cap", "officer's cap"),
    worn("pirate hat", "top", "S -20,0! -14,10 -4,16 6,16 16,10 21,0! 8,-3 -8,-3; S 0,10! -4,6 0,3! 4,6; D -1,7 .7; D 1.6,7 .7; l -5,2 5,0; l -5,0 5,2", "tricorne", "pirate's hat"),
    worn("beret", "top", "S -16,2 -10,9 4,10 14,6 12,-1 -10,-2; T 0,9,1 1,13,.8"),
    worn("fez", "top", "L -10,-1 -7,16 7,16 10,-1; s 0,16 10,17 14,8; l 13,8 15,1; l 14,8 13,1; l 15,8 17,1"),
    worn("turban", "top", "S -13,-2 -15,6 -6,15 6,15 15,6 13,-2 0,-4; s -14,2 0,10 14,2; s -14,6 0,14 14,6; s -12,-1 0,6 12,-1; O 0,4 2.6"),
    worn("party hat", "top", "L -9,-1 0,24 9,-1; O 0,26 3; /l -10,6 8,0; l -6.4,7 5,3; l -4.4,12.6 4.6,10; s -9,-1 -10,-10 -4,-16", "paper hat", "dunce cap"),
    worn("woolly hat", "top", "S -12,0! -12,10 -5,16 5,16 12,10 12,0!; B -13,-3 26,6,2; O 0,19 4.4; l -8,-3 -8,3; l -4,-3 -4,3; l 0,-3 0,3; l 4,-3 4,3; l 8,-3 8,3; v -11,8 11,8 5,1.4", "bobble hat", "beanie", "winter hat", "knitted hat"),
    worn("rain hat", "top", "S -22,-8! -12,-1 12,-1 18,-4! 14,3 -12,3; S -11,1! -10,13 10,13 11,1!; l -10,7 10,7", "sou'wester", "souwester", "fisherman's hat"),
    worn("nightcap", "top", "S -12,0! -11,13 -2,22 12,21 24,10 29,-9! 21,0 13,0!; S -14,-4! -15,3 14,3 13,-4!; O 29,-13 5; l 26,-11 32,-15; l 27,-16 31,-10; L -4,14 -2.6,10.6 1,10.6 -1.8,8.4 -.8,5 -4,7 -7.2,5 -6.2,8.4 -9,10.6 -5.4,10.6; s 10,18 6,13 11,9 10,13 10,18; l 22,22 28,22 22,29 28,29; l 31,30 39,30 31,39 39,39", "sleeping cap"),
    worn("graduation cap", "top", "S -10,-1! -9,7 9,7 10,-1!; L -20,10 0,16 20,10 0,4; s 0,10 16,9 17,0; l 16,0 15,-5; l 17,0 18,-5", "mortarboard"),
    worn("wreath", "top", "O -9,3 3; O -3,6 3.4; O 4,6 3.4; O 10,3 3; O 0,1 2.6; D -9,3 1; D -3,6 1.1; D 4,6 1.1; D 10,3 1; S -12,2! -17,6 -18,1!; S 13,2! 17,6 18,1!", "flower crown", "garland"),
    worn("halo", "top", "O 0,10 15,4; O 0,10 11.4,2; l -18,12 -23,14; l -13,16 -17,21; l -5,17 -6.4,23; l 5,17 6.4,23; l 13,16 17,21; l 18,12 23,14"),
    worn("headphones", "top", "A 0,-6 13,14 0,180; A 0,-6 11,12 0,180; S -15,-12 -16,-4 -11,-3 -10,-13 #1.2,0; S 15,-12 16,-4 11,-3 10,-13 #1.2,0", "earphones"),
    worn("wig", "top", "S -13,-16! -18,-6 -17,6 -13,16 -3,21 7,20 15,13 17,4 14,-14! 11,-6 11,2 5,6 -4,5 -9,0 -10,-8!; s -12,12 -4,15 6,14 12,8; s -15,5 -8,9 4,10 14,3; O -15,-6 5,3.4; A -15,-6 2.4,1.6 0,300; O -14.6,-13 5,3.4; A -14.6,-13 2.4,1.6 0,300; O -14,-20 4.6,3.2; A -14,-20 2.2,1.5 0,300; O 14,-5 4.6,3.2; A 14,-5 2.2,1.5 0,300; O 14,-12 4.6,3.2; A 14,-12 2.2,1.5 0,300; O 13.6,-19 4.4,3; A 13.6,-19 2,1.4 0,300"),
    worn("horns", "top", "S -10,-1! -18,6 -17,18! -12,8 -5,2!; S 10,-1! 18,6 17,18! 12,8 5,2!"),
    worn("bow", "top", "S 0,2! -12,10 -13,-5 0,2!; S 0,2! 12,10 13,-5 0,2!; O 0,2 2.6", "ribbon", "hair bow"),
    worn("glasses", "eyes", "o -5.4,0 4.8; o 5.4,0 4.8; s -0.8,0.6 0,1.4 0.8,0.6; l -10.2,0.6 -14,2; l 10.2,0.6 12,1.4", "spectacles", "reading glasses", "specs"),
    worn("sunglasses", "eyes", "S -11,3! -1,3! -1.6,-3 -5,-4.4 -9.6,-2.4 #1.0,30; S 1,3! 11,3! 9.6,-2.4 5,-4.4 1.6,-3 #1.0,30; l -1,2.4 1,2.4; l -11,2.4 -15,3", "dark glasses", "shades"),
    worn("monocle", "eyes", "o 5,0 5; s 9,-3 12,-10 9,-18"),
    worn("eye patch", "eyes", "S 1,3! 10,3! 9,-4 5,-5.4 2,-3 #0.8,45; l -14,7 12,1.4", "eyepatch"),
    worn("mask", "eyes", "S -14,2! -8,5 0,3 8,5 13,2! 10,-4 5,-4.6 0,-2 -5,-4.6 -10,-4 #1.0,0; O -5,0.6 2.4,1.8; O 5,0.6 2.4,1.8; D -4.6,.6 1; D 5.4,.6 1", "carnival mask"),
    worn("goggles", "eyes", "B -12,-5 24,10,5; O -5.4,0 3.6; O 5.4,0 3.6; l -12,0 -17,1; l 12,0 15,1", "diving goggles", "swimming goggles"),
    worn("beard", "mouth", "&push -2,-1,1.7\nS -13,6! -14,0 -12,-9 -6,-17 0,-24! 8,-17 13,-9 15,0 14,6! 11,3 8,5 1,4 -5,5 -9,3!; S 1,3! 5,6 9,4 13,6! 11,-1 5,-1 1,1! -3,-1 -9,-1 -11,6! -7,4 -3,6; s -3,-3 1,-5 5,-3; s -11,0 -10,-6 -7,-10; s -6,-5 -5,-11 -3,-15; s 0,-8 -1,-13 0,-19; s 6,-6 6,-11 4,-16; s 13,0 12,-6 9,-11\n&pop"),
    worn("moustache", "mouth", "S 0,2! 6,5 12,2 15,5! 13,-1 6,-2 0,0! -6,-2 -13,-1 -15,5! -12,2 -6,5", "mustache"),
    worn("red nose", "mouth", "s -3,8 -13,12 -20,10 -24,6; O 2,8 6.4 #1.2,45; A 2,8 8.4,8.4 20,60; l 12,14 15,17; l 13,8 17,8", "clown nose"),
    worn("pipe", "mouth", "s 0,0 8,-3 14,-5; S 12,-1! 13,-8 20,-8 21,1!; s 17,4 14,9 19,13 16,18", "tobacco pipe", "cigar"),
    worn("scarf", "neck", "S -4,-1! -16,2 -27,-4 -38,0! -40,-9! -28,-13 -16,-7 -4,-8!; l -12,1.4 -13,-6.6; l -17,1 -18,-8; l -22,-1.4 -24,-11; l -27,-3.4 -29,-12; l -38,0 -43,1; l -38.6,-3 -44,-3; l -39.4,-6 -44,-7; l -40,-9 -44,-11; S -2,-3! -7,-14 -12,-22 -12,-32! -3,-34! -2,-24 2,-14 5,-5!; l -7,-13 1,-16; l -9.4,-18 -1,-20; l -11.4,-24 -2.4,-25; l -12,-32 -13,-37; l -9,-32.6 -9.4,-38; l -6,-33.4 -6,-38; l -3,-34 -2.4,-39; S -13,-4! -13,5 0,3 13,5! 14,-4 0,-8; l -9,-5 -9,4; l -4,-6.6 -4,3.2; l 1,-7 1,3; l 6,-6.4 6,3.4; l 10,-5 10,4.4", "shawl", "muffler"),
    worn("bow tie", "neck", "L -1,-1 -10,4 -13,-3 -6,-9; L 1,-1 10,4 13,-3 6,-9; S -2,-3! -11,3 -13,-3 -11,-10 -2,-4.6!; S 2,-3! 11,3 13,-3 11,-10 2,-4.6!; l -3,-3.4 -8,-1; l -3,-4.4 -8,-6.4; l 3,-3.4 8,-1; l 3,-4.4 8,-6.4; B -2.6,-6.4 5.2,5.2,1.2; D 0,-13 .7; D 0,-19 .7; l -5,-8.6 0,-10; l 5,-8.6 0,-10", "bowtie"),
    worn("tie", "neck", "L -3,0 3,0 1.6,-4 -1.6,-4; L -1.6,-4 1.6,-4 5,-22 0,-27 -5,-22; l -3,-12 3.4,-9; l -4,-18 4,-14", "necktie"),
    worn("necklace", "neck", "s -9,0 -5,-8 0,-10 5,-8 9,0; O 0,-11 2.4; O -5,-8 1.6; O 5,-8 1.6; O -8,-3.6 1.4; O 8,-3.6 1.4", "beads", "pearls", "medallion", "collar", "chain"),
    worn("ruff", "neck", "S -13,0 -10,4 -6,1 -3,5 0,1 3,5 6,1 10,4 13,0 10,-4 6,-1 3,-5 0,-1 -3,-5 -6,-1 -10,-4"),
    worn("rubber boots", "feet", "&boot", "wellington boots", "wellingtons", "wellies", "gumboots", "boots", "rain boots", "boot"),
    worn("shoes", "feet", "&laced", "shoe", "slippers", "sandals", "sneakers", "trainers", "carpet slippers"),
    worn("high heels", "feet", "&heel", "heels", "stilettos", "ballet shoes"),
    worn("flippers", "feet", "&flipper", "swim fins", "diving fins", "fins"),
    worn("ice skates", "feet", "&iceskate", "skates", "skate"),
    worn("roller skates", "feet", "&rollerskate", "rollerskates", "inline skates", "rollerblades"),
    worn("skis", "feet", "&ski", "ski"),
    worn("snowshoes", "feet", "&snowshoe"),
    worn("stilts", "feet", "&stilt", "stilt"),
    worn("socks", "feet", "&sock", "sock", "stockings"),
    worn("cape", "back", "&cape", "cloak"),
    worn("backpack", "back", "S -2,-12! -18,-12 -20,6 -14,14 -2,13! ; S -5,-10! -17,-10 -18,-1 -6,0!; s -4,13 -9,19 -14,14; l -12,-1 -12,-4", "rucksack", "satchel", "school bag", "knapsack"),
    worn("wings", "back", "&wings", "angel wings", "feathered wings"),
    worn("jetpack", "back", "S -15,-16! -18,-26 -14.6,-23 -13,-34 -11,-23 -8,-26 -10.6,-16!; S -4,-16! -7,-26 -3.6,-23 -2,-34 0,-23 3,-26 0.4,-16!; s -13,-18 -13,-26; s -2,-18 -2,-26; s -16,10 -24,8 -22,-6 -16,-8; s 0,10 8,8 6,-6 0,-8; B -11,2 8,4; B -11,-6 8,4; L -15,-9 -10.6,-9 -9,-16 -16.6,-16; L -4.4,-9 0,-9 1.6,-16 -6,-16; S -18,-9! -18,9 -12.8,18 -7.6,9 -7.6,-9!; S -7.4,-9! -7.4,9 -2.2,18 3,9 3,-9!; l -17.6,7 -8,7; l -7,7 2.8,7; l -17.6,-5 -8,-5; l -7,-5 2.8,-5"),
    worn("striped jersey", "body", "&jersey", "jersey", "jumper", "pullover", "sweater", "striped shirt", "pyjamas", "pajamas", "t-shirt"),
    worn("coat", "body", "&coat", "overcoat", "jacket", "suit", "tuxedo", "uniform"),
    worn("raincoat", "body", "&raincoat", "mackintosh", "oilskin", "oilskins", "mac"),
    worn("apron", "body", "&apron", "pinafore", "overalls"),
    worn("dress", "body", "&dress", "gown", "frock", "ballgown", "wedding dress"),
    worn("skirt", "body", "&skirt", "kilt"),
    worn("tutu", "body", "&tutu", "ballet dress"),
    worn("robe", "body", "&robe", "dressing gown", "bathrobe", "kimono"),
    worn("waistcoat", "body", "&waistcoat", "vest"),
    worn("life jacket", "body", "&lifejacket", "life vest"),
    worn("armour", "body", "&armour", "armor", "suit of armour"),
    worn("trousers", "body", "&trousers", "pants", "shorts", "jeans"),
    worn("boxing gloves", "hands", "S -7,-5 -9,3 -4,9 5,8 9,2 6,-6 0,-8; s -6,5 -2,1 -1,6; B -6,-10 11,4,1", "boxing glove"),
    worn("gloves", "hands", "S -5,-6! -6,2 -7,6 -3,4 -3,9 0,9 3,9 5,4 5,-6!; B -6,-9 12,4,1", "glove", "mittens", "mitten"),
    worn("wooden leg", "feet", "&peg", "peg leg"),
)  # fmt: skip

TORSO: Final[Mapping[str, tuple[str, str]]] = {
    "&jersey": ("", "/l -15,23 15,23; /l -15,19 15,19; /l -15,15 15,15; /l -15,11 15,11; /l -15,7 15,7; /l -15,3 15,3"),
    "&coat": ("coat", "/l 0,27 0,-6; /D 3,20 .9; /D 3,13 .9; /D 3,6 .9; /l -5,27 0,19; /l 5,27 0,19; /l -9,8 -4,8; /l 5,5 9,5"),
    "&raincoat": ("coat", "S -11,24! -18,40 -13,56 0,63 11,58 14,46 12,24!; S -11,29! -15,14 -17,-14 17,-14 15,14 11,29!; l 1,29 1,-14; D 4.6,20 1.1; D 4.6,11 1.1; D 4.6,2 1.1; D 4.6,-7 1.1; B -12,-5 8,7,1; l -13,2.6 -3,2.6; l -8,28 1,22; l 1,22 9,28; l -16.6,-10.6 16.6,-10.6"),
    "&apron": ("", "S -6,20! 6,20! 7,10! 11,8! 11,-12! -11,-12! -11,8! -7,10!; B -5,-6 10,8,1; l -6,20 -4,27; l 6,20 4,27"),
    "&dress": ("dress", "/l -9,6 9,6; /l -9,4 9,4; /V -7,25 7,25 4,1"),
    "&skirt": ("skirt", ""),
    "&tutu": ("", "L -9,5 -26,1 -22,-1 -24,-4 -16,-3 -14,-7 -8,-4 -4,-8 0,-5 5,-8 9,-4 15,-7 17,-3 24,-4 22,-1 26,1 9,5 0,3; l -14,1 -18,-2; l -6,1 -9,-4; l 0,0 0,-4; l 6,1 9,-4; l 14,1 18,-2"),
    "&robe": ("robe", "/l -6,27 2,12; /l 6,27 2,12; /l -11,8 11,8; /l -11,5 11,5; /l 2,12 2,8; s 2,5 4,-2 3,-7"),
    "&waistcoat": ("", "/l -6,28 0,16; /l 6,28 0,16; /l 0,16 0,2; /l -9,2 0,-1; /l 9,2 0,-1; /D 2,13 .8; /D 2,8 .8"),
    "&lifejacket": ("", "/B -13,4 11,22,3; /B 2,4 11,22,3; l -10,14 10,14; l -10,10 10,10; B -3,10 6,4,1"),
    "&armour": ("", "L -11,6 -13,-8 -4,-11 0,-3 4,-11 13,-8 11,6; l -12,1 12,1; l -12.4,-4 12.4,-4; S -12,26! -13.6,14 -10,6! 0,4 10,6! 13.6,14 12,26! 6,29 0,26 -6,29; l 0,26 0,4.4; s -11,18 -6,12 0,11 6,12 11,18; D -8.6,8.6 .7; D 8.6,8.6 .7; D -9.6,23.6 .7; D 9.6,23.6 .7; S -8,28! -16,29 -18,21 -13,17! -8,21; S 8,28! 16,29 18,21 13,17! 8,21; S -7,27! -8,32 8,32 7,27!; D -14.4,25 .6; D 14.4,25 .6"),
    "&trousers": ("trousers", "l -9,4 9,4; B -1.6,2.4 4,3.4; l -5,27 -6,4; l 5,27 6,4"),
    "&cape": ("", ""),
}  # fmt: skip
"""What a garment makes of a figure: what hides its legs, and what is drawn on its torso (clipped where ``/`` says so)."""
