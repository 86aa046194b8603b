"""The generated documents match the program's present output."""

from __future__ import annotations

from end_to_end import bring_up_walk


def test_the_walk_is_made_again_and_is_the_same():
    text, picture = bring_up_walk.page()
    how = "run tests/end_to_end/bring_up_walk.py, and read what has changed"
    assert bring_up_walk.PAGE.read_text(encoding="utf-8") == text, how
    assert bring_up_walk.PICTURE.read_text(encoding="utf-8") == picture, how
    # All errors of the machine were found.
    for found in (
        "the two are swapped",
        "the two motors are swapped",
        "turns the wrong way",
        "its arm points the other way",
    ):
        assert found in text.replace("\n       ", " ").lower()
