"""The key builder: least expected cost by exhaustive search, two ways of counting it, no kind ever lost."""

import itertools
import math
from collections import Counter, defaultdict

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import mutual_info_score

from idkey import build_key, load_table
from idkey.table.schema import NOT_APPLICABLE, Range, States, Trait

from .solvers import least_by_trees, least_path_length, walk
from .tables import STATE_KINDS, cells, crisp_tables, nominal, of_genera, rows_of, table_of, tables

TAIL = nominal("tail", ("forked", "straight"))
SPOTS = nominal("spots", ("large", "small"))
RAYS = Trait(id="rays", kind="measure", unit="count")
SIZE = Trait(id="size", kind="ceiling", unit="mm")
exactness = st.sampled_from([0, 5000])


def varied(taxa=(1, 6), most_traits=4):
    """Draw a table of states with kinds that vary and blanks, without "not applicable"."""
    some = {"kinds": STATE_KINDS, "cells": lambda t: cells(t).filter(lambda cell: cell != "-")}
    return tables(taxa, most_traits, young=False, **some)


any_states = st.one_of(crisp_tables(), varied())


@st.composite
def tables_of_genera(draw, tables):
    table = draw(tables)
    return of_genera(table, [draw(st.sampled_from(["", "A", "B", "C"])) for _ in table.ids])


@st.composite
def priors(draw, table):
    return {taxon: float(draw(st.integers(1, 9))) for taxon in table.ids}


@given(crisp_tables(taxa=(1, 12)), st.data())
def test_expected_cost_is_the_least_by_exhaustive_search(table, data):
    prior = data.draw(priors(table))
    key, quick = build_key(table, prior), build_key(table, prior, exact_states=0)
    assert key.is_exact
    assert key.seconds == pytest.approx(least_by_trees(table, prior), rel=1e-9)
    # the lookahead costs no less, and tells as much apart
    assert quick.seconds >= key.seconds - 1e-9
    assert set(quick.endings()) == set(key.endings())


@given(varied((1, 5), 3), st.data())
def test_optimum_where_kinds_vary_is_that_of_every_tree_tried(table, data):
    prior = data.draw(priors(table))
    key = build_key(table, prior)
    assert key.optimum_seconds == pytest.approx(least_by_trees(table, prior), rel=1e-9)
    assert key.seconds >= key.optimum_seconds - 1e-9


@pytest.mark.parametrize(("n", "total"), [(2, 2), (3, 5), (5, 12), (8, 24), (10, 34), (100, 672)])
def test_least_path_length_by_hand(n, total):
    assert least_path_length(n) == total


def gadget(*triples):
    """Hyafil & Rivest 1976 (Inf. Process. Lett. 5:15-17): six objects and three more, with one test an object
    and one a triple of the six. The least total cost is 30 if and only if the triples hold an exact cover."""
    tests = [*({i} for i in range(9)), *triples]
    rows = {f"o{i}": " ".join("yes" if i in test else "no" for test in tests) for i in range(9)}
    return table_of([nominal(f"t{j:02d}", ("no", "yes")) for j in range(len(tests))], rows)


@pytest.mark.parametrize(
    ("triples", "total"),
    [
        # least costs by an exhaustive solver, checked by the recursion f(m) = m + min(f(m-1), f(m-3) + f(3))
        ([(0, 1, 2), (3, 4, 5), (1, 2, 3)], 30),
        ([(0, 1, 2), (2, 3, 4), (1, 4, 5)], 31),
        ([(0, 1, 2), (0, 3, 4)], 31),
        ([], 44),
    ],
)
def test_a_hard_instance(triples, total):
    key = build_key(gadget(*triples), exact_states=1_000_000)
    assert key.is_exact
    assert key.questions * 9 == pytest.approx(total)


