"""Photographs of every kind, and rejection of other files."""

from __future__ import annotations

import io
import os
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from linewright.errors import InputError, SourceError
from linewright.planning import pipeline
from linewright.sources import photograph
from linewright.sources.picture import Wish


def saved(tmp_path: Path, image: Image.Image, name: str, **options) -> str:
    path = tmp_path / name
    image.save(path, **options)
    return str(path)


def ramp(width: int = 32, height: int = 24) -> Image.Image:
    return Image.fromarray(np.tile(np.linspace(0, 255, width).astype(np.uint8), (height, 1)))


# Kinds


@pytest.mark.parametrize("name", ["p.png", "p.webp", "p.tif", "p.gif", "p.bmp", "p.ppm"])
def test_kinds_without_loss_are_read_exactly(tmp_path, name):
    options = {"lossless": True} if name.endswith("webp") else {}
    taken = photograph.load(saved(tmp_path, ramp().convert("RGB") if "ppm" in name else ramp(), name, **options))
    assert np.abs(taken.rgb[:, :, 1] * 255 - np.asarray(ramp())).max() < 0.6
    assert taken.rgb.shape == (24, 32, 3)
    assert taken.rgb.dtype == np.float32
    assert photograph.looks_like_one(tmp_path / name)


def test_jpeg_is_read_nearly(tmp_path):
    taken = photograph.load(saved(tmp_path, ramp(), "p.jpg", quality=95))
    assert np.abs(taken.rgb[:, :, 1] * 255 - np.asarray(ramp())).max() < 6


def test_colours_keep_their_places(tmp_path):
    taken = photograph.load(saved(tmp_path, Image.new("RGB", (4, 4), (10, 120, 240)), "c.png"))
    assert taken.rgb[2, 2] == pytest.approx(np.array([10, 120, 240]) / 255, abs=1e-6)


@pytest.mark.parametrize("depth", ["uint16", "int32"])
def test_sixteen_bits_are_scaled(tmp_path, depth):
    grey = np.tile(np.linspace(0, 65535, 32), (24, 1)).astype(depth)
    taken = photograph.load(saved(tmp_path, Image.fromarray(grey), "deep.tif"))
    assert taken.rgb[0, :, 0] == pytest.approx(np.linspace(0, 1, 32), abs=1e-4)


def test_sixteen_bit_png(tmp_path):
    grey = np.tile(np.linspace(0, 65535, 32), (24, 1)).astype(np.uint16)
    taken = photograph.load(saved(tmp_path, Image.fromarray(grey), "deep.png"))
    assert taken.rgb[0, :, 0] == pytest.approx(np.linspace(0, 1, 32), abs=1e-4)


def test_floating_greys_with_holes(tmp_path):
    grey = np.full((8, 8), 0.25, dtype=np.float32)
    grey[0, 0], grey[0, 1] = np.nan, np.inf
    taken = photograph.load(saved(tmp_path, Image.fromarray(grey), "float.tif"))
    assert np.isfinite(taken.rgb).all()
    assert taken.rgb[4, 4, 0] == pytest.approx(0.25)


def test_printing_colours_are_taken_and_said(tmp_path):
    image = Image.new("CMYK", (8, 8), (0, 255, 255, 0))
    taken = photograph.load(saved(tmp_path, image, "print.jpg", quality=95))
    assert taken.rgb[4, 4, 0] > 0.9
    assert taken.rgb[4, 4, 1] < 0.1
    assert any("CMYK" in warning for warning in taken.warnings)


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P"])
def test_what_is_transparent_is_paper(tmp_path, mode):
    image = Image.new("RGBA", (8, 8), (0, 0, 0, 0))
    image.paste((0, 0, 0, 255), (0, 0, 4, 8))
    path = saved(tmp_path, image.convert(mode) if mode != "P" else image.quantize(4), "clear.png")
    taken = photograph.load(path)
    assert taken.rgb[4, 6].min() > 0.99
    assert taken.rgb[4, 1].max() < 0.01


def test_half_transparent_black_is_grey(tmp_path):
    taken = photograph.load(saved(tmp_path, Image.new("RGBA", (4, 4), (0, 0, 0, 128)), "half.png"))
    assert taken.rgb[1, 1, 0] == pytest.approx(1 - 128 / 255, abs=1e-6)


