"""Fish judged again after a correction: against an identification made afresh by each table."""

import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from answered import answered
from hypothesis import given
from hypothesis import strategies as st

import idkey
from idkey.book.recheck import recheck

from .rows import became, look_at, named

FRAME = pd.DataFrame(
    {
        "kind": ["alpha", "beta", "gamma", "delta"],
        "tail": ["forked", "straight", "straight", "concave"],
        "spots": ["white", "white", "yellow", "yellow"],
        "eye": ["red", "red", "red|blue", "blue"],
    }
)
OLD = idkey.TraitTable.from_frame(FRAME, taxon="kind")
# It turns out that alpha has a straight tail and beta a forked one.
NEW = OLD.with_cell("alpha", "tail", "straight").with_cell("beta", "tail", "forked")
ANSWERS = [
    {"tail": "forked", "spots": "white"},
    {"tail": "straight", "spots": "white", "eye": "red"},
    {"spots": "yellow", "eye": "blue"},
    {"tail": "concave"},
]
LOOKS = [look_at(OLD, number, answers) for number, answers in enumerate(ANSWERS, start=1)]


def judged(table, look):
    """What an identification made afresh says, by name."""
    fish = answered(table, look.answers, look.prior["prior"])
    return {row.taxon: row.probability for row in fish.ranked()}


def again(new, looks=LOOKS, old=OLD, **more):
    return recheck(new, looks, {"then": old}.__getitem__, **more)


# -- the same table --------------------------------------------------------------------------------------


def test_by_the_same_table_none_comes_out_otherwise_and_what_was_written_is_found_again():
    found = again(OLD)
    assert (found.fish, found.count, found.slightly) == ((), 4, 0)
    assert "None comes out otherwise" in found.text


# -- a corrected cell ------------------------------------------------------------------------------------


def test_a_corrected_cell_renames_the_fish_that_showed_it_and_says_so_cell_by_cell():
    found = again(NEW, namings=[named(1, "alpha")], events=[became(1, "moved", "7"), became(1, "sold", "XY")])
    assert [(f.number, f.then.taxon, f.now.taxon) for f in found.renamed] == [
        (1, "alpha", "beta"),
        (2, "beta", "alpha"),
    ]
    first = found.renamed[0]
    assert (first.name, first.ground, first.gone, first.to) == ("Alpha", "bred", "sold", "XY")
    assert found.sold == (first,)
    assert {(c.what, c.taxon, c.trait) for c in first.causes} == {
        ("cell", "alpha", "tail"),
        ("cell", "beta", "tail"),
    }
    assert "alpha, tail: was forked, is straight" in [c.text for c in first.causes]
    assert {f.since for f in found.fish} == {"table"}
    assert "No name in the book was changed." in found.text
    assert found.changes["then"].altered == ("alpha", "beta")


def test_by_how_much_is_the_distance_of_the_two_posteriors():
    for fish in again(NEW).fish:
        was, now = (judged(table, LOOKS[fish.number - 1]) for table in (OLD, NEW))
        assert fish.moved == pytest.approx(sum(abs(was[t] - now[t]) for t in was) / 2, abs=1e-3)
        assert fish.then.probability == pytest.approx(max(was.values()))
        assert fish.now.probability == pytest.approx(max(now.values()))
        assert fish.now.probability == pytest.approx(now[fish.now.taxon])


def test_what_a_cause_weighs_is_what_the_answer_says_more_for_the_kind():
    """By hand: three states, an error of 5 %; a cell that holds the answer gives it 0.95 + 0.05 / 3."""
    cause = next(c for c in again(NEW).renamed[0].causes if c.taxon == "alpha")
    has, lacks = 0.95 + 0.05 / 3, 0.05 / 3
    # The stranger, a mean over the column, is the same before and after: one forked tail either way.
    assert cause.decibans == pytest.approx(10 * np.log10(lacks / has))


def test_the_label_that_was_the_prior_is_the_prior_again():
    answers = {"tail": "forked", "eye": "red"}
    looks = [look_at(OLD, i, answers, prior=[taxon]) for i, taxon in enumerate(OLD.ids)]
    found = {fish.number: fish for fish in again(NEW, looks).fish}
    assert len(found) == len(looks)
    for i, look in enumerate(looks):
        now = judged(NEW, look)
        assert now[OLD.ids[i]] > judged(NEW, look_at(OLD, 9, answers))[OLD.ids[i]]
        assert found[i].now.probability == pytest.approx(max(now.values()))
        assert found[i].label == OLD.ids[i]


def test_the_latest_look_at_a_fish_counts():
    later = look_at(OLD, 1, {"spots": "yellow"}, day=3)
    found = again(NEW, [LOOKS[0], later])
    assert (found.count, found.fish) == (1, ())


@given(st.permutations(range(len(LOOKS))))
def test_the_order_of_the_fish_changes_nothing(order):
    assert again(NEW, [LOOKS[i] for i in order]).fish == again(NEW).fish


# -- a newer package -------------------------------------------------------------------------------------


