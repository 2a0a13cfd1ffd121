"""The answers that a look at a trait may bring, and how often each comes, before anyone has looked."""

from __future__ import annotations

import numpy as np

from idkey.model.answers import Distinct
from idkey.model.evidence import TraitModel, number_grid

__all__ = ["adult_lengths", "expected_answers", "expected_numbers"]


def expected_answers(model: TraitModel) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Answers that may come, each as a row over the taxa: how likely, and how it will be judged.

    Returns
    -------
    given_adult, given_young, judged_adult, judged_young : ndarray, shape (n_answers, n_taxa + 1)
        The same object where nothing differs.
    """
    if model.trait.has_states and not model.trait.states:
        # A column that is blank all through: whatever is answered says nothing.
        nothing = np.ones((1, len(model.adult.known) + 1))
        return nothing, nothing, nothing, nothing
    if model.trait.has_states:
        return model.states_adult, model.states_young, model.states_adult, model.states_young
    if model.trait.kind == "ceiling":
        grid = number_grid(model)
        given = _lengths(model, grid)
        rule = model.record(_numbers(grid))[0]
        return given, given, rule, rule
    adult, young = expected_numbers(model, number_grid(model))
    return adult, young, adult, young


def expected_numbers(model: TraitModel, grid: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How often each number of a grid is read off an adult and off a young fish.

    Returns
    -------
    adult, young : ndarray, shape (n_numbers, n_taxa + 1)
        Columns sum to 1; the same object where nothing differs.
    """
    adult, young = model.likelihoods(_numbers(grid))
    shares = [p / p.sum(axis=0) for p in ((adult,) if young is adult else (adult, young))]
    return shares[0], shares[-1]


def adult_lengths(model: TraitModel, grid: np.ndarray) -> np.ndarray:
    """How often each length of a grid is met among adults, shape (n_numbers, n_taxa + 1).

    Adults lie between the length at which the fish matures and the record, both edges as soft as the
    evidence has them; columns sum to 1.
    """
    within, mature = model.record(_numbers(grid))
    met = within * mature
    return met / met.sum(axis=0)


def _numbers(grid: np.ndarray) -> Distinct:
    return Distinct(np.zeros((len(grid), 0)), grid, grid)


def _lengths(model: TraitModel, grid: np.ndarray) -> np.ndarray:
    """Lengths at which a kind is met: evenly from 0.4 of its record to the record (judgement)."""
    column = model.adult
    top = np.where(column.known, column.high, np.nan)
    met = ((grid[:, None] >= 0.4 * top) & (grid[:, None] <= top)).astype(float) + 1e-6
    met = met / met.sum(axis=0)
    if not column.known.any():
        return np.ones((len(grid), len(top) + 1)) / len(grid)
    average = met[:, column.known].mean(axis=1, keepdims=True)
    return np.hstack([np.where(column.known, met, average), average])