def test_black_and_white(tmp_path):
    taken = photograph.load(saved(tmp_path, ramp().convert("1"), "bits.png"))
    assert set(np.unique(taken.rgb)) == {0.0, 1.0}


@pytest.mark.parametrize("turn", range(1, 9))
def test_a_picture_stands_as_the_camera_was_held(tmp_path, turn):
    """Orientation values 1 to 8 of Exif 2.3, section 4.6.4: where row 0 and column 0 of the file are seen."""
    image = np.full((24, 32), 255, dtype=np.uint8)
    image[:6, :8] = 0  # a dark corner at row 0, column 0
    exif = Image.Exif()
    exif[0x0112] = turn
    taken = photograph.load(saved(tmp_path, Image.fromarray(image), "turned.png", exif=exif))
    corner = {1: (0, 0), 2: (0, -1), 3: (-1, -1), 4: (-1, 0), 5: (0, 0), 6: (0, -1), 7: (-1, -1), 8: (-1, 0)}[turn]
    assert taken.rgb.shape[:2] == ((24, 32) if turn < 5 else (32, 24))
    assert taken.rgb[corner].max() == 0.0
    assert (taken.rgb.mean(axis=2) < 0.5).sum() == 48


def test_an_animation_gives_its_first_picture_and_says_so(tmp_path):
    frames = [Image.new("L", (8, 8), grey) for grey in (0, 128, 255)]
    path = tmp_path / "moving.gif"
    frames[0].save(path, save_all=True, append_images=frames[1:])
    taken = photograph.load(str(path))
    assert taken.rgb.max() < 0.01
    assert taken.warnings == ("the file holds 3 pictures; the first one is drawn",)


def test_large_pictures_are_kept_no_larger_than_they_can_be_drawn(tmp_path):
    taken = photograph.load(saved(tmp_path, Image.new("L", (7000, 100), 200), "wide.png"))
    assert max(taken.rgb.shape) <= photograph.WORKING_SIDE_PX


# Files that are not photographs


def png_with_size(width: int, height: int) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = zlib.compress(b"\0" * min(10_000_000, (width + 1) * height))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"just words, not a picture at all", "not a photograph"),
        (b"\x89PNG\r\n\x1a\n", "damaged|not a photograph"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 40, "damaged|not a photograph"),
        (b"GIF89a" + b"\xff" * 30, "damaged|not a photograph"),
        (b"II*\0" + b"\xff" * 200, "damaged|not a photograph"),
        (b"RIFF\0\0\0\0WEBP" + b"\1" * 50, "damaged|not a photograph"),
        (b"%PDF-1.7 " + b"x" * 100, "not a photograph"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n", "not a photograph"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "SVG"),
        (png_with_size(20_000, 20_000), "pixels"),
        (png_with_size(9_000, 9_000), "81,000,000 pixels"),
    ],
)
def test_what_is_no_photograph_is_refused_in_words(tmp_path, content, words):
    path = tmp_path / "given"
    path.write_bytes(content)
    with pytest.raises(SourceError, match=words) as refused:
        photograph.load(str(path))
    assert str(path) in str(refused.value)
    assert refused.value.hint


def test_a_bomb_is_refused_by_its_head_alone(tmp_path):
    """400 megapixels in 10 kB are refused without unpacking."""
    path = tmp_path / "bomb.png"
    path.write_bytes(png_with_size(20_000, 20_000))
    assert path.stat().st_size < 20_000
    with pytest.raises(SourceError, match=r"more than 50,000,000 pixels, the limit$"):
        photograph.load(str(path))


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "TIFF"])
@pytest.mark.parametrize("share", [0.3, 0.7, 0.97])
def test_a_file_that_was_cut_short_is_refused(tmp_path, kind, share):
    out = io.BytesIO()
    noise = np.random.default_rng(1).integers(0, 255, (64, 64, 3), dtype=np.uint8)
    Image.fromarray(noise).save(out, kind)
    path = tmp_path / "short"
    path.write_bytes(out.getvalue()[: int(len(out.getvalue()) * share)])
    with pytest.raises(SourceError, match=r"(damaged or truncated|not a photograph)$"):  # our message, not a decoder's
        photograph.load(str(path))


