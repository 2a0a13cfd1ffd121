"""Identification: answers go in one by one; ranking, reasons and the next question come out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd

from idkey.display import Shown
from idkey.errors import AnswerError
from idkey.model.answers import Coded, code_answers, read_answer
from idkey.model.ask import MIN_GAIN, Question, asker_of
from idkey.model.combine import TableModel, model_of
from idkey.model.evidence import NONE
from idkey.model.fit import POOR_FIT
from idkey.model.match import candidate_names, posterior, rank_frame
from idkey.model.prior import NONE_PRIOR, Prior, check_coverage, check_table, prior_vector
from idkey.model.reasons import Evidence, Reason, reasons, strength
from idkey.table.schema import LIFE_STAGE, Trait
from idkey.table.table import TraitTable
from idkey.table.words import percent

__all__ = ["Identification", "Outcome", "Ranked", "strength"]

_MORE_LIKELY_THAN_NOT = 0.5


@dataclass(frozen=True, slots=True)
class Outcome:
    """Where an identification stands; of the names still possible "none of these" is left out."""

    kind: Literal["no answers", "one name", "several names", "not told apart", "none of these"]
    taxa: tuple[str, ...]
    text: str

    def __repr__(self) -> str:
        return self.text


class Ranked(NamedTuple):
    """One row of `Identification.ranking` as a plain record; the attributes are its columns."""

    taxon: str
    name: str
    probability: float
    agreement: float
    compared: int
    fit: float
    deviation: float
    candidate: bool


class _State(NamedTuple):
    """Everything a person has said; one of these for each step back."""

    answers: dict[str, str]
    unseen: tuple[str, ...]


class _Evaluated:
    """What follows from one set of answers, computed when first asked for."""

    def __init__(self, model: TableModel, prior: np.ndarray, coverage: float, answers: Mapping[str, str]):
        self._model = model
        self._prior = prior
        self._coverage = coverage
        self.coded: Coded = code_answers(model.table, answers)

    @cached_property
    def posterior(self) -> np.ndarray:
        return posterior(self._model, self.coded, self._prior)[0]

    @cached_property
    def adult(self) -> np.ndarray:
        return self._model.stage_weights(self.coded)[0]

    @cached_property
    def ranking(self) -> pd.DataFrame:
        return rank_frame(self._model, self.coded, self.posterior, self._coverage)

    @cached_property
    def ranked(self) -> tuple[Ranked, ...]:
        columns = [self.ranking[column].tolist() for column in Ranked._fields]
        return tuple(map(Ranked._make, zip(*columns, strict=True)))

    @cached_property
    def evidence(self) -> Evidence:
        return Evidence.of(self._model, self._model.contributions(self.coded))


class Identification(Shown):
    """One fish being identified.

    Answers may come in any order, may be changed and taken back; a bad answer is one clear error and
    changes nothing.

    Parameters
    ----------
    table : TraitTable
    prior : {"commonness", "uniform"} or mapping of taxon id to weight, default "commonness"
    none_prior : float, default 0.05
        Prior share of fish that are none of the kinds in the table.
    coverage : float, default 0.95
        Posterior that the names still possible hold together.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    >>> fish = Identification(TraitTable.from_frame(frame, taxon="kind"))
    >>> fish.answer("tail", "forked").ranking()["taxon"].tolist()
    ['a', 'none of these', 'b']
    """

    def __init__(
        self,
        table: TraitTable,
        prior: Prior = "commonness",
        none_prior: float = NONE_PRIOR,
        coverage: float = 0.95,
    ):
        check_coverage(coverage)
        check_table(table)
        self.table = table
        self.coverage = coverage
        self._model = model_of(table)
        self._prior = prior_vector(table, prior, none_prior)
        self._history: list[_State] = [_State({}, ())]

    # -- answers in -----------------------------------------------------------------------------

    @property
    def _state(self) -> _State:
        return self._history[-1]

    @property
    def answers(self) -> Mapping[str, str]:
        """The answers so far, as text, in the order they were first given."""
        return MappingProxyType(self._state.answers)

    @property
    def unseen(self) -> tuple[str, ...]:
        """Traits that can't be seen on this fish."""
        return self._state.unseen

    def answer(self, trait: str, value: Any) -> Identification:
        """Answer a trait, or change the answer given before; returned is itself, so that calls can follow.

        Parameters
        ----------
        trait : str
            Trait id, or ``life_stage`` with "adult" or "young".
        value : object
            A state, several possible states (``"white|yellow"``), a number, a range (``"5..6"``); None
            for "can't see it".

        Raises
        ------
        AnswerError
            Unknown trait or state, or a value that is no number; nothing has changed then.
        """
        text = read_answer(self.table, trait, value)
        answers = dict(self._state.answers)
        unseen = [t for t in self._state.unseen if t != trait]
        if text is None:
            answers.pop(trait, None)
            unseen.append(trait)
        else:
            answers[trait] = text
        return self._step(answers, unseen)

    def forget(self, trait: str) -> Identification:
        """Take back the answer to one trait, so that it may be asked again. Raises AnswerError."""
        read_answer(self.table, trait, None)
        answers = {t: v for t, v in self._state.answers.items() if t != trait}
        return self._step(answers, [t for t in self._state.unseen if t != trait])

    def clear(self) -> Identification:
        """Take back every answer at once; `undo` brings them back."""
        return self._step({}, ())

    def _step(self, answers: dict[str, str], unseen: Iterable[str]) -> Identification:
        self._history.append(_State(answers, tuple(unseen)))
        self._forget_evaluation()
        return self

    def undo(self) -> Identification:
        """Take back the last step; does nothing where there is none."""
        if len(self._history) > 1:
            self._history.pop()
            self._forget_evaluation()
        return self

    # -- what follows ---------------------------------------------------------------------------

    @cached_property
    def _now(self) -> _Evaluated:
        return _Evaluated(self._model, self._prior, self.coverage, self.answers)

    def _forget_evaluation(self) -> None:
        for name in ("_now", "_questions", "_outcome"):
            vars(self).pop(name, None)

    def ranking(self) -> pd.DataFrame:
        """Return all kinds and "none of these", likeliest first, as a frame of shape (n_taxa + 1, 8).

        Columns taxon, name, probability, agreement, compared, fit, deviation and candidate; see
        `idkey.model.match.rank_frame`.
        """
        return self._now.ranking.copy()

    def ranked(self) -> tuple[Ranked, ...]:
        """Return the rows of `ranking` as plain records, which is what a screen needs at every click."""
        return self._now.ranked

    def candidates(self) -> tuple[str, ...]:
        """Return the smallest set of names that holds `coverage` of the posterior, likeliest first."""
        return candidate_names([*self.table.ids, NONE], self._now.posterior[None], self.coverage)[0]

    def questions(self) -> list[Question]:
        """Return the questions worth asking now, best first."""
        return list(self._questions)

    @cached_property
    def _questions(self) -> list[Question]:
        asker = asker_of(self.table)
        canonical = self._model.to_canonical_order(self._now.posterior)
        gains = asker.gains(canonical, self._now.adult, self._model.said_in_group(self._now.coded))
        applies = asker.applicable(canonical)
        adult = float(self._now.adult @ canonical)
        found = [
            Question(trait, float(gain), float(gain) / trait.effort)
            for trait, gain, share in zip(asker.traits, gains, applies, strict=True)
            if gain >= MIN_GAIN and self._may_ask(trait, float(share), adult)
        ]
        return sorted(found, key=lambda q: (-q.rate, q.trait.id))

    def _may_ask(self, trait: Trait, share_applies: float, adult: float) -> bool:
        if trait.id in self.answers or trait.id in self.unseen:
            return False
        if trait.needs_adult and (self.answers.get(LIFE_STAGE) == "young" or adult < 0.5):
            return False
        if trait.applies_when is None:
            return True
        other, states = trait.applies_when
        said = self.answers.get(other)
        if said is None:
            return share_applies >= 0.5
        return bool(set(said.split("|")) & set(states))

    def next_question(self) -> Question | None:
        """Return the question that settles most for least trouble; None when none is left or needed."""
        if len(self.candidates()) == 1 and self.answers:
            return None
        return next(iter(self._questions), None)

    def outcome(self) -> Outcome:
        """Say where the identification stands, and whether it can go further."""
        return self._outcome

    @cached_property
    def _outcome(self) -> Outcome:
        ranking = self.ranked()
        left = [row for row in ranking if row.candidate]
        taxa = tuple(row.taxon for row in left if row.taxon != NONE)
        names = [self.table.label(t) for t in taxa]
        best = ranking[0]
        first = next(row for row in ranking if row.taxon != NONE)
        share = percent(first.probability)
        if not self.answers:
            return Outcome("no answers", taxa, "Nothing answered yet: every kind in the table is possible.")
        if best.taxon == NONE and best.probability >= _MORE_LIKELY_THAN_NOT:
            text = f"Probably none of the kinds in this table ({percent(best.probability)})."
            if taxa:
                text += f" Nearest: {names[0]}."
            return Outcome("none of these", taxa, text)
        if len(left) == 1:
            text = f"{names[0]} ({share})."
            if best.deviation < POOR_FIT:
                text += " But it fits poorly: fish of this kind hardly give such answers. Check them."
            return Outcome("one name", taxa, text)
        if self.next_question() is not None:
            count = "1 name" if len(taxa) == 1 else f"{len(taxa)} names"
            text = f"{count} still possible, likeliest {first.name} ({share})."
            return Outcome("several names", taxa, text)
        if len(taxa) == 1:
            text = f"{names[0]} ({share}); the table has no question left to make it surer."
            return Outcome("one name", taxa, text)
        text = f"These can't be told apart by this table with what can be seen: {names[0]} and {names[1]}."
        text += f" Also possible: {', '.join(names[2:])}." if len(names) > 2 else ""
        return Outcome("not told apart", taxa, text)

    def why(self, taxon: str) -> pd.DataFrame:
        """Say what each answer does for or against one kind.

        The evidence is in decibans, ``10 log10`` of the likelihood of the answer in this kind over its mean
        over all kinds; the differences between two kinds add up to the log of their likelihood ratio.

        `taxon` is the id, trade code or name of a kind, or "none of these". Returned is a frame, a row an
        answer, strongest first: trait, label, answer, row (what the table says), decibans, text. A last row
        with trait ``life_stage`` holds what the age of the fish adds, where it adds anything. Raises
        UnknownName.
        """
        return pd.DataFrame(self.reasons(taxon), columns=list(Reason._fields))

    def reasons(self, taxon: str) -> tuple[Reason, ...]:
        """Return the rows of `why` as plain records. Raises UnknownName."""
        return reasons(self.table, self.answers, self._now.evidence, taxon)

    # -- keeping it -----------------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """Return the answers as plain data that JSON can hold."""
        return {"answers": dict(self._state.answers), "unseen": list(self._state.unseen)}

    @classmethod
    def from_dict(cls, table: TraitTable, data: Mapping[str, Any], **options: Any) -> Identification:
        """Make an identification from what `to_dict` gave; options as for the class.

        Raises AnswerError for data of another shape, or an answer that this table cannot take.
        """
        answers = data.get("answers", {}) if isinstance(data, Mapping) else None
        unseen = data.get("unseen", ()) if isinstance(data, Mapping) else ()
        if not isinstance(answers, Mapping) or not isinstance(unseen, (list, tuple)):
            msg = f"{data!r}: write what to_dict() gives: {{'answers': {{trait: answer}}, 'unseen': [trait]}}"
            raise AnswerError(msg)
        fish = cls(table, **options)
        for trait, value in answers.items():
            fish.answer(trait, value)
        for trait in unseen:
            fish.answer(trait, None)
        return fish
