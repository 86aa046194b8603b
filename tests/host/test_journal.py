"""The journal: its state after any kind of end, and rejection of invalid files."""

from __future__ import annotations

import hashlib
import random
import shutil
import sys
import zlib
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linewright.board.drift import DriftCheck
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError, ProgramError
from linewright.motion import plan
from linewright.program import file as program_file
from linewright.rig.rig import Rig
from linewright.run import journal, recovery
from linewright.run import story as story_module
from linewright.run.journal import Journal
from linewright.run.story import PROGRAM as PROGRAM_FILE
from linewright.run.story import Manner, digest

PROGRAM = plan(Drawing.from_strokes([[[10, 10 + 5 * i], [30, 10 + 5 * i]] for i in range(6)]), Rig.default())
ENDS = journal.stroke_ends(PROGRAM)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


def begun(**changes) -> Journal:
    options = {"picture": "grüße\n2.svg", "port": "virtual"} | changes
    return Journal.create(PROGRAM, **options)


def test_a_stroke_is_on_paper_when_only_its_pen_lift_is_left():
    assert len(ENDS) == 6
    assert all(PROGRAM.servo_us[end] == Rig.default().pen.up_us for end in ENDS)
    assert all(PROGRAM.stroke_of_record[end] == i for i, end in enumerate(ENDS))
    assert all(i not in PROGRAM.stroke_of_record[end + 1 :] for i, end in enumerate(ENDS))


def test_it_tells_what_is_drawn_and_how_far_the_pen_has_got():
    with begun() as book:
        book.begin(4711, 0)
        book.done(ENDS[0] - 1)
        book.done(ENDS[1])
        book.done(ENDS[1] + 1)
    story = journal.read(book.folder)
    assert story.picture == "grüße\n2.svg"
    assert (story.records, story.strokes) == (len(PROGRAM), 6)
    assert (story.rig_name, story.rig_fingerprint) == (PROGRAM.rig_name, PROGRAM.rig_fingerprint)
    assert story.sheet.startswith("A4, ")
    assert (story.numbers, story.records_done, story.strokes_done, story.ended) == ({4711: 0}, ENDS[1], 2, "")
    assert story.load_program().predicted_ticks == PROGRAM.predicted_ticks


@pytest.mark.parametrize(
    "manner",
    [
        None,
        Manner(),
        Manner(ask_pens=False, pace=0.5),
        Manner(True, 1.0, DriftCheck(frozenset({"pens", "end"}), 0.25)),
        Manner(drift=DriftCheck(frozenset(), 0.3)),
    ],
)
def test_it_tells_how_the_drawing_was_asked_for(manner):
    with begun(manner=manner) as book:
        book.begin(4711, 0)
    assert journal.read(book.folder).manner == (manner or Manner())


@pytest.mark.parametrize(
    "line",
    [
        "manner pace=0",
        "manner pace=1.5",
        "manner pace=1 pens=all",
        "manner pace=1 drift=often drift_limit_mm=1",
        "manner pace=1 drift=end drift_limit_mm=0",
        "manner pace=1 drift=end drift_limit_mm=inf",
        "zenith pace=1",
    ],
)
def test_a_line_that_cannot_be_is_refused(line):
    with begun() as book:
        pass
    said = f"2026-11-25T10:43:41Z {line}"
    with (book.folder / "journal.txt").open("a", encoding="utf-8") as file:
        file.write(f"{said} #{zlib.crc32(said.encode()):08x}\n")
    with pytest.raises(InputError, match="cannot read"):
        journal.read(book.folder)


def test_it_is_plain_text_of_one_line_each():
    with begun() as book:
        book.begin(4711, 0)
    lines = (book.folder / journal.JOURNAL).read_text(encoding="ascii").splitlines()
    assert [line.split()[1] for line in lines] == ["journal", "program", "rig", "sheet", "begin"]


def test_what_is_carried_on_is_appended():
    with begun() as book:
        book.begin(1, 0)
        book.done(ENDS[2])
    story = journal.read(book.folder)
    with Journal.carry_on(story, PROGRAM) as book:
        book.begin(2, ENDS[2])
        book.done(ENDS[2])
        book.done(ENDS[4])
        book.end("abandoned")
    story = journal.read(book.folder)
    assert (story.numbers, story.strokes_done, story.ended) == ({1: 0, 2: ENDS[2]}, 5, "abandoned")
    assert journal.unfinished() == [story]


