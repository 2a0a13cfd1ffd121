"""A picture, opened with care: upright, as plain pixels, and with nothing of who took it or where.

Of what a camera writes into a file only which way it was held is asked for; where, when and by whom is read
by no one, and goes into no copy, since a copy is made of the pixels.
"""

from __future__ import annotations

import hashlib
import io
import os
import warnings
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path

import numpy as np
from PIL import Image

from idkey.arguments import checked, shown
from idkey.errors import IdkeyError

MOST_PIXELS, LEAST_SIDE, MOST_BYTES = 60_000_000, 32, 200_000_000
_FORMATS = ("JPEG", "PNG", "WEBP")
_HEIC = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")
_ORIENTATION = 0x0112  # tag of Exif 2.3, 4.6.4
_TURNED = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_QUALITY = 95


@checked
@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as it is looked at: upright.

    `pixels` is (height, width, 3), uint8, sRGB; x runs right and y down from the outer corner of the first
    pixel. `sha256` is that of the file as it was read, by which the picture is known wherever it lies.
    """

    name: str
    sha256: str
    pixels: np.ndarray = field(repr=False, compare=False)
    path: Path | None = field(default=None, compare=False)

    @property
    def width(self) -> int:
        """Pixels across."""
        return self.pixels.shape[1]

    @property
    def height(self) -> int:
        """Pixels down."""
        return self.pixels.shape[0]

    def jpeg(self, longest: int | None = None) -> bytes:
        """Return the picture as a JPEG file of pixels alone, its longer side at most `longest`."""
        if longest is not None and longest < 1:
            raise IdkeyError(f"picture: longest: {shown(longest)}: give a number of pixels, 1 or more")
        image = Image.fromarray(self.pixels)
        if longest and max(image.size) > longest:
            image.thumbnail((longest, longest), Image.Resampling.BOX, reducing_gap=2.0)
        to = io.BytesIO()
        image.save(to, "JPEG", quality=_QUALITY, subsampling=0)
        return to.getvalue()

    def copy_to(self, folder: str | os.PathLike[str]) -> Picture:
        """Write the pixels alone into a folder and return the copy, which has a checksum of its own.

        Points on the picture hold on the copy. Raises IdkeyError where the folder can't be written to.
        """
        data = self.jpeg()
        path = Path(folder) / f"{hashlib.sha256(data).hexdigest()[:16]}.jpg"
        try:
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(data)
        except OSError as error:
            raise IdkeyError(
                f"{path}: {error.strerror or error}; choose a folder that can be written to"
            ) from None
        return open_picture(path)


@checked
def open_picture(path: str | os.PathLike[str]) -> Picture:
    """Open a picture: JPEG, PNG, WebP, or HEIC with the extra ``idkey[heic]``; at most 60 megapixels.

    Raises IdkeyError for what can't be read, is no picture, is cut off, or would be too large once opened.
    """
    place = Path(path)
    try:
        if place.stat().st_size > MOST_BYTES:
            raise IdkeyError(f"{place}: a file of more than {MOST_BYTES // 10**6} MB; save it smaller")
        data = place.read_bytes()
    except OSError as error:
        raise IdkeyError(f"{place}: {error.strerror or error}; give the path of a picture") from None
    return read_picture(data, place.name, place)


@checked
def read_picture(data: bytes, name: str = "picture", path: Path | None = None) -> Picture:
    """Read a picture from the bytes of its file, such as an upload; as `open_picture`."""
    data = bytes(data)
    heic = data[4:8] == b"ftyp" and data[8:12] in _HEIC
    if heic:
        _take_heic(name)
    try:
        with warnings.catch_warnings():
            # A warning of the library on odd metadata is none of the keeper's; one on the size is an error.
            warnings.simplefilter("ignore")
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=(*_FORMATS, "HEIF") if heic else _FORMATS) as image:
                _check_size(image.size, name)
                turn = _TURNED.get(image.getexif().get(_ORIENTATION))
                image.load()
                plain = _plain(image)
    except IdkeyError:
        raise
    except (Image.DecompressionBombWarning, Image.DecompressionBombError):
        raise IdkeyError(_too_large(name)) from None
    except Image.UnidentifiedImageError:
        raise IdkeyError(
            f"{name}: {shown(data[:8])}: no picture; give a JPEG, PNG, WebP or HEIC file"
        ) from None
    except MemoryError:
        raise IdkeyError(f"{name}: not enough memory to open it; save it smaller") from None
    except Exception as error:  # noqa: BLE001 - decoders raise whatever they stumble over
        why = " ".join(str(error).split())
        raise IdkeyError(
            f"{name}: {why or type(error).__name__}: broken or cut off; take or save it again"
        ) from None
    pixels = np.asarray(plain if turn is None else plain.transpose(turn))
    pixels.flags.writeable = False
    return Picture(name, hashlib.sha256(data).hexdigest(), pixels, path)


def _take_heic(name: str) -> None:
    try:
        import_module("pillow_heif").register_heif_opener()
    except ImportError:
        right = 'run pip install "idkey[heic]", or save it as JPEG'
        raise IdkeyError(f"{name}: a HEIC picture, for which a library is missing; {right}") from None


def _too_large(name: str, size: str = "") -> str:
    return f"{name}: {size or 'more'} pixels; save it with at most {MOST_PIXELS // 10**6} megapixels"


def _check_size(size: tuple[int, int], name: str) -> None:
    """Refuse a picture by what its head says, before any of it is unpacked."""
    width, height = size
    if width * height > MOST_PIXELS:
        raise IdkeyError(_too_large(name, f"{width} x {height}"))
    if min(size) < LEAST_SIDE:
        raise IdkeyError(f"{name}: {width} x {height} pixels; give a picture of at least {LEAST_SIDE} a side")


def _plain(image: Image.Image) -> Image.Image:
    """Return a picture as red, green and blue of 8 bits."""
    if image.mode.startswith("I"):
        # 16 bits of grey, which the library would cut off at 255.
        return Image.fromarray((np.asarray(image) / 257).round().astype(np.uint8)).convert("RGB")
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        over = image.convert("RGBA")
        ground = Image.new("RGBA", over.size, "white")
        ground.alpha_composite(over)
        return ground.convert("RGB")
    return image.convert("RGB")
