"""MicroPython's image onto a board in BOOTSEL mode: a folder simulates the drive, a thread the board."""

from __future__ import annotations

import json
import threading

import pytest

from linewright import cli
from linewright.board import image
from linewright.errors import FlashError, InputError
from linewright.system import drives

RP2040, RP2350, RISCV, ABSOLUTE = 0xE48BFF56, 0xE48BFF59, 0xE48BFF5A, 0xE48BFF57
"""Of the UF2 specification's list of families (from memory)."""
OTHER = 0x68ED2B88
INFO = "UF2 Bootloader v3.0\r\nModel: Raspberry Pi RP2\r\nBoard-ID: {}\r\n"


def uf2(family=RP2040, blocks=5, *, number=None, of=None, flags=0x2000):
    """Built by hand from the specification's table: 32 bytes, 476 bytes, 4 bytes."""
    out = b""
    for i in range(blocks):
        out += b"UF2\n" + bytes.fromhex("57515d9e")
        head = (flags, 0x10000000 + 256 * i, 256, i if number is None else number, of or blocks, family)
        out += b"".join(value.to_bytes(4, "little") for value in head)
        out += bytes([i]) * 256 + bytes(220) + bytes.fromhex("306fb10a")
    assert len(out) == 512 * blocks
    return out


@pytest.fixture
def drive(tmp_path):
    folder = tmp_path / "RPI-RP2"
    folder.mkdir()
    (folder / "INFO_UF2.TXT").write_text(INFO.format("RPI-RP2"))
    return folder


@pytest.fixture
def firmware(tmp_path):
    path = tmp_path / "firmware.uf2"
    path.write_bytes(uf2())
    return path


@pytest.fixture
def board(drive, firmware):
    """It restarts, and its drive disappears, once it has received the whole file."""
    took = []
    ended = threading.Event()

    def watch():
        while not ended.wait(0.01):
            copy = drive / firmware.name
            if copy.exists() and copy.stat().st_size == firmware.stat().st_size:
                took.append(copy.read_bytes())
                (drive / "INFO_UF2.TXT").unlink()
                return

    watching = threading.Thread(target=watch)
    watching.start()
    yield took
    ended.set()
    watching.join(10)


def test_an_image_for_its_chip_is_copied_and_the_board_restarts(board, drive, firmware, capsys):
    assert cli.run(["board", "flash", "--image", str(firmware), "--drive", str(drive), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["chip"] == "rp2040"
    assert board == [firmware.read_bytes()]


def test_what_comes_next_is_said(board, drive, firmware, monkeypatch, capsys):
    monkeypatch.setattr(drives, "holding", lambda _name: [drive])
    assert cli.run(["board", "flash", "--image", str(firmware)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "has installed firmware.uf2 and restarted" in said
    assert "linewright board flash --port PORT" in said


@pytest.mark.parametrize(
    ("data", "chip"),
    [
        (uf2(), "rp2040"),
        (uf2(RP2350), "rp2350"),
        (uf2(RISCV), "rp2350"),
        (uf2(ABSOLUTE, 1) + uf2(RP2350), "rp2350"),
        (uf2(OTHER, 1, flags=0x2001) + uf2(), "rp2040"),
    ],
)
def test_the_chip_is_told_by_the_family(data, chip, firmware):
    firmware.write_bytes(data)
    assert image.read(firmware).chip == chip


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is not a UF2 file"),
        (b"MZ" + bytes(1022), "is not a UF2 file"),
        (uf2()[:-1], "not a multiple of the block size, 512"),
        (uf2()[:-512], "has 4 of 5 blocks"),
        (uf2(number=0), "has 1 of 5 blocks"),
        (uf2(number=5), "block 0 is invalid"),
        (uf2()[:-2] + b"xx", "block 4 is invalid"),
        (uf2()[:512] + bytes(512), "block 1 is invalid"),
        (uf2(OTHER), "is for 0x68ed2b88"),
        (uf2() + uf2(RP2350), "is for 0xe48bff56, 0xe48bff59"),
        (uf2(ABSOLUTE), "is for no chip"),
        (uf2(flags=0), "does not state its chip"),
    ],
)
def test_what_is_no_whole_image_for_these_chips_is_refused(data, words, firmware, drive):
    firmware.write_bytes(data)
    with pytest.raises(InputError, match=words):
        image.read(firmware)
    assert cli.run(["board", "flash", "--image", str(firmware), "--drive", str(drive)]) == 2
    assert [one.name for one in drive.iterdir()] == ["INFO_UF2.TXT"]


def test_an_image_for_another_chip_is_refused_before_anything_is_written(drive, firmware, capsys):
    (drive / "INFO_UF2.TXT").write_text(INFO.format("RP2350"))
    assert cli.run(["board", "flash", "--image", str(firmware), "--drive", str(drive)]) == 2
    assert "is for an rp2040, and the board is an rp2350" in " ".join(capsys.readouterr().err.split())
    assert [one.name for one in drive.iterdir()] == ["INFO_UF2.TXT"]


@pytest.mark.parametrize(
    ("found", "words"),
    [([], "no drive of a board in BOOTSEL mode"), (["a", "b"], "several boards"), (["a"], "is not a board's drive")],
)
def test_which_drive_is_meant_must_be_plain(found, words, monkeypatch, tmp_path):
    monkeypatch.setattr(drives, "holding", lambda _name: [tmp_path / one for one in found])
    with pytest.raises(InputError, match=words):
        image.find_drive()


def test_another_kind_of_board_is_refused(drive):
    (drive / "INFO_UF2.TXT").write_text(INFO.format("SAMD21G18A-v0"))
    with pytest.raises(InputError, match="reports 'SAMD21G18A-v0'"):
        image.find_drive(drive)


def test_a_board_that_does_not_restart_is_an_error(drive, firmware, monkeypatch):
    monkeypatch.setattr(image, "RESTART_S", 0.1)
    with pytest.raises(FlashError, match="has not restarted"):
        image.put(image.read(firmware), drive, "rp2040")


def test_a_drive_that_cannot_be_written_is_an_error_and_one_that_has_gone_is_not(drive, firmware, monkeypatch):
    (drive / firmware.name).mkdir()
    with pytest.raises(FlashError, match="cannot write to"):
        image.put(image.read(firmware), drive, "rp2040")
    (drive / "INFO_UF2.TXT").unlink()
    image.put(image.read(firmware), drive, "rp2040")


def test_drives_are_found_where_systems_mount_them(tmp_path):
    for place in ("media/ann/RPI-RP2", "run/media/ann/RP2350", "Volumes/RPI-RP2", "media/ann/STICK"):
        (tmp_path / place).mkdir(parents=True)
    for place in ("media/ann/RPI-RP2", "run/media/ann/RP2350", "Volumes/RPI-RP2"):
        (tmp_path / place / "INFO_UF2.TXT").touch()
    names = [one.name for one in drives.holding("INFO_UF2.TXT", "posix", tmp_path)]
    assert names == ["RPI-RP2", "RP2350", "RPI-RP2"]
    assert drives.holding("INFO_UF2.TXT", "nt") == []