def test_a_package_that_judges_otherwise_is_told_apart_from_a_table_that_says_otherwise():
    other = {"alpha": 0.3, "beta": 0.6, "none of these": 0.1}
    by_package = look_at(OLD, 1, ANSWERS[0], package="0.0.9", names=other)
    (fish,) = again(OLD, [by_package]).fish
    assert (fish.since, fish.package, fish.causes) == ("package", "0.0.9", ())
    assert fish.then == ("beta", 0.6)
    assert fish.again == fish.now
    (fish,) = again(NEW, [by_package]).fish
    assert fish.since == "both"
    assert fish.again.taxon == "alpha"
    assert "The package judges 1 of them otherwise by the same table." in again(NEW, [by_package]).text


def test_without_the_old_table_it_is_not_known_which_of_the_two_it_was():
    def gone(edition):
        raise idkey.IdkeyError(f"{edition}: the book holds no table of this id")

    found = recheck(NEW, LOOKS, gone)
    assert {f.since for f in found.fish} == {"not known"}
    assert [f.number for f in found.renamed] == [1, 2]
    assert found.editions == {"then": None}


# -- other changes ---------------------------------------------------------------------------------------


def test_a_kind_that_is_new_gone_or_commoner_is_given_as_the_cause():
    wider = NEW.with_taxon("omega", tail="forked", spots="white", eye="red")
    fish = next(f for f in again(wider).fish if f.number == 1)
    assert "omega" in fish.gained
    assert ("added", "omega") in {(c.what, c.taxon) for c in fish.causes}
    fish = next(f for f in again(OLD.without_taxon("alpha")).fish if f.number == 1)
    assert fish.then.taxon == "alpha"
    assert [(c.what, c.taxon) for c in fish.causes] == [("removed", "alpha")]


def test_commonness_that_is_another_is_given_as_the_cause(shipped):
    taxon = "hypancistrus_l201"
    look = look_at(shipped, 1, {"pattern": "light_spots", "basin": "orinoco", "spot_colour": "white"})
    taxa = shipped.taxa.assign(
        commonness=shipped.taxa["commonness"].where(shipped.taxa.index != taxon, "rare")
    )
    (fish,) = recheck(replace(shipped, taxa=taxa), [look], lambda _: shipped).fish
    assert [(c.what, c.taxon) for c in fish.causes] == [("commonness", taxon)]
    assert "was common and is rare" in fish.causes[0].text


def test_an_answer_that_is_no_state_any_more_is_told_of():
    new = idkey.TraitTable.from_frame(FRAME.replace("concave", "hollow"), taxon="kind")
    fish = next(f for f in again(new).fish if f.number == 4)
    assert fish.unread == ("tail: concave",)


def test_a_cell_of_a_relative_is_given_where_no_other_cause_is_found():
    frame = FRAME.assign(tail=["forked", None, "straight", "straight"])
    old = idkey.TraitTable.from_frame(frame, taxon="kind")
    look = look_at(old, 1, {"tail": "forked", "spots": "white", "eye": "red"})
    new = old.with_cell("gamma", "tail", "forked").with_cell("delta", "tail", "forked")
    (fish,) = recheck(new, [look], lambda _: old).fish
    assert {(c.what, c.taxon) for c in fish.causes} == {("relative", "gamma"), ("relative", "delta")}


# -- in a book -------------------------------------------------------------------------------------------


def test_a_book_judges_its_fish_again_and_renames_none(tmp_path, shipped):
    with idkey.open_book(tmp_path / "room.sqlite") as book:
        fish = idkey.Identification(shipped, prior=["L201"])
        fish.answer("pattern", "light_spots").answer("spot_size", "large").answer("basin", "orinoco")
        number = book.keep(fish).number
        book.name(number, "L201", "sent to a specialist")
        book.tell(number, "sold", "XY")
        assert book.recheck(shipped).fish == ()
        (found,) = book.recheck(shipped.with_cell("hypancistrus_l201", "spot_size", "large")).fish
        assert (found.gone, found.to, found.now.taxon) == ("sold", "XY", "hypancistrus_l201")
        assert book.fish(number).naming.name == found.name == shipped.label("hypancistrus_l201")
        assert len(book.fish(number).looks) == len(book.fish(number).namings) == 1


def test_ten_thousand_fish_in_under_five_seconds(shipped):
    rng = np.random.default_rng(5)
    traits = [t for t in shipped.traits if t.has_states]
    priors = [[taxon] for taxon in shipped.ids[:40]]
    kinds = [look_at(shipped, 0, {"pattern": "light_spots"}, prior=prior) for prior in priors]
    looks = []
    for number in range(10_000):
        chosen = rng.choice(len(traits), 10, replace=False)
        answers = {traits[j].id: traits[j].states[rng.integers(len(traits[j].states))] for j in chosen}
        like = kinds[number % len(kinds)]
        looks.append(type(like)(**vars(like) | {"number": number, "answers": answers}))
    new = shipped.with_cell("hypancistrus_l201", "spot_size", "large")
    start = time.process_time()
    found = recheck(new, looks, lambda _: shipped)
    assert time.process_time() - start < 5
    assert found.count == 10_000
    # All were written down with the posterior of another fish, so that the package seems to judge otherwise.
    assert len(found.fish) > 9_000
