"""`linewright arrange` and the placement options; the examples of docs/ARRANGEMENTS.md are run."""

import json
import re
import shlex
from pathlib import Path

import pytest

from linewright import cli
from linewright.planning import arrangement_file
from linewright.planning.arrangement import Item, Repeat
from linewright.sources.svg import read_svg

GUIDE = (Path(__file__).resolve().parents[2] / "docs" / "ARRANGEMENTS.md").read_text(encoding="utf-8")

HERON = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20">'
    '<g fill="none" stroke="black"><rect width="40" height="20"/><path d="M5 15 L10 5"/></g></svg>'
)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    Path("heron.svg").write_text(HERON)


def run(words: str, code: int = 0) -> None:
    assert cli.run(shlex.split(words)) == code


def test_items_are_put_down_moved_listed_and_taken_off(capsys):
    run("arrange add card.toml heron.svg --at 20,30 --size 60 --sheet A5")
    run("arrange add card.toml --text Quay --at=-3,4 --turn 20 --copies 2x3 --gap 1,2 --id name")
    run("arrange move card.toml heron --by 5,-5 --turn 12 --mirror --size 0 --height 22 --align centre")
    found = arrangement_file.load("card.toml")
    assert found.sheet == "A5"
    assert found.item("heron") == Item(
        "heron", source="heron.svg", at_mm=(25.0, 25.0), height_mm=22.0, turn_deg=12.0, mirror=True, align="centre"
    )
    assert found.item("name") == Item(
        "name", text="Quay", at_mm=(-3.0, 4.0), turn_deg=20.0, repeat=Repeat(2, 3, (1.0, 2.0))
    )
    run('arrange move card.toml heron --pens "black, sea #1f6f8b" --pen-for "#d8622a=sea, #1f3347=black"')
    assert arrangement_file.load("card.toml").item("heron").pen_for == (("#d8622a", "sea"), ("#1f3347", "black"))
    run("arrange move card.toml heron --pen-for ''")
    assert arrangement_file.load("card.toml").item("heron").pen_for == ()
    capsys.readouterr()
    run("arrange list card.toml --json")
    told = json.loads(capsys.readouterr().out)
    assert told["sheet_mm"] == [148.0, 210.0]
    assert [item["id"] for item in told["items"]] == ["heron", "name"]
    run("arrange list card.toml")
    assert re.search(
        r"heron +heron\.svg +at 25, 25 mm \(centre\) +22 mm high +12 deg mirrored", capsys.readouterr().out
    )
    run("arrange remove card.toml heron")
    assert [item.id for item in arrangement_file.load("card.toml").items] == ["name"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("add card.toml none.svg", "none.svg: there is no such file"),
        ("add card.toml", "an item is one of SOURCE, --text, --text-file, --sentence and --pattern"),
        ("add card.toml heron.svg --at 20", "--at 20 is not two lengths in mm"),
        ("add card.toml heron.svg --at nan,3", "--at nan,3 is not two lengths in mm"),
        ("add card.toml heron.svg --at 1e9,3", "--at 1e9,3 is not two lengths in mm"),
        ("add card.toml heron.svg --size -4", "item.width_mm: -4: it should be greater"),
        ("add card.toml heron.svg --copies 3", "--copies 3 is not COLUMNSxROWS"),
        ("add card.toml heron.svg --pens black --pen-for sea", "--pen-for 'sea' is not COLOUR=PEN"),
        ("add card.toml heron.svg --pens black --pen-for red=sea", "pen_for: there is no pen 'sea' among pens"),
        ("add card.toml heron.svg --align middle", "item.align: 'middle'"),
        ("move card.toml a --at 1,2", "there is no such file"),
    ],
)
def test_what_is_wrong_is_told_and_no_file_appears(words, told, capsys):
    run(f"arrange {words}", 2)
    assert told in capsys.readouterr().err
    assert not Path("card.toml").exists()


