"""How a tank is held against a care sheet: a table of rules, and what makes a row of the answer of each."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from idkey.care.columns import COLUMNS
from idkey.care.needs import Value, state_words
from idkey.care.sheet import CareSheet
from idkey.care.tank import Companion, Tank
from idkey.care.water import oxygen_saturation, unionised_ammonia
from idkey.table.names import folded
from idkey.table.units import amount

__all__ = ["AMMONIA_LIMIT", "RULES", "VERDICTS", "VITAL", "Check", "Rule", "hold"]

VERDICTS = ("pass", "fails", "not measured", "need not known", "names disagree", "read")
"""What a row can say; ``read`` is a text for the keeper to judge by, and never counts as a pass."""

VITAL = ("adult_length_mm", "tank_volume_l", "temperature_c", "ph", "oxygen_mg_l", "ammonia_mg_l")
"""Needs without which no tank is said to fit: room and water (our own choice)."""

AMMONIA_LIMIT = 0.05
"""mg/L un-ionised ammonia nitrogen; more harms gills (University of Florida, IFAS, sheet FA16: a copy)."""

_PRACTICE = "common practice"
_TOLERANCE = 1e-9
"""Relative; a volume worked out from its sides may miss its last digit."""
_OVER_SATURATION = 1.2
_SHELLED = re.compile(r"\b(snail|nerite|mussel|clam|shrimp|prawn|crab|crayfish)(e?s)?\b", re.IGNORECASE)
_BULLIED = re.compile(r"\bbullied by larger\b", re.IGNORECASE)


@dataclass(frozen=True)
class Check:
    """One row of the answer.

    Attributes
    ----------
    attribute, label : str
        Column of care.csv (or ``ammonia_mg_l``, ``growth``), and what it is called.
    wanted, found : str
        What the names call for and what the tank has, units shown.
    verdict : str
        One of `VERDICTS`.
    short_by : str
        How far off and on which side; blank unless it fails.
    change : str
        What to do.
    basis : str
        Where the need or the rule comes from.
    off : float
        How far off as a share of the need, to rank tanks by; 0 unless it fails.
    """

    attribute: str
    label: str
    wanted: str
    found: str
    verdict: str
    short_by: str = ""
    change: str = ""
    basis: str = ""
    off: float = 0.0

    @property
    def open(self) -> bool:
        """Whether it can't be said yet."""
        return self.verdict in ("not measured", "need not known", "names disagree")

    @property
    def vital(self) -> bool:
        """Whether a tank can't be said to fit while this row is open.

        That is so for everything that a measurement would settle, since the measurement may fail; for a need
        that is not known only where it is of room or water.
        """
        return self.open and (self.verdict != "need not known" or self.attribute in VITAL)


class _Wanted:
    """What the names of a sheet want in one respect; a column that the sheet does not have is not known."""

    def __init__(self, care: CareSheet, attribute: str):
        need = care.attributes.get(attribute)
        labels = dict(zip(care.names, care.labels, strict=True))
        self.value: Value = need.shared if need else None
        self.each = [(labels[n], v) for n, v in need.values.items() if v is not None] if need else []
        self.unknown = tuple(labels[n] for n in need.unknown_for) if need and self.each else care.labels
        self.disagree = bool(need and need.conflict)
        self.basis = need.basis if need else ""
        self.text = " ".join(need.text.splitlines()) if need and need.origin else ""

    def words(self, text: str) -> str:
        """Say what is wanted, and for whom it is not known."""
        if not text:
            return "not known"
        return f"{text}; not known for {_listed(self.unknown)}" if self.unknown else text


@dataclass(frozen=True)
class _Facts:
    """What a tank has in one respect, where that is more than the figure itself."""

    found: str = ""
    measure: str = ""
    change: str = ""
    most: float | None = None
    """The most that it can be where it was not measured: if that is too little, it fails."""
    more_is_fine: bool = False
    wanted: str = ""
    """What follows what is wanted."""
    basis: tuple[str, ...] = ()
    doubt: str = ""
    """Why a reading can't be right."""
    spared: str = ""
    """What to do where falling short counts for nothing in this tank."""


