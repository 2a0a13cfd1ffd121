"""Rules of thumb of the trade for telling the white-spotted forms apart, against the shipped table.

All of this is common practice, without a published source. It is about trade forms, not species; where a
paper says otherwise, the paper stands in the table.
"""

import pytest

from idkey import load_table

from .tables import posterior

TABLE = load_table()
L102, L201, L471 = "hypancistrus_cf_inspector_l102", "hypancistrus_l201", "hypancistrus_l471"
L005 = "hypancistrus_l004_group"  # one row for L004, L005, L028 and L073
HYPANCISTRUS = [t for t in TABLE.ids if t.startswith("hypancistrus_")]


def of_genus(genus):
    found = [t for t in TABLE.ids if TABLE.taxa.loc[t, "genus"] == genus]
    assert found
    return found


def probabilities(prior="uniform", **answers):
    return posterior(TABLE, answers, prior=prior)


def record(taxon):
    return TABLE.cell(taxon, "adult_size").high


MARKS_102 = {"tail_fork": "forked", "fin_edging": "dark", "snout_shape": "pointed"}
MARKS_201 = {"tail_fork": "straight", "fin_edging": "none", "snout_shape": "rounded"}
MARKS_471 = {"tail_fork": "forked", "dorsal_height": "tall", "spot_size": "large"}
NOT_471 = {"tail_fork": "straight", "dorsal_height": "normal", "spot_size": "small"}


@pytest.mark.parametrize(
    ("likelier", "other", "least", "marks"),
    [
        # L102 has a forked tail, black edges and a pointed face, L201 none of them: together, and each alone
        (L102, L201, 20, MARKS_102),
        (L201, L102, 20, MARKS_201),
        *((L102, L201, 1.5, {trait: state}) for trait, state in MARKS_102.items()),
        *((L201, L102, 1.5, {trait: state}) for trait, state in MARKS_201.items()),
        # L201 stays two inches smaller
        (L102, L201, 20, {"adult_size": 150}),
        (L201, L102, 1, {"adult_size": 70, "life_stage": "adult"}),
        # L471 has more fork, a larger dorsal fin and larger spots than L201; the spots when young too
        *((L471, L201, 1.5, {trait: state}) for trait, state in MARKS_471.items()),
        *((L201, L471, 1.5, {trait: state}) for trait, state in NOT_471.items()),
        (L471, L201, 1.5, {"spot_size": "large", "life_stage": "young"}),
        # L005 has smaller spots than any of them
        *((L005, other, 1.5, {"spot_size": "small"}) for other in (L102, L201, L471)),
        *((other, L005, 1, {"spot_size": "large"}) for other in (L102, L201, L471)),
    ],
)
def test_common_practice_marks_that_tell_two_forms(likelier, other, least, marks):
    found = probabilities(**marks)
    assert found[likelier] > least * found[other]


def test_common_practice_sizes_and_commonness():
    assert record(L102) - record(L201) == pytest.approx(50.8, abs=10)  # two inches are 50.8 mm
    assert 0 <= record(L201) - record(L471) <= 25  # only a little smaller
    common = probabilities(prior="commonness")
    assert common[L201] > common[L102]


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