def test_nothing_is_kept_of_what_is_finished_or_was_never_begun():
    with begun() as book:
        book.begin(1, 0)
        book.end("finished")
    assert not book.folder.exists()
    with begun() as book:
        book.end("failed", "the board did not answer")
    assert not book.folder.exists()


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_a_damaged_journal_never_says_more_than_the_truth(tmp_path_factory, seed):
    """Truncated, with changed bytes or garbage at the end: the lines read are a part of those written, in order."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        with begun() as book:
            book.begin(1, 0)
            for end in ENDS:
                book.done(end)
        rng = random.Random(seed)
        path = book.folder / journal.JOURNAL
        data = bytearray(path.read_bytes())
        for _ in range(rng.randrange(3)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        del data[rng.randrange(len(data)) :]
        data += rng.randbytes(rng.randrange(50)) if rng.random() < 0.5 else bytes(rng.randrange(50))
        path.write_bytes(data)
        try:
            story = journal.read(book.folder)
        except InputError:
            return
        assert story.strokes_done <= 6
        assert story.records_done == (ENDS[story.strokes_done - 1] if story.strokes_done else 0)
        # It can be continued.
        with Journal.carry_on(story, PROGRAM) as book:
            book.done(ENDS[5])
        assert journal.read(book.folder).strokes_done == 6


def test_another_program_in_its_place_is_refused():
    with begun() as book:
        book.begin(1, 0)
    program_file.save(plan(Drawing.from_strokes([[[10, 10], [30, 11]]]), Rig.default()), book.folder / PROGRAM_FILE)
    with pytest.raises(ProgramError, match="not the program that was being drawn"):
        journal.read(book.folder).load_program()
    (book.folder / PROGRAM_FILE).unlink()
    with pytest.raises(ProgramError, match="cannot read"):
        journal.read(book.folder).load_program()


def test_two_commands_cannot_write_one_journal():
    with begun() as book, pytest.raises(InputError, match="being drawn by another command"):
        Journal.carry_on(journal.read(book.folder), PROGRAM)


def test_what_another_command_has_drawn_in_the_meantime_is_not_drawn_again():
    """A user may take minutes to confirm `resume`."""
    with begun() as book:
        book.begin(1, 0)
    story = journal.read(book.folder)
    with Journal.carry_on(story, PROGRAM) as other:
        other.begin(2, 0)
        other.done(ENDS[3])
    with pytest.raises(InputError, match="continued by another command in the meantime"):
        Journal.carry_on(story, PROGRAM)
    Journal.carry_on(journal.read(book.folder), PROGRAM).close()


def test_a_line_that_is_being_written_by_another_command_is_not_cut_off():
    with begun() as book:
        story = journal.read(book.folder)
        path = book.folder / journal.JOURNAL
        with path.open("ab") as half:
            half.write(b"2026-11-25T10:43:59Z done rec")
        before = path.read_bytes()
        with pytest.raises(InputError, match="being drawn by another command"):
            Journal.carry_on(story, PROGRAM)
        assert path.read_bytes() == before


def test_a_last_line_is_forced_to_the_disk_within_a_second(monkeypatch):
    """Also if no other line follows for a long time, as within a long stroke."""
    forced = []
    now_s = 100.0
    monkeypatch.setattr(journal.os, "fsync", forced.append)
    monkeypatch.setattr(journal.time, "monotonic", lambda: now_s)
    with begun() as book:
        book.begin(1, 0)
        forced.clear()
        now_s += 0.5
        book.done(ENDS[0])
        now_s += 0.25
        book.done(ENDS[0] + 1)
        assert forced == []
        now_s += 0.25
        book.done(ENDS[0] + 1)
        assert len(forced) == 1
        now_s += 10.0
        book.done(ENDS[0] + 2)
        assert len(forced) == 1, "nothing was left to be forced"
        book.done(ENDS[1])
        assert len(forced) == 2, "the last time is more than a second ago"


def test_a_full_disk_stops_the_journal_and_not_the_drawing():
    book = begun()
    book._file.close()
    with Path("/dev/full").open("ab", buffering=0) as full:
        book._file = full
        book.begin(1, 0)
        assert "No space left" in book.trouble
        book.done(ENDS[0])
    assert journal.read(book.folder).strokes_done == 0


def test_a_folder_that_cannot_be_written_is_an_input_error(monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", "/proc/none")
    with pytest.raises(
        InputError, match=r"cannot keep a journal in /proc/none/.*: No such file or directory$"
    ) as caught:
        begun()
    assert "[Errno" not in str(caught.value)


def test_the_oldest_go_when_there_are_many():
    with begun() as oldest:
        for _ in range(journal.KEPT + 3):
            begun().close()
        assert len(journal.unfinished()) == journal.KEPT + 1  # the active one stays
        assert oldest.folder.exists()


def test_another_version_is_refused(tmp_path):
    with begun() as book:
        pass
    path = book.folder / journal.JOURNAL
    path.write_bytes(b"")
    for other in (2, 0):
        path.write_bytes(b"")
        with Journal(book.folder) as book:
            book._write("journal", format=other, picture="x", port="")
        with pytest.raises(InputError, match="cannot read"):
            journal.read(book.folder)


def test_a_disk_that_cannot_force_what_was_written_is_a_trouble_and_ends_the_journal(monkeypatch):
    def failing(_descriptor):
        raise OSError(5, "Input/output error")

    with begun() as book:
        book.begin(1, 0)
        monkeypatch.setattr(journal.os, "fsync", failing)
        book.end("failed")
        assert "Input/output error" in book.trouble
        assert str(book.folder) in book.trouble
        size = (book.folder / journal.JOURNAL).stat().st_size
        book.done(ENDS[3])
        assert (book.folder / journal.JOURNAL).stat().st_size == size, "no line after a gap"


def test_a_disk_that_takes_half_a_line_is_full():
    class Half:
        closed = False

        def write(self, data):
            return len(data) // 2

        def fileno(self):
            raise AssertionError("nothing is forced after that")

        def close(self):
            self.closed = True

    book = begun()
    book._file.close()
    book._file = Half()
    book.begin(1, 0)
    assert "no space left" in book.trouble


def test_the_names_of_a_new_drawing_are_forced_to_the_disk(monkeypatch):
    opened, forced = [], []
    real_open, real_fsync = journal.os.open, journal.os.fsync

    def opening(path, flags, *rest):
        descriptor = real_open(path, flags, *rest)
        opened.append((descriptor, str(path)))
        return descriptor

    monkeypatch.setattr(journal.os, "open", opening)
    monkeypatch.setattr(journal.os, "fsync", lambda at: (forced.append(at), real_fsync(at)))
    with begun() as book:
        places = {path for descriptor, path in opened if descriptor in forced}
        assert {str(book.folder), str(book.folder.parent)} <= places


def test_times_are_those_of_the_first_line_the_last_start_and_the_last_line():
    with begun() as book:
        book.begin(1, 0)
        book.done(ENDS[0])
    path = book.folder / journal.JOURNAL
    lines = []
    for minute, line in enumerate(path.read_text(encoding="ascii").splitlines()):
        said = f"2026-11-29T12:{minute:02}:00Z " + line.rpartition(" #")[0].partition(" ")[2]
        lines.append(f"{said} #{zlib.crc32(said.encode()):08x}")
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
    story = journal.read(book.folder)
    assert (story.began, story.begun, story.last) == tuple(f"2026-11-29T12:0{i}:00Z" for i in (0, 4, 5))


def test_a_drawing_that_was_begun_again_has_not_ended():
    with begun() as book:
        book.begin(1, 0)
        book.end("abandoned", "by hand")
        assert journal.read(book.folder).ended == "abandoned"
        book.begin(2, ENDS[0])
    assert journal.read(book.folder).ended == ""


def test_what_is_unfinished_comes_newest_first():
    folders = []
    for name in ("first.svg", "second.svg", "third.svg"):
        with begun(picture=name) as book:
            book.begin(1, 0)
        folders.append(book.folder)
    assert [story.folder for story in journal.unfinished()] == folders[::-1]


def test_only_the_oldest_go_and_ten_are_kept():
    folders = []
    for number in range(12):
        with begun(picture=f"{number}.svg") as book:
            book.begin(1, 0)
        folders.append(book.folder)
    assert sorted(story.folder for story in journal.unfinished()) == folders[-10:]


def test_a_program_that_is_gone_is_named_with_its_reason(tmp_path):
    with pytest.raises(ProgramError, match=r"cannot read .*program\.lw: No such file"):
        digest(tmp_path / "program.lw")


def test_the_rig_file_is_kept_by_its_full_path(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with begun(rig_file=Path("rig.toml"), port="serial:/dev/ttyACM0") as book:
        pass
    story = journal.read(book.folder)
    assert (story.rig_file, story.port) == (str(tmp_path.resolve() / "rig.toml"), "serial:/dev/ttyACM0")
    with begun() as book:
        pass
    assert journal.read(book.folder).rig_file == ""


def test_a_damaged_first_line_costs_only_what_it_said():
    with begun() as book:
        book.begin(1, 0)
        book.done(ENDS[2])
    path = book.folder / journal.JOURNAL
    path.write_bytes(b"x" + path.read_bytes()[1:])
    (story,) = journal.unfinished()
    assert story.picture == "a picture without a name"
    assert (story.strokes_done, story.program) == (3, digest(book.folder / PROGRAM_FILE))
    with Journal.carry_on(story, PROGRAM) as book:
        book.done(ENDS[3])
    assert journal.read(book.folder).strokes_done == 4


def test_a_journal_that_cannot_be_read_is_named_and_never_denied():
    with begun(picture="older.svg") as older:
        older.begin(1, 0)
    with begun(picture="newer.svg") as newer:
        newer.begin(1, 0)
    (newer.folder / journal.JOURNAL).write_bytes(b"nothing but damage\n")
    assert list(journal.damaged()) == [newer.folder]
    with pytest.raises(InputError, match=r"the newest drawing cannot be resumed: .*is damaged") as caught:
        recovery.choose(None)
    assert str(newer.folder / PROGRAM_FILE) in caught.value.hint
    assert older.folder.name in caught.value.hint
    with pytest.raises(InputError, match="is damaged"):
        recovery.choose(newer.folder.name)
    assert recovery.choose("older.svg").folder == older.folder
    with pytest.raises(InputError, match="there is no unfinished drawing 'x'") as caught:
        recovery.choose("x")
    assert "unreadable journals: 1" in caught.value.hint


def test_a_state_folder_that_is_a_file_is_an_error_and_not_an_empty_list():
    journal.drawings().parent.mkdir(parents=True)
    journal.drawings().write_text("a file")
    for asked in (journal.unfinished, lambda: recovery.choose(None)):
        with pytest.raises(InputError, match=r"the journals in .* cannot be read: Not a directory$"):
            asked()


def test_the_newest_is_the_last_begun_whatever_the_clock_says(monkeypatch):
    class Back(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime(2001, 1, 1, tzinfo=tz)

    with begun(picture="first.svg") as book:
        book.begin(1, 0)
    monkeypatch.setattr(journal, "datetime", Back)
    with begun(picture="second.svg") as book:
        book.begin(1, 0)
    assert [story.picture for story in journal.unfinished()] == ["second.svg", "first.svg"]


def test_folders_of_older_versions_count_as_older():
    with begun(picture="new.svg") as book:
        book.begin(1, 0)
    with begun(picture="old.svg") as book:
        book.begin(1, 0)
    book.folder.rename(book.folder.with_name("20991231T235959.000000-abcd-old"))
    assert [story.picture for story in journal.unfinished()] == ["new.svg", "old.svg"]


def test_what_a_command_left_that_was_killed_at_its_very_end_goes_with_the_next_drawing(monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(Journal, "discard", Journal.close)  # killed between its last line and the removal
        book = begun()
        book.begin(4711, 0)
        book.end("finished")
    with begun() as waiting:
        waiting.begin(4711, 0)
    assert not book.folder.exists()
    with begun() as other:
        assert waiting.folder.exists()
        assert other.folder.exists()


def _all_files(folder: Path) -> dict[Path, bytes | None]:
    """Contents of each file below a folder; None for a folder."""
    return {
        path.relative_to(folder): None if path.is_dir() else path.read_bytes() for path in sorted(folder.rglob("*"))
    }


def _states_of(work) -> list[dict[Path, bytes | None]]:
    """Contents of the disk after each executed line of Python: all states that a SIGKILL can leave."""
    states = []

    def note(frame, event, _):
        if event == "call" and frame.f_code.co_filename not in (journal.__file__, shutil.__file__, replacing_file):
            return None
        state = _all_files(journal.drawings()) if journal.drawings().exists() else {}
        if not states or states[-1] != state:
            states.append(state)
        return note

    replacing_file = sys.modules["linewright.files"].__file__
    before = sys.gettrace()
    sys.settrace(note)
    try:
        work()
    finally:
        sys.settrace(before)
    return states


@pytest.mark.parametrize("ending", ["finished", "abandoned"])
@pytest.mark.parametrize("begins", [True, False])
def test_whenever_it_is_killed_what_was_begun_is_carried_on_and_nothing_is_called_damaged(ending, begins):
    def work():
        with begun() as book:
            if begins:
                book.begin(4711, 0)
                book.done(ENDS[1])
            book.end(ending)

    states = _states_of(work)
    assert len(states) > 8
    for state in states:
        shutil.rmtree(journal.drawings())
        for name, data in state.items():
            path = journal.drawings() / name
            if data is None:
                path.mkdir(parents=True)
            else:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(data)
        assert journal.damaged() == {}
        stories = journal.unfinished()
        lines = b"".join(data or b"" for name, data in state.items() if name.name == journal.JOURNAL)
        if b" begin " in lines and b'how="finished"' not in lines:
            assert [story.numbers for story in stories] == [{4711: 0}]
        for story in stories:
            assert len(story.load_program()) == len(PROGRAM)
        with begun() as after:
            assert {*journal.drawings().iterdir()} == {after.folder, *(story.folder for story in stories)}


def test_a_program_that_cannot_be_kept_leaves_nothing(monkeypatch):
    def full(*_):
        raise ProgramError("cannot write: No space left on device")

    monkeypatch.setattr(journal.program_file, "save", full)
    with pytest.raises(ProgramError, match="No space left"):
        begun()
    assert list(journal.drawings().iterdir()) == []


def test_a_folder_that_another_command_has_just_removed_is_no_trouble(monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(Journal, "discard", Journal.close)
        book = begun()
        book.begin(4711, 0)
        book.end("finished")
    remove = journal.shutil.rmtree

    def removed_twice(folder, **options):
        remove(folder)
        remove(folder, **options)

    monkeypatch.setattr(journal.shutil, "rmtree", removed_twice)
    with begun() as other:
        assert not book.folder.exists()
    other.discard()
    assert not other.folder.exists()


def line(said: str) -> bytes:
    return f"{said} #{zlib.crc32(said.encode()):08x}\n".encode()


def test_a_journal_of_this_format_stays_readable(tmp_path):
    """Written by hand, because a journal of this version would not show whether older ones are read."""
    (tmp_path / journal.JOURNAL).write_bytes(
        line('2026-11-25T10:43:40Z journal format=1 picture="heron \\"2\\".svg" port="virtual"')
        + line('2026-11-25T10:43:40Z program sha="ab12" records=640 strokes=31')
        + line('2026-11-25T10:43:40Z rig name="quay" fingerprint="f00d" file=""')
        + line('2026-11-25T10:43:40Z sheet name="A5" width_mm=148.0 height_mm=210.0')
        + line("2026-11-25T10:43:41Z begin number=81230 record=0")
        + line("2026-11-25T10:43:59Z done record=57 strokes=1")
    )
    story = journal.read(tmp_path)
    assert (story.picture, story.port, story.sheet) == ('heron "2".svg', "virtual", "A5, 148 x 210 mm")
    assert (story.program, story.records, story.strokes) == ("ab12", 640, 31)
    assert (story.rig_name, story.rig_fingerprint, story.rig_file) == ("quay", "f00d", "")
    assert (story.numbers, story.records_done, story.strokes_done, story.ended) == ({81230: 0}, 57, 1, "")


def test_what_somebody_has_seen_on_the_sheet_counts_more_than_what_was_counted():
    with begun() as book:
        book.begin(7, 0)
        book.done(ENDS[3])
        book.back(2)
        story = journal.read(book.folder)
        assert (story.strokes_done, story.records_done, story.numbers) == (2, ENDS[1], {})
        assert story.begun  # there is still something to carry on
        book.done(ENDS[2])
        assert journal.read(book.folder).strokes_done == 3
    with Journal.carry_on(journal.read(book.folder), PROGRAM) as again:
        again.back(3)
        assert journal.read(book.folder).records_done == ENDS[2]
        again.back(0)
        again.end("failed", "the cable")
    assert (journal.read(book.folder).strokes_done, journal.read(book.folder).records_done) == (0, 0)


WHOLE = (
    'now journal format=1 picture="a.svg" port=""',
    'now program sha="ab12" records=64 strokes=3',
    'now sheet name="A5" width_mm=148.0 height_mm=210.0',
)


@pytest.mark.parametrize(
    "said",
    [
        "now done record=65 strokes=1",
        "now done record=6 strokes=4",
        "now begin number=1 record=65",
        "now begin number=1 record=-1",
        "now done record=6",
        "now back record=0 strokes=-1",
        'now end how="a\\q"',
        'now end how="\x01"',
    ],
)
def test_a_line_with_the_right_sum_that_cannot_be_true_is_refused(said, tmp_path):
    """Found by fuzzing: such lines were accepted, or caused a traceback."""
    (tmp_path / journal.JOURNAL).write_bytes(b"".join(line(one) for one in WHOLE))
    assert journal.read(tmp_path).strokes == 3
    (tmp_path / journal.JOURNAL).write_bytes(b"".join(line(one) for one in (*WHOLE, said)))
    with pytest.raises(InputError, match=r"the journal in .* (says|has)"):
        journal.read(tmp_path)


@pytest.mark.parametrize("by", [-1, 1])
def test_a_line_whose_sum_is_one_off_is_passed_over(by, tmp_path):
    whole = line("now done record=6 strokes=1")
    wrong = whole[:-9] + f"{int(whole[-9:-1], 16) + by:08x}\n".encode()
    (tmp_path / journal.JOURNAL).write_bytes(b"".join(line(one) for one in WHOLE) + wrong)
    assert journal.read(tmp_path).strokes_done == 0
    (tmp_path / journal.JOURNAL).write_bytes(b"".join(line(one) for one in WHOLE) + whole)
    assert journal.read(tmp_path).strokes_done == 1


def test_all_of_it_may_be_drawn(tmp_path):
    said = (*WHOLE, "now begin number=1 record=64", "now done record=64 strokes=3")
    (tmp_path / journal.JOURNAL).write_bytes(b"".join(line(one) for one in said))
    assert (journal.read(tmp_path).records_done, journal.read(tmp_path).strokes_done) == (64, 3)


EVERY_VALUE = (
    'format=1 picture="a.svg" port="" sha="ab12" records=64 strokes=0 name="A5" fingerprint="f" file="" '
    'width_mm=148.0 height_mm=210.0 number=1 record=0 how="finished"'
)


@pytest.mark.parametrize("word", ["aa", "bb", "cc", "dz", "ee", "ff", "jz", "pz", "qq", "rz", "zz"])
def test_a_word_of_another_version_is_refused_whatever_it_says(word, tmp_path):
    """Before, between and after ours in the alphabet."""
    (tmp_path / journal.JOURNAL).write_bytes(b"".join(line(one) for one in (*WHOLE, f"now {word} {EVERY_VALUE}")))
    with pytest.raises(InputError, match="cannot read"):
        journal.read(tmp_path)


def test_an_end_of_another_version_is_refused(tmp_path):
    (tmp_path / journal.JOURNAL).write_bytes(b"".join(line(one) for one in (*WHOLE, 'now end how="mislaid"')))
    with pytest.raises(InputError, match="cannot read"):
        journal.read(tmp_path)


def test_the_lines_in_its_description_are_whole():
    shown = [line.strip() for line in (story_module.__doc__ or "").splitlines() if "#" in line]
    assert len(shown) == 2
    found = story_module._whole_lines("".join(f"{one}\n" for one in shown).encode())
    assert [word for _, word, _ in found] == ["begin", "done"]


def test_folders_are_numbered_and_carry_the_time_and_the_picture():
    with begun(picture=f"{'heron' * 20}.svg") as first, begun(picture="Grüße (2).svg") as second:
        number, _, rest = first.folder.name.partition("-")
        assert number == "000001"
        stamp, token, stem = rest.split("-")
        assert datetime.strptime(stamp, "%Y%m%dT%H%M%S").year >= 2026  # noqa: DTZ007  UTC, by the folder's name
        assert len(bytes.fromhex(token)) == 2
        assert stem == "heron" * 8
        assert second.folder.name.startswith("000002-")
        assert second.folder.name.endswith("-Gr-e-2")


def forced_files(monkeypatch) -> list[str]:
    """Names of the files and folders that are synced to disk from now on."""
    names = []
    monkeypatch.setattr(journal.os, "fsync", lambda at: names.append(Path(f"/proc/self/fd/{at}").readlink().name))
    return names


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="no list of open files here")
def test_what_must_not_be_lost_is_forced_at_once(monkeypatch):
    names = forced_files(monkeypatch)
    monkeypatch.setattr(journal.time, "monotonic", lambda: 0.5)  # less than a second has passed
    with begun() as book:
        assert journal.JOURNAL in names
        for act in (lambda: book.begin(1, 0), lambda: book.end("abandoned")):
            names.clear()
            act()
            assert names == [journal.JOURNAL]
    names.clear()
    with Journal.carry_on(journal.read(book.folder), PROGRAM) as book:
        monkeypatch.setattr(journal.time, "monotonic", lambda: 9.0)
        book.done(0)
        assert names == [], "nothing was written since"


def test_a_closed_journal_writes_nothing_and_complains_of_nothing(monkeypatch):
    monkeypatch.setattr(journal.time, "monotonic", lambda: 0.5)
    with begun() as book:
        book.begin(1, 0)
        book.done(ENDS[0])
    size = (book.folder / journal.JOURNAL).stat().st_size
    monkeypatch.setattr(journal.time, "monotonic", lambda: 9.0)
    book.done(ENDS[0])
    book.done(ENDS[3])
    book.close()
    assert book.trouble == ""
    assert (book.folder / journal.JOURNAL).stat().st_size == size


def test_long_lines_are_lines_and_the_first_time_is_known():
    with begun(picture=f"{'x' * 400}.svg") as book:
        book.begin(1, 0)
    assert book.trouble == ""
    story = journal.read(book.folder)
    assert len(story.picture) == 404
    assert book.began == story.began != ""


def test_nothing_is_forced_after_a_trouble(monkeypatch):
    monkeypatch.setattr(journal.time, "monotonic", lambda: 0.5)
    book = begun()
    book.done(ENDS[0])  # waits for the sync
    real = book._file
    with Path("/dev/full").open("ab", buffering=0) as full:
        book._file = full
        book.done(ENDS[1])
        assert book.trouble
        forced = []
        monkeypatch.setattr(journal.os, "fsync", forced.append)
        monkeypatch.setattr(journal.time, "monotonic", lambda: 9.0)
        book.done(ENDS[1])
        assert forced == []
    real.close()


@pytest.mark.parametrize("begins", ["00", "ff"])
def test_another_program_is_refused_whatever_its_digest(begins):
    with begun() as book:
        pass
    data = next(one for i in range(10_000) if hashlib.sha256(one := str(i).encode()).hexdigest().startswith(begins))
    (book.folder / PROGRAM_FILE).write_bytes(data)
    with pytest.raises(ProgramError, match="not the program that was being drawn"):
        journal.read(book.folder).load_program()


@pytest.mark.parametrize("word", ["program", "sheet"])
def test_without_the_line_that_says_what_was_drawn_it_is_damaged(word):
    with begun() as book:
        book.begin(1, 0)
    path = book.folder / journal.JOURNAL
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(line for line in lines if f" {word} ".encode() not in line))
    with pytest.raises(InputError, match="no line says what was drawn"):
        journal.read(book.folder)


def test_what_is_finished_is_not_carried_on_even_where_its_folder_stayed(monkeypatch):
    monkeypatch.setattr(journal.shutil, "rmtree", lambda *_, **__: None)
    with begun() as book:
        book.begin(1, 0)
        book.end("finished")
    assert journal.read(book.folder).ended == "finished"
    assert journal.unfinished() == []


def test_the_reason_why_a_journal_cannot_be_read_is_the_systems_own(tmp_path):
    with pytest.raises(InputError, match=r"^no journal in .*: No such file or directory$") as caught:
        journal.read(tmp_path)
    assert "[Errno" not in str(caught.value)
    with begun() as book:
        pass
    story = journal.read(book.folder)
    (book.folder / journal.JOURNAL).unlink()
    (book.folder / journal.JOURNAL).mkdir()
    with pytest.raises(InputError, match=r"^cannot continue .*: Is a directory$") as caught:
        Journal.carry_on(story, PROGRAM)
    assert "[Errno" not in str(caught.value)


def test_drawings_of_older_versions_go_first():
    for number in range(12):
        with begun(picture=f"{number}.svg") as book:
            book.begin(1, 0)
        book.folder.rename(book.folder.with_name(f"2099{number:04}T000000.000000-abcd-{number}"))
    with begun(picture="new.svg") as book:
        book.begin(1, 0)
    assert [story.picture for story in journal.unfinished()] == ["new.svg", *(f"{i}.svg" for i in range(11, 2, -1))]