@dataclass(frozen=True)
class Rule:
    """How a tank is held against one need.

    Attributes
    ----------
    attribute, label : str
        Column of care.csv, or what else the row is about, and what it is called.
    row : callable
        Makes the row: a rule for ranges, for minimums, for texts, or one of its own.
    have : callable
        What was measured of the tank; None where it was not.
    low, high : str
        What a value below, or above, is: "too cool".
    up, down : str
        What to do then; ``{end}`` stands for the nearer end of the range.
    least_width : float
        Width by which the distance is judged where the range is narrower (our own choice).
    unit : str
        Unit of what was measured; by default that of the column.
    wanted : str
        How a minimum is put; ``{need}`` stands for the need.
    need : callable
        The need in the unit of what was measured.
    facts : callable
        What more there is to say of the tank.
    """

    attribute: str
    label: str
    row: Callable[[Rule, CareSheet, Tank], Check]
    have: Callable[[Tank], float | None] = lambda _: None
    low: str = "too little"
    high: str = ""
    up: str = ""
    down: str = ""
    least_width: float = 1.0
    unit: str = ""
    wanted: str = "at least {need}"
    need: Callable[[Any], float] = lambda value: value
    facts: Callable[[CareSheet, Tank], _Facts] = lambda _, __: _Facts()

    def amount(self, *ends: float, difference: bool = False) -> str:
        """Put a measurement, a range or a distance into words."""
        return amount(*ends, unit=self.unit or COLUMNS[self.attribute].unit, difference=difference)


def hold(rule: Rule, care: CareSheet, tank: Tank) -> Check:
    """Hold a tank against one need of a sheet."""
    return rule.row(rule, care, tank)


# -- ranges, minimums, texts -------------------------------------------------------------------------


def _within(rule: Rule, care: CareSheet, tank: Tank) -> Check:
    """Hold a measurement against a range.

    Where no range suits all names the names disagree, unless the value suits none of them: then it fails,
    whichever name is right. Where it is not known of some names, it fails if it fails for the others.
    """
    want, value, facts = _Wanted(care, rule.attribute), rule.have(tank), rule.facts(care, tank)
    top = math.inf if facts.more_is_fine else None
    fits = [label for label, span in want.each if value is not None and not _off(value, span, top)]
    each = "; ".join(f"{label}: {rule.amount(*span)}" for label, span in want.each)
    row = Check(
        rule.attribute,
        rule.label,
        want.words(rule.amount(*want.value) if want.value else each),
        facts.found or ("not measured" if value is None else rule.amount(value)),
        "need not known",
        basis=want.basis,
    )
    if want.disagree:
        if value is None or fits or not want.each:
            others = [label for label, _ in want.each if label not in fits]
            right = f"Right for {_listed(fits)}, not for {_listed(others)}. " if fits else ""
            row = replace(row, verdict="names disagree", change=f"{right}Settle the name first.")
        else:
            nearest = min((span for _, span in want.each), key=lambda span: abs(_off(value, span, top)))
            row = _outside(rule, row, nearest, value, top)
            row = replace(row, change=f"It suits none of the names. {row.change}")
    elif want.value is None:
        pass
    elif value is None:
        row = replace(row, verdict="not measured", change=facts.measure or f"Measure: {rule.label}.")
    elif _off(value, want.value, top):
        row = _outside(rule, row, want.value, value, top)
    elif want.unknown:
        row = replace(row, change=f"Right for {_listed(fits)}.")
    else:
        row = replace(row, verdict="pass")
    return _with(row, facts)


def _off(value: float, span: tuple[float, float], top: float | None = None) -> float:
    """Signed distance to the nearer end of a range; 0 inside. `top` stands for its upper end where given."""
    end = min(max(value, span[0]), span[1] if top is None else top)
    return 0.0 if math.isclose(value, end, rel_tol=_TOLERANCE) else value - end


