"""How a tank is held against the needs of a care sheet, by the rules that care_columns.csv names."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from idkey.care.needs import Need, Part, format_value, names_in_words, with_unknown
from idkey.care.sheet import CareSheet
from idkey.care.tank import Companion, Tank
from idkey.care.water import oxygen_saturation, pressure_at_altitude, unionised_ammonia
from idkey.table.schema import CareColumn
from idkey.table.units import amount

AMMONIA_LIMIT = 0.05
"""mg/L un-ionised ammonia nitrogen; more harms gills (University of Florida, IFAS, sheet FA16: a copy)."""

_PRACTICE = "common practice"
# Relative; a volume worked out from its sides may miss its last digit.
_TOLERANCE = 1e-9
_OVER_SATURATION = 1.2
_SHELLED = re.compile(r"\b(snail|nerite|mussel|clam|shrimp|prawn|crab|crayfish)(e?s)?\b", re.IGNORECASE)
_BULLIED = re.compile(r"\bbullied by larger\b", re.IGNORECASE)


@dataclass(frozen=True)
class Check:
    """One row of the answer: what the names call for, what the tank has, the verdict and what to do.

    `attribute` is a column of care.csv or ``ammonia_mg_l``. The verdict is "pass", "fails", "not measured",
    "need not known", "names disagree" or "read": a text to judge by, which never counts as a pass.
    Where it fails `short_by` says by how much and on which side, and `off` is the same as a share of the
    need, to rank tanks by. `basis` says where the need or the rule comes from. No tank fits while an
    `essential` need is not known (our own choice). `known_of` says of how many names it is known, where that
    is some of them.
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
    essential: bool = False
    known_of: str = ""

    @property
    def answer(self) -> str:
        """The verdict in words, with of how many names the need is known where that is some of them."""
        return self.known_of if self.known_of and self.verdict == "need not known" else self.verdict

    @property
    def open(self) -> bool:
        """Whether it can't be said yet."""
        return self.verdict in ("not measured", "need not known", "names disagree")

    @property
    def vital(self) -> bool:
        """Whether no tank is said to fit while this row is open; a measurement still to come may fail."""
        return self.open and (self.verdict != "need not known" or self.essential)


def _need(care: CareSheet, attribute: str) -> Need:
    """Return a need of a sheet; of what the sheet does not have nothing is known."""
    parts = tuple(map(Part, care.names, care.short_labels))
    return care.attributes.get(attribute) or Need(CareColumn(attribute, attribute, "text"), parts)


def _wanted(need: Need) -> str:
    """Say what is wanted, or who wants what."""
    if need.shared is not None:
        at_least = "at least " if need.column.kind == "minimum" else ""
        return with_unknown(need, f"{at_least}{format_value(need.column, need.shared)}")
    each = "; ".join(f"{p.label}: {format_value(need.column, p.value)}" for p in need.known)
    return with_unknown(need, each) if each else "not known"


@dataclass(frozen=True)
class _Facts:
    """What a tank has in one respect, where that is more than the figure itself.

    `most` is what it can be where it was not measured; `wanted` and `basis` are added to those of the need;
    `doubt` says why a reading can't be right, `spared` what to do where falling short is no failure.
    """

    found: str = ""
    measure: str = ""
    change: str = ""
    most: float | None = None
    more_is_fine: bool = False
    wanted: str = ""
    basis: str = ""
    doubt: str = ""
    spared: str = ""


def rows(care: CareSheet, tank: Tank) -> Iterator[Check]:
    """Yield the rows of the answer: in the order of a care sheet, then ammonia, alike for every fish."""
    for column in care.table.care_columns:
        if column.id == "companions":
            yield _companions(column, care, tank)
        elif column.tank_rule:
            yield _Held(column, care, tank).row()
    yield _ammonia(tank)


