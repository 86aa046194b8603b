"""Arrangements as values and files: reading, errors with line numbers, and edits that keep the rest."""

import tomllib
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linewright.errors import InputError, SourceError
from linewright.planning import arrangement_file
from linewright.planning.arrangement import (
    Arrangement,
    Item,
    Poster,
    Repeat,
    free_id,
    from_json,
    is_one,
    read,
    to_json,
)
from linewright.rig.toml_lines import find_places

CARD = '''\
# the card of the fair
sheet = "A6 landscape"   # as we have them
margin_mm = 5

# the bird of the reeds
[[item]]
id = "heron"
source = "pictures/heron.svg"
width_mm = 60   # measured on the card

# what is written below it
[[item]]
text = """
Marrow Quay [[item]]
id = 3"""
as = "lettering:size_mm=5"
at_mm = [20, 70.5]
turn_deg = -3
[item.repeat]
columns = 2   # left and right
gap_mm = [10, 0]

[[item]]
id = "ring"
pattern = "wheels:seed=3"
mirror = true
align = "bottom-right"
# the end
'''


def refused(text: str) -> list[str]:
    with pytest.raises(SourceError) as caught:
        read(text, "card.toml")
    return str(caught.value).splitlines()


def test_everything_in_the_file_is_in_the_value():
    assert read(CARD) == Arrangement(
        sheet="A6 landscape",
        margin_mm=5.0,
        items=(
            Item("heron", source="pictures/heron.svg", width_mm=60.0),
            Item(
                "marrow-quay-item-id",
                text="Marrow Quay [[item]]\nid = 3",
                method="lettering:size_mm=5",
                at_mm=(20.0, 70.5),
                turn_deg=-3.0,
                repeat=Repeat(columns=2, gap_mm=(10.0, 0.0)),
            ),
            Item("ring", pattern="wheels:seed=3", mirror=True, align="bottom-right"),
        ),
    )


@pytest.mark.parametrize(
    ("line", "instead", "words"),
    [
        ("width_mm = 60   # measured on the card", "width_mm = -3", "line 9: item.width_mm: -3: it should be greater"),
        ("width_mm = 60   # measured on the card", "width_mm = nan", "line 9: item.width_mm"),
        ("width_mm = 60   # measured on the card", "width_mm = 1e9", "line 9: item.width_mm"),
        ("width_mm = 60   # measured on the card", "width_mm = true", "line 9: item.width_mm: it should be a number"),
        ("width_mm = 60   # measured on the card", 'width_mm = "60"', "line 9: item.width_mm: it should be a number"),
        ("width_mm = 60   # measured on the card", "width = 60", "line 9: item.width: there is no such key; did you"),
        ("at_mm = [20, 70.5]", "at_mm = [20]", "line 17: item.at_mm: it should be two numbers"),
        ("at_mm = [20, 70.5]", "at_mm = [20, inf]", "line 17: item.at_mm"),
        ("columns = 2   # left and right", "columns = 0", "line 20: item.repeat.columns: 0"),
        ("columns = 2   # left and right", "columns = 2.5", "line 20: item.repeat.columns: it should be a whole"),
        ("mirror = true", "mirror = 1", "line 26: item.mirror: 1: it should be true or false"),
        ('id = "ring"', 'id = "heron"', "line 24: id: an earlier item has the id 'heron'"),
        ('id = "ring"', 'id = "a ring"', "line 24: item.id: 'a ring' may contain only letters"),
        ('pattern = "wheels:seed=3"', 'pattern = "weels"', "line 25: pattern: there is no pattern 'weels'; did you me"),
        ('pattern = "wheels:seed=3"', 'pattern = "wheels:seed=x"', "line 25: pattern: wheels: seed = x is not a whole"),
        ('pattern = "wheels:seed=3"', 'pattern = "hatching"', "line 25: pattern: hatching takes a photograph"),
        ('pattern = "wheels:seed=3"', "", "line 23: there is none of source, text, text_file and pattern"),
        ('source = "pictures/heron.svg"', 'source = "a.svg"\ntext = "b"', "line 9: source and text are given"),
        ('source = "pictures/heron.svg"', 'source = "a.svg"\npens = "black, blak"', "line 9: pens: "),
        (
            'source = "pictures/heron.svg"',
            'source = "a.svg"\npen_for = { red = "sea" }',
            "line 9: pen_for: it needs",
        ),
        (
            'source = "pictures/heron.svg"',
            'source = "a.svg"\npens = "black, red"\npen_for = { red = "sea" }',
            "line 10: pen_for: there is no pen 'sea' among pens; there are black, red",
        ),
        (
            'source = "pictures/heron.svg"',
            'source = "a.svg"\npen_for = "sea"',
            "line 9: item.pen_for: 'sea': it should",
        ),
        ('source = "pictures/heron.svg"', 'source = "a.svg"\npen_for = { red = 3 }', "line 9: item.pen_for"),
        (
            "mirror = true",
            'pen_for = { red = "sea" }',
            "line 26: pen_for: it applies only to a drawing file whose lines are drawn as they are",
        ),
        ('source = "pictures/heron.svg"', 'source = "a.svg"\nas = "wheels"', "line 9: as: wheels takes no source"),
        ('sheet = "A6 landscape"   # as we have them', 'sheet = "A66"', "line 2: sheet: there is no sheet size 'A66'"),
        ("margin_mm = 5", 'poster = { sheet = "A44" }', "line 3: poster.sheet: there is no sheet size 'A44'"),
    ],
)
def test_an_error_names_its_line(line, instead, words):
    assert CARD.count(line) == 1
    lines = refused(CARD.replace(line, instead))
    assert lines[0] == "card.toml: this is not a valid arrangement:"
    assert len(lines) == 2
    assert lines[1].strip().startswith(words)


