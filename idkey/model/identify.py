"""Identification: answers go in one by one; ranking, reasons and the next question come out.

A reason is what one answer does for or against one kind, in decibans: ``10 log10`` of the likelihood of the
answer in this kind over its mean over all kinds.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd

from idkey.arguments import checked
from idkey.display import Shown
from idkey.model.answers import Coded, code_answers, read_answer
from idkey.model.ask import MIN_GAIN, MIN_MOVE, Question, asker_of
from idkey.model.combine import (
    COVERAGE,
    NONE_PRIOR,
    Prior,
    check_coverage,
    check_table,
    model_of,
    prior_vector,
)
from idkey.model.fit import POOR_FIT
from idkey.model.match import posterior, rank_frame
from idkey.model.sayings import say
from idkey.table.names import one
from idkey.table.reading import parse_answer
from idkey.table.schema import LIFE_STAGE, NONE, States, Trait, cell_words
from idkey.table.table import TraitTable
from idkey.table.units import number_of, percent

_MORE_LIKELY_THAN_NOT = 0.5
_NOTHING = 1e-9
UNKNOWN = "not known"
LITTLE = 1.0
"""Decibans below which an answer says little."""
FAIR = 5.0
"""Decibans from which evidence is fair: half a power of ten, on Jeffreys's scale as in `strength`."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """Where an identification stands; of the names still possible "none of these" is left out."""

    kind: Literal[
        "no answers", "one name", "several names", "not told apart", "little known", "none of these"
    ]
    taxa: tuple[str, ...]
    text: str

    def __repr__(self) -> str:
        return self.text


class Reason(NamedTuple):
    """What one answer does for or against one kind: the columns of `Identification.why`."""

    trait: str
    label: str
    answer: str
    row: str
    decibans: float
    text: str


class _State(NamedTuple):
    """Everything a person has said; one of these for each step back."""

    answers: dict[str, str]
    unseen: tuple[str, ...]


