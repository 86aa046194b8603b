"""HEIC and AVIF photographs: read if the decoders are installed, a clear error otherwise."""

import sys

import numpy as np
import pytest
from PIL import Image, features

from linewright.errors import InputError, SourceError
from linewright.sources import photograph

RAMP = np.repeat(np.linspace(0, 255, 80).astype(np.uint8)[None, :, None], 60, axis=0).repeat(3, axis=2)


def saved(tmp_path, kind):
    path = tmp_path / f"quay.{kind}"
    if kind == "heic":
        pillow_heif = pytest.importorskip("pillow_heif")
        pillow_heif.from_pillow(Image.fromarray(RAMP)).save(path, quality=95)
    elif not features.check("avif"):
        pytest.skip("this pillow was built without AVIF")
    else:
        Image.fromarray(RAMP).save(path, quality=95)
    return path


@pytest.mark.parametrize("kind", ["heic", "avif"])
def test_they_are_known_by_their_bytes_and_read(tmp_path, kind):
    path = saved(tmp_path, kind)
    nameless = path.rename(tmp_path / "quay")
    assert photograph.looks_like_one(nameless)
    found = photograph.load(str(nameless)).rgb
    # Both were compressed with losses; a level and a half of 255 is what is left of that here.
    assert np.abs(found - RAMP / 255).max() < 0.02


@pytest.mark.parametrize("kind", ["heic", "avif"])
@pytest.mark.parametrize("share", [0.05, 0.5])
def test_what_is_cut_short_is_refused(tmp_path, kind, share):
    path = saved(tmp_path, kind)
    data = path.read_bytes()
    path.write_bytes(data[: max(int(len(data) * share), 24)])
    with pytest.raises(SourceError, match=f"quay.{kind}"):
        photograph.load(str(path))


def test_without_the_extra_the_word_is_clear(tmp_path, monkeypatch):
    path = tmp_path / "quay.heic"
    path.write_bytes(b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + bytes(100))
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(InputError, match="is a HEIC photograph, which needs the package pillow-heif") as caught:
        photograph.load(str(path))
    assert "linewright[photo]" in caught.value.hint
    path.write_bytes(b"\x00\x00\x00\x18ftypavif\x00\x00\x00\x00avifmif1" + bytes(100))
    monkeypatch.setattr(features, "check", lambda name: False)
    with pytest.raises(InputError, match="is an AVIF photograph"):
        photograph.load(str(path))
