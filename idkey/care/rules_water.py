"""The water of a tank and how it moves, held against a care sheet: each function makes one row."""

from __future__ import annotations

from dataclasses import replace

from idkey.care.against import Words, against_least, against_range
from idkey.care.attributes import state_words
from idkey.care.check import AMMONIA_LIMIT, PRACTICE, Check, amount, figure, with_unknown
from idkey.care.demand import Demands
from idkey.care.measures import Tank
from idkey.care.water import oxygen_saturation, unionised_ammonia
from idkey.table.care import CARE_ATTRIBUTES

__all__ = ["ammonia", "flow", "hardness", "oxygen", "ph", "temperature", "turnover"]

_SLOWLY = f"slowly, by small steps ({PRACTICE})"
_BY_WATER = f"slowly, by small changes of water ({PRACTICE})"
_OVER_SATURATION = 1.2


def temperature(demands: Demands, tank: Tank) -> Check:
    """Check the temperature."""
    words = Words(
        "Temperature",
        "too cool",
        "too warm",
        f"Raise it to {{end}}, {_SLOWLY}.",
        f"Lower it to {{end}}, {_SLOWLY}.",
        1.0,
    )
    return against_range(demands.of("temperature_c"), words, tank.temperature_c)


def ph(demands: Demands, tank: Tank) -> Check:
    """Check the pH."""
    words = Words(
        "pH",
        "too low",
        "too high",
        f"Raise it to {{end}}, {_BY_WATER}.",
        f"Lower it to {{end}}, {_BY_WATER}.",
        0.5,
    )
    return against_range(demands.of("ph"), words, tank.ph)


def hardness(demands: Demands, tank: Tank) -> Check:
    """Check the general hardness."""
    words = Words(
        "General hardness",
        "too soft",
        "too hard",
        f"Raise it to {{end}}, {_BY_WATER}.",
        f"Lower it to {{end}} with softer water, {_BY_WATER}.",
        1.0,
    )
    return against_range(demands.of("gh_dgh"), words, tank.gh_dgh)


def turnover(demands: Demands, tank: Tank) -> Check:
    """Check the turnover; where the fish takes a strong flow, more than the range is no fault."""
    demand, current = demands.of("turnover_per_hour"), demands.of("flow")
    strong = isinstance(current.value, frozenset) and "strong" in current.value and not current.unknown
    words = Words(
        "Turnover",
        "too little",
        "too much",
        "Move {end}: clean the filter, or add a pump.",
        "Slow it to {end}: throttle or spread the outlet.",
        1.0,
    )
    needed = (("the flow of the pump", tank.pump_l_h), ("the height of the water", tank.fill_cm))
    missing = [what for what, value in needed if value is None]
    found = f"not measured: {' and '.join(missing)}"
    if tank.turnover is not None:
        found = f"{amount(demand.attribute, tank.turnover)}, from {figure(tank.pump_l_h or 0.0)} L/h"
    row = against_range(
        demand,
        words,
        tank.turnover,
        found=found,
        measure=f"Measure {' and '.join(missing)}.",
        more_is_fine=strong,
    )
    head = "a pump moves less than its box says, and less the higher it lifts: measure at the outlet"
    notes = [row.basis, f"{head} ({PRACTICE})"]
    if strong and row.wanted != "not known":
        row = replace(row, wanted=f"{row.wanted}; more is no fault for a fish of strong flow")
        notes.append(f"more is no fault: {PRACTICE}")
    return replace(row, basis="; ".join(filter(None, notes)))


