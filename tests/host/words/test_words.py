"""Sentences are parsed, composed and drawn; unknown words are reported."""

from __future__ import annotations

import contextlib
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from linewright import cli
from linewright.errors import SourceError
from linewright.sources.picture import Wish
from linewright.sources.words import own, placing
from linewright.sources.words.arranging import arrange
from linewright.sources.words.art import Art
from linewright.sources.words.hiding import visible
from linewright.sources.words.lexicon import ADJECTIVES, Lexicon
from linewright.sources.words.modifiers import MODIFIERS, modified
from linewright.sources.words.phrases import Phrase, Reading
from linewright.sources.words.reading import read
from linewright.sources.words.scenes import SCENES
from linewright.sources.words.staging import Stage
from linewright.sources.words.store import names, things
from linewright.sources.words.verbs import OTHER_WORDS, VERBS
from linewright.sources.words.way import Words

SENTENCES = [
    line
    for line in (Path(__file__).parent / "sentences.txt").read_text(encoding="utf-8").splitlines()
    if line and not line.startswith("#")
]
LEXICON = Lexicon(names())
A5 = Wish((128.0, 190.0))


@pytest.fixture(autouse=True)
def _no_things_of_the_user(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def subject(sentence: str) -> Phrase:
    return read(sentence, LEXICON).subjects[0]


def named(reading: Reading) -> set[str]:
    return {phrase.name for subject in reading.subjects for phrase in subject.everything()}


# the store


def test_the_store_is_as_large_as_promised():
    counted = [thing for thing in things().values() if thing.theme != "clothes"]
    assert len(counted) >= 250
    assert len(MODIFIERS) >= 60
    assert len(SCENES) >= 20
    assert {thing.theme for thing in counted} >= {
        *("people", "animals of the land", "birds and what flies", "animals of the water", "vehicles", "buildings"),
        *("plants", "food", "instruments", "tools", "furniture", "sky and weather", "machines", "creatures of tales"),
    }


@pytest.mark.parametrize("name", sorted(things()))
def test_every_thing_is_drawn_in_lines_of_its_own_that_can_be_seen(name):
    thing = things()[name]
    if thing.worn and isinstance(thing.art, str) and thing.art.startswith("&") and not thing.art.startswith("&push"):
        return  # drawn on whoever wears it
    art = thing.natural()
    strokes = visible(art.shapes, 0.2)
    assert sum(len(s.points) for s in strokes) >= 10
    assert all(np.isfinite(s.points).all() for s in strokes)
    assert all(shape.area is None or shape.area.is_valid for shape in art.shapes)


def test_no_two_things_look_the_same():
    """No two things have the same lines, so no name is a duplicate."""
    seen: dict[bytes, str] = {}
    for name, thing in things().items():
        if thing.worn:
            continue
        key = np.round(np.vstack([line for s in thing.natural().shapes for line in s.lines]), 2).tobytes()
        assert key not in seen, (name, seen.get(key))
        seen[key] = name


@pytest.mark.parametrize("name", sorted(MODIFIERS))
def test_every_modifier_changes_the_drawing(name):
    art = things()["man"].natural()
    changed = modified(art, name)
    before = [s.points.tobytes() for s in visible(art.shapes, 0.2)]
    after = [s.points.tobytes() for s in visible(changed.shapes, 0.2)]
    assert before != after


def test_every_word_of_the_lists_leads_somewhere():
    assert set(ADJECTIVES.values()) <= set(MODIFIERS)
    assert set(OTHER_WORDS.values()) <= set(VERBS)
    for verb in VERBS.values():
        assert {n for n in (verb.tool, verb.default) if n} <= set(things())
    for thing in things().values():
        assert {*thing.holds, *thing.wears} <= set(things()), thing.name


# parsing: the meaning of each sentence, written by hand beside it


@pytest.mark.parametrize(
    ("sentence", "expected"),
    [
        ("an owl in rubber boots on a unicycle by the sea", {"owl", "rubber boots", "unicycle"}),
        ("a mouse painting a mouse", {"mouse"}),
        ("a wizard and a dragon drinking coffee", {"wizard", "dragon", "cup"}),
        ("a turtle carrying a table with a lamp on it", {"turtle", "table", "lamp"}),
        ("a stork with a baby in a cloth", {"stork", "baby", "cloth"}),
        ("a duck in a top hat and a duck in a bonnet", {"duck", "top hat", "bonnet"}),
        ("the pirates who are singing have three parrots", {"pirate", "parrot"}),
    ],
)
def test_all_that_is_named_is_in_the_reading(sentence, expected):
    reading = read(sentence, LEXICON)
    assert named(reading) == expected
    assert reading.unknown == {}


def test_who_does_what_to_whom():
    cat = subject("a cat chasing two mice")
    assert (cat.name, cat.acts[0].verb, cat.acts[0].object.name, cat.acts[0].object.count) == (
        "cat",
        "chase",
        "mouse",
        2,
    )
    king = subject("a king who juggles apples")
    assert (king.acts[0].verb, king.acts[0].object.name) == ("juggle", "apple")
    fisher = subject("a man with a long beard feeding pigeons")
    assert (fisher.name, fisher.worn[0].name, fisher.worn[0].modifiers, fisher.acts[0].verb) == (
        *("man", "beard", ["long"], "feed"),
    )


@pytest.mark.parametrize(
    "sentence",
    [
        "a gnome pushing a wheelbarrow with a pumpkin", "a queen drinking tea with a crocodile",
        "a lion in bed with a teddy bear", "a heron with an umbrella", "a snail racing a turtle",
        "a donkey pushing a cart with a lantern", "a witch flying on a broom", "a chef chasing a rat with a spoon",
    ],
)  # fmt: skip
def test_nothing_that_is_named_is_left_out_of_the_drawing(sentence):
    """Each named thing changes the picture."""

    def strokes(art: Art) -> list[bytes]:
        return [stroke.points.tobytes() for stroke in visible(art.shapes, 0.1)]

    whole = strokes(art_of(sentence))
    reading = read(sentence, LEXICON)
    subject = reading.subjects[0]
    for other in subject.everything()[1:]:
        less = read(sentence, LEXICON)
        for phrase in less.subjects[0].everything():
            phrase.acts = [act for act in phrase.acts if act.object is None or act.object.name != other.name]
            phrase.relations = [one for one in phrase.relations if one.object.name != other.name]
        assert strokes(arrange(less, Stage(things(), 1), 1)) != whole, other.name


def test_numbers_colours_and_adjectives():
    birds = subject("five small blue birds")
    assert (birds.name, birds.count, birds.modifiers, birds.pen) == ("bird", 5, ["small"], "blue")
    assert subject("an orange").name == "orange"
    assert subject("an orange fish").pen == "orange"
    assert subject("a flock of geese").count > 3
    assert subject("a pair of scissors").name == "scissors"


@pytest.mark.parametrize(
    ("sentence", "kind", "other"),
    [
        ("a cat on a table", "on", "table"),
        ("a cat under a table", "under", "table"),
        ("a cat next to a table", "by", "table"),
        ("a cat behind a table", "behind", "table"),
        ("a cat in front of a table", "before", "table"),
        ("a cat inside a box", "in", "box"),
        ("a cat on top of a house", "on", "house"),
        ("a bird above a house", "over", "house"),
        ("a dog between two trees", "between", "tree"),
    ],
)
def test_prepositions(sentence, kind, other):
    relation = subject(sentence).relations[0]
    assert (relation.kind, relation.object.name) == (kind, other)


@pytest.mark.parametrize(
    ("sentence", "scene"),
    [
        ("a cow on the moon", "moon"), ("a fish under the sea", "under water"), ("a dog by the sea", "sea"),
        ("a boat on the sea", "on the sea"), ("a cat at night", "night"), ("a cat in the rain", "rain"),
        ("a bear in the forest", "forest"), ("a pig in a theatre", "stage"), ("a goat in the mountains", "mountains"),
    ],
)  # fmt: skip
def test_scenes(sentence, scene):
    assert set(read(sentence, LEXICON).scenes) == {scene}


def test_the_moon_is_a_place_only_for_who_is_on_it():
    reading = read("a cow jumping over the moon", LEXICON)
    assert reading.scenes == {}
    assert "moon" in named(reading)


# honesty


def test_an_unknown_word_is_told_with_the_nearest_known_ones():
    reading = read("a lynx with a zither and a flurbish hat", LEXICON)
    assert reading.unknown["lynx"][0] in ("lion", "tiger")
    assert "guitar" in reading.unknown["zither"]
    assert "flurbish" in reading.unknown
    told = Words().read("a cat with a zither", A5).warnings
    assert any("zither" in line and "not known and not drawn" in line for line in told)


@pytest.mark.parametrize("sentence", ["flurbish gnorp", "xyzzy"])
def test_nothing_known_draws_nothing(sentence):
    with pytest.raises(SourceError, match="nothing in the sentence can be drawn"):
        Words().read(sentence, A5)


@pytest.mark.parametrize(
    ("sentence", "match"),
    [
        ("", "no words"), ("   ", "no words"), ("🦉🦉", "no words"), ("123 ... !!!", "no words"),
        ("кот на луне", "only English"), ("猫", "only English"), ("ένας γάτος", "only English"),
        ("cat " * 10_000, "limit is 600"),
    ],
)  # fmt: skip
def test_what_is_no_sentence_is_refused_with_a_clear_word(sentence, match):
    with pytest.raises(SourceError, match=match):
        Words().read(sentence, A5)


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text):
    """Any text becomes a reading or a `SourceError`, never another exception."""
    with contextlib.suppress(SourceError):
        assert read(text, LEXICON) is not None


