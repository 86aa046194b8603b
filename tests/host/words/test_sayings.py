"""Phrases: attachment of clauses, sides, counts, coloured clothes, and polite requests."""

from __future__ import annotations

import pytest

from linewright.sources.words.arranging import arrange
from linewright.sources.words.art import Art
from linewright.sources.words.hiding import visible
from linewright.sources.words.idioms import plainly
from linewright.sources.words.lexicon import MOST, Lexicon
from linewright.sources.words.phrases import Phrase
from linewright.sources.words.reading import read
from linewright.sources.words.staging import Stage
from linewright.sources.words.store import names, things
from linewright.sources.words.way import told

LEXICON = Lexicon(names())


def subjects(sentence: str) -> list[Phrase]:
    return read(sentence, LEXICON).subjects


def art_of(sentence: str, seed: int = 1) -> Art:
    return arrange(read(sentence, LEXICON), Stage(things(), seed), seed)


def said(phrase: Phrase) -> str:
    """A phrase as one line: count and name, clothes, actions and relations."""
    text = (f"{phrase.count} " if phrase.count > 1 else "") + phrase.name + ("/" + phrase.other_half).rstrip("/")
    text += "".join(f" +{said(one)}" for one in phrase.worn)
    text += "".join(f" {act.verb}({said(act.object) if act.object else ''})" for act in phrase.acts)
    return text + "".join(f" {one.kind}[{said(one.object)}]" for one in phrase.relations)


@pytest.mark.parametrize(
    ("sentence", "expected"),
    [
        ("a painter painting a painter painting a painter", ["painter paint(painter paint(painter))"]),
        ("a dog chasing a cat wearing a scarf", ["dog chase(cat wear(scarf))"]),
        ("a girl riding a horse holding a flag", ["girl ride(horse) hold(flag)"]),
        ("an owl teaching mice to read", ["owl teach(3 mouse read())"]),
        ("a cat that wears a top hat and plays the violin", ["cat wear(top hat) play(violin)"]),
        ("a pear wearing boots and a banana in a scarf", ["pear wear(rubber boots)", "banana +scarf"]),
        ("a woman in a green dress and red boots", ["woman +dress +rubber boots"]),
        ("a house with a tree next to it", ["house by[tree]"]),
        ("a table with a dog under it", ["table has under[dog]"]),
        ("a chair with a cat on it", ["cat on[chair]"]),
        ("a submarine with an octopus on top", ["submarine bears[octopus]"]),
        ("a cat sleeping on the roof", ["cat sleep() on[house]"]),
        ("a woman carrying a basket on her head", ["woman bears[basket]"]),
        ("a boy with a ball on a roof", ["boy with[ball] on[house]"]),
        ("a creature that is half cat and half snail", ["cat/snail"]),
        ("a cross between a lion and a fish", ["lion/fish"]),
        ("six mushrooms, two of them red", ["4 mushroom", "2 mushroom"]),
        ("seven ducks in a row", ["7 duck"]),
        ("a pair of shoes", ["shoes"]),
        ("a ghost who is afraid of a mouse", ["ghost facing[mouse]"]),
        ("a bird in a cage hanging from a tree", ["bird in[cage hang(tree)]"]),
        ("a picture of a cat hanging on the wall", ["picture hang(wall) of[cat]"]),
        ("a turtle flying a biplane", ["turtle pilot(biplane)"]),
        ("a girl carrying a basket of apples", ["girl carry(basket full of[3 apple])"]),
        ("a cat chased by a dog", ["dog chase(cat)"]),
        ("a pig in a wheelbarrow pushed by a farmer", ["farmer push(pig in[wheelbarrow])"]),
        ("a ghost reading a book in bed", ["ghost read(book) in[bed]"]),
        ("a robot and a girl holding hands", ["robot meet()", "girl meet()"]),
        ("a cat behind three flowerpots", ["cat behind[3 flower pot]"]),
        ("a diver discovering a treasure", ["diver find(chest)"]),
        ("a pig wearing a crown and rubber boots", ["pig wear(crown) wear(rubber boots)"]),
        ("a sloth eating ice cream", ["ice cream"]),
        ("a boat full of sheep", ["rowing boat full of[4 sheep]"]),
        ("a camel drinking lemonade through a straw", ["camel drink(glass)"]),
        ("a mouse asleep in a shoe", ["mouse sleep() in[shoes]"]),
        ("a cow with a bell around its neck", ["cow bears[bell]"]),
        ("the cow that jumped over the moon and the dog that laughed", ["cow jump(moon)", "dog laugh()"]),
        ("someone walking a dog", ["man walk(dog)"]),
        ("a parrot on a pirate's shoulder", ["parrot on shoulder[pirate]"]),
        ("a tiger having a bath", ["tiger bath()"]),
        ("a bear having a picnic under an oak", ["bear sit() by[picnic] under[tree]"]),
        ("a frog king and a pirate cat", ["frog +crown", "cat +pirate hat +eye patch +striped jersey"]),
        ("a fireman rescuing a kitten from a tree", ["firefighter find(cat in[tree])"]),
        ("mice pulling a cheese on a sledge", ["3 mouse pull(cheese on[sledge])"]),
        ("a girl putting a star on a christmas tree", ["girl put(star) by[christmas tree]"]),
        ("a policeman chasing a thief with a sack", ["policeman chase(thief with[sack])"]),
        ("a fox painting its fence", ["fox coat(fence)"]),
        ("a wizard turning a prince into a frog", ["wizard point(prince) by[frog]"]),
        ("an old man in an armchair with a newspaper on his face", ["old man in[armchair] bears[newspaper]"]),
        ("a girl dancing ballet", ["girl do ballet()"]),
        ("a girl feeding her cat", ["girl feed(cat)"]),
        ("a witch flying past the moon on her broom", ["witch fly() by[moon] on[broom]"]),
        ("a rainy street with an old man under a lamp post", ["old man under[lamp post]"]),
        ("a forest with a fox", ["fox"]),
        ("a spider drinking tea from a cup", ["spider drink(cup)"]),
    ],
)
def test_what_is_said_belongs_to_whom(sentence, expected):
    assert [said(one) for one in subjects(sentence)] == expected


