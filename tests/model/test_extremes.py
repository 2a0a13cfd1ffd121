"""Numbers so large or small that sums and ratios overflow are refused, and all others give numbers."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import Identification, IdkeyError, NearestMatch, TraitTable, build_key
from idkey.table.schema import NONE, Trait

from .tables import answered, nominal, table_of

SIZE, RAYS = Trait("size", "ceiling", unit="mm"), Trait("rays", "measure")
ORDINARY = table_of([SIZE, RAYS, nominal("tail")], {"x": "50 1..2 a", "y": "60 3 b", "z": "70 4 a"})


def told(make):
    """What it makes; None where it is refused."""
    try:
        return make()
    except IdkeyError:
        return None


def filled(trait, x, y):
    """A table of two kinds and one trait."""
    empty = table_of([replace(trait, spread=0.05, effort=1.0)], {"x": "", "y": ""})
    return replace(empty, traits=(trait,)).with_rows({"x": {trait.id: x}, "y": {trait.id: y}})


def all_numbers(table, answers, **options):
    """Whether the figures of an identification are numbers: probabilities, decibans, the worth of looks."""
    fish = answered(table, answers, **options)
    figures = [*fish.ranking()["probability"], *(q.rate for q in fish.questions())]
    figures += [reason.decibans for name in (*table.ids, NONE) for reason in fish.reasons(name)]
    return bool(np.isfinite(figures).all())


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("edge", [5e-324, 1e-308, 1e-101, 1e-100, 1e-99, 1.0, 1e99, 1e100, 1e101, 1e308])
def test_an_extreme_number_is_refused_or_gives_numbers(edge):
    text, taken = repr(edge), []
    makes = {
        "a record": lambda: filled(SIZE, text, "60"),
        "records": lambda: filled(SIZE, text, text),
        "a range": lambda: filled(RAYS, f"-{text}..{text}", "3"),
        "far apart": lambda: filled(RAYS, f"-{text}", text),
        "shares": lambda: filled(nominal("tail"), f"a:{text}|b:{text}", "a"),
        "a spread": lambda: filled(Trait("rays", "measure", spread=edge), "2", "3..4"),
        "an edge": lambda: filled(Trait("size", "ceiling", spread=edge), "20", "60"),
        "an effort": lambda: filled(nominal("tail", effort=edge), "a", "b"),
        "a frame": lambda: TraitTable.from_frame(pd.DataFrame({"k": ["x", "y"], "n": [edge, -edge]}), "k"),
    }
    for what, make in makes.items():
        if (table := told(make)) is None:
            continue
        taken.append(what)
        trait = table.traits[0]
        answers = ["a", "a:0.9|b:0.1"] if trait.has_states else [1, edge, f"{edge / 2!r}..{edge!r}"]
        for answer in answers:
            if told(lambda a=answer, t=table, i=trait.id: answered(t, {i: a})) is not None:
                assert all_numbers(table, {trait.id: answer}), (what, answer)
        key = build_key(table)
        assert math.isfinite(key.questions + key.seconds), what
    assert ("a range" in taken) == ("far apart" in taken) == (edge <= 1e100)
    assert ("a record" in taken) == ("an effort" in taken) == (1e-100 <= edge <= 1e100)


@given(st.dictionaries(st.sampled_from(["x", "y", "z"]), st.floats(0, 1.7e308), min_size=1))
def test_a_prior_of_any_weights_sums_to_one_or_is_refused(weights):
    fish = told(lambda: Identification(ORDINARY, prior=weights))
    assert (fish is None) == (max(weights.values()) > 1e100 or not any(weights.values()))
    if fish:
        found = fish.ranking()["probability"]
        assert found.sum() == pytest.approx(1)
        assert (found >= 0).all()


def test_an_extreme_length_is_the_same_error_alone_and_in_a_frame():
    for value in (1e101, -1e308, np.inf):
        with pytest.raises(IdkeyError, match="rays") as alone:
            Identification(ORDINARY).answer("rays", value)
        with pytest.raises(IdkeyError, match="row 0, rays") as framed:
            NearestMatch().fit(ORDINARY).predict(pd.DataFrame({"rays": [value]}))
        assert str(framed.value).endswith(str(alone.value).partition("rays: ")[2])


@pytest.mark.parametrize("name", ["none of these", "None of these", " NONE OF THESE "])
def test_no_kind_is_called_as_what_is_none_of_them(name, shipped):
    with pytest.raises(IdkeyError, match="write another name"):
        TraitTable.from_frame(pd.DataFrame({"kind": ["x", name], "tail": ["a", "b"]}), taxon="kind")
    for column in ("scientificName", "vernacularName", "tradeCode"):
        with pytest.raises(IdkeyError, match=f"{column}.*write another name"):
            shipped.with_cell("hypancistrus_zebra", column, name)
