"""Words for things that the store lacks, with the nearest things in meaning."""

from __future__ import annotations

from typing import Final

LOOSE: Final = frozenset(
    [
        "knife",
        "dentist",
        "hay",
        "cocktail",
        "fork",
        "map",
        "peach",
        "plum",
        "cave",
        "cliff",
        "shop",
        "hut",
        "bowl",
        "oven",
        "stove",
        "gate",
        "desk",
        "paper",
        "ruler",
        "desert-island",
        "jam",
        "string-bean",
        "bank",
        "hawk",
        "moth",
        "wasp",
        "buffalo",
        "ox",
        "yeti",
        "whistle",
        "horn",
        "puppet",
        "beetle",
        "crane",
        "salad",
        "saucepan",
        "slug",
        "worm",
        "string",
        "yacht",
        "gondola",
        "canoe",
        "kayak",
        "ferry",
        "van",
        "hedge",
        "towel",
        "blanket",
        "card",
        "chain",
        "shell",
        "engine",
        "dove",
        "mill",
        "mosquito",
        "ribbon",
    ]
)
"""Words drawn as a near thing, with a note to the user: a knife is drawn as a sword."""

_LISTS: Final = {
    "cow sheep pig": "animal livestock pet mammal yak bison buffalo gnu antelope gazelle impala tapir okapi",
    "lion tiger leopard": "lynx puma cougar bobcat ocelot wildcat hyena cheetah",
    "mouse rat squirrel": "hamster gerbil rodent shrew vole dormouse lemming guinea-pig chinchilla",
    "koala bear panda": "sloth wombat wolverine opossum possum skunk armadillo",
    "bird sparrow gull": "swallow starling cuckoo nightingale thrush tit warbler kingfisher lark swift canary cormorant petrel",
    "lizard crocodile snake": "reptile dinosaurs",
    "fish shark swordfish": "eel pike piranha sturgeon catfish halibut turbot flounder anchovy sole anglerfish",
    "crab lobster clam": "shrimp prawn barnacle krill limpet snail-shell",
    "bee ant ladybird": "insect bug mite flea louse aphid earwig cockroach firefly glow-worm",
    "man woman boy": "human neighbour customer passenger visitor villager citizen cousin "
    "lawyer judge barber tailor cobbler politician president mayor secretary cashier "
    "prisoner beggar tramp hero student pupil runner athlete driver cyclist hiker climber passer-by",
    "hammer saw axe": "drill screwdriver wrench pliers spanner tool chisel file plane crowbar nail screw",
    "piano guitar violin": "instrument zither sitar synthesizer orchestra harmonica mouth-organ",
    "apple pear cherry": "fruit mango kiwi-fruit apricot fig melon blueberry blackberry date",
    "carrot tomato pumpkin": "vegetable cabbage lettuce onion cucumber leek garlic beetroot pea bean broccoli aubergine",
    "cake bread sandwich": "pudding croissant pretzel rice pasta sushi omelette dumpling butter stew curry",
    "car truck bus": "vehicle camper caravan limousine tank forklift snowplough",
    "ship rowing boat tugboat": "vessel barge hovercraft catamaran hydrofoil warship aircraft-carrier lifeboat punt",
    "house tower church": "villa hotel restaurant school hospital library cinema station airport supermarket pub inn bakery "
    "mosque synagogue pagoda shrine prison bungalow mansion greenhouse warehouse garage lodge",
    "chair table bed": "furniture dresser cabinet drawer bench-seat ottoman wardrobe-door curtain",
    "computer television telephone": "tablet smartphone printer scanner keyboard-computer calculator projector console drone",
    "tree bush flower": "willow birch ash maple elm poplar plant fern ivy orchid lavender dandelion thistle clover poppy lotus violet-flower",
    "dragon monster sea serpent": "griffin griffon sphinx phoenix basilisk minotaur werewolf zombie kraken gargoyle gremlin golem",
    "bowler hat cap scarf": "clothes garment trilby hood bandeau poncho cardigan blouse bra underpants belt sash blazer",
    "cloud rain cloud sun": "fog mist hail rainfall thunder weather tornado hurricane aurora eclipse sunset sunrise",
    "ball football doll": "toy marble yoyo yo-yo skittles puzzle lego slide hoop basketball volleyball",
    "cup glass bottle": "goblet tankard thermos",
    "spoon frying pan": "cutlery whisk spatula toaster mixer blender grater sieve",
    "sword shield cannon": "weapon spear lance pistol rifle bomb mace club torpedo catapult",
    "book letter newspaper": "notebook dictionary poster calendar parchment scroll manuscript leaflet",
    "mountain hill rock": "glacier iceberg valley waterfall canyon ravine",
    "key lock": "keyhole handcuffs chain-lock",
    "candle lamp lantern": "torch flashlight match lighter",
    "king queen knight": "duke duchess baron count earl lord noble countess sultan pharaoh samurai gladiator ninja",
    "gear machine spring": "piston pump turbine pulley lever screw-press valve",
    "sack suitcase box": "wallet pouch container case-box locker safe bin dustbin",
}
KINDS: Final[dict[str, tuple[str, ...]]] = {}
for _near, _words in _LISTS.items():
    _two = {
        "rain": "rain cloud",
        "sea": "sea serpent",
        "rowing": "rowing boat",
        "frying": "frying pan",
        "bowler": "bowler hat",
    }
    _names = tuple(_two.get(name, name) for name in _near.split() if name not in ("serpent", "pan", "hat", "boat"))
    for _word in _words.split():
        KINDS[_word] = tuple(dict.fromkeys(_names))