class _Held:
    """A tank held against one column of a care sheet."""

    def __init__(self, column: CareColumn, care: CareSheet, tank: Tank):
        self.column, self.need = column, _need(care, column.id)
        self.facts = _FACTS[column.id](self.need, care, tank) if column.id in _FACTS else _Facts()
        self.have = getattr(tank, column.tank_measure, None)

    def row(self) -> Check:
        facts, rule = self.facts, getattr(self, f"_{self.column.tank_rule}")
        row = rule(_row(self.column, self.need, facts.found or _measured(self.column.unit, self.have)))
        if facts.wanted and self.need.shared is not None:
            row = replace(row, wanted=f"{row.wanted}{facts.wanted}")
        if facts.doubt:
            verdict = "not measured" if row.verdict == "pass" else row.verdict
            row = replace(row, verdict=verdict, change=facts.doubt)
        return replace(row, basis="; ".join(filter(None, (row.basis, facts.basis))))

    def _within(self, row: Check) -> Check:
        """Hold a measurement against a range; what suits none of the names fails, whichever is right."""
        known, span = self.need.known, self.need.shared
        fits = [p for p in known if self.have is not None and not self._off(p.value)]
        others = names_in_words(p for p in known if p not in fits)
        if self.need.conflict and (self.have is None or fits):
            right = f"Right for {names_in_words(fits)}, not for {others}. " if fits else ""
            return replace(row, verdict="names disagree", change=f"{right}Settle the name first.")
        if self.need.conflict:
            row = self._outside(row, min((p.value for p in known), key=lambda own: abs(self._off(own))))
            return replace(row, change=f"It suits none of the names. {row.change}")
        if span is None or self.have is None:
            return self._not_measured(row)
        if self._off(span):
            return self._outside(row, span)
        return self._right(row, f"Right for {names_in_words(fits)}.")

    def _off(self, span: tuple[float, float]) -> float:
        """Signed distance to the nearer end of a range; 0 inside."""
        end = min(max(self.have, span[0]), math.inf if self.facts.more_is_fine else span[1])
        return 0.0 if math.isclose(self.have, end, rel_tol=_TOLERANCE) else self.have - end

    def _outside(self, row: Check, span: tuple[float, float]) -> Check:
        column, distance = self.column, self._off(span)
        high, low = (column.above, column.to_lower, span[1]), (column.below, column.to_raise, span[0])
        side, do, end = low if distance < 0 else high
        return replace(
            row,
            verdict="fails",
            short_by=f"{amount(abs(distance), unit=column.unit, difference=True)} {side}",
            change=do.format(end=amount(end, unit=column.unit)),
            off=abs(distance) / max(span[1] - span[0], column.least_width or 1.0),
        )

    def _room(self, row: Check) -> Check:
        """Hold the width of the tank against the adult length: a fish must be able to turn round."""
        row = replace(row, found=f"width {amount(self.have, unit='cm')}")
        if self.need.shared is None:
            return replace(row, wanted="not known: its adult length")
        longest = self.need.shared[1]
        wanted = f"a width of at least the adult length, {format_value(self.column, longest)}"
        ours = "without the tail fin, for which no factor is known, so this is the least"
        basis = f"our own reasoning: a fish must be able to turn; {ours}. Length {row.basis}".rstrip()
        row = replace(row, wanted=with_unknown(self.need, wanted), basis=basis)
        row = self._at_least(row, longest / 10, "cm")
        grows = "How fast it grows is not on record: house the adult from the start, or have its tank ready."
        return replace(row, change=f"{row.change} {grows}".lstrip())

    def _at_least(self, row: Check, least: float | None = None, unit: str = "") -> Check:
        """Hold what the tank has against a minimum: by default what is wanted."""
        facts, least, unit = self.facts, least or self.need.shared, unit or self.column.unit
        most = self.have if self.have is not None else facts.most
        if least is None or most is None or most >= least or math.isclose(most, least, rel_tol=_TOLERANCE):
            if least is None or self.have is None:
                return self._not_measured(row)
            return self._right(row, f"Enough for {names_in_words(self.need.known)}.")
        if facts.spared:
            return replace(row, verdict="read", found=f"{row.found}: too small", change=facts.spared)
        return replace(
            row,
            verdict="fails",
            short_by=f"{amount(least - most, unit=unit, difference=True)} {self.column.below}",
            change=facts.change or self.column.to_raise.format(end=amount(_up(least), unit=unit)),
            off=(least - most) / least,
        )

    def _not_measured(self, row: Check) -> Check:
        if self.need.shared is None:
            return row
        return replace(row, verdict="not measured", change=self.facts.measure or f"Measure: {row.label}.")

    def _right(self, row: Check, for_whom: str) -> Check:
        return replace(row, change=for_whom) if self.need.unknown else replace(row, verdict="pass")

    def _read(self, row: Check) -> Check:
        """Show what is wanted beside what the tank has; it is for the keeper to judge."""
        if self.column.kind == "text":
            row = replace(row, found=self.have or "not stated", wanted=" ".join(self.need.text.split()))
            return replace(row, verdict="read") if self.need.known else row
        row = replace(row, found="no figure to go by")
        if self.need.conflict:
            settle = "Settle the name first; until then a brisk end and a slack end."
            return replace(row, verdict="names disagree", change=settle)
        if self.need.shared is None:
            return row
        return replace(row, verdict="read", change=self.column.to_raise)


