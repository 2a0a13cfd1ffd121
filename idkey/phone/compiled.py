"""A table as plain data: all that the page needs to judge a fish as the package does.

What the package has worked out goes in as it is: the look-ups of the states, the expected answers, the
priors, the edges of the records. For numbers, of which there is no end, the parameters of their formulas
go in. What was measured on a photo is judged as what was seen, so nothing of it does.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from idkey.model import ask, combine, distinguish, doubt, evidence, fit
from idkey.model.evidence import TraitModel
from idkey.model.identify import Identification
from idkey.table.reading import BODY_AT_LEAST, MORE_LIKE
from idkey.table.schema import NONE
from idkey.table.table import Column, TraitTable


def compiled(table: TraitTable) -> dict[str, Any]:
    """Return the model of a table; kinds are sorted by id, and so are traits."""
    model, fish = combine.model_of(table), Identification(table)
    first = fish.next_question()
    genus = [table.genus[i] for i in model.order]
    return {
        "genera": list(model.genera),
        "genus": [model.genera.index(name) if name else -1 for name in genus],
        "none": NONE,
        "weights": combine.weights(table)[model.order].tolist(),
        "namedWeight": combine.NAMED_WEIGHT,
        "leastShare": combine.LEAST_SHARE,
        "nonePrior": combine.NONE_PRIOR,
        "logShares": model.log_prior(np.ones(model.n_taxa + 1)).tolist(),
        "tableAsKin": evidence.TABLE_AS_KIN,
        "points": evidence.POINTS,
        "adultFrom": evidence.ADULT_FROM,
        "adultWidth": evidence.ADULT_WIDTH,
        "stageError": evidence.STAGE_ERROR,
        "minGain": ask.MIN_GAIN,
        "minMove": ask.MIN_MOVE,
        "nearly": ask.NEARLY,
        "reading": ask.READING,
        "softening": fit.SOFTENING,
        "moreLike": MORE_LIKE,
        "bodyAtLeast": BODY_AT_LEAST,
        "coverage": fish.coverage,
        "first": first and first.trait.id,
        "hearsay": sorted(distinguish.HEARSAY),
        "doubt": {
            "shortest": doubt.SHORTEST,
            "longer": doubt.LONGER,
            "few": doubt.FEW,
            "slips": doubt.SLIPS,
        },
        "traits": [_trait(trait_model, table) for trait_model in model.models.values()],
    }


def _trait(model: TraitModel, table: TraitTable) -> dict[str, Any]:
    trait = model.trait
    data: dict[str, Any] = {
        "id": trait.id,
        "kind": trait.kind,
        "name": trait.name,
        "question": trait.asked,
        "how": trait.how,
        "unit": trait.unit,
        "states": list(trait.states),
        "words": list(trait.words),
        "group": trait.group,
        "error": trait.error,
        "effort": trait.effort,
        "needsAdult": trait.needs_adult,
        "appliesWhen": trait.applies_when and [trait.applies_when[0], list(trait.applies_when[1])],
        "adult": _column(model.adult, numbers=not trait.has_states),
    }
    if model.depends_on_stage:
        data["young"] = _column(model.young, numbers=not trait.has_states)
    given, judged = ask.expected_answers(model)
    if trait.has_states:
        return data | {"rows": _packed(*given)}
    ends = evidence.number_grid(model, 2)
    data |= {
        "spread": trait.spread,
        "relative": trait.spread_is_relative,
        "step": evidence.half_step(trait),
        "edge": model.edge.tolist(),
        "given": _packed(*given),
        "grid": [float(ends[0]), float(ends[-1]), fit.POINTS],
    }
    if not doubt.is_length(trait):
        low, high, why = doubt.believed(table, trait)
        data["believed"] = [low, high, why] if why else None
    return data if judged is given else data | {"judged": _packed(*judged)}


def _column(column: Column, *, numbers: bool) -> dict[str, Any]:
    data: dict[str, Any] = {"known": _signs(column.known), "applies": _signs(column.applies)}
    if numbers:
        ends = {"low": column.low, "high": column.high}
        data |= {end: np.nan_to_num(values).tolist() for end, values in ends.items()}
        data["scale"] = evidence.scale_of(column)
    return data


def _signs(true: np.ndarray) -> str:
    return "".join("01"[is_true] for is_true in true.astype(int))


def _packed(adult: np.ndarray, young: np.ndarray) -> dict[str, Any]:
    """Return rows over the names with equal columns written once: `of` says which column each name has."""
    both = adult if young is adult else np.vstack([adult, young])
    columns, of = np.unique(both, axis=1, return_inverse=True)
    data = {"of": of.ravel().tolist(), "adult": columns[: len(adult)].tolist()}
    return data if young is adult else data | {"young": columns[len(adult) :].tolist()}
