"""Picture makers: programs, and a real HTTP server on loopback that hangs, sends wrong data, or disconnects."""

from __future__ import annotations

import json
import os
import random
import socket
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from linewright import cli
from linewright.errors import MakerError
from linewright.maker import EXAMPLE, find_maker, kinds, load_maker, picture_of, shelf, subjects
from linewright.maker.setup import Maker
from picture_server import SVG, png, serving

WORDS = "a heron in a rain hat"
SECRET = "s3cret-key-4711"


@pytest.fixture(autouse=True)
def _own_folders(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("STATE", "CONFIG", "CACHE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / name.lower()))
    monkeypatch.setenv("PAINTER_KEY", SECRET)


@pytest.fixture
def server():
    with serving() as made:
        yield made


def at(server, path: str, **more: object) -> Maker:
    endpoint = {
        "url": f"{server.url}/{path}",
        "headers": {"Authorization": "Bearer ${PAINTER_KEY}"},
        "body": {"words": "{sentence}", "sizes": [512, {"text": "{sentence}!"}]},
        "answer": more.pop("answer", "picture"),
    }
    return Maker.model_validate({"endpoint": endpoint, "timeout_s": 5.0, "attempts": 1, **more})


def program(code: str, *more: str, **settings: object) -> Maker:
    words = [sys.executable, "-c", code, "{sentence}", *more]
    return Maker.model_validate({"command": {"words": words}, "timeout_s": 20.0, **settings})


# An address


@pytest.mark.parametrize(
    ("path", "answer"),
    [
        ("picture", "picture"),
        ("chunked", "picture"),
        ("base64", "base64:images.0.data"),
        ("data-url", "base64:images.0.data"),
        ("data-url", "url:images.0.data"),
        ("url", "url:images.0.url"),
    ],
)
def test_the_picture_is_found_wherever_the_answer_has_it(server, path, answer):
    made = picture_of(WORDS, at(server, path, answer=answer))
    assert made.path.read_bytes() == png()
    assert made.path.suffix == ".png"
    assert not made.kept


def test_the_question_is_what_the_file_says(server):
    maker = at(server, "picture", wording="{sentence}, in ink")
    picture_of('a "heron" \\ in {a} hat', maker)
    method, _, headers, body = server.questions[0]
    assert method == "POST"
    assert headers["Authorization"] == f"Bearer {SECRET}"
    assert headers["Content-Type"] == "application/json"
    words = 'a "heron" \\ in {a} hat, in ink'
    assert json.loads(body) == {"words": words, "sizes": [512, {"text": f"{words}!"}]}


def test_without_a_body_it_is_asked_with_get_and_the_words_are_quoted(server):
    maker = Maker.model_validate({"endpoint": {"url": f"{server.url}/picture?q={{sentence}}"}})
    picture_of("a&b=c #1 ü", maker)
    assert server.questions[0][:2] == ("GET", "/picture?q=a%26b%3Dc%20%231%20%C3%BC")


def test_the_key_goes_to_no_other_address(server):
    picture_of(WORDS, at(server, "url", answer="url:images.0.url"))
    followed = [headers for method, _, headers, _ in server.questions if method == "GET"]
    assert len(followed) == 2
    assert all("Authorization" not in headers for headers in followed)


def test_a_busy_maker_is_asked_again(server):
    assert picture_of(WORDS, at(server, "second-time", attempts=2)).path.exists()
    assert server.times("/second-time") == 2


def test_a_maker_that_charges_is_asked_once(server):
    with pytest.raises(MakerError, match="it answered 503"):
        picture_of(WORDS, at(server, "second-time"))
    assert server.times("/second-time") == 1


def test_a_type_that_does_not_fit_the_bytes_is_not_believed(server):
    made = picture_of(WORDS, at(server, "claims-jpeg"))
    assert made.path.suffix == ".png"
    assert "says image/jpeg, its bytes say image/png" in made.notes[0]


@pytest.mark.parametrize(
    ("path", "answer", "words"),
    [
        ("five-gigabytes", "picture", "its answer has 5,368,709,120 bytes, the limit is"),
        ("endless", "picture", "its answer has more, the limit is"),
        ("endless", "base64:a", "its answer has more, the limit is"),
        ("half-way", "picture", "broke the connection off after"),
        ("redirect", "picture", "points to 'http://example.invalid/other', which is not followed"),
        ("leads-astray", "url:images.0.url", "leads to 'file:///etc/passwd', which is not followed"),
        ("leads-round", "url:images.0.url", "was redirected more than 5 times"),
        ("lies", "picture", "is no picture (it says image/png) but a text: '<!doctype html><title>Sorry"),
        ("binary", "picture", "1,024 bytes that are no picture"),
        ("nothing", "picture", "nothing at all"),
        ("refuses", "picture", "it answered 401 Unauthorized with a text: 'no such key: Bearer ***'"),
        ("always-busy", "picture", "it answered 429"),
        ("other-json", "base64:images.0.data", "has no images.0: there it has a list of 0"),
        ("other-json", "base64:image", "has no image: there it has keys error, images"),
        ("picture", "base64:image", "its answer is no JSON but 2"),
        ("deep", "base64:image", "its answer is no JSON"),
        ("number", "base64:images.0.data", "no text at images.0.data but a number"),
        ("bad-base64", "base64:images.0.data", "is no base64"),
        ("garbage", "picture", "broke the connection off"),
    ],
)
def test_what_a_bad_maker_does_is_told_in_plain_words(server, path, answer, words):
    with pytest.raises(MakerError) as refused:
        picture_of(WORDS, at(server, path, answer=answer, size_mb=0.5))
    if words.startswith("its answer is no JSON but 2"):
        words = "its answer is no JSON but"
    assert words in str(refused.value)
    assert refused.value.hint
    assert SECRET not in str(refused.value) + refused.value.hint
    assert shelf.find(WORDS, at(server, path, answer=answer, size_mb=0.5)) is None


@pytest.mark.parametrize("path", ["hang", "drip", "slow-head", "busy-for-hours"])
def test_no_way_of_hanging_outlasts_the_time_out(server, path):
    with pytest.raises(MakerError, match=r"did not deliver within 0\.5 s"):
        picture_of(WORDS, at(server, path, timeout_s=0.5, attempts=3))


def test_nobody_there():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    maker = Maker.model_validate({"endpoint": {"url": f"http://127.0.0.1:{port}/{{sentence}}"}, "attempts": 1})
    with pytest.raises(MakerError, match=f"nobody answers at 127.0.0.1:{port}"):
        picture_of(WORDS, maker)


def test_a_key_that_is_not_set_is_named(server, monkeypatch):
    monkeypatch.delenv("PAINTER_KEY")
    with pytest.raises(MakerError, match="environment variable PAINTER_KEY, which is not set"):
        picture_of(WORDS, at(server, "picture"))
    assert server.questions == []


def test_a_key_that_is_no_line_is_refused_without_showing_it(server, monkeypatch):
    monkeypatch.setenv("PAINTER_KEY", f"{SECRET}\nX-Evil: 1")
    with pytest.raises(MakerError, match="header Authorization has characters") as refused:
        picture_of(WORDS, at(server, "picture"))
    assert SECRET not in str(refused.value)


def test_waiting_is_reported_and_can_be_stopped(server):
    heard = []

    def report(state: str, done: float) -> None:
        heard.append((state, done))
        if len(heard) == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        picture_of(WORDS, at(server, "hang"), report=report)
    assert heard[0][0] == "waiting for the picture"
    assert 0 <= heard[0][1] <= heard[2][1] <= 1


# A program


def test_a_program_writes_its_picture_to_a_file_or_to_its_output():
    to_file = "import sys, pathlib; pathlib.Path(sys.argv[2]).write_bytes(bytes.fromhex(sys.argv[3]))"
    made = picture_of(WORDS, program(to_file, "{file}", png().hex()))
    assert made.path.read_bytes() == png()
    to_output = "import sys; sys.stdout.buffer.write(bytes.fromhex(sys.argv[2]))"
    made = picture_of(WORDS, program(to_output, SVG.hex()))
    assert made.path.read_bytes() == SVG
    assert made.path.suffix == ".svg"


def test_no_shell_reads_the_words(tmp_path):
    echo = "import sys, pathlib; pathlib.Path('said').write_text(sys.argv[1]); print('<svg xmlns=\"a\"/>')"
    sentence = "a $(touch hacked) `touch hacked`; touch hacked | 'x' \"y\""
    picture_of(sentence, program(echo))
    assert (tmp_path / "said").read_text() == sentence
    assert not (tmp_path / "hacked").exists()


@pytest.mark.parametrize(
    ("code", "more", "words"),
    [
        ("import sys; sys.exit('out of ink')", (), "ended with code 1; it said: out of ink"),
        ("pass", (), "wrote nothing to its standard output"),
        ("pass", ("{file}",), "wrote no file"),
        ("print('sorry')", (), "is no picture but a text: 'sorry'"),
        ("import time; time.sleep(60)", (), "did not end within 0.5 s"),
        ("import sys\nwhile True: sys.stdout.write('x' * 65536)", (), "the limit is"),
    ],
)
def test_what_a_bad_program_does_is_told_in_plain_words(code, more, words):
    limits = {"timeout_s": 0.5} if "sleep" in code else {"size_mb": 0.2}
    with pytest.raises(MakerError) as refused:
        picture_of(WORDS, program(code, *more, **limits))
    assert words in str(refused.value)
    assert refused.value.hint


def test_a_program_that_is_not_there():
    maker = Maker.model_validate({"command": {"words": ["no-such-painter", "{sentence}"]}})
    with pytest.raises(MakerError, match="'no-such-painter' cannot be started: No such file"):
        picture_of(WORDS, maker)


@pytest.mark.skipif(os.name != "posix", reason="process groups")
def test_what_a_program_started_ends_with_it(tmp_path):
    # A shell starts its child long before the time limit, also on a busy machine.
    words = ["sh", "-c", "sleep 60 & echo $! > child; wait", "{sentence}"]
    with pytest.raises(MakerError, match="did not end within"):
        picture_of(WORDS, Maker.model_validate({"command": {"words": words}, "timeout_s": 2.0}))
    child = int((tmp_path / "child").read_text())
    for _ in range(200):
        # A killed child stays a zombie until init reaps it.
        status = Path(f"/proc/{child}/stat")
        if not status.exists() or status.read_text().rpartition(")")[2].split()[0] in ("Z", "X"):
            break
        time.sleep(0.05)
    else:
        pytest.fail("the child still runs")


# The shelf


def test_the_same_words_are_asked_for_once(server):
    maker = at(server, "picture")
    first = picture_of(WORDS, maker)
    again = picture_of(f"  {WORDS.replace(' ', '  ')}\n", maker)
    assert again.kept
    assert again.path == first.path
    assert len(server.questions) == 1
    assert not picture_of(WORDS, maker, anew=True).kept
    assert not picture_of("a heron", maker).kept
    assert not picture_of(WORDS, at(server, "picture", wording="{sentence}!")).kept
    assert len(server.questions) == 4


def test_a_damaged_picture_on_the_shelf_is_made_again(server):
    maker = at(server, "picture")
    first = picture_of(WORDS, maker).path
    first.write_bytes(b"")
    assert not picture_of(WORDS, maker).kept
    assert first.read_bytes() == png()


def test_no_secret_is_kept(server, tmp_path):
    picture_of(WORDS, at(server, "picture"))
    kept = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert kept
    assert all(SECRET.encode() not in path.read_bytes() for path in kept)
    assert all(SECRET not in str(path) for path in kept)


def test_the_shelf_is_cleared_of_its_oldest(server, monkeypatch):
    monkeypatch.setattr(shelf, "KEPT_HIGH", 3)
    for i in range(5):
        os.utime(picture_of(f"{i} herons", at(server, "picture")).path, (i, i))
    picture_of("many herons", at(server, "picture"))
    assert len(list(shelf.shelf_folder().iterdir())) == 3


@given(st.text(min_size=1, max_size=300))
def test_any_sentence_has_a_name_that_a_file_may_have(sentence):
    maker = Maker.model_validate({"command": {"words": ["a", "{sentence}"]}})
    name = shelf.stem_of(sentence, maker)
    assert len(name.encode()) < 200
    assert "/" not in name
    assert "\0" not in name


# Valid pictures


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "GIF", "TIFF", "BMP", "WEBP"])
def test_pictures_are_told_by_their_bytes(kind, tmp_path):
    # Written by pillow and read by us; pillow's type is the reference.
    path = tmp_path / "a"
    Image.new("RGB", (9, 9), "red").save(path, kind)
    suffix = kinds.suffix_of(path.read_bytes())
    assert Image.registered_extensions()[suffix] == kind


