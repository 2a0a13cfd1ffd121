"""Small tables for the tests of the model: written out, or drawn at random by hypothesis."""

import pandas as pd
from hypothesis import strategies as st

from idkey.table.schema import Trait, parse_cell
from idkey.table.table import TraitTable

LETTERS = "abcd"


def table_of(traits, rows):
    """Make a table from traits and rows, ``{taxon: {column: cell text}}``; a column left out is blank.

    A column is a trait id, or a trait id with ``_young``.
    """
    by_column = {t.id: t for t in traits}
    by_column |= {f"{t.id}_young": t for t in traits if any(f"{t.id}_young" in row for row in rows.values())}
    cells = {
        column: tuple(parse_cell(trait, row.get(column, "")) for row in rows.values())
        for column, trait in by_column.items()
    }
    return TraitTable(
        traits=tuple(traits), taxa=pd.DataFrame(index=pd.Index(list(rows), name="id")), own_cells=cells
    )


def probabilities(fish):
    """Return the probability of each name of an identification, as a mapping."""
    ranking = fish.ranking()
    return dict(zip(ranking["taxon"], ranking["probability"], strict=True))


def _state_cells(states):
    several = st.lists(st.sampled_from(states), min_size=1, max_size=len(states), unique=True)
    shares = several.flatmap(
        lambda names: st.tuples(*(st.integers(1, 9) for _ in names)).map(
            lambda parts: "|".join(f"{n}:{p / sum(parts)}" for n, p in zip(names, parts, strict=True))
        )
    )
    return st.one_of(st.just(""), st.just("-"), st.sampled_from(states), several.map("|".join), shares)


_RANGES = st.tuples(st.integers(1, 40), st.integers(0, 20)).map(lambda r: f"{r[0]}..{r[0] + r[1]}")
_NUMBERS = st.one_of(st.just(""), st.just("-"), _RANGES)
_RECORDS = st.one_of(st.just(""), st.just("-"), st.integers(30, 900).map(str))


@st.composite
def traits(draw, trait_id):
    """Draw a trait of any kind."""
    kind = draw(st.sampled_from(["nominal", "ordinal", "measure", "ceiling"]))
    effort = float(draw(st.integers(1, 60)))
    error = draw(st.sampled_from([0.001, 0.05, 0.2]))
    if kind in ("nominal", "ordinal"):
        states = tuple(LETTERS[: draw(st.integers(2, 4))])
        return Trait(id=trait_id, kind=kind, states=states, error=error, effort=effort)
    unit = draw(st.sampled_from(["", "count"])) if kind == "measure" else "mm"
    return Trait(id=trait_id, kind=kind, unit=unit, error=error, effort=effort, spread=0.05)


def cells(trait):
    """Draw the text of a cell: blank, not applicable, one value or several."""
    if trait.has_states:
        return _state_cells(trait.states)
    return _NUMBERS if trait.kind == "measure" else _RECORDS


def answers_to(trait):
    """Draw an answer to a trait."""
    if trait.has_states:
        one = st.sampled_from(trait.states)
        some = st.lists(one, min_size=1, max_size=len(trait.states) - 1, unique=True)
        return st.one_of(one, some.map("|".join))
    number = st.integers(1, 60) if trait.kind == "measure" else st.integers(20, 1000)
    return st.one_of(
        number.map(float), st.tuples(number, st.integers(0, 9)).map(lambda r: (r[0], r[0] + r[1]))
    )


@st.composite
def tables(draw, most_taxa=6, most_traits=4):
    """Draw a table with gaps, kinds that vary, and columns for young fish."""
    found = [draw(traits(f"t{j}")) for j in range(draw(st.integers(1, most_traits)))]
    columns = [(t.id, t) for t in found]
    columns += [(f"{t.id}_young", t) for t in found if t.kind != "ceiling" and draw(st.booleans())]
    names = [f"k{i}" for i in range(draw(st.integers(1, most_taxa)))]
    rows = {name: {column: draw(cells(trait)) for column, trait in columns} for name in names}
    return table_of(found, rows)


@st.composite
def answers(draw, table):
    """Draw answers to some of the traits of a table, and perhaps the life stage."""
    chosen = draw(st.lists(st.sampled_from(table.traits), unique_by=lambda t: t.id))
    said = {t.id: draw(answers_to(t)) for t in chosen}
    stage = draw(st.sampled_from([None, "adult", "young"]))
    return said if stage is None else said | {"life_stage": stage}


@st.composite
def tables_with_answers(draw, **sizes):
    """Draw a table and answers to it."""
    table = draw(tables(**sizes))
    return table, draw(answers(table))
