"""Amounts, shares and lists in words; units, the factors between them and what people call them.

An amount is shown in the metric unit and, in brackets, in the one that other keepers use. The figure in
brackets is worked out, so it is rounded, in one way wherever it stands.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

MM_PER_INCH = 25.4
"""Exactly (international yard and pound agreement, 1959)."""
LITRES_PER_US_GALLON = 3.785411784
"""A US gallon is 231 cubic inches."""
LITRES_PER_IMPERIAL_GALLON = 4.54609
"""By definition (United Kingdom, Weights and Measures Act 1985)."""
CACO3_PER_DGH = 17.848
"""mg/L CaCO3 in one German degree, 10 mg/L CaO: 10 x 100.09 / 56.08, the ratio of the molar masses."""

_WORDS = {"degC": "\u00b0C", "dGH": "\u00b0dGH", "tank volumes/h": "tank volumes an hour"}
_WORDS |= dict.fromkeys(("count", "ratio", "pH"), "")
_OTHER = {
    # the other unit, its factor, its offset and its decimals
    "mm": ("in", 1 / MM_PER_INCH, 0.0, 1),
    "cm": ("in", 10 / MM_PER_INCH, 0.0, 0),
    "L": ("US gal", 1 / LITRES_PER_US_GALLON, 0.0, 0),
    "degC": ("\u00b0F", 9 / 5, 32.0, 0),
    "dGH": ("mg/L as CaCO3", CACO3_PER_DGH, 0.0, 0),
}


def number_of(count: int, thing: str, which: str = "") -> str:
    """Write how many there are of a thing, as in "3,200 more names"."""
    return f"{count:,} {which}{' ' * bool(which)}{thing}{'s' * (count != 1)}"


def unit_words(unit: str) -> str:
    """Return a unit as it is shown; blank for a plain number."""
    return _WORDS.get(unit, unit)


def figure(x: float, digits: int = 2) -> str:
    """Write a number without needless digits; never as 0 where there is something."""
    step = 10.0**-digits
    if 0 < x < step / 2:
        return f"less than {step:g}"
    text = f"{x:.{digits}f}"
    return text.rstrip("0").rstrip(".") if digits else text


def amount(*values: float, unit: str = "", between: str = " to ", difference: bool = False) -> str:
    """Put one amount, the ends of a range, or the sides of a box into words.

    The unit is as the tables write it (mm, cm, L, degC, dGH, mg/L, pH); of `between` " to " equal ends count
    once; a `difference` is by how much two differ.

    >>> amount(26, 30, unit="degC"), amount(2, unit="degC", difference=True), amount(240, unit="L")
    ('26 to 30 \u00b0C (79 to 86 \u00b0F)', '2 \u00b0C (3.6 \u00b0F)', '240 L (63 US gal)')
    """
    words = unit_words(unit)
    texts = [figure(x) for x in values]
    if unit == "pH" and not difference:
        texts = [text if "." in text else f"{text}.0" for text in texts]
    other, factor, offset, digits = _OTHER.get(unit, ("", 0.0, 0.0, 0))
    others = [f"{x * factor + offset:.{digits}f}" for x in values] if other else []
    if other and difference:
        others = [figure(x * factor, 1) for x in values]
    if between == " to ":
        texts, others = list(dict.fromkeys(texts)), list(dict.fromkeys(others))
    if texts == ["1"]:
        words = words.replace("volumes", "volume")
    text = f"{between.join(texts)} {words}".rstrip()
    return f"{text} ({between.join(others)} {other})" if others else text


def listed(words: Iterable[str], last: str = "and") -> str:
    """Return words as a list in a sentence; blank without any.

    >>> listed(["red", "blue", "green"]), listed(["red"])
    ('red, blue and green', 'red')
    """
    *first, end = [*words] or [""]
    return f"{', '.join(first)} {last} {end}" if first else end


def first_up(text: str) -> str:
    """Return words with a capital in front, as a sentence begins."""
    return text[:1].upper() + text[1:]


def first_down(text: str) -> str:
    """Return words as they stand within a sentence."""
    return text[:1].lower() + text[1:]


def percent(share: float) -> str:
    """Write a share as per cent, without ever claiming 0 or 100.

    >>> percent(0.463), percent(0.0004), percent(0.9999)
    ('46 %', 'under 1 %', 'over 99 %')
    """
    if share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{share * 100:.0f} %"


_SCALES: dict[str, dict[str, tuple[float, float]]] = {
    unit: {word: scale for words, *scale in names for word in words.split("|")}
    for unit, names in {
        "mm": (("mm", 1.0, 0.0), ("cm", 10.0, 0.0), ('in|inch|inches|"|\u2033|\u201d', MM_PER_INCH, 0.0)),
        "L": (
            ("l|litre|litres|liter|liters", 1.0, 0.0),
            ("us gal|us gallons", LITRES_PER_US_GALLON, 0.0),
            ("imp gal|imperial gallons|uk gal", LITRES_PER_IMPERIAL_GALLON, 0.0),
        ),
        "degC": (("\u00b0c|degc|c", 1.0, 0.0), ("\u00b0f|degf|f", 5 / 9, -160 / 9)),
        # Pumps are sold by the US gallon.
        "L/h": (
            ("l/h|l/hr|lph|litres/h|liters/h|litres per hour|liters per hour", 1.0, 0.0),
            ("gal/h|gal/hr|gph|gallons per hour|us gal/h", LITRES_PER_US_GALLON, 0.0),
        ),
        "dGH": (
            ("dgh|\u00b0dgh|\u00b0dh", 1.0, 0.0),
            ("ppm|mg/l as caco3|mg/l caco3", 1 / CACO3_PER_DGH, 0.0),
        ),
        "degrees": (("\u00b0|degrees|deg", 1.0, 0.0),),
        "% HL": (("%|%hl|% hl", 1.0, 0.0),),
        "% SL": (("%|%sl|% sl", 1.0, 0.0),),
    }.items()
}
"""What people call a unit, by the unit it is turned into: factor and offset."""
_SCALES["cm"] = {word: (factor / 10, 0.0) for word, (factor, _) in _SCALES["mm"].items()}
_FEET = ("ft", "foot", "feet", "'", "\u2032")
UNIT = "|".join(
    re.escape(word).replace(r"\ ", r"\s*")
    for word in sorted({*_FEET, *(w for scale in _SCALES.values() for w in scale)}, key=len, reverse=True)
)
"""A pattern of every name of a unit, the longest first."""


def converted(value: float, word: str, unit: str) -> float:
    """Turn an amount that was given in some unit into that of the table. Raises ValueError.

    >>> converted(5, "in", "mm"), round(converted(78.8, "\u00b0F", "degC"), 6), converted(40, "%", "% HL")
    (127.0, 26.0, 40.0)
    """
    name = " ".join(word.split()).casefold()
    scale = _SCALES.get(unit, {unit.casefold(): (1.0, 0.0)})
    if name in _FEET and "in" in scale:
        raise ValueError(
            "feet are not read; write it in inches, 12 to the foot, such as 48 in for 4 ft, or in cm"
        )
    if name not in scale:
        right = f"it in {unit_words(unit)}" if unit_words(unit) else "a plain number"
        raise ValueError(f"the unit is another than is wanted; write {right}")
    factor, offset = scale[name]
    return value * factor + offset