@pytest.mark.parametrize(
    "text",
    ["<svg/>", "\ufeff<?xml version='1.0'?>\n<!-- a -->\n<!DOCTYPE svg>\n<svg xmlns='b'>", "<s:svg xmlns:s='c'>"],
)
def test_svgs_are_told_by_their_first_element(text):
    assert kinds.suffix_of(text.encode()) == ".svg"


@given(st.binary(max_size=300))
def test_any_bytes_are_described_or_told(data):
    assert kinds.suffix_of(data) is not None or kinds.described(data)


# The maker's file


def test_the_example_is_a_sound_file_both_ways(tmp_path):
    path = tmp_path / "maker.toml"
    path.write_text(EXAMPLE, encoding="utf-8")
    assert load_maker(path).command.words[0] == "my-painter"
    # The other table, uncommented once; double comments stay comments.
    other = EXAMPLE[EXAMPLE.index("# [endpoint]") :].splitlines()
    text = "\n".join(line.removeprefix("# ") for line in other)
    assert tomllib.loads(text)["endpoint"]["answer"] == "picture"
    path.write_text(text, encoding="utf-8")
    assert load_maker(path).endpoint.headers == {"Authorization": "Bearer ${PAINTER_KEY}"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "there must be exactly one of the tables"),
        ("[command]\nwords = ['a', '{sentence}']\n[endpoint]\nurl = 'http://a/{sentence}'", "exactly one of"),
        ("wording = 'x'\n[command]\nwords = ['a', '{sentence}']", 'wording must have "{sentence}"'),
        ("[command]\nwords = ['a', 'b']", "line 2: command.words: one of the words after the program must have"),
        ("[command]\nwords = []", "line 2: command.words"),
        ("[command]\nwords = ['a', '{sentence}']\nshell = true", "line 3: command.shell: there is no such key"),
        ("timeout_s = -1\n[command]\nwords = ['a', '{sentence}']", "line 1: timeout_s"),
        ("timeout_s = nan\n[command]\nwords = ['a', '{sentence}']", "line 1: timeout_s"),
        ("size_mb = 'big'\n[command]\nwords = ['a', '{sentence}']", "line 1: size_mb"),
        ("attempts = 1.5\n[command]\nwords = ['a', '{sentence}']", "line 1: attempts"),
        ("[endpoint]\nurl = 'ftp://a/{sentence}'", "an address begins with http:// or https://"),
        ("[endpoint]\nurl = 'http://a/b'", '"{sentence}" must occur in its url'),
        ("[endpoint]\nurl = 'http://a/b'\nbody = { a = 1 }", "must occur in its body"),
        ("[endpoint]\nurl = 'http://a/{sentence}'\nanswer = 'jpeg'", "line 3: endpoint.answer"),
        ("[endpoint]\nurl = 'http://a/{sentence}'\nheaders = { 'a b' = 'c' }", "is no header"),
        ("= 3", "not valid TOML"),
    ],
)
def test_a_wrong_file_is_told_line_by_line(text, words, tmp_path):
    path = tmp_path / "maker.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(MakerError) as refused:
        load_maker(path)
    assert words in str(refused.value)
    assert "linewright maker example" in refused.value.hint


