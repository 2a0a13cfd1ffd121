"""Identification: answers go in one by one; ranking, reasons and the next question come out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any, Literal

import numpy as np
import pandas as pd

from idkey.errors import AnswerError
from idkey.model.answers import Coded, code_answers, known_trait, parse_stage
from idkey.model.ask import MIN_GAIN, Asker, Question
from idkey.model.combine import TableModel
from idkey.model.evidence import NONE
from idkey.model.fit import POOR_FIT
from idkey.model.match import candidate_names, posterior, rank_frame
from idkey.model.prior import Prior, check_coverage, check_table, prior_vector
from idkey.table.schema import LIFE_STAGE, NotApplicable, Range, States, Trait, answer_text, parse_answer
from idkey.table.table import YOUNG, TraitTable

__all__ = ["Identification", "Outcome", "strength"]

_UNSEEN = None
_MORE_LIKELY_THAN_NOT = 0.5


@dataclass(frozen=True, slots=True)
class Outcome:
    """Where an identification stands.

    Attributes
    ----------
    kind : {"no answers", "one name", "several names", "not told apart", "none of these"}
    taxa : tuple of str
        The names still possible, likeliest first, without "none of these".
    text : str
        The same in a sentence.
    """

    kind: Literal["no answers", "one name", "several names", "not told apart", "none of these"]
    taxa: tuple[str, ...]
    text: str

    def __repr__(self) -> str:
        return self.text


@dataclass(frozen=True)
class _State:
    """Everything a person has said; one of these for each step back."""

    answers: tuple[tuple[str, str], ...] = ()
    unseen: tuple[str, ...] = ()


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
    def contributions(self) -> tuple[dict[str, np.ndarray], np.ndarray]:
        return self._model.contributions(self.coded)


class Identification:
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
        self, table: TraitTable, prior: Prior = "commonness", none_prior: float = 0.05, coverage: float = 0.95
    ):
        check_coverage(coverage)
        check_table(table)
        self.table = table
        self.coverage = coverage
        self._model = TableModel(table)
        self._prior = prior_vector(table, prior, none_prior)
        self._history: list[_State] = [_State()]

    # -- answers in -----------------------------------------------------------------------------

    @property
    def _state(self) -> _State:
        return self._history[-1]

    @property
    def answers(self) -> Mapping[str, str]:
        """The answers so far, as text, in the order they were first given."""
        return MappingProxyType(dict(self._state.answers))

    @property
    def unseen(self) -> tuple[str, ...]:
        """Traits that can't be seen on this fish."""
        return self._state.unseen

    def answer(self, trait: str, value: Any) -> Identification:
        """Answer a trait, or change the answer given before.

        Parameters
        ----------
        trait : str
            Trait id, or ``life_stage`` with "adult" or "young".
        value : object
            A state, several possible states (``"white|yellow"``), a number, a range (``"5..6"``); None
            for "can't see it".

        Returns
        -------
        Identification
            Itself, so that calls can follow one another.

        Raises
        ------
        AnswerError
            Unknown trait or state, or a value that is no number; nothing has changed then.
        """
        text = self._read(trait, value)
        answers = dict(self._state.answers)
        unseen = [t for t in self._state.unseen if t != trait]
        if text is _UNSEEN:
            answers.pop(trait, None)
            unseen.append(trait)
        else:
            answers[trait] = text
        self._history.append(_State(tuple(answers.items()), tuple(unseen)))
        self._forget_evaluation()
        return self

    def forget(self, trait: str) -> Identification:
        """Take back the answer to one trait, so that it may be asked again. Raises AnswerError."""
        self._read(trait, None)
        answers = {t: v for t, v in self._state.answers if t != trait}
        unseen = tuple(t for t in self._state.unseen if t != trait)
        self._history.append(_State(tuple(answers.items()), unseen))
        self._forget_evaluation()
        return self

    def clear(self) -> Identification:
        """Take back every answer at once; `undo` brings them back."""
        self._history.append(_State())
        self._forget_evaluation()
        return self

    def undo(self) -> Identification:
        """Take back the last step; does nothing where there is none."""
        if len(self._history) > 1:
            self._history.pop()
            self._forget_evaluation()
        return self

    def _read(self, trait: str, value: Any) -> str | None:
        if trait == LIFE_STAGE and LIFE_STAGE not in self.table.trait_ids:
            return parse_stage(value)
        found = known_trait(self.table, trait)
        answer = parse_answer(found, value)
        return None if answer is None else answer_text(found, answer)

    # -- what follows ---------------------------------------------------------------------------

    @cached_property
    def _asker(self) -> Asker:
        return Asker(self._model)

    @cached_property
    def _now(self) -> _Evaluated:
        return _Evaluated(self._model, self._prior, self.coverage, self.answers)

    def _forget_evaluation(self) -> None:
        self.__dict__.pop("_now", None)
        self.__dict__.pop("_questions", None)

    def ranking(self) -> pd.DataFrame:
        """Return all kinds and "none of these", likeliest first.

        Returns
        -------
        pandas.DataFrame, shape (n_taxa + 1, 8)
            Columns taxon, name, probability, agreement, compared, fit, deviation and candidate; see
            `idkey.model.match.rank_frame`.
        """
        return self._now.ranking.copy()

    def candidates(self) -> tuple[str, ...]:
        """Return the smallest set of names that holds `coverage` of the posterior, likeliest first."""
        return candidate_names([*self.table.ids, NONE], self._now.posterior[None], self.coverage)[0]

    def questions(self) -> list[Question]:
        """Return the questions worth asking now, best first."""
        return list(self._questions)

    @cached_property
    def _questions(self) -> list[Question]:
        asker = self._asker
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
        questions = self.questions()
        return questions[0] if questions else None

    def outcome(self) -> Outcome:
        """Say where the identification stands, and whether it can go further."""
        ranking = self.ranking()
        left = ranking[ranking["candidate"]]
        taxa = tuple(t for t in left["taxon"] if t != NONE)
        names = [self.table.label(t) for t in taxa]
        best = ranking.iloc[0]
        first = ranking[ranking["taxon"] != NONE].iloc[0]
        share = f"{first['probability']:.0%}"
        if not self.answers:
            return Outcome("no answers", taxa, "Nothing answered yet: every kind in the table is possible.")
        if best["taxon"] == NONE and best["probability"] >= _MORE_LIKELY_THAN_NOT:
            text = f"Probably none of the kinds in this table ({best['probability']:.0%})."
            if taxa:
                text += f" Nearest: {names[0]}."
            return Outcome("none of these", taxa, text)
        if len(left) == 1:
            text = f"{names[0]} ({share})."
            if best["deviation"] < POOR_FIT:
                text += " But it fits poorly: fish of this kind hardly give such answers. Check them."
            return Outcome("one name", taxa, text)
        if self.next_question() is not None:
            text = f"{len(taxa)} names still possible, likeliest {first['name']} ({share})."
            return Outcome("several names", taxa, text)
        if len(taxa) == 1:
            return Outcome(
                "one name", taxa, f"{names[0]} ({share}); the table has no question left to make it surer."
            )
        rest = f" Also possible: {', '.join(names[2:])}." if len(names) > 2 else ""
        text = (
            f"These can't be told apart by this table with what can be seen: {names[0]} and {names[1]}.{rest}"
        )
        return Outcome("not told apart", taxa, text)

    def why(self, taxon: str) -> pd.DataFrame:
        """Say what each answer does for or against one kind.

        The evidence is in decibans, ``10 log10`` of the likelihood of the answer in this kind over its mean
        over all kinds; the differences between two kinds add up to the log of their likelihood ratio.

        Parameters
        ----------
        taxon : str
            Taxon id, or "none of these".

        Returns
        -------
        pandas.DataFrame, shape (n_answers, 6)
            Columns trait, label, answer, row (what the table says), decibans, text; strongest first. A last
            row with trait ``life_stage`` holds what the age of the fish adds, where it adds anything.

        Raises
        ------
        UnknownName
        """
        position = len(self.table) if taxon == NONE else self.table.position(taxon)
        terms, rest = self._now.contributions
        rows = []
        for trait_id, term in terms.items():
            trait = self.table.trait(trait_id)
            value = _decibans(self._model.to_table_order(term), position)
            answer = self.answers[trait_id]
            said = _words(trait, parse_answer(trait, answer))
            holds = "not in the table" if taxon == NONE else self._row_words(taxon, trait)
            weight = strength(value)
            if trait.group and self._model.to_table_order(term)[position] == 0 and taxon != NONE:
                weight = "not counted: another answer says as much or more of the same"
            text = f"{trait.name}: you said {said}; {_row_sentence(holds, taxon)} ({weight})"
            rows.append((trait_id, trait.name, answer, holds, value, text))
        rows.sort(key=lambda r: (-abs(r[4]), r[0]))
        value = _decibans(self._model.to_table_order(rest), position)
        if abs(value) > 1e-9:
            said = self.answers.get(LIFE_STAGE, "not known")
            text = f"Age: {'not known' if said == 'not known' else f'you said {said}'} ({strength(value)})"
            rows.append((LIFE_STAGE, "Age", said, "", value, text))
        return pd.DataFrame(rows, columns=["trait", "label", "answer", "row", "decibans", "text"])

    def _row_words(self, taxon: str, trait: Trait) -> str:
        adult = self.table.cell(taxon, trait.id)
        words = _words(trait, adult)
        if trait.id + YOUNG in self.table.cells:
            young = self.table.cell(taxon, trait.id + YOUNG)
            if young is not None and young != adult:
                words = f"{words}, young: {_words(trait, young)}"
        return words

    # -- keeping it -----------------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """Return the answers as plain data that JSON can hold."""
        return {"answers": dict(self._state.answers), "unseen": list(self._state.unseen)}

    @classmethod
    def from_dict(cls, table: TraitTable, data: Mapping[str, Any], **options: Any) -> Identification:
        """Make an identification from what `to_dict` gave.

        Parameters
        ----------
        table : TraitTable
        data : mapping
        **options
            As for the class.

        Raises
        ------
        AnswerError
            Data of another shape, or an answer that this table cannot take.
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

    def __repr__(self) -> str:
        from idkey.views.text import identification_text

        return identification_text(self)

    def _repr_html_(self) -> str:
        from idkey.views.html import identification_html

        return identification_html(self)


def strength(decibans: float) -> str:
    """Evidence in words, on Jeffreys's scale of half powers of ten (Theory of Probability; from memory).

    Examples
    --------
    >>> strength(-14.0), strength(2.0)
    ('strong evidence against', 'weak evidence for')
    """
    size = abs(decibans)
    if size < 1:
        return "says little"
    side = "for" if decibans > 0 else "against"
    word = "weak" if size < 5 else "fair" if size < 10 else "strong" if size < 20 else "decisive"
    return f"{word} evidence {side}"


def _decibans(term: np.ndarray, position: int) -> float:
    mean = np.log(np.mean(np.exp(term - term.max()))) + term.max()
    return float((term[position] - mean) * 10 / np.log(10))


def _words(trait: Trait, cell: Any) -> str:
    if cell is None:
        return "not known"
    if isinstance(cell, NotApplicable):
        return "does not apply"
    if isinstance(cell, States):
        return " or ".join(trait.word(s) for s in cell.names)
    if isinstance(cell, Range) and trait.kind == "ceiling" and cell.low == 0:
        return f"up to {trait.number(cell.high)}"
    if cell.low == cell.high:
        return trait.number(cell.low)
    return f"{cell.low:g} to {trait.number(cell.high)}"


def _row_sentence(holds: str, taxon: str) -> str:
    if taxon == NONE:
        return "no kind stands behind this"
    if holds == "not known":
        return "the table does not know"
    if holds == "does not apply":
        return "this does not apply to it"
    return f"the table has {holds}"
