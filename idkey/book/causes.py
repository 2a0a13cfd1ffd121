"""What has changed between two tables that bears on a fish: cells, kinds, traits, commonness."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np

from idkey.errors import AnswerError
from idkey.model.answers import code_answers
from idkey.model.changes import altered_kinds
from idkey.model.combine import model_of
from idkey.table.schema import NONE
from idkey.table.table import TraitTable

_MOST_RELATIVES = 3
"""Cells of other kinds that are told of where no cell of the kinds concerned has changed."""


@dataclass(frozen=True, slots=True)
class Cause:
    """A change of the table that bears on one fish.

    `what` is a "cell" of a kind concerned; a kind "added" or "removed"; a "trait" described otherwise; the
    "commonness" of a kind; or a cell of a "relative", by which a blank cell and a stranger are judged.
    `decibans` is what the answer says more for the kind than before, NaN where that is no one figure.
    """

    what: Literal["cell", "added", "removed", "trait", "commonness", "relative"]
    taxon: str
    trait: str
    text: str
    decibans: float = float("nan")


class Causes:
    """Everything that sets a table apart from an older one, to be looked up fish by fish."""

    def __init__(self, old: TraitTable, new: TraitTable):
        self.old, self.new = old, new
        both = [t for t in new.trait_ids if t in old.trait_ids]
        self._altered = {t for t in both if old.trait(t) != new.trait(t)}
        self._kinds = {*old.ids} & {*new.ids}
        self._cells = {t: altered_kinds(old, new, (t,)) for t in both}
        self._says: dict[tuple[bool, str, Any, bool], np.ndarray | None] = {}
        self._kept: dict[Any, tuple[Cause, ...]] = {}

    @cached_property
    def _commonness(self) -> Mapping[str, tuple[str, str]]:
        was, now = (
            dict(zip(table.ids, map(str, table.taxa.get("commonness", [""] * len(table))), strict=True))
            for table in (self.old, self.new)
        )
        return {t: (was[t], now[t]) for t in self.new.ids if t in self._kinds and was[t] != now[t]}

    def of(
        self, answers: Mapping[str, Any], names: Sequence[str], *, young: bool = False
    ) -> tuple[Cause, ...]:
        """Return what bears on a fish with these answers, for the names concerned, strongest first."""
        key = tuple(answers.items()), tuple(names), young
        if key not in self._kept:
            self._kept[key] = tuple(self._found(answers, [n for n in names if n != NONE], young))
        return self._kept[key]

    def _found(self, answers: Mapping[str, Any], names: Sequence[str], young: bool) -> list[Cause]:
        known = [t for t in answers if t in self._cells]
        cells = [
            self._cell(trait, answers[trait], taxon, young, "cell")
            for trait in known
            for taxon in self._cells[trait]
            if taxon in names
        ]
        found = sorted(cells, key=lambda c: (-abs(c.decibans), c.taxon, c.trait))
        for taxon in names:
            if taxon not in self._kinds and taxon in self.new.ids:
                label = self.new.label(taxon)
                found.append(Cause("added", taxon, "", f"{label} was not in the table then"))
            elif taxon not in self._kinds and taxon in self.old.ids:
                label = self.old.label(taxon)
                found.append(Cause("removed", taxon, "", f"{label} is not in the table any more"))
            if taxon in self._commonness:
                was, now = (word or "not stated" for word in self._commonness[taxon])
                text = f"{self.new.label(taxon)}: how common in the trade was {was} and is {now}"
                found.append(Cause("commonness", taxon, "", text))
        for trait in known:
            if trait in self._altered:
                text = f"{self.new.trait(trait).name}: the trait is described otherwise"
                found.append(Cause("trait", "", trait, text))
        if not found:
            others = [(trait, taxon) for trait in known for taxon in self._cells[trait]]
            some = others[:_MOST_RELATIVES]
            found = [self._cell(trait, answers[trait], taxon, young, "relative") for trait, taxon in some]
        return found

    def _cell(self, trait: str, answer: Any, taxon: str, young: bool, what: Any) -> Cause:
        was, now = (table.words(taxon, trait) for table in (self.old, self.new))
        text = f"{self.new.label(taxon)}, {self.new.trait(trait).name}: was {was}, is {now}"
        says = [self._says_of(new, trait, answer, young) for new in (False, True)]
        decibans = float("nan")
        if all(said is not None for said in says):
            decibans = float(says[1][self.new.position(taxon)] - says[0][self.old.position(taxon)])
        return Cause(what, taxon, trait, text, decibans)

    def _says_of(self, new: bool, trait: str, answer: Any, young: bool) -> np.ndarray | None:
        """What an answer says for every kind over a stranger, decibans; None where it can't be read.

        The kinds stand in the order of the table.
        """
        key = new, trait, str(answer), young
        if key not in self._says:
            table = self.new if new else self.old
            try:
                distinct = code_answers(table, {trait: answer}).distinct
            except AnswerError:
                distinct = {}
            model, said = model_of(table).models[trait], None
            if trait in distinct:
                of = model.record if model.trait.kind == "ceiling" else model.likelihoods
                adult, if_young = of(distinct[trait])
                row = (if_young if young and model.trait.kind != "ceiling" else adult)[0]
                said = model_of(table).to_table_order(10 * np.log10(row / row[-1]))
            self._says[key] = said
        return self._says[key]