@given(tables_of_genera(any_states), st.booleans(), st.data(), exactness)
def test_all_sums_of_the_cost_agree_and_the_bound_is_what_the_ends_say(table, genera, data, exact_states):
    # the weights that enter each couplet, and weight x path length of the ends; an answer that can be relied
    # on takes effort / (1 - error) seconds
    prior = data.draw(priors(table))
    weights = {t: w / sum(prior.values()) for t, w in prior.items()}
    key = build_key(table, prior, genera=genera, exact_states=exact_states)
    entering, seconds, by_ends, ends = 0.0, 0.0, 0.0, defaultdict(Counter)
    for trait, lead, part, depth in walk(key, weights):
        assert bool(lead.taxa) == (lead.goes_to is None)
        entering += sum(part.values())
        seconds += sum(part.values()) * trait.effort / (1 - trait.error)
        if lead.taxa:
            by_ends += sum(part.values()) * depth
            ends[lead.taxa].update(part)
    assert entering == pytest.approx(by_ends, abs=1e-9)
    assert key.questions == pytest.approx(entering, abs=1e-9)
    assert key.seconds == pytest.approx(seconds, abs=1e-9)
    if ends:
        # the bound is scikit-learn's mutual information of kind and end, in bits; it counts in whole numbers
        counts = np.round([[1e9 * end[t] for t in table.ids] for end in ends.values()])
        told = mutual_info_score(None, None, contingency=counts) / math.log(2)
        assert key.least_questions == pytest.approx(told, abs=1e-6)
    assert key.least_questions <= key.questions + 1e-9
    assert key.least_seconds <= key.seconds + 1e-9


def values_of(cell, trait, key):
    """Return every value that a row allows in a trait: its states, or the ends and cuts of a range."""
    if isinstance(cell, States):
        return list(cell.names)
    if isinstance(cell, Range):
        cuts = [c.threshold for c in key.couplets if c.trait.id == trait.id]
        low = 0.5 * cell.high if trait.kind == "ceiling" else cell.low
        around = [x for cut in cuts for x in (cut, math.nextafter(cut, math.inf)) if low <= x <= cell.high]
        return sorted({low, (low + cell.high) / 2, cell.high, *around})
    if cell is NOT_APPLICABLE:
        return [None]
    if trait.has_states:
        return list(trait.states)
    return sorted({1.0, 1000.0, *(c.threshold for c in key.couplets if c.trait.id == trait.id)})


def fish_of(table, key, taxon, most=300):
    """Yield sets of answers that the row of a kind allows: all combinations of the traits the key asks."""
    asked = {c.trait.id for c in key.couplets}
    options = {t.id: values_of(table.cell(taxon, t.id), t, key) for t in table.traits if t.id in asked}
    for values in itertools.islice(itertools.product(*options.values()), most):
        yield {t: v for t, v in zip(options, values, strict=True) if v is not None}


@given(st.one_of(tables(), any_states), st.data(), exactness)
def test_every_combination_a_kind_allows_ends_where_it_is_listed(table, data, exact_states):
    # kinds of weight 0, which leave a blank nothing to share like, still have their place
    prior = {t: float(data.draw(st.integers(0, 1))) for t in table.ids}
    key = build_key(table, prior if any(prior.values()) else None, exact_states=exact_states)
    of_states = all(isinstance(c, States | None) for cells in table.cells.values() for c in cells)
    for taxon in table.ids:
        for fish in fish_of(table, key, taxon):
            assert taxon in key.classify(fish), (taxon, fish)
            assert taxon in key.classify(fish | {"life_stage": "adult"}), (taxon, fish)
            if of_states and key.couplets:
                # with every answer it ends at one lead
                assert key.classify(fish) in key.endings()


@given(tables(), exactness)
def test_couplets_are_numbered_and_reached(table, exact_states):
    key = build_key(table, exact_states=exact_states)
    assert [c.number for c in key.couplets] == list(range(1, len(key.couplets) + 1))
    leads = [lead for c in key.couplets for lead in (c.a, c.b)]
    assert {lead.goes_to for lead in leads} - {None} == {c.number for c in key.couplets[1:]}
    assert all((lead.goes_to is None) == bool(lead.taxa) for lead in leads)
    for c in (c for c in key.couplets if c.trait.has_states):
        assert sorted(c.a.states + c.b.states) == sorted(c.trait.states)
    assert {t for ending in key.endings() for t in ending} == (set(table.ids) if key.couplets else set())
    # nothing answered: every name is still possible
    assert key.classify({}) == table.ids


@given(any_states, st.data())
def test_an_unsure_answer_is_each_of_its_states_in_turn(table, data):
    key = build_key(table)
    said = {
        t.id: data.draw(st.lists(st.sampled_from(t.states), min_size=1, unique=True)) for t in table.traits
    }
    found = set()
    for states in itertools.product(*said.values()):
        found |= set(key.classify(dict(zip(said, states, strict=True))))
    if any(len(said[t.id]) == len(t.states) for t in table.traits):
        # every state at once is no answer, which is followed down both leads at each couplet by itself
        assert found <= set(key.classify(said))
    else:
        assert found == set(key.classify(said))


