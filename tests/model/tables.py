"""Small tables for the tests of the model: written out, public, or drawn at random by hypothesis."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from answered import answered  # noqa: F401 - taken from here by tests
from hypothesis import strategies as st
from palmerpenguins import load_penguins
from shipped import TABLE as SHIPPED  # noqa: F401 - taken from here by tests
from sklearn.datasets import load_iris

from idkey import NearestMatch, TraitTable
from idkey.model.answers import code_answers
from idkey.model.combine import model_of
from idkey.table.schema import Trait, parse_cell

NONE = "none of these"
DATA = Path(__file__).parent / "data"
STATE_KINDS = ("nominal", "ordinal")
KINDS = (*STATE_KINDS, "measure", "ceiling")

# -- written out -----------------------------------------------------------------------------------------


def nominal(trait_id, states="ab", **options):
    return Trait(id=trait_id, kind="nominal", states=tuple(states), **options)


def table_of(traits, rows):
    """Make a table from traits and rows, ``{taxon: {column: cell text}}``; a column left out is blank.

    A column is a trait id, or a trait id with ``_young`` (none if blank all through). A row may be one text:
    its cells in order of the traits, ``.`` for a blank.
    """
    ids = [t.id for t in traits]
    rows = {
        taxon: {t: c for t, c in zip(ids, row.split(), strict=False) if c != "."}
        if isinstance(row, str)
        else row
        for taxon, row in rows.items()
    }
    by_column = {t.id: t for t in traits}
    by_column |= {
        f"{t.id}_young": t for t in traits if any(row.get(f"{t.id}_young") for row in rows.values())
    }
    cells = {
        column: tuple(parse_cell(trait, row.get(column, "")) for row in rows.values())
        for column, trait in by_column.items()
    }
    return TraitTable(
        traits=tuple(traits), taxa=pd.DataFrame(index=pd.Index(list(rows), name="id")), own_cells=cells
    )


def rows_of(table):
    """Return the table as ``{taxon: {column: cell text}}``."""
    return table.to_frame().to_dict("index")


def of_genera(table, genera):
    """Give the kinds of a table a genus each, or all the same."""
    return replace(table, taxa=table.taxa.assign(genus=genera))


def with_claims(table, *claims):
    """Return the table with claims: taxon, attribute, value, and what else is said of them."""
    blank = {"care_group": "", "source": "BOOK", "locator": "p. 3", "class": "read", "scope": "species"}
    rows = [blank | {"taxon": t, "attribute": a, "value": v, "note": ""} | more for t, a, v, more in claims]
    return replace(table, evidence=pd.DataFrame(rows, dtype="str"))


def shuffled(table, random):
    """Return the table with its rows and its columns in another order."""
    rows = random.sample(range(len(table)), len(table))
    return replace(
        table,
        traits=tuple(random.sample(table.traits, len(table.traits))),
        taxa=table.taxa.iloc[rows],
        own_cells={c: tuple(cells[i] for i in rows) for c, cells in table.own_cells.items()},
    )


# -- what the model says ---------------------------------------------------------------------------------


def probabilities(fish):
    """Return the probability of each name of an identification, as a mapping."""
    ranking = fish.ranking()
    return dict(zip(ranking["taxon"], ranking["probability"], strict=True))


def posterior(table, answers, **options):
    """Return the probability of each name after these answers by `NearestMatch`, likeliest first."""
    match = NearestMatch(**options).fit(table)
    found = match.predict_proba(pd.DataFrame([answers], dtype=object))[0]
    return pd.Series(found, index=match.classes_).sort_values(ascending=False, kind="stable")


def likelihoods(table, **answers):
    """Return P(answers | kind) for every kind and "none of these", by name."""
    model = model_of(table)
    of_names = model.log_likelihoods(code_answers(table, answers))[0]
    # "None of these" is a stranger of some genus or of none, each with its share of the strangers.
    shares = model.log_prior(np.ones(len(table) + 1))
    return pd.Series(model.gathered(np.exp(of_names + shares)), index=[*table.ids, NONE])


# -- public tables ---------------------------------------------------------------------------------------

MEASURES = ["bill_length_mm", "bill_depth_mm", "flipper_length_mm", "body_mass_g"]


def iris():
    """Fisher's iris (1936, Annals of Eugenics 7:179-188) as scikit-learn ships it: 150 flowers, 4 lengths."""
    data = load_iris(as_frame=True)
    return data.data, data.target.map(dict(enumerate(data.target_names))).astype(str)


def penguins(*columns):
    """Penguins of the Palmer Archipelago (package palmerpenguins): 344 birds, some cells missing."""
    data = load_penguins()
    return data[list(columns) or [*MEASURES, "sex"]], data["species"].astype(str)


