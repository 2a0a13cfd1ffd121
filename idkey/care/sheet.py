"""The care sheet of a name; of several at once what is right, what is safest, and what would settle it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from idkey.arguments import checked
from idkey.care.needs import (
    Need,
    Value,
    alike,
    bring_together,
    care_rows,
    format_value,
    names_in_words,
    overlap,
    sentences,
    with_unknown,
)
from idkey.display import Printed
from idkey.errors import IdkeyError
from idkey.model.answers import code_answers
from idkey.model.ask import MIN_GAIN, asker_of
from idkey.model.combine import model_of
from idkey.model.identify import Identification
from idkey.table.names import every
from idkey.table.schema import NONE, CareColumn
from idkey.table.table import TraitTable

_MOST_NAMES = 8
"""Names on a sheet made from an identification; with more, the fish is not known well enough for a sheet."""


@dataclass(frozen=True, slots=True)
class Settling:
    """Which question settles the conflict over one need.

    `trait` is None where no question that is left would tell; `settles` is the expected drop, in bits, of the
    uncertainty about which need it is.
    """

    attribute: str
    label: str
    trait: str | None = None
    question: str = ""
    settles: float = 0.0

    @property
    def text(self) -> str:
        """The same in words."""
        if self.trait is None:
            return "No question left in this table settles it."
        return f"To settle it, look next: {self.question}"


@checked
@dataclass(frozen=True, slots=True, repr=False)
class CareSheet(Printed):
    """What one name calls for, or what is right for several names at once.

    `names` are taxon ids, each once, in the order given, `labels` their display names. By column of care.csv
    `attributes` holds each need, in the order of the sheet, and `safest` the safest choice until the name is
    settled (empty for one name); `settling` says which question settles each conflict.

    Of an identification `shares` holds the share of each taxon in the posterior, and `none_share` that of
    "none of these", for which nothing here holds; `others` less likely names are still possible but not on
    the sheet, `others_share` is their share together. Where the fish is probably none of the kinds,
    `stranger_of` is the genus that it looks like, and the kinds of that genus come first among the names.
    Sheets of the same needs are equal whatever it is.
    """

    names: tuple[str, ...]
    labels: tuple[str, ...]
    attributes: Mapping[str, Need]
    table: TraitTable = field(compare=False)
    safest: Mapping[str, str] = field(default_factory=dict)
    shares: Mapping[str, float] = field(default_factory=dict, compare=False)
    none_share: float = field(default=0.0, compare=False)
    stranger_of: str = field(default="", compare=False)
    others: int = field(default=0, compare=False)
    others_share: float = field(default=0.0, compare=False)
    settling: tuple[Settling, ...] = field(default=(), compare=False)

    @property
    def short_labels(self) -> tuple[str, ...]:
        """Display names without the trade codes in brackets, where the rest still tells them apart."""
        return tuple(shortened(self.labels))

    @property
    def conflicts(self) -> tuple[Need, ...]:
        """Needs for which nothing suits all the names."""
        return tuple(need for need in self.attributes.values() if need.conflict)

    def to_frame(self) -> pd.DataFrame:
        """Return the sheet as a table of text, one row a need."""
        rows = [
            (n.attribute, n.text, ", ".join(n.classes), "; ".join(n.sources), n.conflict)
            for n in self.attributes.values()
        ]
        columns = ["attribute", "need", "evidence class", "sources", "conflict"]
        return pd.DataFrame(rows, columns=columns, dtype="str")


@checked
def care_for(table: TraitTable | Identification, *taxa: str) -> CareSheet:
    """Return what is right for one name, for all of several names, or for a fish that is being identified.

    A row of care.csv for the taxon stands over the row of its care group; cautions of both are given. Numeric
    ranges give the overlap, minimums the largest, lengths the span; where nothing suits all, the need has no
    value and names who needs what. What is not known for one of the names is never given as settled.

    Of an identification the names still possible count, likeliest first, at most 8, the unlikely as much as
    the likely: a fish can die of a name at 1 %. Their shares stand beside who needs what, and each conflict
    says which question settles it. If one name is left, the sheet is that of the name. Of a fish that is
    probably none of the kinds every kind of the genus that it looks like counts, too.

    For a table, `taxa` are ids, trade codes or names: a code of several kinds gives what is right for all of
    them, a repeated kind counts once, and the order changes only the order of names on the sheet.

    Raises IdkeyError for a name that is not in the table (UnknownName), no name, a table without care sheets,
    or an identification that leaves no kind of the table.
    """
    if isinstance(table, Identification):
        if taxa:
            msg = f"care_for: {taxa[0]!r} beside an identification: give one, or a table and taxon ids"
            raise IdkeyError(msg)
        return _care_of_fish(table)
    names = every(table, taxa)
    if not names:
        msg = "care_for needs at least one taxon id, for example care_for(table, 'hypancistrus_zebra')"
        raise IdkeyError(msg)
    care_rows(table).check(names)
    return _sheet(table, names)


def _care_of_fish(fish: Identification) -> CareSheet:
    left = fish.kinds(possible=True)
    none_share = float(next((row.probability for row in fish.ranked() if row.taxon == NONE), 0.0))
    rest = left[_MOST_NAMES:]
    shares = {row.taxon: float(row.probability) for row in left[:_MOST_NAMES]}
    said = {"shares": shares, "none_share": none_share}
    care, genus = care_rows(fish.table), fish.stranger()[0]
    if genus and (not left or fish.outcome().kind == "none of these"):
        kin = tuple(t for t, g in zip(fish.table.ids, fish.table.genus, strict=True) if g == genus)
        care.check(kin)
        rest = [row for row in rest if row.taxon not in kin]
        sheet = _sheet(fish.table, tuple(dict.fromkeys((*kin, *shares))), shares)
        return replace(sheet, stranger_of=genus, **said, **_beside(rest))
    if not left:
        msg = "care_for: this fish is none of the kinds in the table; change an answer, or give a taxon id"
        raise IdkeyError(msg)
    care.check([row.taxon for row in left])
    sheet = _sheet(fish.table, tuple(shares), shares)
    # Only a conflict between names on the sheet is asked about, but every kind still possible has its say.
    asked = (need.column for need in sheet.conflicts)
    settling = settle(fish, {c: {row.taxon: care.part(c, row.taxon).value for row in left} for c in asked})
    needs = dict(sheet.attributes)
    for s in settling:
        needs[s.attribute] = replace(needs[s.attribute], text=f"{needs[s.attribute].text}\n{s.text}")
    return replace(sheet, attributes=needs, settling=settling, **said, **_beside(rest))


def _beside(rest: Sequence[Any]) -> dict[str, Any]:
    """Return what a sheet says of the names that are still possible and not on it."""
    return {"others": len(rest), "others_share": float(sum(row.probability for row in rest))}


def _sheet(table: TraitTable, names: tuple[str, ...], shares: Mapping[str, float] | None = None) -> CareSheet:
    """Bring names together; `shares` stand beside who needs what and weigh the safest choice."""
    care, shares = care_rows(table), shares or {}
    labels = tuple(str(table.label(name)) for name in names)
    called = dict(zip(names, shortened(labels), strict=True))
    needs, safest = {}, {}
    for column in table.care_columns:
        parts = (care.part(column, name, called[name], shares.get(name)) for name in names)
        need = bring_together(column, parts)
        if len(names) > 1 and (choice := _safest_choice(need)):
            safest[column.id] = choice
            if need.conflict:
                need = replace(need, text=f"{need.text}\nUntil the name is settled: {choice}.")
        needs[column.id] = need
    return CareSheet(names, labels, needs, table, safest)


def shortened(labels: Sequence[str]) -> list[str]:
    """Leave the trade codes in brackets out of the names, where the rest still tells them apart."""
    bare = [label.partition(" (")[0] for label in labels]
    return [
        label if name.endswith(" sp.") or bare.count(name) > 1 else name
        for label, name in zip(labels, bare, strict=True)
    ]


def _safest_choice(need: Need) -> str:
    """Return the safest choice for several names of which one is right; blank where there is none to make."""
    column, shared = need.column, need.shared
    if not need.known:
        return ""
    if column.combine == "overlap":
        text = format_value(column, shared) if shared else _stopgap(need)
        # A fall or rise of pH or hardness harms by its speed before it harms by its height.
        text += "; change it slowly" if column.id in ("ph", "gh_dgh") else ""
    elif column.combine == "largest":
        # More room or oxygen than one kind asks for harms none, and a tank too large harms none.
        text = f"at least {format_value(column, shared)}"
    elif column.combine == "span":
        text = f"plan for {format_value(column, shared[1])}"
    elif column.combine == "shared" and shared:
        text = format_value(column, shared)
    elif column.id == "flow":
        # Without a flow that all share, a tank with both ends lets the fish choose.
        text = "oxygen first; aerate strongly and give the tank a brisk end and a slack end"
    elif column.id == "diet_type":
        # Of each its own food, since a grazer can leave meat.
        foods = "; ".join(format_value(column, value) for value in alike(need.known))
        text = f"keep the food of each on offer ({foods}), and nothing that one of them should avoid"
    elif column.id == "diet_avoid":
        # Going without what any of them should avoid harms none.
        text = " ".join(dict.fromkeys(s for p in need.known for c in p.cells for s in sentences(c)))
    else:
        return ""
    return with_unknown(need, text)


def _stopgap(need: Need) -> str:
    """Return the gap between ranges that do not meet, by their shares between the two likeliest.

    It takes each kind least far from what it needs. It is right for neither, so it is called a stopgap and
    says for whom it is not right. Without shares all names count.
    """
    likeliest = need.known
    if all(p.share is not None for p in likeliest):
        likeliest = sorted(likeliest, key=lambda p: -p.share)[:2]
    low, high = sorted(overlap([p.value for p in likeliest]))
    # Who is served by the whole stopgap is not among those it is not right for.
    wrong = [p for p in need.known if low < p.value[0] or p.value[1] < high]
    words = format_value(need.column, (low, high))
    return f"{words} as a stopgap, not right for {names_in_words(wrong, shares=True)}"


def settle(fish: Identification, conflicts: Mapping[CareColumn, Mapping[str, Value]]) -> tuple[Settling, ...]:
    """Return, for each conflict, the question that settles most of it for the least trouble.

    `conflicts` holds the need of each kind still possible, by column and taxon id. Kinds of equal need are a
    class. A question settles ``H(class) - sum_x P(x) H(class | x)`` bits, with the distributions of answers
    by which `Identification.questions` ranks its questions, "none of these" left out. The best has most bits
    per second of effort; what settles less than `MIN_GAIN` bits does not count.
    """
    if not conflicts:
        return ()
    model, asker = model_of(fish.table), asker_of(fish.table)
    coded = code_answers(fish.table, fish.answers)
    adult, said = model.stage_weights(coded)[0], model.said_in_group(coded)
    ids = [*fish.table.ids, NONE]
    share = {row.taxon: row.probability for row in fish.ranked()}
    asked = {question.trait.id for question in fish.questions()}
    settlings = []
    for column, needs in conflicts.items():
        posterior = np.array([share[t] if t in needs else 0.0 for t in ids])
        places = {value: i for i, value in enumerate(dict.fromkeys(needs.values()))}
        classes = np.array([places[needs[t]] if t in needs else -1 for t in ids])
        ahead = asker.ahead(model.to_canonical_order(posterior), adult, said)
        gains = asker.gains(ahead, model.to_canonical_order(classes))
        useful = [
            (float(gain) / trait.effort, trait, float(gain))
            for trait, gain in zip(asker.traits, gains, strict=True)
            if gain >= MIN_GAIN and trait.id in asked
        ]
        _, trait, gain = max(useful, key=lambda entry: (entry[0], entry[2]), default=(0.0, None, 0.0))
        best = (trait.id, trait.asked, gain) if trait else ()
        settlings.append(Settling(column.id, column.label, *best))
    return tuple(settlings)