def _outside(rule: Rule, row: Check, span: tuple[float, float], value: float, top: float | None) -> Check:
    distance = _off(value, span, top)
    side, do, end = (rule.low, rule.up, span[0]) if distance < 0 else (rule.high, rule.down, span[1])
    return replace(
        row,
        verdict="fails",
        short_by=f"{rule.amount(abs(distance), difference=True)} {side}",
        change=do.format(end=rule.amount(end)),
        off=abs(distance) / max(span[1] - span[0], rule.least_width),
    )


def _at_least(rule: Rule, care: CareSheet, tank: Tank) -> Check:
    """Hold what the tank has against a minimum."""
    want, have, facts = _Wanted(care, rule.attribute), rule.have(tank), rule.facts(care, tank)
    found = facts.found or ("not measured" if have is None else rule.amount(have))
    row = Check(rule.attribute, rule.label, "not known", found, "need not known", basis=want.basis)
    if want.value is None:
        return _with(row, facts)
    need, of_column = rule.need(want.value), want.value if rule.unit == "" else want.value[1]
    words = amount(of_column, unit=COLUMNS[rule.attribute].unit)
    row = replace(row, wanted=want.words(rule.wanted.format(need=words)))
    most = have if have is not None else facts.most
    if most is not None and most < need and not math.isclose(most, need, rel_tol=_TOLERANCE):
        row = replace(
            row,
            verdict="fails",
            short_by=f"{rule.amount(need - most, difference=True)} {rule.low}",
            change=facts.change or rule.up.format(end=rule.amount(_up(need))),
            off=(need - most) / need,
        )
        if facts.spared:
            found = f"{row.found}: too small"
            row = replace(row, verdict="read", short_by="", off=0.0, found=found, change=facts.spared)
    elif have is None:
        row = replace(row, verdict="not measured", change=facts.measure)
    elif want.unknown:
        row = replace(row, change=f"Enough for {_listed([label for label, _ in want.each])}.")
    else:
        row = replace(row, verdict="pass")
    return _with(row, facts)


def _with(row: Check, facts: _Facts) -> Check:
    """Put what more there is to say into a row."""
    if facts.wanted and row.wanted != "not known":
        row = replace(row, wanted=f"{row.wanted}{facts.wanted}")
    if facts.doubt:
        row = replace(
            row, verdict="not measured" if row.verdict == "pass" else row.verdict, change=facts.doubt
        )
    return replace(row, basis="; ".join(filter(None, (row.basis, *facts.basis))))


def _flow(rule: Rule, care: CareSheet, tank: Tank) -> Check:
    """Show the flow that is wanted; a current is not measured."""
    want, column = _Wanted(care, rule.attribute), COLUMNS[rule.attribute]
    row = Check(
        rule.attribute, rule.label, "not known", "no figure to go by", "need not known", basis=want.basis
    )
    if want.disagree:
        each = "; ".join(f"{label}: {state_words(column, states)}" for label, states in want.each)
        return replace(
            row, wanted=each or "no flow suits all names", verdict="names disagree", change=rule.down
        )
    if want.value is None:
        return row
    return replace(row, wanted=want.words(state_words(column, want.value)), verdict="read", change=rule.up)


def _substrate(rule: Rule, care: CareSheet, tank: Tank) -> Check:
    """Show the ground that is wanted beside what lies in the tank."""
    want = _Wanted(care, rule.attribute)
    verdict = "read" if want.text else "need not known"
    found = tank.substrate or "not stated"
    return Check(rule.attribute, rule.label, want.text or "not known", found, verdict, basis=want.basis)


# -- rows of their own -------------------------------------------------------------------------------


def _growth(rule: Rule, care: CareSheet, tank: Tank) -> Check:
    """Say that how long a growing fish has in the tank can't be told, and what to plan for instead."""
    value = _Wanted(care, "adult_length_mm").value
    longest = None if value is None else amount(value[1], unit=COLUMNS["adult_length_mm"].unit)
    return Check(
        rule.attribute,
        rule.label,
        f"plan for the adult: {longest}" if longest else "the adult length is not known either",
        "can't be told: no rate of growth was read for these fish",
        "read" if longest else "need not known",
        change="House the adult from the start, or have its tank ready.",
        basis="no source",
    )