def test_missing_folder_device_and_forbidden(tmp_path):
    with pytest.raises(SourceError, match="no such file"):
        photograph.load(str(tmp_path / "missing.png"))
    with pytest.raises(SourceError, match="folder"):
        photograph.load(str(tmp_path))
    with pytest.raises(SourceError, match="no such file"):
        photograph.load("a\0b")
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(SourceError, match="device or a pipe"):
        photograph.load(str(tmp_path / "pipe"))
    if os.geteuid():
        closed = tmp_path / "closed.png"
        ramp().save(closed)
        closed.chmod(0)
        with pytest.raises(SourceError, match="cannot be read"):
            photograph.load(str(closed))


# Through the pipeline


def test_a_photograph_fills_its_room_exactly(tmp_path):
    path = saved(tmp_path, ramp(60, 40), "p.png")
    picture = pipeline.read_picture(path, pipeline.Lines("hatching"), Wish(room_mm=(50.0, 80.0)))
    # Turned on the sheet, 3:2 goes into 80 x 50 mm as 75 x 50 mm.
    assert (picture.width_mm, picture.height_mm) == pytest.approx((75.0, 50.0))
    upright = pipeline.read_picture(path, pipeline.Lines("hatching"), Wish(room_mm=(50.0, 80.0), turn_deg=0))
    assert upright.width_mm == pytest.approx(50.0)


def test_a_photograph_without_a_method_gets_one_that_suits_and_says_why(tmp_path):
    path, wish = saved(tmp_path, ramp(), "p.png"), Wish(room_mm=(40.0, 30.0))
    picture = pipeline.read_picture(path, pipeline.Lines(), wish)
    assert picture.warnings[0].startswith("auto takes strokes: a photograph")
    named = pipeline.read_picture(path, pipeline.Lines("strokes"), wish)
    assert picture.drawing.points_mm.tobytes() == named.drawing.points_mm.tobytes(), "it is drawn by what is said"


@pytest.mark.parametrize(
    ("method", "words"),
    [
        ("hatchin", "there is no method 'hatchin'"),
        ("", "there is no method ''"),
        ("hatching:angle=3", "has no setting 'angle'"),
        ("hatching:angle_deg", "has no value"),
        ("hatching:pitch=2", "has no setting 'pitch'"),
        ("hatching:angle_deg=abc", "is not a number"),
        ("hatching:angle_deg=nan", "outside -180..180 deg"),
        ("hatching:angle_deg=500", "outside -180..180 deg"),
        ("stippling:points=1.5", "is not a whole number"),
        ("hatching:contrast=much", "outside adaptive, stretch, none"),
        ("hatching:crop=1/2/3", "not within the picture"),
        ("hatching:crop=50/50/60/60", "not within the picture"),
        ("hatching:crop=a/b/c/d", "not within the picture"),
        ("hatching:crop=0/0/0/100", "not within the picture"),
        ("hatching:turned_deg=45", "not a multiple of 90"),
    ],
)
def test_wrong_methods_and_settings_are_named(tmp_path, method, words):
    with pytest.raises(InputError, match=words) as refused:
        pipeline.read_picture(saved(tmp_path, ramp(), "p.png"), pipeline.Lines(method), Wish())
    assert refused.value.hint


def test_a_setting_looked_for_by_another_name_is_pointed_at(tmp_path):
    with pytest.raises(InputError) as refused:
        pipeline.read_picture(saved(tmp_path, ramp(), "p.png"), pipeline.Lines("hatching:density=2"), Wish())
    assert refused.value.hint.startswith("did you mean darkest (coverage of the darkest parts; less: fewer lines")


def test_a_line_of_pixels_is_refused(tmp_path):
    with pytest.raises(SourceError, match="a line and not a picture"):
        pipeline.read_picture(saved(tmp_path, ramp(2000, 1), "p.png"), pipeline.Lines("hatching"), Wish())


def test_without_the_extra_it_is_named(tmp_path, monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "skimage", None)
    with pytest.raises(InputError, match="scikit-image") as refused:
        pipeline.read_picture(saved(tmp_path, ramp(), "p.png"), pipeline.Lines("hatching"), Wish())
    assert "linewright[photo]" in refused.value.hint