@checked
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
        coverage: float = COVERAGE,
    ):
        check_coverage(coverage)
        check_table(table)
        self.table = table
        self.prior, self.none_prior = prior, none_prior
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

    def answer(self, trait: Any, value: Any) -> Identification:
        """Answer a trait, or change the answer given before; returned is itself, so that calls can follow.

        Parameters
        ----------
        trait : str
            Trait id, or ``life_stage`` with "adult" or "young".
        value : object
            A state, several possible states (``"white|yellow"``, or with how sure you are of each
            ``"white:0.8|yellow:0.2"``), a number, a range (``"5..6"``); None for "can't see it".

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

    def clear(self) -> Identification:
        """Take back every answer at once; `undo` brings them back."""
        return self._step({}, ())

    def _step(self, answers: dict[str, str], unseen: Collection[str]) -> Identification:
        self._history.append(_State(answers, tuple(unseen)))
        self._forget_what_follows()
        return self

    def undo(self) -> Identification:
        """Take back the last step; does nothing where there is none."""
        if len(self._history) > 1:
            self._history.pop()
            self._forget_what_follows()
        return self

    # -- what follows ---------------------------------------------------------------------------

    def _forget_what_follows(self) -> None:
        for name, thing in vars(Identification).items():
            if isinstance(thing, cached_property):
                vars(self).pop(name, None)

    @cached_property
    def _coded(self) -> Coded:
        return code_answers(self.table, self.answers)

    @cached_property
    def of_names(self) -> np.ndarray:
        """Posterior of every name of the model, a stranger of each genus among them, in canonical order."""
        return posterior(self._model, self._coded, self._prior, by_genus=True)[0]

    @cached_property
    def _posterior(self) -> np.ndarray:
        return self._model.gathered(self.of_names)

    @cached_property
    def _ranking(self) -> pd.DataFrame:
        return rank_frame(self._model, self._coded, self._posterior, self.coverage)

    @cached_property
    def _ranked(self) -> tuple[Any, ...]:
        return tuple(self._ranking.itertuples(index=False, name="Ranked"))

    @cached_property
    def _evidence(self) -> tuple[dict[str, tuple[np.ndarray, np.ndarray]], np.ndarray]:
        """By trait the decibans, and where another answer of its group outdoes it; those of the age."""
        terms, rest = self._model.contributions(self._coded)
        evidence = {trait_id: (_decibans(term), term == 0) for trait_id, term in terms.items()}
        return evidence, _decibans(rest)

    def ranking(self) -> pd.DataFrame:
        """Return all kinds and "none of these", likeliest first, as a frame of shape (n_taxa + 1, 8).

        Columns taxon, name, probability, agreement, compared, fit, deviation and candidate; see
        `idkey.model.match.rank_frame`.
        """
        return self._ranking.copy()

    def ranked(self) -> tuple[Any, ...]:
        """Return the rows of `ranking` as named tuples, which is what a screen needs at every click."""
        return self._ranked

    def kinds(self, *, possible: bool = False) -> list[Any]:
        """Return the rows of `ranked` that are kinds of the table, `possible` ones alone or all."""
        return [row for row in self._ranked if row.taxon != NONE and (row.candidate or not possible)]

    def candidates(self) -> tuple[str, ...]:
        """Return the smallest set of names that holds `coverage` of the posterior, likeliest first."""
        return tuple(row.taxon for row in self._ranked if row.candidate)

    def stranger(self) -> tuple[str, float]:
        """Return the genus that this fish looks like if it is none of the kinds in the table.

        With it comes how likely it is among the genera of the table and none of them. The genus is "" where
        none is more likely than not.
        """
        shares = self.of_names[len(self.table) :]
        at = int(np.argmax(shares[:-1])) if len(shares) > 1 else 0
        share = float(shares[at] / shares.sum()) if shares.sum() > 0 else 0.0
        named = len(shares) > 1 and share >= _MORE_LIKELY_THAN_NOT
        return (str(self._model.genera[at]), share) if named else ("", 0.0)

    def questions(self) -> list[Question]:
        """Return the questions worth asking now, best first."""
        return list(self._questions)

    @cached_property
    def _questions(self) -> list[Question]:
        asker, said = asker_of(self.table), self._model.said_in_group(self._coded)
        ahead = asker.ahead(self.of_names, self._adult, said)
        left = self._model.to_canonical_order(np.isin([*self.table.ids, NONE], self.candidates()))
        gains, moves = asker.gains(ahead), asker.moves(ahead, left, self.coverage)
        found = [
            Question(trait, float(gain))
            for trait, gain, moved in zip(asker.traits, gains, moves, strict=True)
            if gain >= MIN_GAIN and moved >= MIN_MOVE and trait.id in self.askable
        ]
        return sorted(found, key=lambda q: (-q.rate, q.trait.id))

    @cached_property
    def _adult(self) -> np.ndarray:
        return self._model.stage_weights(self._coded)[0]

    @cached_property
    def askable(self) -> frozenset[str]:
        """Traits that may be asked of this fish now: neither answered nor unseen, and there to be seen."""
        asker, is_adult = asker_of(self.table), float(self._adult @ self.of_names)
        asked = zip(asker.traits, asker.applicable(self.of_names), strict=True)
        return frozenset(t.id for t, share in asked if self._may_ask(t, float(share), is_adult))

    def _may_ask(self, trait: Trait, share_applies: float, adult: float) -> bool:
        if trait.id in self.answers or trait.id in self.unseen:
            return False
        # A half is what is said of a fish whose age nobody knows, and sums of shares are not exact.
        if trait.needs_adult and (self.answers.get(LIFE_STAGE) == "young" or adult < 0.5 - _NOTHING):
            return False
        if trait.applies_when is None:
            return True
        other, states = trait.applies_when
        said = self.answers.get(other)
        if said is None:
            return share_applies >= 0.5
        answer = parse_answer(self.table.trait(other), said)
        return isinstance(answer, States) and not {*answer.names}.isdisjoint(states)

    def next_question(self) -> Question | None:
        """Return the question that settles most for least trouble; None when none is left or needed."""
        if len(self.candidates()) == 1 and self.answers and self._outcome.kind != "little known":
            return None
        return next(iter(self._questions), None)

    def outcome(self) -> Outcome:
        """Say where the identification stands, and whether it can go further."""
        return self._outcome

    @cached_property
    def _outcome(self) -> Outcome:
        found, says, best = self._standing(), self._for_a_stranger(), self._ranked[0]
        if found.kind in ("no answers", "none of these"):
            return found
        more = say("none first", share=percent(best.probability)) if best.taxon == NONE else ""
        more += say("doubt", strength=strength(says)) if says >= FAIR else ""
        return replace(found, text=found.text + more)

    def _for_a_stranger(self) -> float:
        """Decibans by which the answers raise the odds of "none of these"; 0 where it was left out."""
        odds = [p[-1] / (1 - p[-1]) for p in (self._posterior, self._prior) if 0 < p[-1] < 1]
        return float(10 * np.log10(odds[0] / odds[1])) if len(odds) == 2 else 0.0

    def _standing(self) -> Outcome:
        ranking = self.ranked()
        left = [row for row in ranking if row.candidate]
        taxa = tuple(row.taxon for row in self.kinds(possible=True))
        names = [self.table.label(t) for t in taxa]
        best, first = ranking[0], self.kinds()[0]
        share = percent(first.probability)
        if not self.answers:
            return Outcome("no answers", taxa, say("no answers"))
        if best.taxon == NONE and best.probability >= _MORE_LIKELY_THAN_NOT:
            return Outcome("none of these", taxa, self._stranger_words(best, first if taxa else None))
        if best is first and is_hardly_known(self, first):
            return Outcome("little known", taxa, self._hardly_known_words(first, len(taxa)))
        if len(left) == 1:
            text = say("one name", name=names[0], share=share)
            text += say("poor fit") if best.deviation < POOR_FIT else ""
            return Outcome("one name", taxa, text)
        if self.next_question() is not None:
            count = number_of(len(taxa), "name")
            text = say("several names", count=count, name=first.name, share=share)
            return Outcome("several names", taxa, text)
        if len(taxa) == 1:
            return Outcome("one name", taxa, say("no question left", name=names[0], share=share))
        text = say("not told apart", name=names[0], other=names[1])
        text += say("also possible", names=", ".join(names[2:])) if len(names) > 2 else ""
        return Outcome("not told apart", taxa, text)

    def _stranger_words(self, none: Any, nearest: Any) -> str:
        text = say("stranger", share=percent(none.probability))
        genus, share = self.stranger()
        text += say("of a genus", name=genus, share=percent(share)) if genus else say("of no genus")
        return text + ("" if nearest is None else _say_of("nearest", nearest))

    def _hardly_known_words(self, first: Any, count: int) -> str:
        checked = say("none checked")
        if first.compared:
            checked = say("checked", count=first.compared, of=len(self.looks))
        text = say("several left", count=count) if count > 1 else say("none left")
        text += _say_of("little known", first, checked=checked)
        known = next((row for row in self.kinds() if not is_hardly_known(self, row)), None)
        if known is not None:
            text += _say_of("better known", known)
        return text

    @property
    def looks(self) -> list[str]:
        """The traits that were answered, age aside."""
        return [trait for trait in self.answers if trait != LIFE_STAGE]

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

    def against(self, taxon: str) -> tuple[Reason, ...]:
        """Return the reasons against one kind that rest on what the table knows of it, strongest first.

        Those of a blank cell, of the age, and of an answer that another of its group outdoes are left out.
        Raises UnknownName.
        """
        at, (evidence, _) = self.table.position(taxon), self._evidence
        counted = {trait for trait, (_, silent) in evidence.items() if not silent[at]}
        known = (r for r in self.reasons(taxon) if r.trait in counted and r.row != UNKNOWN)
        return tuple(r for r in known if r.decibans <= -LITTLE)

    def reasons(self, taxon: str) -> tuple[Reason, ...]:
        """Return the rows of `why` as plain records. Raises UnknownName."""
        taxon = taxon if taxon == NONE else one(self.table, taxon)
        at = len(self.table) if taxon == NONE else self.table.position(taxon)
        evidence, age = self._evidence
        reasons = []
        for trait_id, (decibans, silent) in evidence.items():
            trait, answer, value = self.table.trait(trait_id), self.answers[trait_id], float(decibans[at])
            holds = "not in the table" if taxon == NONE else self.table.words(taxon, trait.id)
            weight = strength(value)
            if trait.group and silent[at] and taxon != NONE:
                weight = say("outdone")
            elif holds == UNKNOWN:
                # What is not known may weigh against a kind; it never speaks for it.
                by_kin = say("by kin")
                weight = by_kin if value > -LITTLE else f"{by_kin}: {weight}"
            said = cell_words(trait, parse_answer(trait, answer))
            saying = "reason alone" if taxon == NONE else "reason"
            text = say(saying, trait=trait.name, said=said, row=_row_sentence(holds), strength=weight)
            reasons.append(Reason(trait_id, trait.name, answer, holds, value, text))
        reasons.sort(key=lambda r: (-abs(r.decibans), r.trait))
        value = float(age[at])
        if abs(value) > _NOTHING:
            said = self.answers.get(LIFE_STAGE, UNKNOWN)
            words = said if said == UNKNOWN else say("you said", said=said)
            text = say("age", said=words, strength=strength(value))
            reasons.append(Reason(LIFE_STAGE, "Age", said, "", value, text))
        return tuple(reasons)


def is_hardly_known(fish: Identification, row: Any) -> bool:
    """Whether a kind, a row of `ranked`, is known in fewer than half of what was answered of a fish.

    It must not win by its blanks.
    """
    return 2 * row.compared < len(fish.looks)


def strength(decibans: float) -> str:
    """Evidence in words, on Jeffreys's scale of half powers of ten (Theory of Probability; from memory)."""
    size = abs(decibans)
    if size < LITTLE:
        return "says little"
    side = "for" if decibans > 0 else "against"
    word = "weak" if size < FAIR else "fair" if size < 10 else "strong" if size < 20 else "decisive"
    return f"{word} evidence {side}"


def _decibans(term: np.ndarray) -> np.ndarray:
    # Sorted, so that the order of the table changes no bit.
    mean = np.log(np.mean(np.exp(np.sort(term) - term.max()))) + term.max()
    return (term - mean) * 10 / np.log(10)


def _row_sentence(holds: str) -> str:
    if holds == UNKNOWN:
        return say("row not known")
    return say("row does not apply") if holds == "does not apply" else say("row", row=holds)


def _say_of(what: str, row: Any, **words: Any) -> str:
    return say(what, name=row.name, share=percent(row.probability), **words)