@pytest.mark.parametrize(
    ("asked", "plain"),
    [
        ("can you draw two owls please", "two owls"),
        ("i want to see a pig", "a pig"),
        ("what does a hippo in a tutu look like", "a hippo in a tutu"),
        ("a picture of a cat", "a cat"),
        ("a picture of a cat on the wall", "a picture of a cat on the wall"),
        ("a cat who can draw a dog", "a cat who can draw a dog"),
    ],
)
def test_a_question_is_a_plain_sentence(asked, plain):
    assert plainly(asked) == plain


@pytest.mark.parametrize("seed", range(1, 7))
def test_left_and_right_stay_as_they_are_said(seed):
    house = Stage(things(), seed).plain("house").art
    for side, share in (("left", 0.0), ("right", 1.0)):
        art = art_of(f"a girl to the {side} of a house", seed)
        x0, _, x1, _ = art.bounds()
        eyes = [s for s in art.shapes if s.tag == "eye"]
        assert eyes
        at = (eyes[0].lines[0][0, 0] - x0) / (x1 - x0)
        assert abs(at - share) < 0.4, (side, house.width)


@pytest.mark.parametrize("count", [1, 4, 5, 6, 9, 13, 20])
def test_as_many_are_drawn_as_are_said(count):
    one = len(Stage(things(), 1).plain("duck").art.shapes)
    group = Stage(things(), 1).group(Phrase("duck", "duck", count))
    assert len(group.art.shapes) == count * one


def test_a_garment_made_of_leaves_is_leafy_and_who_wears_it_is_not():
    bird = subjects("a bird with a hat made of leaves")[0]
    assert (bird.modifiers, bird.relations, bird.worn[0].modifiers) == ([], [], ["leafy"])


