"""A plain fish with known places: an ellipse with round spots on a grey ground, for tests of screens."""

import io

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

SIZE = (1200, 800)
POINTS = {
    "snout": (150.0, 400.0),
    "tail_base": (850.0, 400.0),
    "gill": (330.0, 400.0),
    "eye_front": (220.0, 360.0),
    "eye_back": (256.0, 360.0),
    "back": (500.0, 280.0),
    "belly": (500.0, 520.0),
}
SPOTS = [
    (x + 22 * (row % 2), y)
    for row, y in enumerate(range(320, 500, 44))
    for x in range(370, 800, 44)
    if ((x + 22 * (row % 2) - 500) / 310) ** 2 + ((y - 400) / 95) ** 2 < 1
]
"""Their centres; each is 16 pixels wide."""
WIDTH = 16


def draw():
    """Return the picture, with the blur and the grain of a camera."""
    image = Image.new("RGB", tuple(2 * side for side in SIZE), (150, 158, 150))
    pen = ImageDraw.Draw(image)

    def disc(x, y, wide, high, colour):
        pen.ellipse([2 * v for v in (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)], fill=colour)

    disc(500, 400, 700, 240, (44, 40, 38))
    pen.polygon([(1680, 770), (2000, 600), (1920, 800), (2000, 1000), (1680, 830)], (60, 55, 52))
    disc(238, 360, 36, 36, (190, 180, 150))
    disc(238, 360, 18, 18, (8, 8, 8))
    for x, y in SPOTS:
        disc(x, y, WIDTH, WIDTH, (232, 226, 212))
    smooth = np.asarray(image.resize(SIZE, Image.Resampling.BOX).filter(ImageFilter.GaussianBlur(2.5)))
    grain = np.random.default_rng(7).normal(0, 3, (*smooth.shape[:2], 1))
    return Image.fromarray((smooth + grain).clip(0, 255).astype(np.uint8))


def png():
    """Return the bytes of a PNG file of it."""
    file = io.BytesIO()
    draw().save(file, "PNG")
    return file.getvalue()


def tell(measuring, buffers=(), **message):
    """Send what the browser sends."""
    measuring.canvas._handle_custom_msg(message, list(buffers))


def set_all(measuring, points=POINTS):
    """Set points as the browser does."""
    for name, at in points.items():
        tell(measuring, kind="set", name=name, at=list(at))
