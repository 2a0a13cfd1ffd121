"""How wide pupil and nostril are, by the picture near where their edges were set.

A point set by hand is off by a pixel or more, which is much of a nostril. Light sees the edge finer: a dark
ellipse, blurred, is laid over the picture so that it is likeliest, given where the points were set and how
well points are set (maximum a posteriori; its width is as sure as the curvature there says, Laplace).
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.optimize import least_squares

from idkey.photo.colour import linear
from idkey.photo.picture import Picture

_OVAL, _BLUR, _BLUR_SPREAD = 0.15, 1.2, 0.5
"""Spread of height against width (log), typical blur in pixels, and its spread (log): judgement."""
_GRAIN, _LEVEL, _FAR = 0.05, 0.3, 2.0
"""Of the contrast: least misfit, as nothing is a plain ellipse, and spread of the light within and around; a
misfit of more than so many standard deviations counts no more: judgement."""
_SURE = 0.25
"""Standard deviation of a width that is seen ever so clearly, in pixels: judgement."""
_LARGEST, _RIM, _LEAST_RIM = 12, 0.5, 3.0


def opening_width(picture: Picture, front: np.ndarray, back: np.ndarray, sd: float) -> tuple[float, float]:
    """Return the width of what is dark between two points, (2,) each, and its standard deviation, in pixels.

    `sd` is that of a point along each axis. Where nothing dark is seen it is the distance of the points.
    """
    far = np.subtract(back, front)
    width = float(np.hypot(*far))
    by_points = width, sd * 2**0.5
    # A large one is looked at smaller.
    step = max(1, int(width / 2 / _LARGEST))
    half, off = width / 2 / step, sd / step
    reach = int(np.ceil(half + max(_LEAST_RIM, _RIM * half) + 2 * off)) + 1
    centre = np.add(front, back) / 2
    low = np.round(centre - (reach + 0.5) * step).astype(int)
    side = (2 * reach + 1) * step
    if half < 1.5 or (low < 0).any() or (low + side > (picture.width, picture.height)).any():
        return by_points
    part = picture.pixels[low[1] : low[1] + side, low[0] : low[0] + side, :2]
    light = linear(np.arange(256))[part].mean(axis=2)
    light = light.reshape(2 * reach + 1, step, 2 * reach + 1, step).mean(axis=(1, 3))
    y, x = np.mgrid[: 2 * reach + 1, : 2 * reach + 1] + 0.5
    x, y = x - (centre[0] - low[0]) / step, y - (centre[1] - low[1]) / step
    along, across = (x * far[0] + y * far[1]) / width, (y * far[0] - x * far[1]) / width
    away = np.hypot(along, across)
    seen = away <= half + max(_LEAST_RIM, _RIM * half) + off
    light = light[seen]
    rim = float(np.median(light[away[seen] > half + off]))
    dark = float(np.quantile(light[away[seen] < 0.7 * half], 0.3))
    contrast = rim - dark
    if contrast <= 0:
        return by_points

    def wrong(at: np.ndarray) -> np.ndarray:
        """Return how far the light of the ellipse is from that of the picture, by the contrast."""
        a, b = half * np.exp([at[2], at[2] + at[3]])
        near = (1 - np.hypot((along - at[0]) / a, (across - at[1]) / b)) * np.sqrt(a * b)
        cover = gaussian_filter(np.clip(near + 0.5, 0, 1), _BLUR / step * np.exp(at[4]))[seen]
        return (rim - light) / contrast + at[5] - cover * (1 + at[5] + at[6])

    def off_by(at: np.ndarray, noise: float) -> np.ndarray:
        wider = half * (np.exp(at[2]) - 1)
        points = np.array([at[0] - wider, at[0] + wider, at[1]]) / off
        misfit = wrong(at) / noise
        # What is wrong by far is the lamp in the eye or on wet skin: it counts no more than that.
        misfit = misfit / np.sqrt(1 + (misfit / _FAR) ** 2) / smeared
        return np.concatenate([misfit, points, at[3:5] / (_OVAL, _BLUR_SPREAD), at[5:] / _LEVEL])

    # What is wrong is wrong for all that a blur smears together.
    smeared = max(1.5, 2.5 * _BLUR / step)
    at, noise = np.zeros(7), 0.15
    for _ in range(2):
        fit = least_squares(
            off_by, at, args=(noise,), x_scale=[1, 1, 0.2, 0.2, 0.5, 0.1, 0.1], diff_step=0.01
        )
        at = fit.x
        noise = max(1.48 * float(np.median(abs(wrong(at)))), _GRAIN)
    spread = np.linalg.inv(fit.jac.T @ fit.jac)[2, 2] ** 0.5
    found = width * float(np.exp(at[2]))
    return found, float(np.hypot(found * spread, _SURE * step))