@pytest.mark.parametrize(
    "sentence",
    ["a king and a queen in a boat", "a cat and a dog on a bed", "a fox, a bear and an owl under a tree",
     "an owl and a mouse dancing on a piano", "a pig and two hens behind a fence"],
)  # fmt: skip
def test_where_several_subjects_are_is_drawn_once_for_all_of_them(sentence):
    """Without the place that they share, fewer shapes are drawn."""
    reading, without = read(sentence, LEXICON), read(sentence, LEXICON)
    for one in without.subjects:
        one.relations.clear()
    drawn, bare = (len(arrange(r, Stage(things(), 1), 1).shapes) for r in (reading, without))
    shared = reading.subjects[-1].relations[0]
    whole = len(Stage(things(), 1).plain(shared.object.name).art.shapes)
    assert drawn >= bare + whole - 3  # a ground line of three strokes may not be needed in a boat


def test_spots_and_stripes_are_patterns_and_a_forest_may_be_dark():
    assert subjects("an elephant with pink spots")[0].modifiers == ["spotted"]
    assert told(read("an elephant with pink spots", LEXICON)) == ("pink spots are drawn in the same colour",)
    assert set(read("a fox in a dark forest", LEXICON).scenes) == {"night", "forest"}


def test_a_tower_is_high():
    turtle = Stage(things(), 1).plain("turtle").art
    art = art_of("a tower of five turtles")
    assert art.height > 3.5 * turtle.height
    assert art.width < 1.6 * turtle.width


def test_several_do_it_to_the_same_one():
    stage = Stage(things(), 1)
    group = stage.group(subjects("six cows watching a television")[0])
    assert len(group.art.shapes) == 6 * len(stage.plain("cow").art.shapes) + len(stage.plain("television").art.shapes)


def test_more_than_can_be_drawn_is_told():
    reading = read("a hundred owls", LEXICON)
    assert reading.subjects[0].count == MOST
    assert told(reading) == (f"100 of 'owls' are drawn as {MOST}",)


def test_a_word_that_is_drawn_as_another_thing_is_told():
    assert told(read("a knife", LEXICON)) == ("'knife' is drawn as 'sword'",)
    assert told(read("a king without a crown", LEXICON)) == ()
    assert told(read("a king without a beard", LEXICON)) == ("'beard' is not drawn, and nothing is taken away for it",)


def test_what_something_is_made_of_is_its_pattern():
    assert subjects("a robot made of bricks")[0].modifiers == ["brick"]
    plain, made = art_of("a telephone"), art_of("a telephone made of bread")
    assert len([s for s in made.shapes if s.tag == "pattern"]) == 1
    assert made.bounds()[1] == pytest.approx(plain.bounds()[1], abs=1.0)


@pytest.mark.parametrize("sentence", ["a hand holding a pencil", "a lighthouse with a face"])
def test_parts_of_bodies_that_are_not_drawn_are_told(sentence):
    assert list(read(sentence, LEXICON).unknown)


def test_signs_are_told():
    assert told(read("a dog \N{DOG FACE} on a bicycle \N{BICYCLE}\N{DOG FACE}", LEXICON)) == (
        *("signs are not read, only words: \N{DOG FACE}\N{BICYCLE}",),
    )


def test_a_king_without_a_crown_has_none():
    assert len(art_of("a king without a crown").shapes) < len(art_of("a king").shapes)


@pytest.mark.parametrize("garment", ["coat", "dress", "rubber boots", "boxing gloves", "bowler hat", "scarf"])
def test_what_is_worn_has_its_own_colour(garment):
    pens = {shape.pen for shape in art_of(f"a woman with a blue {garment}").shapes if shape.lines}
    assert pens == {"", "blue"}


def test_all_clothes_can_lie_alone():
    one_of_each = {(thing.worn, thing.on_body): thing for thing in things().values() if thing.worn}
    for thing in one_of_each.values():
        assert Stage(things(), 1).plain(thing.name).art.height > 0, thing.name