def test_all_that_is_wrong_is_told_at_once_in_the_order_of_the_lines():
    lines = refused('[[item]]\nwidth_mm = 0\nsource = 3\n[[item]]\nturn_deg = nan\ntext = "a"\nanchor = 1\n')
    assert [line.strip().split(":")[0] for line in lines[1:]] == ["line 2", "line 3", "line 5", "line 7"]


@pytest.mark.parametrize("text", ["item = 3", "[item]\nid = 'a'", "item = [3]", "a = [[[", "\0", "item = [[1]]"])
def test_what_is_no_arrangement_is_refused_in_one_piece(text):
    assert refused(text)[0].startswith("card.toml: ")


def test_a_table_among_the_items_is_refused():
    text = '[[item]]\nsource = "a.svg"\n[poster]\n[[item]]\nsource = "b.svg"\n'
    assert "poster: the table [poster] is among the items; move it above them" in refused(text)[1]


def test_more_items_than_may_lie_on_a_sheet_are_refused_before_any_is_looked_at():
    (line,) = refused(3 * "[[item]]\nid = 3\n" * 334)[1:]
    assert line.strip() == "item: 1002 items, the limit is 1000; use repeat for copies"


def test_deep_nesting_is_refused():
    assert refused("a = " + "[" * 100_000)[0].startswith("card.toml: no TOML")


# The lines of keys


def test_tables_of_an_array_have_their_number_in_the_path():
    places = find_places(CARD)
    lines = CARD.splitlines()
    for path, line in places.items():
        word = path[-1] if not path[-1].isdigit() else path[-2]
        assert word in lines[line - 1]
    assert places["item", "1", "repeat", "columns"] == 1 + lines.index("columns = 2   # left and right")


def test_brackets_in_strings_do_not_hide_the_keys_behind_them():
    text = 'a = "one [ and n"\nb = 1\nc = \'two [\'\nd = ["[", 3]\ne = 5\n'
    assert [find_places(text)[key,] for key in "abcde"] == [1, 2, 3, 4, 5]


# Changes of the text


def test_a_text_that_says_it_already_stays_as_it_is_but_for_ids():
    text = CARD.replace("[[item]]\ntext", '[[item]]\nid = "words"\ntext')
    assert arrangement_file.changed_text(text, read(text)) == text