def _ammonia(rule: Rule, care: CareSheet, tank: Tank) -> Check:
    """Check un-ionised ammonia, worked out from total ammonia, pH and temperature; alike for every fish."""
    row = Check(
        rule.attribute,
        rule.label,
        f"under {AMMONIA_LIMIT:g} mg/L, as nitrogen",
        "",
        "pass",
        basis="limit: University of Florida, sheet FA16 (second-hand, a copy); share: Emerson et al. 1975",
    )
    needed = {"total ammonia": tank.ammonia_mg_l, "pH": tank.ph, "temperature": tank.temperature_c}
    if missing := ", ".join(name for name, value in needed.items() if value is None):
        return replace(
            row, found=f"not measured: {missing}", verdict="not measured", change=f"Measure: {missing}."
        )
    free = float(unionised_ammonia(tank.ammonia_mg_l, tank.ph, tank.temperature_c))
    given = f"from {tank.ammonia_mg_l:g} mg/L total at pH {tank.ph:g} and {tank.temperature_c:g} °C"
    row = replace(row, found=f"{free:.2g} mg/L, {given}")
    if free < AMMONIA_LIMIT:
        return row
    return replace(
        row,
        verdict="fails",
        short_by=f"{free - AMMONIA_LIMIT:.2g} mg/L too much" if free > AMMONIA_LIMIT else "at the limit",
        change=f"Change water, feed less, find what rots ({_PRACTICE}). "
        "Do not raise the pH: more of it would be un-ionised.",
        off=free / AMMONIA_LIMIT - 1,
    )


def _companions(rule: Rule, care: CareSheet, tank: Tank) -> Check:
    """Hold companions against what the sources say.

    Two things fail: what a mollusc-eater eats, and a larger fish beside one that the sheet says is bullied by
    larger ones. All else is a text to read beside who is in the tank.
    """
    texts = [_Wanted(care, a) for a in ("temperament", "companions")]
    diet = _Wanted(care, "diet_type")
    wanted = " ".join(filter(None, (t.text for t in texts)))
    basis = "; ".join(dict.fromkeys(t.basis for t in texts if t.basis))
    found = "; ".join(_companion_words(c, care) for c in tank.companions) or "none named"
    verdict = "read" if wanted else "need not known"
    row = Check(rule.attribute, rule.label, wanted or "not known", found, verdict, basis=basis)
    eaters = [label for label, states in diet.each if "molluscs" in states]
    food = [c.name for c in tank.companions if _SHELLED.search(c.name)]
    if eaters and food:
        return replace(
            row,
            wanted=f"{row.wanted} It eats snails and the like.",
            verdict="fails",
            short_by=f"{len(food)} that it eats",
            change=f"Take out: {', '.join(food)}. {_listed(eaters)} would eat them.",
            basis="; ".join(filter(None, (basis, f"diet {diet.basis}"))),
            off=1.0,
        )
    timid = {label for t in texts for label, text in t.each if _BULLIED.search(text)}
    return _beside_larger(row, care, tank, timid)


def _beside_larger(row: Check, care: CareSheet, tank: Tank, timid: set[str]) -> Check:
    """Tell whether fish that larger ones bully have larger ones beside them."""
    others = [c for c in tank.companions if not _same_kind(c, care)]
    if not timid or not others:
        return row
    own = min((v[1] for label, v in _Wanted(care, "adult_length_mm").each if label in timid), default=None)
    larger = [c for c in others if own is not None and c.length_mm is not None and c.length_mm > own]
    if larger:
        excess = max(c.length_mm for c in larger) - own
        return replace(
            row,
            verdict="fails",
            short_by=f"{amount(excess, unit='mm')} larger than it",
            change=f"Keep it apart from: {', '.join(c.name for c in larger)}. Larger fish bully it.",
            off=excess / own,
        )
    if unsure := ", ".join(c.name for c in others if own is None or c.length_mm is None):
        change = f"Find out how long they grow: {unsure}. Larger fish bully this one."
        return replace(row, verdict="not measured", change=change)
    return row


