"""A measurement held against a range, or against a minimum."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from idkey.care.check import TOLERANCE, Check, amount, listed, with_unknown
from idkey.care.demand import Demand

__all__ = ["Words", "against_least", "against_range"]


@dataclass(frozen=True)
class Words:
    """How a row about a range is put.

    Attributes
    ----------
    label : str
    low, high : str
        What a value below, or above, the range is: "too cool".
    up, down : str
        What to do then; ``{end}`` stands for the nearer end of the range.
    least_width : float
        Width by which the distance is judged where the range is narrower (our own choice).
    """

    label: str
    low: str
    high: str
    up: str
    down: str
    least_width: float


Span = tuple[float, float]


def against_range(
    demand: Demand,
    words: Words,
    value: float | None,
    *,
    found: str = "",
    measure: str = "",
    more_is_fine: bool = False,
) -> Check:
    """Hold a measurement against a range.

    Where no range suits all names the names disagree, unless the value suits none of them: then it fails,
    whichever name is right. Where it is not known of some names, it fails if it fails for the others.

    Parameters
    ----------
    demand : Demand
    words : Words
    value : float or None
    found, measure : str
        What was found and what to measure, where that is more than the value itself.
    more_is_fine : bool
        Whether a value above the range is no fault.
    """
    a = demand.attribute
    each: list[tuple[str, Span]] = [(label, v) for label, v in demand.each if isinstance(v, tuple)]
    span = demand.value if isinstance(demand.value, tuple) else None
    top = math.inf if more_is_fine else None
    fits = tuple(name for name, v in each if value is not None and not _off(value, v, top))
    row = Check(
        a,
        words.label,
        with_unknown(
            demand, amount(a, *span) if span else "; ".join(f"{n}: {amount(a, *v)}" for n, v in each)
        ),
        found or (amount(a, value) if value is not None else "not measured"),
        "need not known",
        basis=demand.basis,
    )
    if demand.disagree:
        if value is None or fits or not each:
            others = tuple(name for name, _ in each if name not in fits)
            right = f"Right for {listed(fits)}, not for {listed(others)}. " if fits else ""
            return replace(row, verdict="names disagree", change=f"{right}Settle the name first.")
        span = min((v for _, v in each), key=lambda v: abs(_off(value, v, top)))
        failed = _outside(row, words, span, value, top)
        return replace(failed, change=f"It suits none of the names. {failed.change}")
    if span is None:
        return row
    if value is None:
        return replace(row, verdict="not measured", change=measure or f"Measure: {words.label}.")
    if _off(value, span, top):
        return _outside(row, words, span, value, top)
    if demand.unknown:
        return replace(row, change=f"Right for {listed(fits)}.")
    return replace(row, verdict="pass")


def _off(value: float, span: Span, top: float | None = None) -> float:
    """Signed distance to the nearer end of a range; 0 inside. `top` stands for its upper end where given."""
    low, high = span[0], span[1] if top is None else top
    end = low if value < low else high if value > high else value
    return 0.0 if math.isclose(value, end, rel_tol=TOLERANCE) else value - end


def _outside(row: Check, words: Words, span: Span, value: float, top: float | None) -> Check:
    distance = _off(value, span, top)
    side, do, end = (words.low, words.up, span[0]) if distance < 0 else (words.high, words.down, span[1])
    return replace(
        row,
        verdict="fails",
        short_by=f"{amount(row.attribute, abs(distance), difference=True)} {side}",
        change=do.format(end=amount(row.attribute, end)),
        off=abs(distance) / max(span[1] - span[0], words.least_width),
    )


def against_least(
    demand: Demand,
    label: str,
    have: float | None,
    *,
    found: str,
    change: str,
    at_most: float | None = None,
    measure: str = "",
) -> Check:
    """Hold what the tank has against a minimum.

    Parameters
    ----------
    demand : Demand
    label : str
    have : float or None
        What was measured.
    found, change, measure : str
        What was found; what to do where it is too little, and where it was not measured.
    at_most : float, optional
        The most that it can be where it was not measured: if that is too little, it fails.
    """
    a, value = demand.attribute, demand.value
    row = Check(a, label, "not known", found, "need not known", basis=demand.basis)
    if not isinstance(value, float):
        return row
    row = replace(row, wanted=with_unknown(demand, f"at least {amount(a, value)}"))
    most = have if have is not None else at_most
    if most is not None and most < value and not math.isclose(most, value, rel_tol=TOLERANCE):
        lack = amount(a, value - most, difference=True)
        return replace(
            row, verdict="fails", short_by=f"{lack} too little", change=change, off=(value - most) / value
        )
    if have is None:
        return replace(row, verdict="not measured", change=measure)
    if demand.unknown:
        return replace(row, change=f"Enough for {listed(tuple(label for label, _ in demand.each))}.")
    return replace(row, verdict="pass")
