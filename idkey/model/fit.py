"""Two figures beside the posterior that do not depend on the other kinds: the plain agreement, and the fit.

The agreement is Gower's general similarity, which a keeper can check by hand (Gower JC 1971, A general
coefficient of similarity and some of its properties, Biometrics 27:857-871, doi 10.2307/2528823): the mean
over comparable traits of s, with s = 1 or 0 for states and ``1 - |x - y| / R`` for numbers, R the range of
the trait over the table.

The posterior is relative: the best of bad names can stand at 99 %. The modal likelihood fraction (Dybowski &
Franklin 1968) is the likelihood of the answers over that of the best answers the kind could have given:
the product over traits of P(x|t) / max P(.|t). As it falls with every trait answered, it is judged against
what the kind's own fish give: the log of the fraction has a mean and a variance under the kind, and the
distance from the mean in standard deviations says whether this fish could be one of them (as the distance in
standard errors of Priest & Alexander 1988, J. gen. Microbiol. 134:3011-3018).
"""

from __future__ import annotations

import numpy as np

from idkey.model.answers import Coded, Distinct
from idkey.model.combine import TableModel, answered_in_group
from idkey.model.evidence import TraitModel, exact_numbers, number_grid, scale_of
from idkey.table.schema import LIFE_STAGES, Trait
from idkey.table.table import Column, TraitTable

POOR_FIT = -2.0
"""Standard deviations below the mean of a kind's own fish at which a fit is called poor: of fish drawn from
the shipped table and rightly named, about 1 in 60 is called so (`tests/benchmarks/calibration.py`)."""
SOFTENING = 0.25
"""Variance added, so that a kind that never varies is not thrown out for one slip (judgement)."""
SLIP = 3.0
"""Measuring errors (standard deviations) beyond a range at which a number is no longer of that range: 1 in
740 on each side by the measuring alone (the normal law)."""
POINTS = 64
"""Numbers along a measure that stand for all that a kind's own fish may give."""


def fit_of(model: TableModel, coded: Coded) -> tuple[np.ndarray, np.ndarray]:
    """Return the fit of one specimen to every kind, in the order of the table, each of shape (n_taxa,).

    The modal likelihood fraction, 0 to 1, 1 where nothing compares; and the standard deviations above (or,
    negative, below) the mean of the kind's own fish.
    """
    n = model.n_taxa
    log_fraction, expected, variance = np.zeros(n), np.zeros(n), np.zeros(n)
    adult = model.stage_weights(coded)[0, :n] >= 0.5
    # Of k answers that repeat one another each counts 1 / k.
    groups = answered_in_group(model.table, coded).values()
    repeats = {t: sum(who[0] for who in members.values()) for members in groups for t in members}
    for trait_id, trait_model in model.models.items():
        if trait_id not in coded.codes or not coded.codes[trait_id][0]:
            continue
        weight = 1.0 / repeats.get(trait_id, 1)
        found = _one_trait(trait_model, coded.distinct[trait_id], adult)
        log_fraction += weight * found[0]
        expected += weight * found[1]
        variance += weight**2 * found[2]
    deviation = (log_fraction - expected) / np.sqrt(variance + SOFTENING)
    return model.to_table_order(np.exp(log_fraction)), model.to_table_order(deviation)