@given(crisp_tables(taxa=(1, 5)))
def test_what_a_crisp_table_tells_apart_the_key_tells_apart(table):
    rows = rows_of(table)
    rows["twin"] = rows["k0"]
    key = build_key(table_of(table.traits, rows))
    for row in rows.values():
        assert key.classify(row) == tuple(other for other in rows if rows[other] == row)
    for ending in key.endings():
        assert ("k0" in ending) == ("twin" in ending)


def test_what_is_never_asked_or_waits():
    # a trait in which every kind varies; one that does not exist in a kind, until that is sent off
    varied = table_of([TAIL, SPOTS], {"a": "forked|straight large", "b": "forked|straight small"})
    assert [c.trait.id for c in build_key(varied).couplets] == ["spots"]
    partly = table_of([SPOTS, TAIL], {"plain": "- straight", "a": "large forked", "b": "small forked"})
    assert [c.trait.id for c in build_key(partly).couplets] == ["tail", "spots"]


def test_an_unsure_number_and_a_short_fish_not_known_to_be_adult_take_both_leads():
    key = build_key(table_of([RAYS], {"few": "5..8", "many": "12..15"}))
    assert key.classify({"rays": "7..13"}) == ("few", "many")
    assert key.classify({"rays": (13, 14)}) == ("many",)
    key = build_key(table_of([SIZE], {"dwarf": "40", "giant": "400"}))
    assert key.classify({"size": 30}) == ("dwarf", "giant")
    assert key.classify({"size": 30, "life_stage": "adult"}) == ("dwarf",)
    assert key.classify({"size": 300}) == ("giant",)


def share_known(table):
    """Return by kind the share of the traits a key may ask of which the table says something."""
    columns = [table.column(t.id) for t in table.traits if t.in_key]
    return dict(zip(table.ids, np.mean([c.known | ~c.applies for c in columns], axis=0), strict=True))


def test_a_kind_of_which_too_little_is_known_is_left_out_but_stays_possible():
    table = load_table()
    key, known = build_key(table), share_known(table)
    places = Counter(name for names in key.endings() for name in names)
    assert "hopliancistrus_sp" in key.left_out
    assert set(places) == set(table.ids) - set(key.left_out)
    assert all(known[name] < 0.5 for name in key.left_out)
    assert all(n <= 10 for name, n in places.items() if known[name] < 0.5)
    assert set(key.left_out) <= set(key.classify({"pattern": "plain"}))
    said = key.text().partition("\n\n")[0]
    for name in key.left_out:
        assert " ".join(table.label(name).split()) in " ".join(said.split())
        found = key.would_place(name)
        assert found
        for trait in found:
            column, row = table.column(trait.id), table.position(name)
            assert column.applies[row]
            assert not column.known[row]
            assert trait.name.lower() in " ".join(said.split())


def test_what_would_place_a_kind_is_what_the_key_asks_first_of_it():
    # "blank" goes down both leads of the first couplet, and half of such fish come to either of the others
    rows = {"a": "forked large -", "b": "forked small -", "c": "straight - few", "blank": "  "}
    traits = [TAIL, nominal("spots", SPOTS.states), nominal("teeth", ("few", "many"))]
    cells = {
        t: dict(zip(("tail", "spots", "teeth"), [*row.split(), "", "", ""], strict=False))
        for t, row in rows.items()
    }
    key = build_key(table_of(traits, cells))
    assert [t.id for t in key.would_place("blank")][0] == key.couplets[0].trait.id
    assert key.would_place("a") == ()


def test_the_key_to_the_shipped_table_names():
    sizes = np.array([len(names) for names in build_key(load_table()).endings()])
    assert (sizes > 3).mean() <= 1 / 3


def test_twelve_kinds_that_are_well_known_and_all_told_apart_have_an_end_each():
    # Of kinds known in three traits of five, twelve drawn at random mostly hold a pair that the table can't
    # tell; two such kinds share their ends in every key.
    table, rng, ends = load_table(), np.random.default_rng(12), []
    well = [name for name, share in share_known(table).items() if share >= 0.6]
    while len(ends) < 12:
        few = table.only(rng.choice(well, 12, replace=False).tolist())
        told = sum(told_by(few.column(t.id), t) for t in few.traits if t.in_key) > 0
        if (told | np.eye(12, dtype=bool)).all():
            ends.append([len(names) == 1 for names in build_key(few).endings()])
    assert np.mean(sum(ends, [])) >= 0.9


