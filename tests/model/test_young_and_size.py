"""Small fish and young fish, on the shipped table: a short fish may still grow, a long one may not shrink."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from idkey import Identification

from .tables import NONE, likelihoods, posterior
from .tables import SHIPPED as TABLE

NIX = "panaqolus_nix"
RECORDS = pd.Series(TABLE.column("adult_size").high, TABLE.ids).dropna().sort_values()  # mm standard length
# How soft a record is by the class of its best claim, in spreads of 5 %: of all others, such as one lent
# from the genus, a rule of thumb or memory, 4.
SOFT = {("read", "species"): 1, ("secondary", "species"): 2}


def gained(said, **answers):
    """Return what answers add to the likelihood of each kind, after what was said before."""
    return likelihoods(TABLE, **said, **answers) / likelihoods(TABLE, **said)


def softness(taxon):
    claims = TABLE.evidence.query("taxon == @taxon and attribute == 'adult_size'")
    best = claims[pd.to_numeric(claims["value"], errors="coerce") == RECORDS[taxon]]
    return min((SOFT.get(claim, 4) for claim in zip(best["class"], best["scope"], strict=True)), default=4)


def grown_to(least, most=np.inf):
    """Kinds whose largest record lies between two lengths, by record."""
    found = RECORDS.index[RECORDS.between(least, most)]
    assert len(found) >= 3
    return found


@pytest.mark.parametrize(
    ("least", "said"),
    [
        (65, {}),
        (65, {"pattern": "light_spots", "tail_fork": "forked", "spot_colour": "white"}),
        (240, {"life_stage": "young"}),
    ],
)
def test_a_small_fish_may_become_any_larger_kind(least, said):
    # 60 mm: under the record of every kind from 65 to 1000 mm, and nothing says that it is adult. Said to be
    # young it is a quarter of the record or less; at half the record one would begin to doubt it. Close under
    # a record that is second hand or lent, its soft edge is felt: 67 mm second hand, as A. aguaboensis has
    # (FISHBASE2013), is 1.04 of its edges above 60 mm.
    assert RECORDS.max() == 1000
    columns = [f"{trait}_young" for trait in said if f"{trait}_young" in TABLE.cells]
    described = [t for t in TABLE.ids if any(TABLE.cell(t, column) is not None for column in columns)]
    larger = grown_to(least).difference(described, sort=False)
    assert len(larger) > 60 or least > 65
    found = gained(said, adult_size=60)[larger]
    edges = 0.05 * larger.map(softness) * RECORDS[larger]
    np.testing.assert_allclose(found / found.iloc[-1], norm.cdf((RECORDS[larger] - 60) / edges), rtol=0.02)


def test_a_long_fish_rules_out_the_dwarfs():
    # the odds against a kind that grows large fall to a thousandth: what is left is a misread length
    found, dwarfs = gained({}, adult_size=200), grown_to(0, 100)
    assert found[dwarfs].max() <= 1.0001e-3 * found[grown_to(400)[0]]
    assert posterior(TABLE, {"adult_size": 200})[dwarfs].max() < 1e-3


NEEDS_ADULT = [t.id for t in TABLE.traits if t.needs_adult]


def with_state(trait_id, state):
    return [t for t in TABLE.ids if getattr(TABLE.cell(t, trait_id), "names", ()) == (state,)]


@pytest.mark.parametrize("trait_id", NEEDS_ADULT)
def test_a_trait_that_needs_an_adult_counts_for_an_adult_and_not_for_a_young_fish(trait_id):
    # 40 mm and said to be young: of kinds that grow to 100 mm or more at most 3 in 100 x 16 in 100 are adult.
    # Kinds whose young the table describes are another matter: see the next test.
    young = TABLE.column(trait_id, young=True).known
    kinds = [t for t in grown_to(100) if not young[TABLE.position(t)]]
    for state in TABLE.trait(trait_id).states:
        found = gained({"adult_size": 40, "life_stage": "young"}, **{trait_id: state})[kinds]
        np.testing.assert_allclose(found, found.iloc[-1], rtol=0.02)
    found = gained({"life_stage": "adult"}, **{trait_id: "plated"})
    naked, plated = (found[with_state(trait_id, state)] for state in ("naked", "plated"))
    assert len(naked) > 5
    assert plated.min() > 3 * naked.max()


def test_what_the_table_says_of_the_young_counts_for_a_young_fish():
    # Panaqolus nix is bare-bellied up to 70 mm SL, plated later (Cramer & Rapp Py-Daniel 2015, Neotrop.
    # Ichthyol. 13:461-470, p.465, doi 10.1590/1982-0224-20140099).
    assert "belly_plates" in NEEDS_ADULT
    said = {"adult_size": 40, "life_stage": "young"}
    shares = [posterior(TABLE, said | {"belly_plates": s})[NIX] for s in ("naked", "partly", "plated")]
    assert shares[0] > posterior(TABLE, said)[NIX] > max(shares[1:])


def test_a_trait_that_needs_an_adult_is_not_asked_of_a_young_fish():
    fish = Identification(TABLE)
    assert set(NEEDS_ADULT) <= {q.trait.id for q in fish.questions()}
    fish.answer("life_stage", "young")
    assert not set(NEEDS_ADULT) & {q.trait.id for q in fish.questions()}


def test_none_of_these_is_only_said_when_it_is_likelier_than_not():
    assert Identification(TABLE).answer("adult_size", 6000).outcome().kind == "none of these"
    # Here it ranks first, but not more likely than not: the sentence is about the kind that is named.
    fish = Identification(TABLE, prior="uniform").answer("adult_size", 60)
    assert fish.outcome().kind == "several names"
    ranking = fish.ranking()
    assert ranking.loc[0, "taxon"] == NONE
    named = ranking[ranking["taxon"] != NONE].iloc[0]
    # Of a hundred kinds, each as likely as any other, none has 1 %.
    assert named["probability"] < 0.01
    assert f"likeliest {named['name']} (under 1 %)" in fish.outcome().text
    # a ranking that is changed by hand changes nothing
    ranking["probability"] = 0.0
    assert fish.ranking()["probability"].sum() == pytest.approx(1.0)
