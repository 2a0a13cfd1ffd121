"""Invented specimens, drawn from a trait table by the same law that the model assumes."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from idkey.model.answers import Distinct
from idkey.model.combine import TableModel, prior_vector
from idkey.model.evidence import STAGE_ERROR
from idkey.table.schema import LIFE_STAGE, NONE

_LENGTHS = (20.0, 700.0)
_GRID = 200
_STATED = 0.3


@dataclass(frozen=True)
class Drawn:
    """Specimens, (n, n_traits + 1), and what they are: a taxon id, or "none of these"."""

    answers: pd.DataFrame
    truth: np.ndarray

    def fish(self, i):
        """Return the answers that one of them gives."""
        return self.answers.iloc[i].dropna().to_dict()


def draw(table, n, seed, *, prior="commonness", none_prior=0.05, gaps=(0.3, 0.7), kind=None):
    """Draw specimens: a kind by the prior, or this one only, its age and length, then each trait, with gaps.

    The observer errors of the table are the ones that happen. The share of traits left unanswered is drawn
    evenly between the `gaps`, for each specimen.
    """
    rng = np.random.default_rng(seed)
    model = TableModel(table)
    names = np.array([*table.ids, NONE])
    weights = prior_vector(table, prior, none_prior)
    if kind is not None:
        weights = np.eye(len(names))[table.position(kind)]
    weights = np.exp(model.log_prior(weights))
    taxa, lengths, adult = _kinds_and_lengths(model, weights, n, rng)
    canonical = model.to_canonical_order(np.arange(len(names)))
    missing = rng.uniform(*gaps, n)
    columns = {}
    for trait_id, trait_model in model.models.items():
        answered = rng.random(n) >= missing
        if trait_model.trait.kind == "ceiling":
            columns[trait_id] = np.where(answered, lengths, np.nan)
        else:
            drawn = _states if trait_model.trait.has_states else _numbers
            columns[trait_id] = drawn(trait_model, taxa, adult, answered, rng)
    said = np.where(rng.random(n) < STAGE_ERROR, ~adult, adult)
    columns[LIFE_STAGE] = np.where(rng.random(n) < _STATED, np.where(said, "adult", "young"), None)
    return Drawn(pd.DataFrame(columns), names[canonical[taxa]])


def _kinds_and_lengths(model, weights, n, rng):
    """Kind, length and age: a length comes by itself, and is kept as often as the kind reaches it."""
    ceilings = [m for m in model.models.values() if m.trait.kind == "ceiling"]
    if not ceilings:
        taxa = rng.choice(len(weights), size=n, p=weights)
        return taxa, np.full(n, np.nan), rng.random(n) < 0.5
    grid = np.geomspace(*_LENGTHS, _GRID)
    within, mature = ceilings[0].record(Distinct(np.zeros((_GRID, 0)), grid, grid))
    joint = (within * weights).ravel()
    cell = rng.choice(joint.size, size=n, p=joint / joint.sum())
    at, taxa = np.divmod(cell, len(weights))
    return taxa, grid[at], rng.random(n) < mature[at, taxa]


def _pick(chances, rng):
    """Draw a row for each column of a table of chances."""
    upto = np.cumsum(chances / chances.sum(axis=0), axis=0)
    return (rng.random(chances.shape[1]) > upto).sum(axis=0).clip(0, len(chances) - 1)


def _states(model, taxa, adult, answered, rng):
    out = np.full(len(taxa), None, dtype=object)
    chances = np.where(adult, model.states_adult[:, taxa], model.states_young[:, taxa])
    # Where the trait does not apply the chances add up to the observer error: else there is no answer.
    answered = answered & (rng.random(len(taxa)) < chances.sum(axis=0))
    out[answered] = np.array(model.trait.states, dtype=object)[_pick(chances, rng)[answered]]
    return out


def _numbers(model, taxa, adult, answered, rng):
    column, out = model.adult, np.full(len(taxa), np.nan)
    if not column.known.any():
        return out
    low, high = float(np.nanmin(column.low)), float(np.nanmax(column.high))
    margin = 0.3 * (high - low)
    low, high = low - margin, high + margin
    counts = model.trait.unit == "count"
    grid = np.arange(np.floor(low), np.ceil(high) + 1) if counts else np.linspace(low, high, _GRID)
    grid = grid[grid > 0]
    on_adult, on_young = model.likelihoods(Distinct(np.zeros((len(grid), 0)), grid, grid))
    picked = _pick(np.where(adult, on_adult[:, taxa], on_young[:, taxa]), rng)
    applies = np.ones(on_adult.shape[1], dtype=bool)
    applies[: len(column.applies)] = column.applies
    applies = applies[taxa] | (rng.random(len(taxa)) < model.trait.error)
    out[answered & applies] = grid[picked[answered & applies]]
    return out