def _row(column: CareColumn, need: Need, found: str) -> Check:
    texts = column.id, column.tank_label or column.label, _wanted(need), found
    some = f"known of {len(need.known)} of {len(need.parts)} names" if need.known and need.unknown else ""
    return Check(*texts, "need not known", basis=need.basis, essential=column.vital, known_of=some)


def _volume(need: Need, care: CareSheet, tank: Tank) -> _Facts:
    full = amount(tank.full_volume_l, unit="L")
    found = f"height of the water not measured; {full} when full to the brim" if tank.fill_cm is None else ""
    if need.shared is None:
        return _Facts(found)
    reach = need.shared * 1000 / (tank.length_cm * tank.width_cm)
    height = amount(_up(reach), unit="cm")
    return _Facts(
        found,
        f"Measure the height of the water: it is enough from {height} up.",
        f"Fill it to {height}, or take a larger tank." if reach <= tank.height_cm else "",
        most=tank.full_volume_l,
    )


def _group_volume(need: Need, care: CareSheet, tank: Tank) -> _Facts:
    """A shortage counts once the tank holds another of the same kind."""
    alone = not any(_same_kind(c, care) for c in tank.companions)
    return replace(_volume(need, care, tank), spared="Keep one alone here, not a group." if alone else "")


def _turnover(need: Need, care: CareSheet, tank: Tank) -> _Facts:
    """Where the fish takes a strong flow, more than the range is no fault."""
    strong = "strong" in (_need(care, "flow").value or ())
    needed = {"the flow of the pump": tank.pump_l_h, "the height of the water": tank.fill_cm}
    missing = " and ".join(what for what, value in needed.items() if value is None)
    found = f"not measured: {missing}"
    if tank.turnover is not None:
        found = f"{amount(tank.turnover, unit=need.column.unit)}, from {amount(tank.pump_l_h, unit='L/h')}"
    head = "a pump moves less than its box says, and less the higher it lifts: measure at the outlet"
    return _Facts(
        found,
        f"Measure {missing}.",
        more_is_fine=strong,
        wanted="; more is no fault for a fish of strong flow" if strong else "",
        basis=f"{head} ({_PRACTICE})" + (f"; more is no fault: {_PRACTICE}" if strong else ""),
    )


def _oxygen(need: Need, care: CareSheet, tank: Tank) -> _Facts:
    """Without a reading only that warm water or thin air can't give enough is sure."""
    t, have = tank.temperature_c, tank.oxygen_mg_l
    found = _measured("mg/L", have)
    basis = "saturation: Benson and Krause 1984, standard atmosphere (ISO 2533)"
    if t is None:
        return _Facts(found, "Measure the oxygen and the temperature.", basis=basis)
    full = oxygen_saturation(t, pressure_atm=pressure_at_altitude(tank.altitude_m))
    share = f" ({have / full * 100:.0f} % of saturation)" if have is not None else ""
    at_most = f"water holds at most {full:.2f} mg/L at {t:g} °C and {tank.altitude_m:g} m"
    too_warm = "Water so warm, under air so thin, can't hold as much: keep it cooler, or another fish."
    doubt = "More than water holds in balance with air: check the meter, and measure again at dawn."
    # At the sea: a reading that is doubtful there is more doubtful higher up.
    doubtful = have is not None and have > _OVER_SATURATION * oxygen_saturation(t)
    return _Facts(
        f"{found}{share}; {at_most}",
        "Measure the oxygen, in the morning and away from the outlet.",
        too_warm if have is None else "",
        full,
        wanted=f", {need.shared / full * 100:.0f} % of saturation here" if need.shared is not None else "",
        basis=basis,
        doubt=doubt if doubtful else "",
    )


