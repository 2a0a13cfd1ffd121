"""Answers as people give them -> arrays: which distinct answers there are, and who gave which."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from idkey.arguments import shown
from idkey.errors import AnswerError, one_of
from idkey.table.fields import MOST
from idkey.table.reading import parse_answer
from idkey.table.schema import (
    LIFE_STAGE,
    LIFE_STAGES,
    NEVER_NEGATIVE,
    Range,
    States,
    Trait,
    answer_text,
    is_missing,
)
from idkey.table.table import TraitTable

_STAGES = (None, *LIFE_STAGES)


@dataclass(frozen=True, slots=True)
class Distinct:
    """The distinct answers given to one trait.

    `allowed`, (n_distinct, n_states), is 0 where the answer leaves the state out, 1 for the state that it
    leans to most, and so many times less for one that it leans to less: only the ratios count, and an answer
    that leans to none has ones alone. Of width 0 for numbers. `low` and `high`, (n_distinct,), are its ends
    in the unit of the trait, NaN for states.
    """

    allowed: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True, slots=True)
class Coded:
    """Answers of n specimens.

    By trait `codes`, (n,), are 0 where it is not answered, k for the answer in row k - 1 of its `distinct`.
    `stage`, (n,), is 0 not known, 1 adult, 2 young.
    """

    n: int
    codes: dict[str, np.ndarray]
    distinct: dict[str, Distinct]
    stage: np.ndarray


def parse_stage(value: Any) -> str | None:
    """Read the life stage: "adult", "young" (or "juvenile"), or None. Raises AnswerError."""
    if is_missing(value):
        return None
    word = value.strip().lower() if isinstance(value, str) else value
    # Darwin Core's usual word for a young fish.
    word = "young" if word == "juvenile" else word
    if word not in LIFE_STAGES:
        raise AnswerError(f"{LIFE_STAGE}: {value!r}: {one_of(value, LIFE_STAGES, 'one of')}")
    return str(word)


def _distinct(trait: Trait, answers: list[States | Range]) -> Distinct:
    allowed = np.zeros((len(answers), len(trait.states)))
    low = np.full(len(answers), np.nan)
    high = np.full(len(answers), np.nan)
    for i, answer in enumerate(answers):
        if isinstance(answer, States):
            for name, share in zip(answer.names, answer.shares, strict=True):
                allowed[i, trait.states.index(name)] = share / max(answer.shares)
        else:
            low[i], high[i] = answer.low, answer.high
    return Distinct(allowed, low, high)


def code_answers(table: TraitTable, answers: Mapping[str, Any]) -> Coded:
    """Code the answers for one specimen, trait id (or ``life_stage``) to answer; see `idkey.table.reading`.

    Raises AnswerError for an unknown trait, an unknown state, or a value that is no number.
    """
    read = {trait_id: parsed_answer(table, trait_id, value) for trait_id, value in answers.items()}
    stage = _STAGES.index(read.pop(LIFE_STAGE, None)) if is_stage(table, LIFE_STAGE) else 0
    distinct = {t: _distinct(table.trait(t), [x]) for t, x in read.items() if x is not None}
    codes = {trait_id: np.ones(1, dtype=np.intp) for trait_id in distinct}
    return Coded(1, codes, distinct, np.array([stage]))


def is_stage(table: TraitTable, trait_id: Any) -> bool:
    """Whether an answer under this name is about the life stage, which no trait of the table is called."""
    return isinstance(trait_id, str) and trait_id == LIFE_STAGE and LIFE_STAGE not in table.trait_ids


def known_trait(table: TraitTable, trait_id: Any) -> Trait:
    """Return the trait of this id. Raises AnswerError, naming the id where a label was given."""
    if isinstance(trait_id, str) and trait_id in table.trait_ids:
        return table.trait(trait_id)
    given = shown(trait_id).strip("' ")
    labels = [t.id for t in table.traits if t.label and t.label.lower() == given.lower()]
    right = one_of(given, [*table.trait_ids, LIFE_STAGE], "a trait id")
    right = f"its id is {labels[0]!r}" if labels else right
    raise AnswerError(f"{shown(trait_id)} is no trait of this table: {right}")


def parsed_answer(table: TraitTable, trait_id: Any, value: Any) -> States | Range | str | None:
    """Return an answer as the table reads it, a life stage as text; None for "can't see it"."""
    if is_stage(table, trait_id):
        return parse_stage(value)
    return parse_answer(known_trait(table, trait_id), value)


def read_answer(table: TraitTable, trait_id: Any, value: Any) -> str | None:
    """Return an answer as text, as the table reads it; None for "can't see it". Raises AnswerError."""
    answer = parsed_answer(table, trait_id, value)
    if answer is None or isinstance(answer, str):
        return answer
    return answer_text(known_trait(table, trait_id), answer)


def code_frame(table: TraitTable, frame: pd.DataFrame) -> Coded:
    """Code a frame, shape (n_specimens, n_answered_traits): NaN, None and blank are not answered.

    A column ``life_stage`` may hold "adult" or "young". Raises AnswerError with the row label and the column
    of the first bad answer.
    """
    if not isinstance(frame, pd.DataFrame):
        msg = f"answers: {type(frame).__name__}: give a DataFrame, one row a specimen, one column a trait"
        raise AnswerError(msg)
    for name in frame.columns[frame.columns.duplicated()]:
        raise AnswerError(f"answers: {name!r}: two columns have this name; keep one")
    codes, distinct = {}, {}
    stage = np.zeros(len(frame), dtype=np.intp)
    for column in frame.columns:
        values = frame[column]
        if is_stage(table, column):
            stages = [_in_place(parse_stage, v, values, i) for i, v in enumerate(values)]
            stage = np.array([_STAGES.index(name) for name in stages], dtype=np.intp)
            continue
        trait = known_trait(table, column)
        if not trait.has_states and values.dtype.kind in "iuf":
            codes[trait.id], distinct[trait.id] = _code_numbers(trait, values)
        else:
            codes[trait.id], distinct[trait.id] = _code_values(trait, values)
    return Coded(len(frame), codes, distinct, stage)


def _in_place(parse: Any, value: Any, values: pd.Series, at: int) -> Any:
    """Parse a value; an error says where in the frame it stands."""
    try:
        return parse(value)
    except AnswerError as error:
        raise AnswerError(f"answers, row {values.index[at]}, {values.name}: {error}") from None


def _code_numbers(trait: Trait, values: pd.Series) -> tuple[np.ndarray, Distinct]:
    numbers = values.to_numpy(dtype=float, na_value=np.nan)
    codes, uniques = pd.factorize(numbers)
    bad = ~(np.abs(uniques) <= MOST)
    if trait.kind == "ceiling":
        bad |= uniques <= 0
    elif trait.unit in NEVER_NEGATIVE:
        bad |= uniques < 0
    if bad.any():
        value = uniques[bad][0]
        at = int(np.argmax(codes == np.argmax(bad)))
        _in_place(lambda v: parse_answer(trait, v), float(value), values, at)
    return codes + 1, Distinct(np.zeros((len(uniques), 0)), uniques, uniques)


def _code_values(trait: Trait, values: pd.Series) -> tuple[np.ndarray, Distinct]:
    try:
        # As plain objects, which pandas codes faster than strings of its own.
        codes, uniques = pd.factorize(values.to_numpy(dtype=object))
    except TypeError:
        # Lists and pairs cannot be hashed; their text can, and means the same.
        texts = [None if is_missing(v) else v if isinstance(v, str) else repr(v) for v in values]
        codes, first = pd.factorize(np.array(texts, dtype=object))
        uniques = [values.iloc[int(np.argmax(codes == i))] for i in range(len(first))]
    answers: list[States | Range] = []
    renumber = np.zeros(len(uniques) + 1, dtype=np.intp)
    for i, value in enumerate(uniques):
        answer = _in_place(lambda v: parse_answer(trait, v), value, values, int(np.argmax(codes == i)))
        if answer is not None:
            answers.append(answer)
            renumber[i + 1] = len(answers)
    return renumber[codes + 1], _distinct(trait, answers)
