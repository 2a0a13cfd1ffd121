"""What each answer does for or against one kind, in numbers and in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from idkey.model.combine import TableModel
from idkey.model.evidence import NONE
from idkey.table.names import one
from idkey.table.schema import LIFE_STAGE, parse_answer
from idkey.table.table import TraitTable
from idkey.table.words import cell_words, row_words

__all__ = ["Evidence", "Reason", "reasons", "strength"]

_NOTHING = 1e-9


class Reason(NamedTuple):
    """What one answer does for or against one kind: the columns of `Identification.why`."""

    trait: str
    label: str
    answer: str
    row: str
    decibans: float
    text: str


class Evidence(NamedTuple):
    """The terms of the answers of one specimen, worked out once for all kinds, in the order of the table.

    By trait the decibans (n_taxa + 1,), and where another answer of the group outdoes this one (`silent`);
    `age` holds the decibans that the age of the fish adds.
    """

    decibans: dict[str, np.ndarray]
    silent: dict[str, np.ndarray]
    age: np.ndarray

    @classmethod
    def of(cls, model: TableModel, contributions: tuple[dict[str, np.ndarray], np.ndarray]) -> Evidence:
        """Turn `TableModel.contributions` into decibans."""
        terms, rest = contributions
        placed = {trait_id: model.to_table_order(term) for trait_id, term in terms.items()}
        return cls(
            {trait_id: _decibans(term) for trait_id, term in placed.items()},
            {trait_id: term == 0 for trait_id, term in placed.items()},
            _decibans(model.to_table_order(rest)),
        )


def reasons(
    table: TraitTable, answers: Mapping[str, str], evidence: Evidence, taxon: str
) -> tuple[Reason, ...]:
    """Return the reasons for or against one kind, strongest first; the age, where it adds anything, last."""
    taxon = taxon if taxon == NONE else one(table, taxon)
    position = len(table) if taxon == NONE else table.position(taxon)
    found = []
    for trait_id, decibans in evidence.decibans.items():
        trait = table.trait(trait_id)
        value, answer = float(decibans[position]), answers[trait_id]
        holds = "not in the table" if taxon == NONE else row_words(table, taxon, trait)
        weight = strength(value)
        if trait.group and evidence.silent[trait_id][position] and taxon != NONE:
            weight = "not counted: another answer says as much or more of the same"
        said = cell_words(trait, parse_answer(trait, answer))
        text = f"{trait.name}: you said {said}; {_row_sentence(holds, taxon)} ({weight})"
        found.append(Reason(trait_id, trait.name, answer, holds, value, text))
    found.sort(key=lambda r: (-abs(r.decibans), r.trait))
    value = float(evidence.age[position])
    if abs(value) > _NOTHING:
        said = answers.get(LIFE_STAGE, "not known")
        text = f"Age: {said if said == 'not known' else f'you said {said}'} ({strength(value)})"
        found.append(Reason(LIFE_STAGE, "Age", said, "", value, text))
    return tuple(found)


def strength(decibans: float) -> str:
    """Evidence in words, on Jeffreys's scale of half powers of ten (Theory of Probability; from memory)."""
    size = abs(decibans)
    if size < 1:
        return "says little"
    side = "for" if decibans > 0 else "against"
    word = "weak" if size < 5 else "fair" if size < 10 else "strong" if size < 20 else "decisive"
    return f"{word} evidence {side}"


def _decibans(term: np.ndarray) -> np.ndarray:
    mean = np.log(np.mean(np.exp(term - term.max()))) + term.max()
    return (term - mean) * 10 / np.log(10)


def _row_sentence(holds: str, taxon: str) -> str:
    if taxon == NONE:
        return "no kind stands behind this"
    if holds == "not known":
        return "the table does not know"
    if holds == "does not apply":
        return "this does not apply to it"
    return f"the table has {holds}"
