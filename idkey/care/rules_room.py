"""The room of a tank held against a care sheet: each function makes one row."""

from __future__ import annotations

import math
from dataclasses import replace

from idkey.care.against import against_least
from idkey.care.check import TOLERANCE, Check, amount, with_unknown
from idkey.care.company import same_kind
from idkey.care.demand import Demand, Demands
from idkey.care.measures import Tank

__all__ = ["group_volume", "growth", "length", "room_to_turn", "volume", "width"]

_OURS = "our own reasoning"


def volume(demands: Demands, tank: Tank) -> Check:
    """Check the volume of water."""
    return _volume(demands.of("tank_volume_l"), "Volume", tank)


def group_volume(demands: Demands, tank: Tank) -> Check:
    """Check the volume for a group; a shortage counts once the tank holds another of the same kind."""
    row = _volume(demands.of("group_volume_l"), "Volume for a group", tank)
    if row.verdict == "fails" and not any(same_kind(c, demands) for c in tank.companions):
        change = "Keep one alone here, not a group."
        return replace(
            row, verdict="read", short_by="", off=0.0, found=f"{row.found}: too small", change=change
        )
    return row


def _volume(demand: Demand, label: str, tank: Tank) -> Check:
    a, full, litres = demand.attribute, tank.full_volume_l, tank.volume_l
    if litres is not None:
        found = amount(a, litres)
    else:
        found = f"height of the water not measured; {amount(a, full)} when full to the brim"
    change = measure = ""
    if isinstance(demand.value, float):
        reach = demand.value * 1000 / (tank.length_cm * tank.width_cm)
        change = f"It needs a tank of at least {amount(a, demand.value)}."
        if reach <= tank.height_cm:
            change = f"Fill it to {amount('tank_length_cm', _up(reach))}, or take a larger tank."
        least = amount("tank_length_cm", _up(reach))
        measure = f"Measure the height of the water: it is enough from {least} up."
    return against_least(demand, label, litres, found=found, change=change, at_most=full, measure=measure)


def _up(x: float) -> float:
    """Round up to the next tenth, so that a height that is said to be enough is enough."""
    return math.ceil(x * 10 - TOLERANCE) / 10


def length(demands: Demands, tank: Tank) -> Check:
    """Check the length of the tank."""
    return _side(demands.of("tank_length_cm"), "Length", tank.length_cm)


def width(demands: Demands, tank: Tank) -> Check:
    """Check the width of the tank, front to back."""
    return _side(demands.of("tank_width_cm"), "Width", tank.width_cm)


def _side(demand: Demand, label: str, have: float) -> Check:
    value = demand.value
    change = (
        f"It needs a tank of at least {amount(demand.attribute, value)}." if isinstance(value, float) else ""
    )
    return against_least(demand, label, have, found=amount(demand.attribute, have), change=change)


def room_to_turn(demands: Demands, tank: Tank) -> Check:
    """Check whether the adult can turn round: the tank is no narrower than the adult is long."""
    demand, a = demands.of("adult_length_mm"), "adult_length_mm"
    across = amount("tank_width_cm", tank.width_cm)
    row = Check(a, "Room to turn round", "not known: its adult length", f"width {across}", "need not known")
    longest = _longest(demand)
    if longest is None:
        return row
    ours = "without the tail fin, for which no factor is known, so this is the least"
    row = replace(
        row,
        wanted=with_unknown(demand, f"a width of at least the adult length, {amount(a, longest)}"),
        basis=f"{_OURS}: a fish must be able to turn; {ours}. Length {demand.basis}".rstrip(),
    )
    lack = longest - tank.width_cm * 10
    if lack > TOLERANCE * longest:
        need = amount("tank_width_cm", _up(longest / 10))
        return replace(
            row,
            verdict="fails",
            short_by=f"{amount('tank_width_cm', lack / 10)} too narrow",
            change=f"It outgrows this tank: it needs one at least {need} from front to back.",
            off=lack / longest,
        )
    return row if demand.unknown else replace(row, verdict="pass")


def _longest(demand: Demand) -> float | None:
    return demand.value[1] if isinstance(demand.value, tuple) else None


def growth(demands: Demands, tank: Tank) -> Check:
    """Say that how long a growing fish has in the tank can't be told, and what to plan for instead."""
    longest = _longest(demands.of("adult_length_mm"))
    plan = "the adult length is not known either" if longest is None else amount("adult_length_mm", longest)
    return Check(
        "growth",
        "Time until it outgrows the tank",
        f"plan for the adult: {plan}" if longest is not None else plan,
        "can't be told: no rate of growth was read for these fish",
        "read" if longest is not None else "need not known",
        change="House the adult from the start, or have its tank ready.",
        basis="no source",
    )
