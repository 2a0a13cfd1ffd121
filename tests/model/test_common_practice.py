"""Rules of thumb of the trade for telling the white-spotted forms apart, against the shipped table.

All of this is common practice, without a published source. It is about trade forms, not species; where a
paper says otherwise, the paper stands in the table.
"""

import pytest

from idkey import NearestMatch, load_table

TABLE = load_table()
L102, L201, L471 = "hypancistrus_cf_inspector_l102", "hypancistrus_l201", "hypancistrus_l471"
L005 = "hypancistrus_l004_group"  # one row for L004, L005, L028 and L073
HYPANCISTRUS = [t for t in TABLE.ids if t.startswith("hypancistrus_")]


def of_genus(genus):
    found = [t for t in TABLE.ids if TABLE.taxa.loc[t, "genus"] == genus]
    assert found
    return found


def probabilities(prior="uniform", **answers):
    ranking = NearestMatch(prior=prior).fit(TABLE).rank(answers)
    return dict(zip(ranking["taxon"], ranking["probability"], strict=True))


def odds(first, second, **answers):
    found = probabilities(**answers)
    return found[first] / found[second]


def record(taxon):
    return TABLE.cell(taxon, "adult_size").high


def test_common_practice_l102_has_forked_tail_black_edges_and_pointed_face():
    assert odds(L102, L201, tail_fork="forked", fin_edging="dark", snout_shape="pointed") > 20


def test_common_practice_l201_has_no_forked_tail_no_black_edges_and_a_blunt_face():
    assert odds(L201, L102, tail_fork="straight", fin_edging="none", snout_shape="rounded") > 20


@pytest.mark.parametrize(
    ("trait", "l102", "l201"),
    [
        ("tail_fork", "forked", "straight"),
        ("fin_edging", "dark", "none"),
        ("snout_shape", "pointed", "rounded"),
    ],
)
def test_common_practice_each_mark_of_l102_and_l201_counts_alone(trait, l102, l201):
    assert odds(L102, L201, **{trait: l102}) > 1.5
    assert odds(L201, L102, **{trait: l201}) > 1.5


def test_common_practice_l201_stays_two_inches_smaller_than_l102():
    assert record(L102) - record(L201) == pytest.approx(50.8, abs=10)  # two inches are 50.8 mm
    assert odds(L102, L201, adult_size=150) > 20
    assert odds(L201, L102, adult_size=70, life_stage="adult") > 1


def test_common_practice_l201_is_the_commoner_of_the_two():
    assert probabilities(prior="commonness")[L201] > probabilities(prior="commonness")[L102]


def test_common_practice_l471_stays_only_a_little_smaller_than_l201():
    assert 0 <= record(L201) - record(L471) <= 25


@pytest.mark.parametrize(
    ("trait", "l471", "l201"),
    [
        ("tail_fork", "forked", "straight"),
        ("dorsal_height", "tall", "normal"),
        ("spot_size", "large", "small"),
    ],
)
def test_common_practice_l471_has_more_fork_larger_dorsal_and_larger_spots_than_l201(trait, l471, l201):
    assert odds(L471, L201, **{trait: l471}) > 1.5
    assert odds(L201, L471, **{trait: l201}) > 1.5


def test_common_practice_l471_has_larger_spots_than_l201_when_young():
    assert odds(L471, L201, spot_size="large", life_stage="young") > 1.5


@pytest.mark.parametrize("other", [L102, L201, L471])
def test_common_practice_l005_has_smaller_spots(other):
    assert odds(L005, other, spot_size="small") > 1.5
    assert odds(L005, other, spot_size="large") < 1


@pytest.mark.parametrize("panaqolus", of_genus("Panaqolus"))
def test_common_practice_first_look_at_the_mouth_conspicuous_teeth_are_no_hypancistrus(panaqolus):
    found = probabilities(tooth_form="spoon")
    assert all(found[panaqolus] > 5 * found[t] for t in HYPANCISTRUS)


def test_common_practice_a_mustard_spotted_fish_with_conspicuous_teeth_is_the_usual_case():
    look = {"pattern": "light_spots", "spot_colour": "yellow", "tail_fork": "forked", "ground_colour": "dark"}
    found = probabilities(tooth_form="spoon", **look)
    assert sum(found[t] for t in HYPANCISTRUS) < 0.1
    assert found["panaqolus_albomaculatus"] > max(found[t] for t in HYPANCISTRUS)
    # the same fish without a look at the teeth may well be one
    assert sum(probabilities(**look)[t] for t in HYPANCISTRUS) > 0.3


def test_common_practice_long_fangs_are_a_leporacanthicus():
    found = probabilities(tooth_form="fangs")
    fanged = of_genus("Leporacanthicus")
    others = [t for t in TABLE.ids if t not in fanged]
    assert min(found[t] for t in fanged) > 5 * max(found[t] for t in others)


def test_common_practice_an_adult_leporacanthicus_is_20_to_25_cm():
    records = sorted(record(t) for t in of_genus("Leporacanthicus"))
    assert 200 <= records[len(records) // 2] <= 250
    found = probabilities(tooth_form="fangs", adult_size=220, life_stage="adult")
    assert sum(found[t] for t in of_genus("Leporacanthicus")) > 0.5
