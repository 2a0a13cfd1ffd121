"""Past identifications, run again through a corrected table: which names change.

All are judged at once, with the prior by commonness that `Identification` starts from. An answer that a table
can't take, because the trait or the state is gone, is left out there and said so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from idkey.errors import AnswerError
from idkey.model.answers import known_trait, parse_stage
from idkey.model.evidence import NONE
from idkey.model.identify import Identification
from idkey.model.match import NearestMatch, candidate_set
from idkey.table.schema import LIFE_STAGE, answer_text, parse_answer
from idkey.table.table import TraitTable

__all__ = ["Past", "PastChange", "renamed"]

Past = Identification | Mapping[str, Any]
"""An identification, what its ``to_dict()`` gave (a "label" beside it is kept), or plain answers."""

_LABELS = ("label", "bag", "name")
_TIE_DIGITS = 12
"""Names that are equally likely to so many digits are a tie, which goes by name. The last bits depend on
which fish are judged together, and must not look like a change of the table."""


@dataclass(frozen=True, slots=True)
class PastChange:
    """A past identification that comes out otherwise.

    Attributes
    ----------
    index : int
        Where it stands among those given, from 0.
    label : str
        The name it was kept under; blank where there is none.
    before, after : str
        The likeliest name, a taxon id or "none of these", by the old table and by the new one.
    probability_before, probability_after : float
        How likely each is by its own table.
    gained, lost : tuple of str
        Names possible now that were not, likeliest first; and names that were possible and are not any more.
    unread : tuple of str
        Answers that the new table can't take, as ``trait: answer``.
    """

    index: int
    label: str
    before: str
    after: str
    probability_before: float
    probability_after: float
    gained: tuple[str, ...]
    lost: tuple[str, ...]
    unread: tuple[str, ...] = ()

    @property
    def is_renamed(self) -> bool:
        """Whether the likeliest name is another."""
        return self.before != self.after


def renamed(
    old: TraitTable, new: TraitTable, past: Iterable[Past], *, coverage: float = 0.95
) -> tuple[PastChange, ...]:
    """Return the past identifications of which the name, or the names still possible, change.

    Parameters
    ----------
    old, new : TraitTable
    past : iterable of Identification or mapping
    coverage : float
        Posterior that the names still possible hold together.

    Returns
    -------
    tuple of PastChange
        In the order given. One whose answers can't all be read any more is among them, even where its names
        stay.

    Raises
    ------
    AnswerError
        An item that is no identification.

    Examples
    --------
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    >>> old = TraitTable.from_frame(frame, taxon="kind")
    >>> new = TraitTable.from_frame(frame.assign(tail=["straight", "forked"]), taxon="kind")
    >>> [(change.before, change.after) for change in renamed(old, new, [{"tail": "forked"}])]
    [('a', 'b')]
    """
    given = [_answers(item, i) for i, item in enumerate(past)]
    if not given:
        return ()
    answers = [said for said, _ in given]
    # Sorted, so that a tie goes by name, as in the ranking of one fish.
    names = np.array(sorted({*old.ids, *new.ids, NONE}))
    first, second = (_Judged(table, answers, coverage, names) for table in (old, new))
    unread = [tuple(t for t in b if t not in a) for a, b in zip(first.unread, second.unread, strict=True)]
    same = (first.best == second.best) & (first.possible == second.possible).all(axis=1)
    # Without an answer there was no name, and what is possible says nothing of the fish.
    said = np.array(first.said) | np.array(second.said)
    lost_answer = np.array([bool(texts) for texts in unread])
    return tuple(
        PastChange(
            index=i,
            label=given[i][1],
            before=str(names[first.best[i]]),
            after=str(names[second.best[i]]),
            probability_before=float(first.probability[i, first.best[i]]),
            probability_after=float(second.probability[i, second.best[i]]),
            gained=_likeliest_first(names, second.probability[i], second.possible[i] & ~first.possible[i]),
            lost=_likeliest_first(names, first.probability[i], first.possible[i] & ~second.possible[i]),
            unread=unread[i],
        )
        for i in np.flatnonzero((said & ~same) | lost_answer).tolist()
    )


def _likeliest_first(names: np.ndarray, probability: np.ndarray, chosen: np.ndarray) -> tuple[str, ...]:
    at = np.flatnonzero(chosen)
    return tuple(str(names[k]) for k in at[np.argsort(-probability[at], kind="stable")])


def _answers(item: Any, at: int) -> tuple[Mapping[str, Any], str]:
    """Return the answers of a past identification, and its label."""
    if isinstance(item, Identification):
        return item.answers, ""
    if not isinstance(item, Mapping):
        msg = f"past, item {at}: {type(item).__name__}: give an Identification, or what its to_dict() gives"
        raise AnswerError(msg)
    if isinstance(item.get("answers"), Mapping):
        label = next((str(item[key]) for key in _LABELS if item.get(key)), "")
        return item["answers"], label
    return item, ""


class _Judged:
    """Many sets of answers, judged by one table.

    Attributes
    ----------
    probability : ndarray, shape (n_past, n_names)
        0 for a name that the table has not.
    best : ndarray of int, shape (n_past,)
        Which name is the likeliest.
    possible : ndarray of bool, shape (n_past, n_names)
        The names still possible.
    unread : list of tuple of str
        Answers that the table can't take.
    said : list of bool
        Whether it can take any.
    """

    def __init__(
        self, table: TraitTable, answers: list[Mapping[str, Any]], coverage: float, names: np.ndarray
    ):
        self._table = table
        self._read: dict[tuple[str, str], str | None] = {}
        rows: list[dict[str, str]] = []
        self.unread: list[tuple[str, ...]] = []
        for given in answers:
            read = {trait: self._text(trait, value) for trait, value in given.items()}
            rows.append({trait: text for trait, text in read.items() if text is not None})
            bad = (trait for trait, text in read.items() if text is None)
            self.unread.append(tuple(f"{trait}: {given[trait]}" for trait in bad))
        self.said = [any(row.values()) for row in rows]
        match = NearestMatch(coverage=coverage).fit(table)
        found = match.predict_proba(pd.DataFrame(rows, index=range(len(rows)), dtype=object))
        self.probability = np.zeros((len(rows), len(names)))
        self.probability[:, np.searchsorted(names, match.classes_)] = found
        order = np.argsort(-self.probability.round(_TIE_DIGITS), axis=1, kind="stable")
        self.best = order[:, 0]
        ranked = np.take_along_axis(self.probability, order, axis=1)
        # Rounding must not undo the order of a tie: what stands later is never the likelier.
        chosen = candidate_set(np.minimum.accumulate(ranked, axis=1), coverage)
        self.possible = np.empty_like(chosen)
        np.put_along_axis(self.possible, order, chosen & (ranked > 0), axis=1)

    def _text(self, trait: str, value: Any) -> str | None:
        """Return an answer as this table reads it, blank where it says nothing; None where it can't."""
        key = trait, str(value)
        if key not in self._read:
            try:
                self._read[key] = self._parsed(trait, value)
            except AnswerError:
                self._read[key] = None
        return self._read[key]

    def _parsed(self, trait_id: str, value: Any) -> str:
        if trait_id == LIFE_STAGE and LIFE_STAGE not in self._table.trait_ids:
            return parse_stage(value) or ""
        trait = known_trait(self._table, trait_id)
        answer = parse_answer(trait, value)
        return "" if answer is None else answer_text(trait, answer)