WORDS = st.sampled_from(
    sorted(
        {
            *list(names())[::9],
            *ADJECTIVES,
            *VERBS,
            "a",
            "the",
            "two",
            "on",
            "in",
            "with",
            "and",
            "of",
            "who",
            "under",
            "half",
            "red",
            "its",
            "back",
        }
    )
)


@given(st.lists(WORDS, min_size=1, max_size=9))
def test_any_row_of_known_words_is_read(words):
    read(" ".join(words), LEXICON)


# drawing


def art_of(sentence: str, seed: int = 1):
    return arrange(read(sentence, LEXICON), Stage(things(), seed), seed)


@pytest.mark.slow
@pytest.mark.parametrize("sentence", SENTENCES)
def test_every_sentence_of_the_list_is_drawn_within_its_room(sentence):
    picture = Words().read(sentence, A5)
    x0, y0, x1, y1 = picture.drawing.bounds_mm()
    assert x0 >= -0.01
    assert y0 >= -0.01
    assert x1 <= picture.width_mm + 0.01
    assert y1 <= picture.height_mm + 0.01
    assert max(picture.width_mm, picture.height_mm) <= 190.01
    assert len(picture.drawing) > 5
    assert not picture.warnings


def test_the_same_words_and_seed_give_the_same_picture_and_another_seed_another():
    sentence = "three ducks in the forest"
    one, same, other = (Words(seed=seed).read(sentence, A5).drawing for seed in (4, 4, 5))
    assert np.array_equal(one.points_mm, same.points_mm)
    assert not np.array_equal(one.points_mm, other.points_mm)