def zoo(dtype=None):
    """101 animals by 16 characters (UCI, see data/ORIGIN.md), and their class."""
    data = pd.read_csv(DATA / "zoo.csv", dtype=dtype)
    return data.drop(columns=["animal", "type"]), data["type"].to_numpy(dtype=object)


def soybean():
    """683 plants by 35 characters, some not known, and their disease."""
    data = pd.read_csv(DATA / "soybean.csv", dtype=object)
    return data.drop(columns="Class"), data["Class"].to_numpy(dtype=object)


def kinds_of(frame, names=None, kinds=None):
    """Make a table of specimens: pooled by their names, or every row a kind of its own, ``row0`` and on."""
    names = [f"row{i}" for i in range(len(frame))] if names is None else names
    return TraitTable.from_frame(frame.assign(name_of_kind=names), taxon="name_of_kind", kinds=kinds)


# -- drawn at random -------------------------------------------------------------------------------------


# To make a strategy takes longer than to draw from it: each is made once.

_BLANKS = (st.just(""), st.just("-"))


@cache
def _state_cells(states):
    one = st.sampled_from(states)
    several = st.lists(one, min_size=1, max_size=len(states), unique=True).map("|".join)
    shares = st.dictionaries(one, st.integers(1, 9), min_size=1)
    shares = shares.map(lambda parts: "|".join(f"{name}:{part}" for name, part in parts.items()))
    return st.one_of(*_BLANKS, one, several, shares)


@cache
def _state_answers(states):
    one = st.sampled_from(states)
    return st.one_of(one, st.lists(one, min_size=1, max_size=len(states) - 1, unique=True).map("|".join))


def _spans(least, most, longest):
    return st.tuples(st.integers(least, most), st.integers(0, longest)).map(lambda r: (r[0], r[0] + r[1]))


_MEASURE_CELLS = st.one_of(*_BLANKS, _spans(1, 40, 20).map(lambda r: f"{r[0]}..{r[1]}"))
_RECORD_CELLS = st.one_of(*_BLANKS, st.integers(30, 900).map(str))
_MEASURED = st.one_of(st.integers(1, 60).map(float), _spans(1, 60, 9))
_LENGTHS = st.one_of(st.integers(20, 1000).map(float), _spans(20, 1000, 9))


@st.composite
def traits(draw, trait_id, kinds=KINDS, errors=(0.001, 0.05, 0.2), efforts=(1, 60)):
    """Draw a trait of any kind."""
    kind, error = draw(st.sampled_from(kinds)), draw(st.sampled_from(errors))
    options = {"id": trait_id, "kind": kind, "error": error, "effort": float(draw(st.integers(*efforts)))}
    if kind in STATE_KINDS:
        return Trait(states=tuple("abcd"[: draw(st.integers(2, 4))]), **options)
    unit = draw(st.sampled_from(["", "count"])) if kind == "measure" else "mm"
    return Trait(unit=unit, spread=0.05, **options)


def cells(trait):
    """Draw the text of a cell: blank, not applicable, one value or several."""
    if trait.has_states:
        return _state_cells(trait.states)
    return _MEASURE_CELLS if trait.kind == "measure" else _RECORD_CELLS


def answers_to(trait):
    """Draw an answer to a trait."""
    if trait.has_states:
        return _state_answers(trait.states)
    return _MEASURED if trait.kind == "measure" else _LENGTHS


@st.composite
def tables(draw, taxa=(1, 6), most_traits=4, cells=cells, young=True, **of_traits):
    """Draw a table; as it stands one with gaps, kinds that vary, and columns for young fish."""
    found = [draw(traits(f"t{j}", **of_traits)) for j in range(draw(st.integers(1, most_traits)))]
    columns = [(t.id, t) for t in found]
    columns += [(f"{t.id}_young", t) for t in found if young and t.kind != "ceiling" and draw(st.booleans())]
    names = [f"k{i}" for i in range(draw(st.integers(*taxa)))]
    return table_of(found, {name: {column: draw(cells(t)) for column, t in columns} for name in names})


def crisp_tables(taxa=(1, 7), kinds=STATE_KINDS, errors=(0.0, 0.05, 0.3), **options):
    """Draw a table in which every cell holds one state; rows may repeat."""
    options |= {"kinds": kinds, "errors": errors, "cells": lambda t: st.sampled_from(t.states)}
    return tables(taxa, 5, young=False, **options)


@st.composite
def answers(draw, table):
    """Draw answers to some of the traits of a table, and perhaps the life stage."""
    chosen = draw(st.lists(st.sampled_from(table.traits), unique_by=lambda t: t.id))
    said = {t.id: draw(answers_to(t)) for t in chosen}
    stage = draw(st.sampled_from([None, "adult", "young"]))
    return said if stage is None else said | {"life_stage": stage}


# A table and answers to it.
cases = tables().flatmap(lambda table: st.tuples(st.just(table), answers(table)))