def test_a_file_that_is_no_file(tmp_path):
    with pytest.raises(MakerError, match="cannot be read: Is a directory"):
        load_maker(tmp_path)
    (tmp_path / "a").write_bytes(b"#" * 70_000)
    with pytest.raises(MakerError, match="more than 65,536 bytes"):
        load_maker(tmp_path / "a")
    (tmp_path / "b").write_bytes(b"\xff\xfe")
    with pytest.raises(MakerError, match="not valid TOML"):
        load_maker(tmp_path / "b")


def test_with_none_set_up_it_says_so_shows_how_and_offers_a_surprise():
    with pytest.raises(MakerError) as refused:
        find_maker()
    assert "no picture maker is set up" in str(refused.value)
    assert "linewright maker new" in refused.value.hint
    assert "linewright surprise" in refused.value.hint


# Word lists


def test_there_are_thousands_of_subjects_and_a_seed_chooses_one():
    assert subjects.count() > 5000
    assert len({subjects.subject(random.Random(i)) for i in range(300)}) > 250
    for words in (subjects.WHO, subjects.HOW, subjects.WHERE):
        assert len(set(words)) == len(words)


# The command line


def setup_maker(server, path: str = "svg") -> None:
    folder = Path(os.environ["XDG_CONFIG_HOME"]) / "linewright"
    folder.mkdir(parents=True)
    text = (
        f'timeout_s = 20\n[endpoint]\nurl = "{server.url}/{path}"\n'
        'headers = { Authorization = "Bearer ${PAINTER_KEY}" }\nbody = { words = "{sentence}" }\n'
    )
    (folder / "maker.toml").write_text(text, encoding="utf-8")


