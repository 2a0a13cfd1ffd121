"""Photo-like pictures of invented fish, rendered, and their truth: ``python tests/tools/render_fish.py``.

None of these fish exists and no camera took the pictures. They are worked out in light, from formulas of
their own, by code that shares nothing with what measures them: a body of two curves, fins, an eye, spots
sown on a shaken grid, shade, plates, glare, a lamp of some colour, a blurred lens, noise and JPEG.
"""

from __future__ import annotations

import io
import json
import math
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter

FOLDER = Path(__file__).resolve().parents[2] / "images_demo" / "photos"
_UPPER = PchipInterpolator(
    [0, 0.03, 0.12, 0.28, 0.38, 0.6, 0.85, 1.0], [0, 0.035, 0.09, 0.128, 0.134, 0.116, 0.072, 0.058]
)
_LOWER = PchipInterpolator([0, 0.04, 0.15, 0.38, 0.7, 1.0], [0, -0.04, -0.086, -0.102, -0.08, -0.047])
_DORSAL = 0.38
_COLOURS = {"white": (0.72, 0.71, 0.66), "yellow": (0.68, 0.5, 0.13), "orange": (0.6, 0.2, 0.04)}
"""Shares of light in red, green and blue that spots throw back."""
_DARK, _PALE = (0.035, 0.03, 0.025), (0.3, 0.24, 0.15)


@dataclass(frozen=True)
class Fish:
    """What is rendered. Lengths are shares of the standard length, which is `length` pixels long."""

    length: float = 600
    spot: float = 0.022
    gap: float = 1.5  # about, in widths of a spot
    light_spots: bool = True
    colour: str = "white"
    head_spots: str = "same"
    fork: float = 0.3  # of the tail's length
    tail: float = 0.3
    dorsal: float = 1.0  # of the depth of the body
    eye: float = 0.2  # of the head, which is 0.27 of the fish
    pupil: float = 0.45  # of the eye
    nostril: float = 0.014
    nostril_tall: float = 1.0  # against its width
    mm: float = 90
    facing: str = "left"
    tilt: float = 0  # degrees
    ruler: bool = True
    ruler_near: float = 0.0  # to the camera, as a share of how far off the fish is
    ruler_turn: float = 0.0  # degrees out of the plane of the picture
    patch: bool = True
    clutter: bool = False
    lamp: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 1.0
    uneven: float = 0.1  # by how much the light falls off from one end to the other
    glare: int = 0
    blur: float = 0.8  # pixels
    noise: float = 0.006
    quality: int = 90
    seed: int = 0


HEAD, _EYE_AT, _NOSTRIL_AT = 0.27, (0.175, 0.062), (0.115, 0.058)


def render(fish: Fish) -> tuple[np.ndarray, dict]:
    """Return the picture, (height, width, 3) of sRGB, before JPEG; and the truth, places in pixels."""
    random = np.random.default_rng(fish.seed)
    scene = _Scene(fish, random)
    scene.ground()
    scene.fins()
    scene.body()
    spots = scene.spots()
    scene.shade()
    scene.eye()
    scene.glare()
    scene.things()
    return scene.photographed(), _truth(scene, spots)


def jpeg(pixels: np.ndarray, quality: int) -> bytes:
    """Return a picture as the bytes of a JPEG file."""
    to = io.BytesIO()
    Image.fromarray(pixels).save(to, "JPEG", quality=quality)
    return to.getvalue()