def test_a_change_touches_its_own_line_only():
    text = arrangement_file.changed_text(CARD, read(CARD))
    before = read(text)
    after = arrangement_file.changed_text(
        text, before.changed(replace(before.item("heron"), width_mm=72.5, turn_deg=4.0))
    )
    new = [line for line in after.splitlines() if line not in text.splitlines()]
    assert new == ["width_mm = 72.5   # measured on the card", "turn_deg = 4"]
    assert set(text.splitlines()) - set(after.splitlines()) == {"width_mm = 60   # measured on the card"}


def test_an_item_that_goes_takes_its_own_comments_and_no_others():
    after = arrangement_file.changed_text(CARD, read(CARD).without("heron"))
    assert "# the bird of the reeds" not in after
    assert "# what is written below it" in after
    assert "# the card of the fair" in after
    assert [item["pattern"] for item in tomllib.loads(after)["item"] if "pattern" in item] == ["wheels:seed=3"]


def test_items_keep_their_text_when_their_order_changes():
    value = read(CARD)
    turned = replace(value, items=value.items[::-1])
    after = arrangement_file.changed_text(CARD, turned)
    assert read(after) == turned
    assert after.index("# the end") < after.index("# what is written below it") < after.index("# the bird of the reeds")


def test_line_ends_and_byte_order_mark_stay():
    text = "\ufeff" + CARD.replace("\n", "\r\n")
    value = read(CARD)
    after = arrangement_file.changed_text(text, value.added(Item(text="two\nlines")))
    assert after.startswith("\ufeff#")
    assert after.count("\n") == after.count("\r\n")
    assert read(after.removeprefix("\ufeff")).item("two-lines").text == "two\nlines"


names = st.from_regex(r"[\w.-]{1,12}", fullmatch=True)
sizes = st.none() | st.floats(0.1, 2000.0)
texts = st.text(st.characters(codec="utf-8", exclude_characters="\r"), min_size=1, max_size=40)
repeats = st.none() | st.builds(
    Repeat, st.integers(1, 9), st.integers(1, 9), st.tuples(st.floats(0, 50), st.floats(0, 50))
)
items = st.builds(
    Item,
    id=names,
    text=texts,
    method=st.none() | st.just("lettering:size_mm=4"),
    pens=st.none() | st.just("black, sea #1f6f8b 0.3"),
    pen_by=st.sampled_from(["colour", "layer"]),
    at_mm=st.none() | st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)),
    align=st.none() | st.sampled_from(["top-left", "centre", "bottom"]),
    width_mm=sizes,
    height_mm=sizes,
    fit=st.sampled_from(["fit", "keep"]),
    turn_deg=st.floats(-360, 360),
    mirror=st.booleans(),
    repeat=repeats,
)
arrangements = st.builds(
    Arrangement,
    sheet=st.sampled_from(["A4", "210x297mm"]),
    margin_mm=st.none() | st.floats(0, 100),
    poster=st.none() | st.builds(Poster, st.none() | st.just("A3"), st.floats(0, 50)),
    items=st.lists(items, max_size=5, unique_by=lambda item: item.id).map(tuple),
)


@settings(max_examples=25)
@given(arrangements, arrangements)
def test_any_arrangement_comes_back_from_its_text_whatever_stood_there(before, after):
    text = arrangement_file.changed_text(arrangement_file.BEGINNING, before)
    assert read(text) == before
    text = text.replace("[[item]]", "\n# a note\n[[item]]")
    changed = arrangement_file.changed_text(text, after)
    assert read(changed) == after
    kept = {item.id for item in before.items} & {item.id for item in after.items}
    assert changed.count("# a note") == text.count("# a note") - len(before.items) + len(kept)
    # After undoing the change, the value is the same.
    assert read(arrangement_file.changed_text(changed, before)) == before


@pytest.mark.parametrize(
    "table", ['pen_for = { "#1f6f8b" = "sea" }  # mine\n', '[item.pen_for]\n"#1f6f8b" = "sea"  # mine\n']
)
def test_pens_chosen_for_colours_are_changed_where_they_stand(table):
    text = f'[[item]]\nid = "a"\nsource = "a.svg"\npens = "black, sea #1f6f8b"\n{table}'
    value = read(text)
    assert value.items[0].pen_for == (("#1f6f8b", "sea"),)
    assert from_json(to_json(value)) == value
    wanted = replace(value.items[0], pen_for=(("#1f6f8b", "black"), ("on = deck", "sea")))
    changed = arrangement_file.changed_text(text, value.changed(wanted))
    assert read(changed).items[0] == wanted
    assert "# mine" in changed
    assert "pen_for" not in arrangement_file.changed_text(changed, value.changed(replace(wanted, pen_for=())))