def test_what_is_in_front_hides_what_is_behind():
    """No stroke of the one behind lies within the outline of the one in front."""
    art = art_of("a cat in front of a castle")
    front = [i for i, s in enumerate(art.shapes) if s.tag == "main"][-1]
    area = art.shapes[front].area.buffer(-0.5)
    for stroke in visible(art.shapes, 0.1):
        if stroke.number < front and len(stroke.points) > 1:
            assert not shapely.linestrings(stroke.points).intersects(area)


@pytest.mark.parametrize(
    ("sentence", "lower", "upper"),
    [
        ("a cat on a table", "table", "cat"),
        ("a bird above a house", "house", "bird"),
        ("a mouse on an elephant", "elephant", "mouse"),
    ],
)
def test_what_is_on_top_is_higher(sentence, lower, upper):
    stage = Stage(things(), 1)
    seat = stage.plain(lower).art.place("seat").y
    assert art_of(sentence).bounds()[3] > seat + 0.7 * stage.plain(upper).art.height


def group_of(sentence: str):
    return Stage(things(), 1).group(subject(sentence))


@pytest.mark.parametrize(
    "sentence",
    ["a king with a parrot on his shoulder", "a monkey photographing a lion", "a fisherman mending a net",
     "a man feeding pigeons", "a crocodile brushing its teeth", "a mermaid combing her hair on a rock",
     "a snowman holding a broom", "a donkey carrying a sofa", "a panda eating bamboo"],
)  # fmt: skip
def test_what_is_held_or_borne_leaves_all_faces_to_be_seen(sentence):
    shapes = art_of(sentence).shapes

    def length(strokes) -> float:
        return sum(np.hypot(*np.diff(line, axis=0).T).sum() for line in strokes)

    drawn_eyes = length(line for s in shapes if s.tag == "eye" for line in s.lines)
    seen = length(s.points for s in visible(shapes, 0.0) if s.tag == "eye")
    assert seen >= 0.9 * drawn_eyes > 0