def _companion_words(companion: Companion, care: CareSheet) -> str:
    text = f"{companion.count} {companion.name}"
    if companion.length_mm is not None:
        text += f", {amount(companion.length_mm, unit='mm')}"
    return f"{text} (its own kind)" if _same_kind(companion, care) else text


def _same_kind(companion: Companion, care: CareSheet) -> bool:
    """Tell whether a companion goes by the id, a name or a trade code of one of the kinds."""
    if care.table is None:
        return False
    words = f" {folded(companion.name)} "
    # "Hypancistrus sp." may be any of a genus; its trade code tells which.
    called = ((n, kinds) for n, kinds in care.table.names.called.items() if not n.endswith(" sp"))
    return any(f" {name} " in words for name, kinds in called if set(kinds) & set(care.names))


# -- what more there is to say of a tank -------------------------------------------------------------


def _volume_facts(care: CareSheet, tank: Tank, attribute: str = "tank_volume_l") -> _Facts:
    full, value = tank.full_volume_l, _Wanted(care, attribute).value
    found = (
        ""
        if tank.volume_l is not None
        else (f"height of the water not measured; {amount(full, unit='L')} when full to the brim")
    )
    if value is None:
        return _Facts(found)
    reach = value * 1000 / (tank.length_cm * tank.width_cm)
    height = amount(_up(reach), unit="cm")
    change = f"Fill it to {height}, or take a larger tank." if reach <= tank.height_cm else ""
    return _Facts(found, f"Measure the height of the water: it is enough from {height} up.", change, full)


def _group_facts(care: CareSheet, tank: Tank) -> _Facts:
    """A shortage counts once the tank holds another of the same kind."""
    alone = not any(_same_kind(c, care) for c in tank.companions)
    spared = "Keep one alone here, not a group." if alone else ""
    return replace(_volume_facts(care, tank, "group_volume_l"), spared=spared)


def _turnover_facts(care: CareSheet, tank: Tank) -> _Facts:
    """Where the fish takes a strong flow, more than the range is no fault."""
    current = _Wanted(care, "flow")
    strong = current.value is not None and "strong" in current.value and not current.unknown
    needed = {"the flow of the pump": tank.pump_l_h, "the height of the water": tank.fill_cm}
    missing = " and ".join(what for what, value in needed.items() if value is None)
    found = f"not measured: {missing}"
    if tank.turnover is not None:
        found = (
            f"{amount(tank.turnover, unit=COLUMNS['turnover_per_hour'].unit)}, from {tank.pump_l_h:.10g} L/h"
        )
    head = "a pump moves less than its box says, and less the higher it lifts: measure at the outlet"
    return _Facts(
        found,
        f"Measure {missing}.",
        more_is_fine=strong,
        wanted="; more is no fault for a fish of strong flow" if strong else "",
        basis=(f"{head} ({_PRACTICE})", *([f"more is no fault: {_PRACTICE}"] if strong else [])),
    )


def _oxygen_facts(care: CareSheet, tank: Tank) -> _Facts:
    """Without a reading only that warm water or thin air can't give enough is sure."""
    t, have, need = tank.temperature_c, tank.oxygen_mg_l, _Wanted(care, "oxygen_mg_l").value
    found = "not measured" if have is None else f"{have:g} mg/L"
    change = f"Aerate more, keep the filter clean and the tank less crowded ({_PRACTICE})."
    measure = "Measure the oxygen and the temperature."
    full, wanted, doubt = None, "", ""
    if t is not None:
        full = float(oxygen_saturation(t, pressure_atm=tank.pressure_atm))
        found += f" ({have / full * 100:.0f} % of saturation)" if have is not None else ""
        found += f"; water holds at most {full:.2f} mg/L at {t:g} °C and {tank.altitude_m:g} m"
        measure = "Measure the oxygen, in the morning and away from the outlet."
        wanted = f", {need / full * 100:.0f} % of saturation here" if need is not None else ""
        if have is None:
            change = "Water so warm, under air so thin, can't hold as much: keep it cooler, or another fish."
        # At the sea: a reading that is doubtful there is more doubtful higher up.
        elif have > _OVER_SATURATION * float(oxygen_saturation(t)):
            doubt = "More than water holds in balance with air: check the meter, and measure again at dawn."
    basis = ("saturation: Benson and Krause 1984, standard atmosphere (ISO 2533)",)
    return _Facts(found, measure, change, full, wanted=wanted, basis=basis, doubt=doubt)


