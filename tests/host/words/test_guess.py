"""The guessing game: the secret is kept, guesses are judged, and revealing strokes come last."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from linewright import cli
from linewright.drawing.strokes import Drawing
from linewright.sources.picture import Wish
from linewright.sources.words import guessing
from linewright.sources.words.inventing import SUBJECTS, invent
from linewright.sources.words.lexicon import Lexicon
from linewright.sources.words.reading import read
from linewright.sources.words.staging import Stage
from linewright.sources.words.store import names, things
from linewright.sources.words.way import placed

SECRET = guessing.pick(random.Random(7))


@pytest.mark.parametrize(
    ("guess", "secret", "kind"),
    [
        ("an elephant", "elephant", "right"), ("Elephants!", "elephant", "right"), ("elefant", "elephant", "right"),
        ("is it a seagull?", "gull", "right"), ("a tiger", "elephant", "near"), ("balloon", "hot air balloon", "near"),
        ("a teapot", "elephant", "wrong"), ("", "elephant", "wrong"), ("xyzzy", "elephant", "wrong"),
        ("bike", "bicycle", "right"),
    ],
)  # fmt: skip
def test_guesses_are_judged(guess, secret, kind):
    assert guessing.judge(guess, secret).kind == kind


def test_no_verdict_gives_the_secret_away_before_it_is_right():
    for secret in SUBJECTS:
        for guess in ("a", "dog", "house", "nonsense", secret[:2]):
            verdict = guessing.judge(guess, secret)
            assert verdict.kind == "right" or secret not in verdict.words


@pytest.mark.parametrize("name", ["elephant", "bicycle", "octopus"])
def test_a_drawing_comes_in_parts_of_about_equal_length_and_nothing_is_lost(name):
    drawing, _, _ = placed(Stage(things(), 1).plain(name).art, Wish((128.0, 190.0)))
    parts = guessing.stages(drawing)
    lengths = [float(part.stroke_lengths_mm().sum()) for part in parts]
    assert len(parts) == guessing.STAGES
    assert sum(lengths) == pytest.approx(float(drawing.stroke_lengths_mm().sum()))
    assert min(lengths) > 0.3 * max(lengths)


def test_the_earlier_a_guess_the_more_it_is_worth():
    assert [guessing.worth(shown, 6) for shown in range(1, 7)] == [6, 5, 4, 3, 2, 1]


def test_the_eyes_come_in_the_second_half():
    drawing, _, _ = placed(Stage(things(), 1).plain("owl").art, Wish((128.0, 190.0)))
    first = Drawing.one_after_the_other(guessing.stages(drawing)[:3])
    x0, y0, x1, y1 = drawing.bounds_mm()
    head = y0 + 0.3 * (y1 - y0)
    early = first.points_mm[:, 1] < head
    late = np.vstack([part.points_mm for part in guessing.stages(drawing)[3:]])[:, 1] < head
    assert early.mean() < late.mean()
    assert x1 > x0


def test_the_secret_is_nowhere_until_it_is_guessed(tmp_path, monkeypatch, capsys):
    """At every question, neither what has been printed nor any file, by name or content, has the secret in it."""
    for kind in ("CONFIG", "STATE", "CACHE"):
        monkeypatch.setenv(f"XDG_{kind}_HOME", str(tmp_path / kind.lower()))
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    answers = iter(["a teapot", "", "a stone", "", f"is it a {SECRET}?"])
    asked = []

    def answer(prompt: str = "") -> str:
        out = capsys.readouterr()
        shown = prompt + out.out + out.err
        for path in Path(tmp_path).rglob("*"):
            shown += path.name
            if path.is_file():
                shown += path.read_bytes().decode("latin-1")
        asked.append(prompt)
        assert SECRET not in shown.lower()
        assert all(word not in shown.lower() for word in things()[SECRET].also)
        return next(answers)

    monkeypatch.setattr("builtins.input", answer)
    assert cli.run(["guess", "--seed", "7", "--pictures", str(tmp_path / "out")]) == 0
    out = capsys.readouterr().out
    assert len(asked) == 5
    assert f"yes, it is {guessing.with_article(SECRET)}" in out
    assert "points: you 4" in out
    assert (tmp_path / "out" / "guess.png").exists()


def test_two_players_take_turns_and_giving_up_tells(tmp_path, monkeypatch, capsys):
    prompts = []

    def answer(prompt: str = "") -> str:
        prompts.append(prompt)
        return ["a spoon", "a fork", "give up"][len(prompts) - 1]

    monkeypatch.setattr("builtins.input", answer)
    assert cli.run(["guess", "--players", "2", "--seed", "7", "--pictures", str(tmp_path)]) == 0
    assert prompts == ["player 1: ", "player 2: ", "player 1: "]
    assert f"it was {guessing.with_article(SECRET)}" in capsys.readouterr().out


@pytest.mark.slow
def test_the_game_on_a_machine_keeps_its_secret_too(tmp_path, monkeypatch, capsys):
    """Logs, journals and the machine's files do not contain the secret while it is drawn."""
    for kind in ("CONFIG", "STATE", "CACHE", "DATA"):
        monkeypatch.setenv(f"XDG_{kind}_HOME", str(tmp_path / kind.lower()))
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    answers = iter(["a teapot", "", f"a {SECRET}"])

    def answer(prompt: str = "") -> str:
        out = capsys.readouterr()
        assert SECRET not in (prompt + out.out + out.err).lower()
        assert not hidden_in(tmp_path)
        return next(answers)

    monkeypatch.setattr("builtins.input", answer)
    arguments = ["guess", "--seed", "7", "--port", "virtual", "--pictures", str(tmp_path / "out")]
    assert cli.run(arguments) == 0
    assert "points: you 5" in capsys.readouterr().out


def hidden_in(folder: Path) -> list[Path]:
    """Files that have the secret in their name or in their bytes."""
    return [
        path
        for path in folder.rglob("*")
        if SECRET in path.name or (path.is_file() and SECRET.encode() in path.read_bytes().lower())
    ]


def test_the_search_for_the_secret_finds_it(tmp_path):
    assert hidden_in(tmp_path) == []
    (tmp_path / f"{SECRET}.png").write_bytes(b"")
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / "log.json").write_text(f'{{"sentence": "a {SECRET.title()}"}}')
    assert len(hidden_in(tmp_path)) == 2


def test_subjects_are_in_the_store_and_invented_sentences_are_understood():
    assert set(SUBJECTS) <= set(things())
    lexicon = Lexicon(names())
    for seed in range(150):
        reading = read(invent(random.Random(seed)), lexicon)
        assert reading.unknown == {}
        assert reading.subjects