def test_a_poster_among_the_plain_keys_is_changed_where_it_stands():
    text = 'poster = { sheet = "A4" }  # four of them\nsheet = "600x400mm"\n[[item]]\nid = "a"\nsource = "a.svg"\n'
    value = read(text)
    larger = arrangement_file.changed_text(text, replace(value, poster=Poster("A3", 4.0)))
    assert larger.startswith('poster = { sheet = "A3", overlap_mm = 4}  # four of them\nsheet')
    assert "poster" not in arrangement_file.changed_text(larger, replace(value, poster=None))


def test_items_in_one_list_are_read_and_not_changed():
    text = 'item = [{ id = "a", source = "a.svg" }]\n'
    with pytest.raises(SourceError, match="cannot edit"):
        arrangement_file.changed_text(text, read(text).without("a"))


# Files


def test_a_file_is_written_whole_or_not_at_all(tmp_path):
    path = tmp_path / "card.toml"
    path.write_text(CARD, encoding="utf-8")
    value = arrangement_file.load(path)
    with pytest.raises(InputError, match="after the change"):
        arrangement_file.save(path, value.changed(replace(value.item("heron"), width_mm=-1.0)))
    assert path.read_text(encoding="utf-8") == CARD
    assert [one.name for one in tmp_path.iterdir()] == ["card.toml"]
    arrangement_file.save(path, value.without("ring"))
    assert arrangement_file.load(path) == value.without("ring")


def test_a_new_file_says_what_it_is(tmp_path):
    path = tmp_path / "new.toml"
    arrangement_file.save(path, Arrangement().added(Item(source="heron.svg")))
    assert path.read_text(encoding="utf-8").startswith("# What lies on the sheet.")
    assert arrangement_file.load(path).items == (Item("heron", source="heron.svg"),)


@pytest.mark.parametrize("data", [b"\xff\xfe", b"#" * (arrangement_file.FILE_HIGH_BYTES + 1)])
def test_other_files_are_refused(tmp_path, data):
    path = tmp_path / "card.toml"
    path.write_bytes(data)
    with pytest.raises(SourceError, match=r"card\.toml"):
        arrangement_file.load(path)


def test_missing_files_and_folders_are_refused(tmp_path):
    with pytest.raises(SourceError, match="there is no such file"):
        arrangement_file.load(tmp_path / "none.toml")
    with pytest.raises(SourceError, match="that is a folder"):
        arrangement_file.load(tmp_path)
    with pytest.raises(InputError, match=r"does not end in \.toml"):
        arrangement_file.save(tmp_path / "card.txt", Arrangement())
    with pytest.raises(InputError, match="cannot write"):
        arrangement_file.save(tmp_path / "no" / "card.toml", Arrangement())


# Values


def test_a_change_makes_a_new_value():
    first = Arrangement().added(Item(source="heron.svg"))
    second = first.added(Item(source="pond/heron.svg"))
    assert [item.id for item in second.items] == ["heron", "heron-2"]
    assert [item.id for item in first.items] == ["heron"]
    assert second.changed(replace(second.item("heron"), mirror=True)).item("heron").mirror
    with pytest.raises(InputError, match="there is no item 'hern'") as caught:
        second.item("hern")
    assert caught.value.hint == "did you mean heron?"
    with pytest.raises(InputError, match="already"):
        second.added(Item("heron", source="a.svg"))


def test_an_id_says_what_the_item_is():
    assert free_id(Item(text="For Ida: 3 herrings!"), set()) == "for-ida-3-herrings"
    assert free_id(Item(pattern="wheels:seed=3"), {"wheels"}) == "wheels-2"
    assert free_id(Item(text="???"), set()) == "item"


def test_arrangements_are_known_by_their_name():
    assert is_one("a/card.TOML")
    assert not is_one("card.svg")