def _turning_facts(care: CareSheet, tank: Tank) -> _Facts:
    ours = "without the tail fin, for which no factor is known, so this is the least"
    return _Facts(
        f"width {amount(tank.width_cm, unit='cm')}",
        basis=(f"our own reasoning: a fish must be able to turn; {ours}",),
    )


def _up(x: float) -> float:
    """Round up to the next tenth, so that a height that is said to be enough is enough."""
    return math.ceil(x * 10 - _TOLERANCE) / 10


def _listed(labels: Sequence[str]) -> str:
    return " and ".join(filter(None, ("; ".join(labels[:-1]), labels[-1])))


_SLOWLY = f"slowly, by small steps ({_PRACTICE})"
_BY_WATER = f"slowly, by small changes of water ({_PRACTICE})"
_LARGER = "It needs a tank of at least {end}."

RULES = (
    Rule(
        "adult_length_mm",
        "Room to turn round",
        _at_least,
        lambda tank: tank.width_cm,
        "too narrow",
        up="It outgrows this tank: it needs one at least {end} from front to back.",
        unit="cm",
        wanted="a width of at least the adult length, {need}",
        need=lambda span: span[1] / 10,
        facts=_turning_facts,
    ),
    Rule("tank_volume_l", "Volume", _at_least, lambda tank: tank.volume_l, up=_LARGER, facts=_volume_facts),
    Rule(
        "group_volume_l",
        "Volume for a group",
        _at_least,
        lambda tank: tank.volume_l,
        up=_LARGER,
        facts=_group_facts,
    ),
    Rule("tank_length_cm", "Length", _at_least, lambda tank: tank.length_cm, up=_LARGER),
    Rule("tank_width_cm", "Width", _at_least, lambda tank: tank.width_cm, up=_LARGER),
    Rule(
        "temperature_c",
        "Temperature",
        _within,
        lambda tank: tank.temperature_c,
        "too cool",
        "too warm",
        f"Raise it to {{end}}, {_SLOWLY}.",
        f"Lower it to {{end}}, {_SLOWLY}.",
    ),
    Rule(
        "ph",
        "pH",
        _within,
        lambda tank: tank.ph,
        "too low",
        "too high",
        f"Raise it to {{end}}, {_BY_WATER}.",
        f"Lower it to {{end}}, {_BY_WATER}.",
        0.5,
    ),
    Rule(
        "gh_dgh",
        "General hardness",
        _within,
        lambda tank: tank.gh_dgh,
        "too soft",
        "too hard",
        f"Raise it to {{end}}, {_BY_WATER}.",
        f"Lower it to {{end}} with softer water, {_BY_WATER}.",
    ),
    Rule("oxygen_mg_l", "Oxygen", _at_least, lambda tank: tank.oxygen_mg_l, facts=_oxygen_facts),
    Rule("ammonia_mg_l", "Un-ionised ammonia", _ammonia),
    Rule(
        "flow",
        "Flow",
        _flow,
        up="Look where the fish stands: it needs a place in such a current.",
        down="Settle the name first; until then a brisk end and a slack end.",
    ),
    Rule(
        "turnover_per_hour",
        "Turnover",
        _within,
        lambda tank: tank.turnover,
        high="too much",
        up="Move {end}: clean the filter, or add a pump.",
        down="Slow it to {end}: throttle or spread the outlet.",
        facts=_turnover_facts,
    ),
    Rule("substrate", "Substrate", _substrate),
    Rule("companions", "Companions", _companions),
    Rule("growth", "Time until it outgrows the tank", _growth),
)
"""What a tank is held against, in the order of a care sheet."""
