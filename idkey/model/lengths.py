"""A length as a keeper writes it, in inches, centimetres or millimetres -> whole millimetres."""

from __future__ import annotations

import math
import re

__all__ = ["in_millimetres"]

_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4, "\u2033": 25.4}
"""An inch is 25.4 mm exactly (international yard and pound agreement, 1959)."""
_NUMBER = r"(?:(\d+)\s+)?(\d+)/(\d+)|(\d+(?:[.,]\d+)?)"
_UNIT = r'mm|cm|inches|inch|in|"|\u2033'
_ONE = re.compile(rf"(?:{_NUMBER})\s*({_UNIT})?", re.IGNORECASE)
_BETWEEN = re.compile(r"\s*(?:\.\.|to|[-\u2013])\s*", re.IGNORECASE)


def in_millimetres(text: str) -> str:
    """Turn a length, or a range of lengths, into the text of an answer in millimetres.

    Parameters
    ----------
    text : str
        A number with mm, cm or in after it (millimetres without), a fraction of an inch, or two of them
        with "to", a dash or two dots between; a unit after the second holds for both.

    Returns
    -------
    str
        ``"64"`` or ``"64..76"``; what was not written in millimetres is rounded to the millimetre (a tenth
        below 10 mm). The text as it came where it cannot be read so, for `parse_answer` to say what would
        be right.

    Examples
    --------
    >>> [in_millimetres(text) for text in ("2.5 in", "6 cm", "2 1/2 to 3 inches", "45.6")]
    ['64', '60', '64..76', '45.6']
    """
    parts = _BETWEEN.split(text.strip())
    found = [_ONE.fullmatch(part) for part in parts]
    if len(found) > 2 or any(match is None for match in found):
        return text.strip()
    read = [match for match in found if match is not None]
    last = read[-1][5]
    if any(match[3] == "0" or match[3] and not int(match[3]) for match in read):
        return text.strip()
    return "..".join(_text(_value(match), (match[5] or last or "mm").lower()) for match in read)


def _value(match: re.Match[str]) -> float:
    whole, top, bottom, plain = match[1], match[2], match[3], match[4]
    if plain is not None:
        return float(plain.replace(",", "."))
    return int(whole or 0) + int(top) / int(bottom)


def _text(value: float, unit: str) -> str:
    if unit == "mm":
        return f"{value:.10g}"
    # Halves go up, as a keeper rounds: 2.5 in are 64 mm.
    millimetres = value * _MM[unit]
    step = 1 if millimetres >= 10 else 10
    return f"{math.floor(millimetres * step + 0.5) / step:g}"