def _one_trait(
    model: TraitModel, answer: Distinct, adult: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log of the fraction, and its mean and variance among a kind's own fish; each of shape (n_taxa,)."""
    column = model.adult
    if model.trait.kind == "ceiling":
        # A length below the record fits; how many of a kind's fish are longer is not known.
        log_fraction = np.log(model.record(answer)[0][0, : len(adult)])
        zero = np.zeros(len(column.known))
        return np.where(column.known, log_fraction, 0.0), zero, zero
    at_answer = _by_age(model.likelihoods(answer), adult)[0]
    if model.trait.has_states:
        every = _by_age((model.states_adult, model.states_young), adult)
    else:
        grid = number_grid(model, POINTS)
        every = _by_age(model.likelihoods(exact_numbers(grid)), adult)
    log_every = np.log(every / every.max(axis=0))
    chance = every / every.sum(axis=0)
    mean = (chance * log_every).sum(axis=0)
    variance = (chance * log_every**2).sum(axis=0) - mean**2
    log_answer = np.log(np.minimum(at_answer / every.max(axis=0), 1.0))
    # A blank cell is no misfit; an answer where the trait does not apply is an error of observation.
    fraction = np.where(column.known, log_answer, np.where(column.applies, 0.0, np.log(model.trait.error)))
    return fraction, np.where(column.known, mean, 0.0), np.where(column.known, variance, 0.0)


def _by_age(likelihoods: tuple[np.ndarray, np.ndarray], adult: np.ndarray) -> np.ndarray:
    on_adult, on_young = likelihoods
    return np.where(adult, on_adult[:, : len(adult)], on_young[:, : len(adult)])


# -- agreement --------------------------------------------------------------------------------------


def agreement(table: TraitTable, coded: Coded) -> tuple[np.ndarray, np.ndarray]:
    """Gower similarity of specimens to the rows of the table, and the number of traits that compare.

    A row that varies agrees where any of its states, or its range, agrees. Ordinal states count as
    1..K. A number outside the table's range is clipped at 0. Traits that are not answered, not known or
    not applicable are left out; where nothing is left the similarity is NaN. Both (n_specimens, n_taxa).
    """
    total, comparable = np.zeros((coded.n, len(table))), compared(table, coded)
    for trait in table.traits:
        if trait.id not in coded.codes:
            continue
        column, codes = table.column(trait.id), coded.codes[trait.id]
        similarity = _similarity(trait, column, coded.distinct[trait.id])
        silence = np.zeros((1, len(table)))
        total += np.vstack([silence, np.where(column.known, similarity, 0.0)])[codes]
    return np.where(comparable > 0, total / np.maximum(comparable, 1.0), np.nan), comparable


def compared(table: TraitTable, coded: Coded) -> np.ndarray:
    """Number of the answers that can be held against each row, (n_specimens, n_taxa)."""
    answered = [coded.codes[t] > 0 for t in table.trait_ids if t in coded.codes]
    known = [table.column(t).known for t in table.trait_ids if t in coded.codes]
    return np.array(answered, dtype=float).reshape(-1, coded.n).T @ np.reshape(known, (-1, len(table)))


def _similarity(trait: Trait, column: Column, answers: Distinct) -> np.ndarray:
    """Similarity of each distinct answer to each row, shape (n_distinct, n_taxa)."""
    if trait.kind == "nominal":
        return ((answers.allowed @ (column.shares > 0).T) > 0).astype(float)
    if trait.kind == "ordinal":
        k = len(trait.states)
        step = np.abs(np.subtract.outer(np.arange(k), np.arange(k))) / max(k - 1, 1)
        # Nearest pair of states: the smallest step over what the answer and the row allow.
        row_step = np.min(np.where(column.shares.T[None] > 0, step[:, :, None], 1.0), axis=1)
        near = np.min(np.where(answers.allowed[:, :, None] > 0, row_step[None], 1.0), axis=1)
        return 1.0 - near
    low, high = np.nan_to_num(column.low), np.nan_to_num(column.high)
    if trait.kind == "ceiling":
        tops = column.high[column.known]
        scale = float(np.ptp(tops)) if len(tops) and np.ptp(tops) > 0 else 1.0
    else:
        scale = scale_of(column)
    gap = np.maximum(low - answers.high[:, None], answers.low[:, None] - high)
    return 1.0 - np.clip(gap / scale, 0.0, 1.0)


def outside(table: TraitTable, trait: Trait, answers: Distinct, stage: str | None = None) -> np.ndarray:
    """Whether each answer lies outside all that a row allows, bool, shape (n_distinct, n_taxa).

    An answer that may be one of several states is outside where none of them is in the row; a number by more
    than `SLIP` measuring errors, a length where it is over the record. Without a `stage` it must be outside
    for adults and for young fish. False where the row is blank or the trait does not apply.
    """
    stages = (stage,) if stage else LIFE_STAGES
    columns = [table.column(trait.id, young=age == "young") for age in stages]
    found = np.ones((len(answers.low), len(table)), dtype=bool)
    for column in columns:
        if trait.has_states:
            away = answers.allowed @ (column.shares > 0).T == 0
        else:
            low, high = np.nan_to_num(column.low), np.nan_to_num(column.high)
            under, over = low - answers.high[:, None], answers.low[:, None] - high
            spread = trait.spread * (np.abs(answers.low[:, None]) if trait.spread_is_relative else 1.0)
            away = over > 0 if trait.kind == "ceiling" else np.maximum(under, over) > SLIP * spread
        found &= away & column.known
    return found