def test_a_ship_fits_into_the_bottle_that_it_is_in():
    stage = Stage(things(), 1)
    ship, bottle = stage.plain("ship"), stage.plain("bottle")
    both = placing.inside(ship, bottle).art
    count = len(ship.art.shapes)
    x0, y0, x1, y1 = Art(both.shapes[:count]).bounds()
    a, b, c, d = Art(both.shapes[count:]).bounds()
    assert a < x0 < x1 < c
    assert b < y0 < y1 < d
    assert x1 - x0 > 0.25 * (c - a)


@pytest.mark.parametrize(("words", "count"), [("two eggs", 2), ("three eggs", 3), ("five eggs", 5)])
def test_each_of_some_eggs_is_seen_before_the_hen(words, count):
    whole, egg = group_of(f"a hen in a nest with {words}").art, Stage(things(), 1).plain("egg").art
    points = len(egg.shapes[0].lines[0])
    eggs = {i for i, s in enumerate(whole.shapes) if s.lines and len(s.lines[0]) == points and s.tag == "front"}
    seen = {s.number for s in visible(whole.shapes, 1.0)}
    assert len(eggs & seen) == count


def test_a_wolf_howls_with_its_head_up():
    calm, howls = group_of("a wolf").art, group_of("a wolf howling at the moon").art
    assert calm.place("mouth").y < calm.place("eyes").y < howls.place("mouth").y


@pytest.mark.parametrize("name", ["boy", "dragon", "cat"])
def test_who_sleeps_lies(name):
    awake, asleep = group_of(f"a {name}").art, group_of(f"a {name} sleeping").art
    body = Art(tuple(s for s in asleep.shapes if s.tag in ("main", "skin", "leg")))
    standing = Art(tuple(s for s in awake.shapes if s.tag in ("main", "skin", "leg")))
    assert body.height < 0.9 * standing.height


def test_who_pushes_a_wheelbarrow_has_its_handles_in_hand():
    bars = Stage(things(), 1).plain("wheelbarrow").art.place("bars")
    for name in ("man", "donkey", "mouse"):
        hand = group_of(f"a {name} pushing a wheelbarrow").art.place("hand")
        assert hand.y == pytest.approx(bars.y, abs=3.0), name
    pram = group_of("a man pushing a pram").art  # its bars are at the right, so it is turned round
    hand = pram.place("hand")
    wheels = [Art((s,)).bounds() for s in pram.shapes if s.tag == "front"]
    assert min(x0 for x0, *_ in wheels) < hand.x + 4
    assert sum(x0 for x0, *_ in wheels) / len(wheels) > hand.x + 4


def test_a_house_takes_the_place_of_a_shell_and_a_statue_that_of_the_bust():
    assert any(s.tag == "shell" for s in group_of("a snail").art.shapes)
    assert not any(s.tag == "shell" for s in group_of("a snail with a house").art.shapes)
    assert any(s.tag == "bust" for s in group_of("a statue").art.shapes)
    assert not any(s.tag == "bust" for s in group_of("a statue of a pigeon").art.shapes)


def test_under_water_people_swim_and_on_a_broom_they_fly():
    def tilt(sentence: str) -> float:
        """How much wider than high the boots and the helmet's glass lie apart."""
        shapes = art_of(sentence).shapes
        feet = np.array([Art((s,)).bounds()[:2] for s in shapes if s.tag == "foot"]).mean(axis=0)
        eyes = np.array([Art((s,)).bounds()[:2] for s in shapes if s.tag == "eye"][-2:]).mean(axis=0)
        across, up = np.abs(eyes - feet)
        return float(across / up)

    assert tilt("a diver") < 0.5 < 2 < tilt("a diver under water")
    assert group_of("a witch on a broom").up
    assert not group_of("a witch").up


def test_what_is_pulled_out_of_a_hat_stands_below_the_hand_and_hangs_on_no_rope():
    pulls = group_of("a magician pulling a rabbit").art
    takes_out = group_of("a magician pulling a rabbit out of a hat").art
    assert [s.tag for s in pulls.shapes].count("sign") == 1
    assert "sign" not in {s.tag for s in takes_out.shapes}
    assert takes_out.width < 0.8 * pulls.width