@pytest.mark.parametrize("garment", ["socks", "robe", "cape", "shoes"])
def test_clothes_do_things_too(garment):
    assert art_of(f"the {garment} playing a trumpet").height > 0


def test_who_is_behind_a_tree_stands_on_the_ground():
    stage = Stage(things(), 1)
    tree, fox = stage.plain("tree"), stage.plain("fox")
    art = art_of("a fox behind a tree")
    front = len(tree.art.shapes)
    back = Art(art.shapes[-front - len(fox.art.shapes) - 1 : -front])
    assert back.bounds()[1] < 0.1 * tree.art.height


def test_what_flies_is_above_what_it_is_tied_to():
    art = art_of("three red balloons tied to a snail")
    lows = [line[:, 1].min() for shape in art.shapes if shape.pen == "red" for line in shape.lines]
    assert min(lows) > Stage(things(), 1).plain("snail").art.height


def test_above_a_place_is_above_it():
    art = art_of("a hot air balloon above the mountains")
    tops = [line[:, 1].max() for shape in art.shapes if shape.tag == "ground" for line in shape.lines]
    basket = min(line[:, 1].min() for s in art.shapes if s.tag not in ("ground", "scene") for line in s.lines)
    assert basket > 0.9 * sorted(tops)[len(tops) // 2]


def test_weather_is_told_by_an_adjective_of_the_place():
    reading = read("a bear on a stormy sea", LEXICON)
    assert set(reading.scenes) == {"on the sea", "storm"}
    assert not reading.unknown
    assert set(read("a boy flying a kite on a windy day", LEXICON).scenes) == {"wind"}
    assert set(read("a fox in the teeming forest", LEXICON).scenes) == {"forest"}
    assert "teeming" in read("a fox in the teeming forest", LEXICON).unknown


def test_a_mother_is_larger_than_its_young():
    baby, mother = subjects("a baby elephant")[0], subjects("an elephant holding its mother")[0].acts[0].object
    assert (baby.name, baby.modifiers) == ("elephant", ["small"])
    assert mother is not None
    assert (mother.name, mother.modifiers) == ("elephant", ["big"])


def test_what_is_done_to_something_unknown_is_done_to_nothing_else():
    assert len(art_of("a cook tossing a blancmange").shapes) < len(art_of("a cook tossing a ball").shapes)


@pytest.mark.parametrize(
    ("with_it", "without"),
    [
        ("four mice on a sledge", "four mice"),
        ("a monkey hanging from a branch eating a banana", "a monkey hanging from a branch"),
        ("a robot vacuuming", "a robot pushing"),
        ("a tiger having a bath", "a tiger"),
        ("a caterpillar eating an apple", "a caterpillar"),
        ("a turtle skateboarding", "a turtle"),
        ("a turtle delivering pizza on a scooter", "a turtle delivering pizza"),
    ],
)
def test_all_that_somebody_has_is_drawn(with_it, without):
    assert len(art_of(with_it).shapes) > len(art_of(without).shapes)


def test_who_drives_a_bus_is_seen_within_its_window():
    bus = things()["bus"].natural()
    drawn = Stage(things(), 1).group(subjects("a dog driving a bus")[0]).art
    assert drawn.height == pytest.approx(Stage(things(), 1).plain("bus").art.height)
    assert len(drawn.shapes) > len(bus.shapes)


def test_clothes_are_drawn_without_anybody_in_them():
    tags = {shape.tag for shape in art_of("a coat hanging from a branch").shapes}
    assert not tags & {"head", "eye", "hand", "foot"}


def test_all_who_are_on_an_island_have_ground_below_them():
    stage = Stage(things(), 1)
    group = stage.group(subjects("a pirate digging for treasure on an island")[0])
    ground = next(s.area for s in stage.natural(things()["island"]).shapes if s.area is not None)
    wide = max(s.area.bounds[2] - s.area.bounds[0] for s in group.art.shapes if s.area is not None)
    assert wide > ground.bounds[2] - ground.bounds[0]


@pytest.mark.parametrize("name", ["cat", "man", "bottle"])
def test_what_lies_is_longer_than_it_is_high(name):
    x0, y0, x1, y1 = Stage(things(), 1).group(subjects(f"a lying {name}")[0]).art.bounds()
    assert x1 - x0 > 1.5 * (y1 - y0)


def test_the_joey_leaves_its_pouch_to_a_guest():
    assert "joey" in {s.tag for s in art_of("a kangaroo").shapes}
    assert "joey" not in {s.tag for s in art_of("a kangaroo with a baby in its pouch").shapes}


def test_who_is_waved_at_from_a_tower_stands_on_the_ground():
    below = Stage(things(), 1).plain("knight").art.height
    high = art_of("a princess on a tower waving at a knight")
    knees = [s.area.bounds for s in high.shapes if s.tag == "leg" and s.area is not None]
    assert min(y for _, y, _, _ in knees) < 0.3 * below


def whole(sentence: str) -> Art:
    return Stage(things(), 1).group(subjects(sentence)[0]).art


@pytest.mark.parametrize("sentence", ["a bat hanging upside down from an umbrella", "a bat hanging from a branch"])
def test_bats_hang_by_their_feet(sentence):
    hangs = whole(sentence)
    assert hangs.place("foot1").y > hangs.place("eyes").y
    above = Stage(things(), 1).plain("bat").art.height
    assert hangs.bounds()[3] >= hangs.place("foot1").y - 0.1 * above
    assert hangs.place("eyes").y > 0


@pytest.mark.parametrize(
    "sentence", ["a turtle carrying a table", "a donkey carrying a sofa", "an elephant carrying a piano"]
)
def test_something_large_is_carried_on_the_back(sentence):
    who = sentence.split()[1]
    alone = Stage(things(), 1).plain(who).art
    laden = whole(sentence)
    assert laden.silhouette().area > 1.25 * alone.silhouette().area
    assert laden.width < 1.2 * alone.width  # nothing is beside it


def test_a_bird_carries_off_in_its_claws_what_is_seen_below_it():
    sheep = Stage(things(), 1).plain("sheep").art
    assert whole("an eagle carrying off a sheep").place("eyes").y > 1.3 * sheep.height


def test_a_baby_in_a_cloth_hangs_from_the_beak():
    assert len(whole("a stork with a baby in a cloth").shapes) == len(whole("a stork carrying a baby").shapes)


def arms_of(art: Art) -> int:
    return sum(shape.tag == "arm" for shape in art.shapes)


def test_who_drinks_with_somebody_has_company_at_it():
    assert arms_of(whole("a queen drinking tea with a crocodile")) == 2 * arms_of(whole("a queen drinking tea")) == 4


def test_what_flies_past_something_is_in_the_air_before_it():
    past = whole("an airplane flying past a castle")
    castle = Stage(things(), 1).plain("castle").art
    assert past.width < 1.6 * castle.width
    assert past.height > castle.height + 5


def test_who_hatches_is_half_in_the_shell():
    seen = [stroke.tag for stroke in visible(whole("a dragon hatching from an egg").shapes, 0.0)]
    assert "eye" in seen
    assert "foot" not in seen


def test_two_on_one_bicycle_sit_one_behind_the_other():
    two, one = whole("two cats on a bicycle"), whole("a cat on a bicycle")
    assert arms_of(two) == 2 * arms_of(one) == 4
    assert two.height < 1.3 * one.height


def test_a_house_that_two_carry_stands_upright():
    parts = len(Stage(things(), 1).plain("house").art.shapes)
    load = Art(whole("two elephants carrying a house").shapes[-parts:])
    assert load.height > load.width


def test_the_arms_of_an_ant_begin_at_its_narrow_waist():
    shoulders = {name: Stage(things(), 1)._body(things()[name]).shoulder for name in ("ant", "teapot")}
    assert shoulders["ant"] < 0.4 * shoulders["teapot"]