def test_a_picture_goes_where_the_options_say(capsys):
    run("lines heron.svg -o out.svg --sheet A5 --at 20,30 --size 80 --turn 90")
    assert read_svg("out.svg").drawing.bounds_mm() == pytest.approx((20.0, 30.0, 60.0, 110.0), abs=2e-3)
    run("lines --text HHH --as lettering:size_mm=10 -o text.svg --sheet A5 --at 20,30")
    left, top, _, foot = read_svg("text.svg").drawing.bounds_mm()
    assert foot - top == pytest.approx(10.0, abs=1e-3)
    assert 20.0 <= left < 22.0  # an H has some air at its left
    assert top == pytest.approx(30.0, abs=0.1)  # the letters of a face have not all one height
    run("plan heron.svg --size 1e9", 2)
    run("plan heron.svg --turn askew", 2)
    told = capsys.readouterr().err
    assert "--size 1e+09 is outside 0.1..20000 mm" in told
    assert "--turn askew is not an angle" in told


def examples(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", GUIDE, re.DOTALL)


def arrangement_with(words: str) -> str:
    (found,) = [text for text in examples("toml") if words in text]
    return found


def test_the_guides_commands_do_what_it_says(capsys):
    Path("series.toml").write_text(arrangement_with("{name}"))
    Path("names.csv").write_text(*examples("csv"))
    for block in examples("sh"):
        for line in block.splitlines():
            words = shlex.split(line, comments=True)[1:]
            more = ["--no-pictures"] if words[0] == "plan" else []
            assert cli.run([*words, *more]) == 0, (line, capsys.readouterr().err)
    # 500 x 250 mm on upright A4, of which 190 x 277 less marks and overlap: three columns and one row.
    assert sorted(path.name for path in Path("poster").iterdir()) == [
        f"heron-{column}-row1-column{column}.lw" for column in (1, 2, 3)
    ]
    assert sorted(path.name for path in Path("cards").iterdir()) == [
        "series-1-ida.lw",
        "series-2-bo-larsen.lw",
    ]


@pytest.mark.parametrize("text", [text for text in examples("toml") if "{name}" not in text])
def test_the_guides_arrangements_can_be_drawn(text, capsys):
    Path("card.toml").write_text(text)
    run("plan card.toml --no-pictures --json")
    json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("", "it has no rows"),
        ("name,picture\n", "it has no rows"),
        ("name,name\na,b\n", "two columns are called 'name'"),
        ("name,picture\nIda\n", "line 2 has 1 column, the first row names 2"),
        ("name,picture\nIda\0,heron\n", "line 2 has a character of code 0"),
        ("name,drawing\nIda,heron\n", "item heron asks for the column 'picture', which does not exist"),
        ("name;picture\nIda;none\n", "names.csv, line 2: item picture: none.svg: there is no such file"),
        ("name,picture\n" + "x" * 200_000 + ",heron\n", "line 2"),
    ],
)
def test_a_table_that_does_not_fill_the_arrangement_is_refused_before_anything_is_planned(table, told, capsys):
    Path("series.toml").write_text(arrangement_with("{name}"))
    Path("names.csv").write_text(table)
    run("plan series.toml --series names.csv -o cards --no-pictures", 2)
    assert told.replace("item heron", "item picture") in capsys.readouterr().err
    assert not any(Path().rglob("*.lw"))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("plan heron.svg --poster", "--poster needs --size"),
        ("plan heron.svg --series names.csv", "--series fills an arrangement"),
        ("plan heron.svg --poster --size 9000 --sheet A6", "are more than the limit, 400"),
        ("plan heron.svg --poster --size 300 --sheet 40x40mm", "is too small for a poster"),
        ("plan heron.svg --poster --size 300 -o one.lw", "one.lw names one program, and several sheets are planned"),
        ("draw poster.toml", "it is a poster of several sheets"),
    ],
)
def test_posters_that_cannot_be_are_refused(words, told, capsys):
    Path("poster.toml").write_text(arrangement_with("[poster]"))
    run(words, 2)
    assert told in capsys.readouterr().err