def test_a_colour_is_a_pen_and_goes_to_the_nearest_pen_that_there_is():
    from linewright.drawing.strokes import Pen

    drawing = Words().read("a red balloon and a house", A5).drawing
    assert [pen.name for pen in drawing.pens] == ["black", "red"]
    assert set(drawing.pen.tolist()) == {0, 1}
    mine = (Pen("ink", "#101010"), Pen("rust", "#b03020"), Pen("sea", "#1f6f8b"))
    drawing = Words().read("a red balloon and a house", Wish((128.0, 190.0), pens=mine)).drawing
    assert drawing.pens == mine
    assert set(drawing.pen.tolist()) == {0, 1}


def test_a_caption_is_written_below_whatever_it_contains():
    plain = Words().read("a cat; $(rm -rf /) <svg>", A5)
    written = Words(caption="sentence").read("a cat; $(rm -rf /) <svg>", A5)
    assert len(written.drawing) > len(plain.drawing)
    assert written.drawing.bounds_mm()[3] <= written.height_mm + 0.01


# things of one's own

BUOY = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="60mm" viewBox="0 0 40 60">'
    '<path d="M5 40 L20 5 L35 40 Z" fill="none" stroke="black"/><path d="M2 50 H38" stroke="black"/></svg>'
)


def test_an_svg_becomes_a_thing(tmp_path):
    file = tmp_path / "marker.svg"
    file.write_text(BUOY, encoding="utf-8")
    path = own.add(file, "Marker Cone", {"top": (20, 5), "seat": (20, 5), "grip": (20, 30)}, size=0.5)
    assert path.exists()
    found, wrong = own.load()
    assert (sorted(found), wrong) == (["marker cone"], [])
    picture = Words().read("a bird on a marker cone", A5)
    assert picture.warnings == ()
    assert len(picture.drawing) > len(Words().read("a bird", A5).drawing)


def test_a_thing_of_ones_own_is_replaced_only_when_that_is_said(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("marker.svg").write_text(BUOY, encoding="utf-8")
    Path("other.svg").write_text(BUOY.replace("L20 5", "L20 15"), encoding="utf-8")
    assert cli.run(["words", "add", "marker.svg", "--name", "Owl"]) == 0
    assert '"an owl in the rain"' in capsys.readouterr().out
    (kept,) = own.folder().iterdir()
    before = kept.read_bytes()
    assert cli.run(["words", "add", "other.svg", "--name", "owl"]) == 2
    assert "you have a thing called 'owl' already" in capsys.readouterr().err
    assert kept.read_bytes() == before
    assert cli.run(["words", "add", "other.svg", "--name", "owl", "--replace"]) == 0
    assert kept.read_bytes() != before


@pytest.mark.parametrize(
    ("name", "places", "match"),
    [
        ("2", {}, "no name"),
        ("cone", {"elbow": (1, 1)}, "no place"),
        ("cone", {"top": (900, 5)}, "far from the drawing"),
    ],
)
def test_what_cannot_become_a_thing_leaves_nothing_behind(tmp_path, name, places, match):
    from linewright.errors import InputError

    file = tmp_path / "marker.svg"
    file.write_text(BUOY, encoding="utf-8")
    with pytest.raises(InputError, match=match):
        own.add(file, name, places)
    assert own.load() == ({}, [])


def test_a_damaged_thing_is_left_out_and_told(tmp_path):
    own.folder().mkdir(parents=True)
    (own.folder() / f"bad{own.SUFFIX}").write_text('{"name": "bad"}', encoding="utf-8")
    assert own.load()[0] == {}
    assert any("is left out" in line for line in Words().read("a cat", A5).warnings)


def test_all_clothes_can_be_shown_on_the_picture_sheet():
    stage = Stage(things(), 1)
    for name, thing in things().items():
        if thing.worn and (thing.on_body or thing.natural().shapes):
            assert stage.shown(name).shapes, name
    # A garment without its own shape is drawn on a figure.
    bare = stage.plain("woman").art
    assert len(stage.shown("apron").shapes) != len(bare.shapes) or stage.shown("apron").bounds() != bare.bounds()


def test_the_picture_sheet_on_the_command_line(tmp_path):
    from PIL import Image

    from linewright import cli

    assert cli.run(["words", "sheet", str(tmp_path / "boots.png"), "boot"]) == 0
    with Image.open(tmp_path / "boots.png") as picture:
        assert picture.width > 200
