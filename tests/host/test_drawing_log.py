"""The log of drawings: its entry after each kind of end, and its robustness."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import threading

import pytest

from linewright import cli
from linewright.errors import InputError
from linewright.run import log as drawing_log
from linewright.run.log import LogEntry

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm">'
    '<path fill="none" stroke="#123" d="M10 10H20V20"/></svg>'
)


@pytest.fixture(autouse=True)
def place(tmp_path, monkeypatch):
    from linewright.rig.rig import Rig

    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    (tmp_path / "rig.toml").write_text(Rig.default_text().replace('endstop = "min"', 'endstop = "none"'))
    (tmp_path / "corner.svg").write_text(SVG)
    return tmp_path


def entry(**changes) -> LogEntry:
    values = {
        "began": "2026-11-25T10:00:00Z",
        "ended": "2026-11-25T10:10:00Z",
        "picture": "heron.svg",
        "sheet": "A4",
        "rig": "default",
        "rig_fingerprint": "00",
        "port": "virtual",
        "outcome": "finished",
        "fault": "",
        "strokes": 400,
        "first_stroke": 0,
        "pen_down_mm": 1234.5,
        "predicted_s": 600.0,
        "played_s": 600.0,
        "retransmitted_frames": 0,
        "damaged_frames": 0,
        "starved": 0,
        "underruns": 0,
    }
    return LogEntry(**(values | changes))


def test_what_is_written_is_read_back_newest_first():
    first, second = entry(), entry(picture='a "b", c\n.svg', outcome="failed", fault="host lost", played_s=None)
    drawing_log.add(first)
    drawing_log.add(second)
    assert drawing_log.entries() == [second, first]
    assert drawing_log.entries(1) == [second]


def test_an_empty_log(capsys):
    assert cli.run(["log"]) == 0
    assert "nothing has been drawn yet" in capsys.readouterr().out
    assert not drawing_log.file().exists()


def test_a_drawing_stands_in_it(capsys):
    assert cli.run(["draw", "corner.svg", "--rig", "rig.toml", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    (logged,) = drawing_log.entries()
    assert (logged.picture, logged.sheet, logged.outcome, logged.strokes) == ("corner.svg", "A4", "finished", 1)
    assert logged.rig_fingerprint == said["rig_fingerprint"]
    assert logged.played_s == pytest.approx(said["played_s"])
    assert logged.predicted_s == pytest.approx(said["predicted_s"])
    assert cli.run(["log"]) == 0
    out = capsys.readouterr().out
    assert "corner.svg" in out
    assert "finished" in out


def test_json_and_csv(capsys):
    drawing_log.add(entry(picture='a "b", c.svg'))
    assert cli.run(["log", "--json"]) == 0
    (row,) = json.loads(capsys.readouterr().out)["drawings"]
    assert row["picture"] == 'a "b", c.svg'
    assert cli.run(["log", "--csv"]) == 0
    (read,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert read["picture"] == 'a "b", c.svg'
    assert float(read["predicted_s"]) == 600.0


def test_many_writers_at_once():
    threads = [threading.Thread(target=drawing_log.add, args=[entry(strokes=i)]) for i in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(logged.strokes for logged in drawing_log.entries()) == list(range(12))


def test_the_table_of_an_older_version_is_brought_up_and_keeps_what_stands_in_it():
    drawing_log.file().parent.mkdir(parents=True)
    older = [column for column in drawing_log.COLUMNS if column not in ("drift_x_mm", "drift_y_mm", "settings")]
    base = sqlite3.connect(drawing_log.file())
    base.execute(f"create table drawings ({', '.join(older)})")
    stopped = entry(outcome="abandoned")  # the former word for drawings stopped by the user
    base.execute(f"insert into drawings values ({', '.join('?' * len(older))})", [getattr(stopped, c) for c in older])
    base.execute("pragma user_version = 1")
    base.commit()
    base.close()
    threads = [threading.Thread(target=drawing_log.add, args=[entry(drift_x_mm=0.5)]) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    logged = drawing_log.entries()
    assert len(logged) == 7
    assert (logged[-1].picture, logged[-1].outcome, logged[-1].drift_x_mm) == ("heron.svg", "stopped", None)
    assert logged[0].drift_x_mm == 0.5


def test_a_damaged_or_newer_file_is_refused_and_stops_no_drawing(capsys):
    drawing_log.file().parent.mkdir(parents=True)
    drawing_log.file().write_bytes(b"not a data base at all" * 100)
    with pytest.raises(InputError, match="cannot be used"):
        drawing_log.entries()
    assert cli.run(["draw", "corner.svg", "--rig", "rig.toml"]) == 0
    assert "the log of drawings" in capsys.readouterr().err
    drawing_log.file().unlink()
    drawing_log.add(entry())
    base = sqlite3.connect(drawing_log.file())
    base.execute("pragma user_version = 9")
    base.close()
    assert cli.run(["log"]) == 2
    assert "newer Linewright" in capsys.readouterr().err
