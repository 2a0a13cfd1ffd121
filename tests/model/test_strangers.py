"""Blank cells, strangers and soft records on tables written out: the rules worked by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

import idkey
from idkey.model.combine import OF_A_GENUS, model_of
from idkey.model.evidence import RECORD_EDGES, TABLE_AS_KIN, record_edges
from idkey.table.schema import Trait

from .tables import (
    NONE,
    SHIPPED,
    answered,
    likelihoods,
    nominal,
    of_genera,
    posterior,
    table_of,
    with_claims,
)

TAIL = nominal("tail", ("straight", "forked"), error=0.1)
KEELS = nominal("keels", ("none", "strong"), error=0.1)
SIZE = Trait(id="size", kind="ceiling", unit="mm", error=0.001, spread=0.05)

# -- records ---------------------------------------------------------------------------------------------

# What a fish 10 % and 20 % over the record counts beside one below it: 1 - F(0.1 / edge), with an edge of 5 %
# (measured), 10 % (second hand) and 20 % (lent), and .001 for a length that was misread.
OVER = {"measured": (0.0237, 0.0010), "second hand": (0.1595, 0.0237), "lent": (0.3092, 0.1595)}


@pytest.mark.parametrize(
    ("sort", "claim"),
    [
        ("measured", {"class": "read", "scope": "species"}),
        ("second hand", {"class": "secondary", "scope": "species"}),
        ("lent", {"class": "read", "scope": "genus"}),
        ("lent", {"class": "secondary", "scope": "genus"}),
        ("lent", {"class": "common practice", "scope": "species", "source": ""}),
        ("lent", {"class": "memory", "scope": "species", "source": ""}),
    ],
)
def test_a_fish_over_the_record_by_the_class_of_its_best_claim(sort, claim):
    table = table_of([SIZE], {"a": "100", "b": "400"})
    table = with_claims(table, ("a", "size", "100", claim), ("b", "size", "400", {}))
    for length, expected in zip((110, 120), OVER[sort], strict=True):
        edge = 0.05 * RECORD_EDGES[sort] * 100
        by_hand = 0.999 * norm.sf(length, 100, edge) + 0.001
        found = likelihoods(table, size=length)["a"]
        assert found == pytest.approx(by_hand, rel=1e-9)
        assert found == pytest.approx(expected, abs=0.0013)
    # a fish well below it fits, whatever the record rests on
    assert likelihoods(table, size=30)["a"] == pytest.approx(1, abs=1e-3)


def test_the_best_claim_for_the_record_itself_counts_and_one_for_a_smaller_fish_does_not():
    table = table_of([SIZE], {"a": "100", "b": "100", "c": "100"})
    memory = {"class": "memory", "source": ""}
    table = with_claims(
        table,
        *(("a", "size", "100", memory), ("a", "size", "100", {"class": "read"})),
        *(("b", "size", "100", memory), ("b", "size", "90", {"class": "read"})),
    )
    assert record_edges(table, "size").tolist() == [RECORD_EDGES[s] for s in ("measured", "lent", "lent")]


# -- blank cells -----------------------------------------------------------------------------------------


def test_a_blank_is_taken_from_its_genus_and_the_table():
    # Two of the genus A are forked, of four known cells three are: (2 x .95 + 2 x table) / 4. One to which
    # the trait does not apply says nothing of one to which it may.
    rows = {"a1": "forked", "a2": "forked", "a3": ".", "a4": "-", "b1": "straight", "c1": "forked"}
    table = table_of([TAIL], rows)
    found = likelihoods(of_genera(table, ["A", "A", "A", "A", "B", "C"]), tail="forked")
    of_table = (0.95 * 3 + 0.05) / 4
    assert found["a3"] == pytest.approx((2 * 0.95 + TABLE_AS_KIN * of_table) / (2 + TABLE_AS_KIN))
    # a genus of which nothing is known, and no genus at all: the table
    for genera in (["A", "A", "D", "A", "B", "C"], ["A", "A", "", "A", "B", "C"]):
        assert likelihoods(of_genera(table, genera), tail="forked")["a3"] == pytest.approx(of_table)


# -- strangers -------------------------------------------------------------------------------------------

ROWS = {"a1": "forked strong", "a2": "forked strong", "b1": "straight none", "b2": "straight none"}
GENERA = ["A", "A", "B", "B"]


def test_the_shares_of_strangers_add_up_to_one_and_each_genus_is_as_likely_as_any_other():
    for table in (SHIPPED, of_genera(table_of([TAIL, KEELS], ROWS), GENERA)):
        model = model_of(table)
        shares = np.exp(model.log_prior(np.ones(len(table) + 1)))[model.n_taxa :]
        assert len(shares) == len(model.genera) + 1
        assert shares.sum() == pytest.approx(1)
        np.testing.assert_allclose(shares[:-1], OF_A_GENUS / len(model.genera))
        found = posterior(table, {})
        assert (found.sum(), found[NONE]) == (pytest.approx(1), pytest.approx(0.05))


def test_without_a_genus_a_stranger_is_drawn_from_the_table_alone():
    # Laplace's rule of succession, as before: the known rows and one more that is flat.
    table = table_of([TAIL], {"a": "forked", "b": "straight", "c": "forked"})
    expected = (0.95 + 0.05 + 0.95 + 0.5) / 4
    for same in (table, of_genera(table, "")):
        assert model_of(same).genera == ()
        assert likelihoods(same, tail="forked")[NONE] == pytest.approx(expected)
        assert answered(same, {"tail": "forked"}, none_prior=0.9).stranger() == ("", 0.0)


def test_a_stranger_by_hand():
    table = of_genera(table_of([TAIL], {"a1": "forked", "a2": "forked", "b1": "straight"}), ["A", "A", "B"])
    of_table = (0.95 + 0.95 + 0.05) / 3
    a = (2 * 0.95 + TABLE_AS_KIN * of_table) / (2 + TABLE_AS_KIN)
    b = (0.05 + TABLE_AS_KIN * of_table) / (1 + TABLE_AS_KIN)
    alone = (0.95 + 0.95 + 0.05 + 0.5) / 4
    shares = np.array([OF_A_GENUS / 2 * a, OF_A_GENUS / 2 * b, (1 - OF_A_GENUS) * alone])
    assert likelihoods(table, tail="forked")[NONE] == pytest.approx(shares.sum())
    genus, share = answered(table, {"tail": "forked"}).stranger()
    assert (genus, share) == ("A", pytest.approx(shares[0] / shares.sum()))


def test_a_stranger_of_no_genus_above_all_has_none():
    table = of_genera(table_of([TAIL, KEELS], ROWS), GENERA)
    for genus, look in (("A", {"tail": "forked", "keels": "strong"}), ("B", {"tail": "straight"})):
        assert answered(table, look).stranger()[0] == genus
    # half of the marks of each
    assert answered(table, {"tail": "forked", "keels": "none"}).stranger() == ("", 0.0)


def test_a_question_is_worth_nothing_for_parting_the_genera_of_strangers():
    # The one kind that is possible has either state, so that the answer tells next to nothing of names.
    table = of_genera(table_of([KEELS], {"a": "none|strong", "b": "none", "c": "strong"}), ["A", "B", "C"])
    fish = idkey.Identification(table, prior={"a": 1.0}, none_prior=0.5)
    gain = {q.trait.id: q.gain for q in fish.questions()}.get("keels", 0.0)
    now = posterior(table, {}, prior={"a": 1.0}, none_prior=0.5)
    after = 0.0
    for state in ("none", "strong"):
        then = posterior(table, {"keels": state}, prior={"a": 1.0}, none_prior=0.5)
        after += 0.5 * -sum(p * np.log2(p) for p in then)
    assert gain == pytest.approx(max(-sum(p * np.log2(p) for p in now) - after, 0.0), abs=0.005)


# -- kinds hardly known ----------------------------------------------------------------------------------

MARKS = [nominal(f"t{i}", "xy", error=0.05) for i in range(4)]


def test_a_kind_known_in_fewer_than_half_of_the_answers_is_not_named_by_its_blanks():
    # Nothing speaks against "blank"; "known" is wrong in three of four.
    table = table_of(MARKS, {"blank": "x . . .", "known": "x y y y", "other": "y y y x"})
    fish = answered(table, {"t0": "x", "t1": "x", "t2": "x", "t3": "x"}, none_prior=0.0)
    assert fish.ranked()[0].taxon == "blank"
    outcome = fish.outcome()
    assert outcome.kind == "little known"
    assert "1 of your 4 answers" in outcome.text
    assert "better known: known (" in outcome.text
    # known in half of the answers, or more, it is named
    half = table_of(MARKS, {"blank": "x x . .", "known": "y y y y", "other": "y y y x"})
    fish = answered(half, {"t0": "x", "t1": "x", "t2": "x", "t3": "x"}, none_prior=0.0)
    assert (fish.ranked()[0].taxon, fish.outcome().kind) == ("blank", "one name")


def test_one_name_that_is_hardly_known_is_asked_on_about():
    rows = {"blank": "x . . x", "known": "y y y y", "other": "y y x y"}
    fish = answered(table_of(MARKS, rows), {"t0": "x", "t1": "x", "t2": "x"}, none_prior=0.0, coverage=0.8)
    assert (fish.candidates(), fish.outcome().kind) == (("blank",), "little known")
    assert fish.next_question().trait.id == "t3"
    assert fish.answer("t3", "x").next_question() is None
    assert fish.outcome().kind == "one name"


def test_of_equals_the_one_that_more_answers_know_leads_and_then_they_go_by_name():
    # The table is one state, so that a blank cell is worth what a known one is.
    table = table_of(MARKS[:2], {"d": "x .", "b": "x x", "a": ". .", "c": "x x"})
    answers = {"t0": "x", "t1": "x"}
    fish, match = answered(table, answers, none_prior=0.0), idkey.NearestMatch(none_prior=0.0).fit(table)
    assert fish.ranking()["probability"].head(4).to_numpy() == pytest.approx(0.25)
    assert fish.ranking()["taxon"].tolist() == ["b", "c", "d", "a", NONE]
    frame = pd.DataFrame([answers])
    assert match.predict(frame).tolist() == ["b"]
    assert match.candidates(frame) == [fish.candidates()] == [("b", "c", "d", "a")]


@pytest.mark.parametrize("said", [{"cheek_spines": "long"}, {"pattern": "bars", "tail_fork": "forked"}])
def test_what_the_table_does_not_know_never_speaks_for_a_name(said):
    fish, seen = answered(SHIPPED, said), 0
    for taxon in SHIPPED.ids:
        for reason in fish.reasons(taxon):
            if reason.row == "not known":
                seen += 1
                assert "evidence for" not in reason.text
                assert "the table does not know" in reason.text
    assert seen
    assert isinstance(fish.why(SHIPPED.ids[0]), pd.DataFrame)


@pytest.mark.parametrize(
    ("tail", "error", "none_prior", "said"),
    [
        ("forked", 0.1, 0.05, True),
        ("straight", 0.1, 0.05, False),
        ("forked", 0.2, 0.05, False),
        ("forked", 0.1, 0.001, True),
        ("forked", 0.1, 0.0, False),
    ],
)
def test_fair_evidence_for_a_stranger_is_a_remark_and_turns_nobody_away(tail, error, none_prior, said):
    table = table_of([replace(TAIL, error=error)], {"a": "straight", "b": "straight"})
    fish = answered(table, {"tail": tail}, none_prior=none_prior)
    wrong, right = error / 2, 1 - error / 2
    kind = wrong if tail == "forked" else right
    # Two rows and a flat one: with an error of 0.1 forked has 0.2 against 0.05 in a kind, 4 to 1 or 6.0
    # decibans; with 0.2 it has 0.23 against 0.1, 3.7 decibans, which is less than fair (5).
    stranger = (2 * kind + 0.5) / 3
    assert (stranger / kind > 10**0.5) == (tail == "forked" and error == 0.1)
    none = none_prior * stranger / (none_prior * stranger + (1 - none_prior) * kind)
    assert fish.ranking().set_index("taxon")["probability"][NONE] == pytest.approx(none)
    outcome = fish.outcome()
    assert outcome.kind != NONE
    assert outcome.taxa == ("a", "b")
    assert ("fair evidence for a kind that this table does not hold" in outcome.text) == said