@pytest.mark.parametrize("command", [("lines", "-o", "a.svg"), ("plan", "--no-pictures"), ("draw", "--sheet", "A6")])
def test_a_sentence_is_drawn_like_any_picture(server, command, capsys):
    setup_maker(server)
    name, *more = command
    assert cli.run([name, "--sentence", WORDS, *more, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["strokes"] == 1


def test_a_sentence_is_kept_and_made_anew(server, capsys):
    setup_maker(server)
    for more, words in (
        ((), "the picture is saved as"),
        ((), "using the saved picture of these words"),
        (("--anew",), "saved as"),
    ):
        assert cli.run(["lines", "--sentence", WORDS, "-o", "a.svg", *more]) == 0
        assert words in capsys.readouterr().err
    assert len(server.questions) == 2


def test_a_random_sentence_is_told(server, capsys):
    setup_maker(server)
    assert cli.run(["lines", "--sentence", "random", "-o", "a.svg"]) == 0
    subject = capsys.readouterr().err.partition('the subject is "')[2].partition('"')[0]
    assert json.loads(server.questions[0][3])["words"] == subject
    assert subject.startswith(("a ", "an "))


def test_without_a_maker_the_store_draws_and_one_that_is_asked_for_is_missed(capsys):
    assert cli.run(["lines", "--sentence", "a heron in a rain hat", "-o", "a.svg", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["strokes"] > 10
    assert cli.run(["lines", "--sentence", WORDS, "--anew", "-o", "b.svg"]) == 2
    assert "no picture maker is set up" in capsys.readouterr().err


def test_a_maker_is_checked_and_tried(server, capsys):
    setup_maker(server, "picture")
    assert cli.run(["maker", "check"]) == 0
    out = capsys.readouterr().out
    assert "the file is valid" in out
    assert SECRET not in out
    assert cli.run(["maker", "check", "--sentence", WORDS, "--json"]) == 0
    assert Path(json.loads(capsys.readouterr().out)["picture"]).read_bytes() == png()


def test_a_new_file_is_sound_and_an_old_one_is_left_alone(tmp_path, capsys):
    assert cli.run(["maker", "new"]) == 0
    path = tmp_path / "config" / "linewright" / "maker.toml"
    assert str(path) in capsys.readouterr().out
    assert cli.run(["maker", "check"]) == 2  # valid, but there is no program of that name
    assert "the program 'my-painter' cannot be started" in capsys.readouterr().err
    path.write_text(f"[command]\nwords = ['{sys.executable}', '{{sentence}}']", encoding="utf-8")
    assert cli.run(["maker", "check"]) == 0
    assert "the file is valid" in capsys.readouterr().out
    path.write_text("mine", encoding="utf-8")
    assert cli.run(["maker", "new"]) == 2
    assert "exists already" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == "mine"


def test_the_example_is_printed(capsys):
    assert cli.run(["maker", "example"]) == 0
    assert capsys.readouterr().out == EXAMPLE


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--text", "a", "--maker", "m.toml"], "--maker and --anew go with --sentence"),
        (["--sentence", "a", "--as", "lettering"], "--sentence does not go with lettering"),
        (["--sentence", "", "--maker", "m.toml"], "there is no sentence"),
        (["--sentence", "x" * 2001, "--maker", "m.toml"], "the limit is 2,000"),
        (["--sentence", "a", "--maker", "gone.toml"], "gone.toml: cannot be read"),
    ],
)
def test_what_cannot_be_asked_is_refused(words, message, tmp_path, capsys):
    (tmp_path / "m.toml").write_text("[command]\nwords = ['a', '{sentence}']", encoding="utf-8")
    assert cli.run(["lines", *words, "-o", "x.svg"]) == 2
    assert message in capsys.readouterr().err


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_ctrl_c_while_waiting_leaves_at_once_and_cleanly(server):
    setup_maker(server, "hang")
    words = ["lines", "--sentence", WORDS, "-o", "a.svg"]
    process = subprocess.Popen(
        [sys.executable, "-c", "from linewright.cli import main; main()", *words], stderr=subprocess.PIPE, text=True
    )
    while not server.questions:
        time.sleep(0.02)
        assert process.poll() is None
    process.send_signal(2)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Traceback" not in errors