_FACTS: dict[str, Callable[[Need, CareSheet, Tank], _Facts]] = {
    "tank_volume_l": _volume,
    "group_volume_l": _group_volume,
    "turnover_per_hour": _turnover,
    "oxygen_mg_l": _oxygen,
}


def _ammonia(tank: Tank) -> Check:
    """Check un-ionised ammonia, worked out from total ammonia, pH and temperature; alike for every fish."""
    wanted = f"under {AMMONIA_LIMIT:g} mg/L, as nitrogen"
    basis = "limit: University of Florida, sheet FA16 (second-hand, a copy); share: Emerson et al. 1975"
    row = Check("ammonia_mg_l", "Un-ionised ammonia", wanted, "", "pass", basis=basis, essential=True)
    needed = {"total ammonia": tank.ammonia_mg_l, "pH": tank.ph, "temperature": tank.temperature_c}
    if missing := ", ".join(name for name, value in needed.items() if value is None):
        change = f"Measure: {missing}."
        return replace(row, found=f"not measured: {missing}", verdict="not measured", change=change)
    free = unionised_ammonia(tank.ammonia_mg_l, tank.ph, tank.temperature_c)
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


def _companions(column: CareColumn, care: CareSheet, tank: Tank) -> Check:
    """Hold companions against what the sources say: only food, and larger fish that bully it, fail."""
    needs = [need for a in ("temperament", column.id) if (need := _need(care, a)).known]
    text = " ".join(word for need in needs for word in need.text.split())
    found = "; ".join(_companion_words(c, care) for c in tank.companions) or "none named"
    row = replace(
        _row(column, _need(care, column.id), found),
        wanted=text or "not known",
        verdict="read" if text else "need not known",
        basis="; ".join(dict.fromkeys(need.basis for need in needs)),
    )
    diet = _need(care, "diet_type")
    eaters = [p for p in diet.known if "molluscs" in p.value]
    if eaters and (food := [c.name for c in tank.companions if _SHELLED.search(c.name)]):
        return replace(
            row,
            wanted=f"{text} It eats snails and the like.".lstrip(),
            verdict="fails",
            short_by=f"{len(food)} that it eats",
            change=f"Take out: {', '.join(food)}. {names_in_words(eaters)} would eat them.",
            basis="; ".join(filter(None, (row.basis, f"diet {diet.basis}"))),
            off=1.0,
        )
    timid = {p.name for need in needs for p in need.known if _BULLIED.search(p.value)}
    others = [c for c in tank.companions if not _same_kind(c, care)]
    return _beside_larger(row, care, timid, others) if timid and others else row


def _beside_larger(row: Check, care: CareSheet, timid: set[str], others: Sequence[Companion]) -> Check:
    """Tell whether fish that larger ones bully have larger ones beside them."""
    lengths = [p.value[1] for p in _need(care, "adult_length_mm").known if p.name in timid]
    own = min(lengths, default=math.inf)
    larger = [c for c in others if c.length_mm is not None and c.length_mm > own]
    if larger:
        excess = max(c.length_mm for c in larger) - own
        short_by = f"{amount(excess, unit='mm', difference=True)} larger than it"
        change = f"Keep it apart from: {', '.join(c.name for c in larger)}. Larger fish bully it."
        return replace(row, verdict="fails", short_by=short_by, change=change, off=excess / own)
    if unsure := ", ".join(c.name for c in others if not lengths or c.length_mm is None):
        change = f"Find out how long they grow: {unsure}. Larger fish bully this one."
        return replace(row, verdict="not measured", change=change)
    return row


def _companion_words(companion: Companion, care: CareSheet) -> str:
    length = f", {amount(companion.length_mm, unit='mm')}" if companion.length_mm else ""
    own = " (its own kind)" if _same_kind(companion, care) else ""
    return f"{companion.count} {companion.name}{length}{own}"


def _same_kind(companion: Companion, care: CareSheet) -> bool:
    """Tell whether a companion can only be one of the kinds; what many are called ("pleco") does not say."""
    kinds = set(care.table.names.inside(companion.name))
    return bool(kinds) and kinds <= set(care.names)


def _measured(unit: str, value: float | str | None) -> str:
    return "not measured" if value is None or isinstance(value, str) else amount(value, unit=unit)


def _up(x: float) -> float:
    """Round up to the next tenth, so that a height that is said to be enough is enough."""
    return math.ceil(x * 10 - _TOLERANCE) / 10