def oxygen(demands: Demands, tank: Tank) -> Check:
    """Check dissolved oxygen; without a reading, only that warm or thin air can't give enough is sure."""
    demand, t = demands.of("oxygen_mg_l"), tank.temperature_c
    full = None if t is None else float(oxygen_saturation(t, pressure_atm=tank.pressure_atm))
    have = tank.oxygen_mg_l
    found = "not measured" if have is None else f"{have:g} mg/L"
    if full is not None:
        share = f" ({have / full * 100:.0f} % of saturation)" if have is not None else ""
        found += f"{share}; water holds at most {full:.2f} mg/L at {t:g} °C and {tank.altitude_m:g} m"
    measure = "the oxygen, in the morning and away from the outlet"
    row = against_least(
        demand,
        "Oxygen",
        have,
        found=found,
        at_most=full,
        change=f"Aerate more, keep the filter clean and the tank less crowded ({PRACTICE}).",
        measure=f"Measure {measure if full is not None else 'the oxygen and the temperature'}.",
    )
    if full is not None and isinstance(demand.value, float):
        row = replace(row, wanted=f"{row.wanted}, {demand.value / full * 100:.0f} % of saturation here")
        if have is None and row.verdict == "fails":
            cooler = "Water so warm, under air so thin, can't hold as much: keep it cooler, or another fish."
            row = replace(row, change=cooler)
    # At the sea: a reading that is doubtful there is more doubtful higher up.
    if have is not None and t is not None and have > _OVER_SATURATION * float(oxygen_saturation(t)):
        doubt = "More than water holds in balance with air: check the meter, and measure again at dawn."
        row = replace(row, verdict="not measured" if row.verdict == "pass" else row.verdict, change=doubt)
    basis = "saturation: Benson and Krause 1984, standard atmosphere (ISO 2533)"
    return replace(row, basis="; ".join(filter(None, (row.basis, basis))))


def ammonia(demands: Demands, tank: Tank) -> Check:
    """Check un-ionised ammonia, worked out from total ammonia, pH and temperature; alike for every fish."""
    row = Check(
        "ammonia_mg_l",
        "Un-ionised ammonia",
        f"under {AMMONIA_LIMIT:g} mg/L, as nitrogen",
        "",
        "pass",
        basis="limit: University of Florida, sheet FA16 (second-hand, a copy); share: Emerson et al. 1975",
    )
    needed = (("total ammonia", tank.ammonia_mg_l), ("pH", tank.ph), ("temperature", tank.temperature_c))
    missing = [name for name, value in needed if value is None]
    if tank.ammonia_mg_l is None or tank.ph is None or tank.temperature_c is None:
        what = ", ".join(missing)
        return replace(row, found=f"not measured: {what}", verdict="not measured", change=f"Measure: {what}.")
    free = float(unionised_ammonia(tank.ammonia_mg_l, tank.ph, tank.temperature_c))
    from_what = f"from {tank.ammonia_mg_l:g} mg/L total at pH {tank.ph:g} and {tank.temperature_c:g} °C"
    row = replace(row, found=f"{free:.2g} mg/L, {from_what}" if free else f"0 mg/L, {from_what}")
    if free < AMMONIA_LIMIT:
        return row
    first = f"Change water, feed less, find what rots ({PRACTICE})."
    return replace(
        row,
        verdict="fails",
        short_by=f"{free - AMMONIA_LIMIT:.2g} mg/L too much" if free > AMMONIA_LIMIT else "at the limit",
        change=f"{first} Do not raise the pH: more of it would be un-ionised.",
        off=free / AMMONIA_LIMIT - 1,
    )


def flow(demands: Demands, tank: Tank) -> Check:
    """Show the flow that is wanted; a current is not measured."""
    demand = demands.of("flow")
    attribute = next(a for a in CARE_ATTRIBUTES if a.id == "flow")
    each = [(label, state_words(attribute, v)) for label, v in demand.each if isinstance(v, frozenset)]
    row = Check("flow", "Flow", "not known", "no figure to go by", "need not known", basis=demand.basis)
    if demand.disagree:
        wanted = "; ".join(f"{label}: {words}" for label, words in each) or "no flow suits all names"
        change = "Settle the name first; until then a brisk end and a slack end."
        return replace(row, wanted=wanted, verdict="names disagree", change=change)
    if not isinstance(demand.value, frozenset):
        return row
    return replace(
        row,
        wanted=with_unknown(demand, state_words(attribute, demand.value)),
        verdict="read",
        change="Look where the fish stands: it needs a place in such a current.",
    )
