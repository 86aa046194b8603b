"""A tested pen height can be stored in the rig file."""

from importlib.resources import files

import pytest

from linewright.desk import events
from linewright.desk.room import Room
from linewright.errors import InputError
from linewright.rig.rig import Rig
from linewright.tasks.target import Target


@pytest.fixture
def rig_file(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    path = tmp_path / "quayside.toml"
    path.write_text((files("linewright") / "data" / "rig.toml").read_text())
    return path


def kept(tmp_path, target):
    room = Room(tmp_path / "desk", target)
    try:
        room.handle("w1", "take_over", events.Plain())
        room.handle("w1", "pen_keep", events.PenKeep("down", 1633))
        return room
    finally:
        room.close()


def test_a_pen_height_is_written_into_the_file_and_the_file_before_is_kept(tmp_path, rig_file):
    before = Rig.load(rig_file)
    room = kept(tmp_path, Target(before, rig_file, port="serial:/dev/no-such-port"))
    assert Rig.load(rig_file).pen.down_us == 1633 != before.pen.down_us
    assert Rig.load(rig_file.with_name("quayside.toml.before-1")) == before
    assert "1633 us" in room.screen.get("notes")[-1]["text"]
    assert room.screen.get("pens_usual")["down_us"] == 1633


@pytest.mark.parametrize("port", ["virtual", "virtual:real_time=1"])
def test_a_simulated_pen_sets_no_real_one(tmp_path, rig_file, port):
    before = rig_file.read_bytes()
    with pytest.raises(InputError, match="simulated"):
        kept(tmp_path, Target(Rig.load(rig_file), rig_file, port=port))
    with pytest.raises(InputError, match="no file"):
        kept(tmp_path / "other", Target(Rig.default(), None, port="serial:/dev/no-such-port"))
    assert rig_file.read_bytes() == before


def test_a_machine_without_a_file_gets_one_that_says_what_it_is(tmp_path, rig_file):
    room = Room(tmp_path / "desk", Target(Rig.default(), None, port="serial:/dev/no-such-port", board="pico"))
    try:
        room.handle("w1", "take_over", events.Plain())
        name = room.handle("w1", "rig_new", events.Plain())["rig"]
        assert room.handle("w1", "rig_new", events.Plain())["rig"] == name  # twice makes one
        (path,) = (tmp_path / "desk" / "rigs").glob("*.toml")
        made, before = Rig.load(path), Rig.default()
        assert (made.board, made.x, made.y, made.pen) == ("pico", before.x, before.y, before.pen)
        assert name in [one["id"] for one in room.machine.rigs]
    finally:
        room.close()
    room = Room(tmp_path / "other", Target(Rig.load(rig_file), rig_file, port="virtual"))
    try:
        room.handle("w1", "take_over", events.Plain())
        with pytest.raises(InputError, match="a file of its own already"):
            room.handle("w1", "rig_new", events.Plain())
    finally:
        room.close()