def srgb(light: np.ndarray) -> np.ndarray:
    """Return light, 0 to 1, as sRGB of 8 bits (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    shares = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(shares * 255).astype(np.uint8)


class _Scene:
    def __init__(self, fish: Fish, random: np.random.Generator):
        self.fish, self.random = fish, random
        self.width, self.height = int(fish.length * 1.6), int(fish.length * 0.86)
        angle = math.radians(fish.tilt)
        side = 1 if fish.facing == "left" else -1
        self.along = np.array([math.cos(angle), math.sin(angle)]) * side
        self.up = np.array([math.sin(angle), -math.cos(angle)])
        middle = np.array([self.width / 2, self.height * 0.47])
        self.snout = middle - 0.6 * fish.length * self.along
        y, x = np.mgrid[: self.height, : self.width] + 0.5
        away = np.stack([x, y], -1) - self.snout
        self.u, self.v = away @ self.along / fish.length, away @ self.up / fish.length
        self.light = np.zeros((self.height, self.width, 3))
        inside = np.clip(self.u, 0, 1)
        self.upper, self.lower = _UPPER(inside), _LOWER(inside)
        edge = np.minimum(
            np.minimum(self.upper - self.v, self.v - self.lower), np.minimum(self.u, 1 - self.u)
        )
        self.cover = np.clip(edge * fish.length + 0.5, 0, 1)

    def at(self, u, v):
        """Pixels of a place on the fish."""
        u, v = np.asarray(u, float) * self.fish.length, np.asarray(v, float) * self.fish.length
        return self.snout + u[..., None] * self.along + v[..., None] * self.up

    def paint(self, cover: np.ndarray, colour, where=np.s_[:, :]) -> None:
        cover = cover[..., None]
        self.light[where] = self.light[where] * (1 - cover) + cover * np.asarray(colour)

    def polygon(self, *shapes: np.ndarray) -> np.ndarray:
        """How much of each pixel polygons cover."""
        mask = Image.new("L", (self.width * 2, self.height * 2))
        for corners in shapes:
            ImageDraw.Draw(mask).polygon([tuple(corner) for corner in corners * 2], fill=255)
        return np.asarray(mask.reduce(2), float) / 255

    def disc(self, centre, radius: float, colour, tall: float = 1.0, turn: float = 0.0) -> None:
        """Paint an ellipse of the area of a disc."""
        reach = int(radius * max(tall, 1 / tall)) + 3
        x0, y0 = (max(0, int(c) - reach) for c in centre)
        where = np.s_[y0 : int(centre[1]) + reach + 1, x0 : int(centre[0]) + reach + 1]
        height, width = self.light[where].shape[:2]
        if not height or not width:
            return
        y, x = np.mgrid[:height, :width] + 0.5
        x, y = x + x0 - centre[0], y + y0 - centre[1]
        a = (x * math.cos(turn) + y * math.sin(turn)) * math.sqrt(tall)
        b = (y * math.cos(turn) - x * math.sin(turn)) / math.sqrt(tall)
        self.paint(np.clip(radius - np.hypot(a, b) + 0.5, 0, 1), colour, where)

    def ground(self) -> None:
        self.light[:] = self.random.uniform(0.08, 0.35) * np.array(self.random.uniform(0.8, 1.1, 3))
        if self.fish.clutter:
            for _ in range(260):
                colour = self.random.uniform(0.02, 0.6) * self.random.uniform(0.7, 1.1, 3)
                centre = self.random.uniform(0, [self.width, self.height])
                radius = self.fish.length * self.random.uniform(0.01, 0.05)
                self.disc(centre, radius, colour, self.random.uniform(0.6, 1.6), self.random.uniform(0, 3))

    def skin(self) -> np.ndarray:
        return np.array(_DARK if self.fish.light_spots else _PALE)

    def fins(self) -> None:
        colour = self.skin() * 1.5 + 0.01
        self.paint(0.9 * self.polygon(self.tail_edge()), colour)
        base, depth = float(_UPPER(_DORSAL)), float(_UPPER(_DORSAL) - _LOWER(_DORSAL))
        self.dorsal_tip = (_DORSAL + 0.05, base + math.sqrt((self.fish.dorsal * depth) ** 2 - 0.05**2))
        corners = [(_DORSAL, base - 0.01), self.dorsal_tip, (0.58, base + 0.06), (0.6, base - 0.03)]
        self.paint(0.9 * self.polygon(self.at(*np.array(corners).T)), colour)

    def tail_edge(self) -> np.ndarray:
        """The tail fin: its base, its tips, and a smooth edge between them."""
        self.tips = np.array([[1 + self.fish.tail, 0.13], [1 + self.fish.tail, -0.14]])
        middle = 1 + self.fish.tail * (1 - self.fish.fork)
        across = np.linspace(0, 1, 21)
        v = self.tips[0, 1] + across * (self.tips[1, 1] - self.tips[0, 1])
        u = middle + (1 + self.fish.tail - middle) * np.abs(2 * across - 1) ** 1.6
        self.tail_middle = (middle, float(v[10]))
        edge = np.stack([u, v], -1)
        return self.at(*np.concatenate([[[0.985, 0.05]], edge, [[0.985, -0.04]]]).T)

    def body(self) -> None:
        plates = 1 + 0.12 * np.sin(self.u * 2 * math.pi * 26 + 6 * np.abs(self.v) / 0.1)
        rough = gaussian_filter(self.random.normal(size=self.u.shape), self.fish.length / 300)
        self.paint(self.cover, self.skin() * (plates + 0.8 * rough)[..., None])

    def sown(self) -> np.ndarray:
        """Centres and radii of spots as (n, 3) of u, v, r: a shaken grid of triangles, inside the body."""
        fish, random = self.fish, self.random
        step = fish.spot * (1 + fish.gap * 1.15)
        rows, columns = int(0.3 / (step * 0.87)) + 2, int(1 / step) + 2
        row, column = np.mgrid[:rows, :columns]
        u = (column + 0.5 * (row % 2)) * step + random.uniform(0, step)
        v = (row - rows / 2) * step * 0.87 + random.uniform(0, step)
        room = max(0.0, (step - fish.spot) / 2 - 0.1 * fish.spot) * 0.7
        u, v = (axis.ravel() + random.uniform(-room, room, axis.size) for axis in (u, v))
        radius = fish.spot / 2 * np.exp(random.normal(0, 0.08, u.size))
        head = u < HEAD
        if fish.head_spots == "smaller":
            radius[head] *= 0.6
        kept = (u > 0.06) & (u < 0.97) & (random.random(u.size) > 0.04)
        kept &= (v + radius < _UPPER(np.clip(u, 0, 1)) - 0.004) & (
            v - radius > _LOWER(np.clip(u, 0, 1)) + 0.004
        )
        for (x, y), size in ((_EYE_AT, HEAD * fish.eye / 2), (_NOSTRIL_AT, fish.nostril / 2)):
            kept &= np.hypot(u - x, v - y) > size + radius + 0.004
        if fish.head_spots == "none":
            kept &= ~head
        return np.stack([u, v, radius], -1)[kept]

    def spots(self) -> np.ndarray:
        found = self.sown()
        colour = np.array(_COLOURS[self.fish.colour] if self.fish.light_spots else _DARK)
        for (x, y), radius in zip(
            self.at(found[:, 0], found[:, 1]), found[:, 2] * self.fish.length, strict=True
        ):
            tall, turn = np.exp(self.random.normal(0, 0.08)), self.random.uniform(0, math.pi)
            self.disc((x, y), radius, colour * self.random.uniform(0.9, 1.05), tall, turn)
        return found

    def shade(self) -> None:
        middle, half = (self.upper + self.lower) / 2, np.maximum((self.upper - self.lower) / 2, 1e-3)
        across = np.clip((self.v - middle - 0.2 * half) / half, -1, 1)
        round_ = 0.35 + 0.65 * np.sqrt(1 - 0.95 * across**2)
        self.light *= np.where(self.cover > 0, 1 - self.cover * (1 - round_), 1)[..., None]

    def eye(self) -> None:
        self.sizes = {"eye": HEAD * self.fish.eye, "nostril": self.fish.nostril}
        self.sizes["pupil"] = self.sizes["eye"] * self.fish.pupil
        at, length = self.at(*_EYE_AT), self.fish.length
        self.disc(at, self.sizes["eye"] * length / 2, (0.28, 0.2, 0.08))
        self.disc(at, self.sizes["pupil"] * length / 2, (0.004, 0.004, 0.005))
        self.disc(at + length * 0.002, length * 0.002, (0.9, 0.9, 0.9))
        tall, turn = self.fish.nostril_tall, math.radians(self.fish.tilt)
        radius = self.fish.nostril * length / 2 * math.sqrt(tall)
        self.disc(self.at(*_NOSTRIL_AT), radius, (0.003, 0.003, 0.003), tall, turn)

    def glare(self) -> None:
        """Streaks of the lamp on wet plates: whiter than anything, longer than wide."""
        for _ in range(self.fish.glare):
            u = self.random.uniform(0.1, 0.95)
            v = self.random.uniform(0.2, 0.85) * float(_UPPER(u))
            turn = math.radians(self.fish.tilt) + self.random.normal(0, 0.25)
            radius = self.fish.length * self.random.uniform(0.005, 0.011)
            self.disc(self.at(u, v), radius, (1.6, 1.6, 1.6), 1 / self.random.uniform(2.5, 5), turn)

    def things(self) -> None:
        """A ruler below the fish and a white patch beside it."""
        length, per_mm = self.fish.length, self.fish.length / self.fish.mm
        per_mm *= (1 + self.fish.ruler_near) * math.cos(math.radians(self.fish.ruler_turn))
        if self.fish.ruler:
            self.ruler = np.stack([self.at(0.1, -0.24), self.at(0.1 + 50 * per_mm / length, -0.24)])
            box = [(0.04, -0.24), (0.96, -0.24), (0.96, -0.31), (0.04, -0.31)]
            self.paint(self.polygon(self.at(*np.array(box).T)), (0.75, 0.72, 0.6))
            marks = []
            for mm in range(int(0.85 * self.fish.mm)):
                u, down = 0.1 + mm * per_mm / length, 0.03 if mm % 10 == 0 else 0.015
                wide = 0.3 * per_mm / length / 2
                mark = [
                    (u - wide, -0.24),
                    (u + wide, -0.24),
                    (u + wide, -0.24 - down),
                    (u - wide, -0.24 - down),
                ]
                marks.append(self.at(*np.array(mark).T))
            self.paint(self.polygon(*marks), (0.02, 0.02, 0.02))
        if self.fish.patch:
            self.white = (self.width * 0.06, self.height * 0.1)
            size = self.fish.length * 0.045
            box = np.array([(-size, -size), (size, -size), (size, size), (-size, size)]) + self.white
            self.paint(self.polygon(box), (0.9, 0.9, 0.9))

    def photographed(self) -> np.ndarray:
        x = np.linspace(-1, 1, self.width)
        fall = 1 + self.fish.uneven * x[None, :, None]
        seen = self.light * fall * np.array(self.fish.lamp) * self.fish.exposure
        seen = gaussian_filter(seen, (self.fish.blur, self.fish.blur, 0))
        seen = np.clip(seen, 0, None)
        seen += self.random.normal(size=seen.shape) * self.fish.noise * np.sqrt(0.02 + seen)
        return srgb(seen)


def _truth(scene: _Scene, spots: np.ndarray) -> dict:
    fish, length = scene.fish, scene.fish.length
    points = {"snout": (0, 0), "tail_base": (1, 0), "gill": (HEAD, 0.0), "dorsal_tip": scene.dorsal_tip}
    points |= {"back": (_DORSAL, float(_UPPER(_DORSAL))), "belly": (_DORSAL, float(_LOWER(_DORSAL)))}
    points |= {"tail_upper": scene.tips[0], "tail_middle": scene.tail_middle, "tail_lower": scene.tips[1]}
    for name, (u, v) in (("eye", _EYE_AT), ("pupil", _EYE_AT), ("nostril", _NOSTRIL_AT)):
        half = scene.sizes[name] / 2
        points |= {f"{name}_front": (u - half, v), f"{name}_back": (u + half, v)}
    places = {name: scene.at(*place) for name, place in points.items()}
    if fish.ruler:
        places |= {"ruler_a": scene.ruler[0], "ruler_b": scene.ruler[1]}
    if fish.patch:
        places["white"] = scene.white
    body, wide = spots[spots[:, 0] >= HEAD], 2 * spots[:, 2]
    flank = 2 * body[:, 2]
    apart = np.hypot(*(body[:, None, :2] - body[None, :, :2]).transpose(2, 0, 1))
    apart -= body[:, None, 2] + body[None, :, 2]
    np.fill_diagonal(apart, np.inf)
    step = np.hypot(*(body[:, None, :2] - body[None, :, :2]).transpose(2, 0, 1))
    np.fill_diagonal(step, np.inf)
    step = np.median(step.min(axis=1))
    above = spots[:, 1] - np.interp(
        spots[:, 0], [0, _DORSAL, 1], [0, (_UPPER(_DORSAL) + _LOWER(_DORSAL)) / 2, 0]
    )
    lines = np.append(above + spots[:, 2], above - spots[:, 2])
    lines = np.append(lines[np.abs(lines) <= step / 2], 0)
    head = wide[spots[:, 0] < HEAD]
    return {
        "points": {name: [round(float(c), 2) for c in place] for name, place in places.items()},
        "ruler_mm": 50.0 if fish.ruler else None,
        "spots": np.column_stack([scene.at(spots[:, 0], spots[:, 1]), wide * length]).round(2).tolist(),
        "on_head": (spots[:, 0] < HEAD).tolist(),
        "measures": {
            "standard_length": fish.mm,
            "spot_diameter": float(np.median(flank)) * length,
            "spot_vs_eye": float(np.median(flank)) / scene.sizes["eye"],
            "spot_vs_pupil": float(np.quantile(flank, 0.9)) / scene.sizes["pupil"],
            "spot_vs_nostril": float(np.median(flank)) / scene.sizes["nostril"],
            "gap_vs_spot": float(np.median(apart.min(axis=1)) / np.median(flank)),
            "spots_in_row": int((np.abs(above - lines[:, None]) <= spots[:, 2] + 1e-9).sum(axis=1).max()),
            "head_vs_flank": float(np.median(head) / np.median(flank)) if len(head) else None,
            "fork_depth": fish.fork,
            "dorsal_height": fish.dorsal,
            "eye_vs_head": 100 * fish.eye,
            "flank_spots": len(flank),
        },
        "answers": {
            "pattern": "light_spots" if fish.light_spots else "dark_spots",
            "head_spots": fish.head_spots,
            **({"spot_colour": fish.colour} if fish.light_spots else {}),
        },
    }


def drawn_at_random(seed: int, bad_light: bool = False, longest: float = 900) -> Fish:
    """Return a fish by chance: over sizes, densities, light, blur, tilt, noise and JPEG quality."""
    random = np.random.default_rng(10_000 + seed)
    uniform = random.uniform
    bad = {"glare": int(uniform(3, 12)), "uneven": uniform(0.3, 0.6), "exposure": uniform(0.45, 0.8)}
    good = {"glare": int(uniform(0, 2)), "uneven": uniform(0, 0.2), "exposure": uniform(0.8, 1.05)}
    warm = uniform(0.05, 0.3) if bad_light else uniform(-0.05, 0.05)
    light_spots = bool(uniform() < 0.8)
    return Fish(
        length=math.exp(uniform(math.log(350), math.log(longest))),
        spot=uniform(0.012, 0.034),
        gap=uniform(0.7, 3.2),
        light_spots=light_spots,
        colour=str(random.choice(["white", "yellow", "orange"])),
        head_spots=str(random.choice(["same", "same", "smaller", "none"])),
        fork=uniform(0, 0.6),
        dorsal=uniform(0.8, 1.5),
        eye=uniform(0.15, 0.26),
        pupil=uniform(0.4, 0.6),
        nostril=uniform(0.014, 0.026),
        mm=uniform(50, 150),
        facing=str(random.choice(["left", "right"])),
        tilt=uniform(-12, 12),
        clutter=bool(uniform() < 0.4),
        lamp=(1 + warm, 1.0, 1 - 1.6 * warm),
        blur=uniform(0.5, 1.6) * (1.5 if bad_light else 1),
        noise=uniform(0.004, 0.02) * (2 if bad_light else 1),
        quality=int(uniform(55, 96)),
        nostril_tall=math.exp(random.normal(0, 0.15)),
        # Laid a centimetre before or behind the fish, as it comes, and not quite flat.
        ruler_near=random.normal(0, 9) / uniform(250, 600),
        ruler_turn=random.normal(0, 8),
        seed=seed,
        **(bad if bad_light else good),
    )


DEMO = {
    "photo_1.jpg": Fish(seed=1, facing="left", gap=2.2, spot=0.024, fork=0.12),
    "photo_2.jpg": Fish(seed=2, facing="right", gap=1.1, spot=0.018, fork=0.35, tilt=6, colour="yellow"),
    "photo_3.jpg": Fish(seed=3, gap=1.4, spot=0.03, colour="orange", glare=5, tilt=-5, clutter=True),
    "photo_4.jpg": Fish(seed=4, light_spots=False, gap=1.3, spot=0.022, fork=0.4, patch=False),
    "photo_5.jpg": Fish(seed=5, gap=2.6, spot=0.016, head_spots="smaller", blur=1.8, noise=0.02, ruler=False),
    "photo_6.jpg": Fish(
        seed=6,
        gap=1.8,
        spot=0.022,
        lamp=(1.25, 1.0, 0.6),
        exposure=0.7,
        uneven=0.4,
        facing="right",
        quality=70,
    ),
    "photo_7.jpg": Fish(seed=7, gap=3.0, spot=0.026, head_spots="none", dorsal=1.45, fork=0.03, clutter=True),
    "photo_8.jpg": Fish(
        seed=8, gap=1.2, spot=0.014, colour="yellow", glare=8, tilt=10, uneven=0.3, patch=False, quality=60
    ),
    "photo_9.jpg": Fish(seed=9, gap=1.6, spot=0.02, light_spots=False, clutter=True, tilt=-9, facing="right"),
}
"""The pictures of images_demo."""

ABOUT = (
    "Nine pictures of invented fish. They are rendered by tests/tools/render_fish.py; no camera took them, "
    "and none of the fish exists. Places and diameters of spots are in pixels; ratios as in idkey.photo."
)


def main() -> None:
    """Write the pictures and truth.json."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    told = []
    for name, fish in DEMO.items():
        pixels, truth = render(fish)
        (FOLDER / name).write_bytes(jpeg(pixels, fish.quality))
        told.append({"file": name, **truth, "rendered_with": asdict(fish)})
    text = json.dumps({"about": ABOUT, "fish": told}, indent=1)
    (FOLDER / "truth.json").write_text(text + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
