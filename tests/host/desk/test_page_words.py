"""Hints that name commands are replaced by the corresponding places on the page."""

import pytest

from linewright.desk.page_words import on_page, told
from linewright.errors import LinkError
from linewright.folders import state_folder


@pytest.mark.parametrize(
    ("hint", "shown"),
    [
        ("`linewright resume` continues it", "'Carry on' continues it"),
        ("draw it again: `linewright trial ringing`", "draw it again: a trial sheet 'ringing'"),
        ("`linewright rig check` says why", "`linewright rig check` in a terminal says why"),
        (
            "home it; `linewright virtual --stay` starts a virtual rig that keeps its position between commands",
            "home it",
        ),
        ("no command at all", "no command at all"),
    ],
)
def test_a_command_becomes_what_the_page_calls_it(hint, shown):
    assert on_page(hint) == shown
    assert told(LinkError("gone", hint=hint)) == {"text": "gone", "hint": shown}


def test_a_file_that_a_page_has_sent_has_no_place_there(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "J. Doe"))
    path = state_folder() / "desk" / "uploads" / "u-0123456789abcdef.svg"
    assert on_page(f"{path}: that is an SVG") == "the file: that is an SVG"
    assert on_page("/home/u-boat.svg is kept") == "/home/u-boat.svg is kept"