def told_by(column, trait):
    """Return the pairs of kinds that a trait tells apart whatever fish of each is at hand, shape (n, n)."""
    if trait.has_states:
        shown = (column.shares > 0).astype(int)
        apart = shown @ shown.T == 0
    else:
        low = 0.5 * column.high if trait.kind == "ceiling" else column.low
        apart = (low[:, None] > column.high) | (low > column.high[:, None])
    both = column.known & column.applies
    return apart & both & both[:, None]


@given(tables(), exactness)
def test_a_kind_crossed_out_leaves_so_many_more_ends_with_one_name(table, exact_states):
    key = build_key(table, exact_states=exact_states)
    said = dict(key.crossed_out())
    for taxon in table.ids:
        struck = [[name for name in names if name != taxon] for names in key.endings()]
        more = sum(len(now) == 1 < len(was) for now, was in zip(struck, key.endings(), strict=True))
        assert said.get(taxon, 0) == more
    assert list(said.values()) == sorted(said.values(), reverse=True)


@pytest.mark.parametrize(
    "worse", [{"error": 0.2}, {"needs_adult": True}, {"effort": 30.0}, "blank", "varies"], ids=str
)
def test_of_two_traits_alike_the_one_that_does_not_fade_or_vary_is_asked(worse):
    # Thirteen kinds, one of which varies, so that the key is found by looking ahead.
    plain = {"states": ("no", "yes"), "error": 0.05, "effort": 10.0}
    traits = [nominal(f"t{i}", **plain) for i in range(4)]
    traits += [nominal("a_worse", **plain | (worse if isinstance(worse, dict) else {}))]
    rows = {f"k{n:02d}": {f"t{i}": plain["states"][n >> i & 1] for i in range(4)} for n in range(13)}
    for n, row in enumerate(rows.values()):
        row["a_worse"] = row["t3"]
        if n < 3:
            row["a_worse"] = {"blank": "", "varies": "no|yes"}.get(str(worse), row["a_worse"])
    rows["k04"]["t1"] = "no|yes"
    asked = [c.trait.id for c in build_key(table_of(traits, rows)).couplets]
    assert "t3" in asked
    assert "a_worse" not in asked


@given(tables_of_genera(st.one_of(tables(), any_states)), exactness)
def test_a_key_to_genera_loses_no_kind_and_keeps_each_genus_together(table, exact_states):
    key = build_key(table, genera=True, exact_states=exact_states)
    genus = dict(zip(table.ids, table.genus, strict=True))
    for taxon in table.ids:
        for fish in fish_of(table, key, taxon, most=40):
            assert taxon in key.classify(fish), (taxon, fish)
    assert [c.number for c in key.couplets] == list(range(1, len(key.couplets) + 1))
    starts = sorted((number, name) for name, number in key.genera.items())
    for (start, name), (end, _) in itertools.pairwise([*starts, (len(key.couplets) + 1, "")]):
        for couplet in key.couplets[start - 1 : end - 1]:
            for lead in (couplet.a, couplet.b):
                assert {genus[taxon] for taxon in lead.taxa} <= {name}
                assert lead.goes_to is None or start < lead.goes_to < end
    before = key.couplets[: starts[0][0] - 1] if starts else key.couplets
    for lead in (lead for c in before for lead in (c.a, c.b)):
        assert (lead.goes_to in key.genera.values()) == bool(lead.genus)
        assert key.genera.get(lead.genus) == (lead.goes_to if lead.genus else None)


def test_the_shipped_key_to_genera_has_one_part_a_genus():
    table = load_table()
    key = build_key(table, genera=True)
    assert {"Hypancistrus", "Ancistrus", "Panaqolus"} <= set(key.genera)
    assert set(key.genera) <= set(table.genus)
    sizes = np.array([len(names) for names in key.endings()])
    assert (sizes > 3).mean() <= 1 / 3
    text = key.text()
    assert "this is Hypancistrus" in text
    assert all(f"\n{genus}\n" in text for genus in key.genera)
