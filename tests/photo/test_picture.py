"""Pictures opened: every form, upright, nothing of the owner kept, and nothing that breaks or explodes."""

import hashlib
import io
import struct
import zlib
from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from pillow_heif import register_heif_opener

from idkey.errors import IdkeyError
from idkey.photo.picture import open_picture, read_picture

CORNERS = np.zeros((40, 60, 3), np.uint8)
CORNERS[:20, :30], CORNERS[:20, 30:], CORNERS[20:, :30] = (200, 0, 0), (0, 200, 0), (0, 0, 200)
OWNER = b"Jane Roe, 12 Invented Street"


def written(form: str, pixels=CORNERS, **more) -> bytes:
    to = io.BytesIO()
    Image.fromarray(pixels).save(to, form, **more)
    return to.getvalue()


def near(pixels, wanted) -> bool:
    return (
        pixels.shape == wanted.shape
        and np.abs(pixels[5:-5:10, 5:-5:10].astype(int) - wanted[5:-5:10, 5:-5:10]).max() < 12
    )


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_each_form_is_read_and_known_by_its_checksum(form, tmp_path):
    register_heif_opener()
    data = written(form, quality=95)
    (tmp_path / "fish").write_bytes(data)
    picture = open_picture(tmp_path / "fish")
    assert near(picture.pixels, CORNERS)
    assert (picture.width, picture.height) == (60, 40)
    assert picture.sha256 == hashlib.sha256(data).hexdigest()
    assert picture == read_picture(data, "fish")


# What a camera that was held so stores of what it saw: Exif 2.3, tag 274, read backwards.
STORED = {
    1: lambda p: p,
    2: lambda p: p[:, ::-1],
    3: lambda p: p[::-1, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: p.transpose(1, 0, 2),
    6: lambda p: np.rot90(p, 1),
    7: lambda p: np.rot90(p, 2).transpose(1, 0, 2),
    8: lambda p: np.rot90(p, -1),
}


@pytest.mark.parametrize("way", STORED)
def test_a_picture_is_turned_as_the_camera_says(way):
    exif = Image.Exif()
    exif[0x0112] = way
    data = written("PNG", np.ascontiguousarray(STORED[way](CORNERS)), exif=exif)
    assert near(read_picture(data).pixels, CORNERS)


def test_place_and_owner_are_neither_kept_nor_copied(tmp_path):
    exif = Image.Exif()
    exif[0x013B] = OWNER.decode()  # artist
    exif[0x8825] = {1: "N", 2: (52.0, 31.0, 12.0)}  # place
    data = written("JPEG", exif=exif, comment=OWNER)
    assert OWNER in data
    assert Image.open(io.BytesIO(data)).getexif().get_ifd(0x8825)
    picture = read_picture(data)
    copy = picture.copy_to(tmp_path)
    assert near(copy.pixels, CORNERS)
    for made in (picture.jpeg(), copy.path.read_bytes()):
        assert OWNER not in made
        assert not Image.open(io.BytesIO(made)).getexif()
    assert not [name for name in picture.__slots__ if OWNER.decode() in str(getattr(picture, name))]


def png_head(width: int, height: int) -> bytes:
    """A PNG of which the head tells a size, and next to nothing follows."""
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(b"\0" * 999)),
    )
    parts = (struct.pack(">I", len(b)) + n + b + struct.pack(">I", zlib.crc32(n + b)) for n, b in chunks)
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "no picture"),
        (b"GIF89a" + bytes(50), "no picture"),
        (b"%PDF-1.7 and so on", "no picture"),
        (written("JPEG")[:500], "cut off"),
        (written("PNG")[:120], "cut off"),
        (written("WEBP", lossless=True)[:60], "cut off"),
        (png_head(8000, 8000), "at most 60 megapixels"),
        (png_head(60_000, 60_000), "at most 60 megapixels"),
        (png_head(500, 500), "cut off"),
        (written("PNG", CORNERS[:8]), "at least 32"),
    ],
)
def test_what_is_no_picture_is_one_clear_error(data, why):
    with pytest.raises(IdkeyError, match=why) as caught:
        read_picture(data, "fish.jpg")
    assert str(caught.value).startswith("fish.jpg: ")
    assert len(str(caught.value).splitlines()) == 1


@given(st.sampled_from(["JPEG", "PNG", "WEBP"]), st.data())
def test_a_damaged_file_is_read_or_refused_and_nothing_else(form, data):
    whole = bytearray(written(form))
    for at in data.draw(st.lists(st.integers(0, len(whole) - 1), min_size=1, max_size=8)):
        whole[at] ^= data.draw(st.integers(1, 255))
    with suppress(IdkeyError):
        assert read_picture(bytes(whole)).pixels.dtype == np.uint8


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for path in (tmp_path / "none.jpg", tmp_path):
        with pytest.raises(IdkeyError, match="give the path of a picture"):
            open_picture(path)


@pytest.mark.parametrize(
    ("mode", "value", "wanted"),
    [("I;16", 257 * 90, 90), ("LA", (90, 0), 255), ("L", 90, 90), ("RGBA", (90, 90, 90, 255), 90)],
)
def test_other_kinds_of_pixels_come_as_red_green_and_blue(mode, value, wanted):
    to = io.BytesIO()
    Image.new(mode, (40, 40), value).save(to, "PNG")
    assert (read_picture(to.getvalue()).pixels == wanted).all()
