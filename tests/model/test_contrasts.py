"""The contrasts that the original papers print between five Hypancistrus, against the shipped table.

ARM2007     Armbruster, Lujan & Taphorn 2007, Copeia 2007(1):62-79, abstract
TANARM2016  Tan & Armbruster 2016, ZooKeys 552:123-135, abstract and diagnoses, doi 10.3897/zookeys.552.5956
ARM2002     Armbruster 2002, Copeia 2002(1):86-92, abstract
Fin edging is not from the papers themselves: a summary of TANARM2016 (inspector, phantasma), a hobby list
(contradens). A kind that a paper does not contrast in a trait is left out of that row.

Last come rules of thumb of the trade for telling the white-spotted forms apart. All of these are common
practice, without a published source. They are about trade forms, not species; where a paper says otherwise,
the paper stands in the table.
"""

import pytest
from shipped import TABLE

from idkey.table.schema import parse_cell

from .tables import posterior

INSPECTOR, CONTRADENS, LUNAORUM, MARGARITATUS, PHANTASMA = FIVE = [
    f"hypancistrus_{name}" for name in ("inspector", "contradens", "lunaorum", "margaritatus", "phantasma")
]

# A line a trait: what is printed of each of the five, "." where nothing is; and where.
CONTRASTS = """
pattern          light_spots light_spots  light_spots light_spots dark_spots TANARM2016, ARM2002, ARM2007
spot_vs_nostril  .           equal|larger smaller     equal       .          ARM2007; TANARM2016: equal
head_spots       smaller     same|none    same|none   same        .          ARM2007; TANARM2016: same
spot_density     .           sparse       sparse      dense       .          TANARM2016 abstract
dorsal_reach     gap         reaches      reaches     .           .          ARM2007 abstract
fin_edging       dark        none         .           .           dark       second-hand: see above
belly_row_plates 24          22..23       22..23      .           .          ARM2007 abstract: "usually" 22-23
spots_in_row     .           8..20        8..16       .           .          TANARM2016 p. 129, diagnosis
"""
PRINTED = {
    trait: {kind: cell for kind, cell in zip(FIVE, cells, strict=False) if cell != "."}
    for trait, *cells in map(str.split, CONTRASTS.strip().splitlines())
}
OF_STATES = {trait: kinds for trait, kinds in PRINTED.items() if TABLE.trait(trait).has_states}


def test_what_is_printed_stands_in_the_table():
    for trait, kinds in PRINTED.items():
        for kind, text in kinds.items():
            cell, printed = TABLE.cell(kind, trait), parse_cell(TABLE.trait(trait), text)
            assert getattr(cell, "names", cell) == getattr(printed, "names", printed), (trait, kind)
    # TANARM2016: holotype of margaritatus 45.6 mm SL, with 23 spots in the row (its only fish); largest
    # phantasma 123.3 mm SL. A trade form may have made a record longer, never shorter. contradens: hobby.
    assert TABLE.cell(PHANTASMA, "adult_size").high == pytest.approx(123.3)
    assert TABLE.cell(MARGARITATUS, "adult_size").high >= 45.6
    assert TABLE.cell(CONTRADENS, "adult_size").high == pytest.approx(126)
    row = TABLE.cell(MARGARITATUS, "spots_in_row")
    assert row.low <= 23 <= row.high


def probabilities(prior="uniform", **answers):
    return posterior(TABLE, answers, prior=prior)


@pytest.mark.parametrize(
    ("trait", "state"),
    [(j, s) for j, kinds in OF_STATES.items() for s in sorted({*"|".join(kinds.values()).split("|")})],
)
def test_each_contrast_orders_the_kinds_as_printed(trait, state):
    found = probabilities(**{trait: state})
    has = [kind for kind, cell in OF_STATES[trait].items() if state in cell.split("|")]
    lacks = OF_STATES[trait].keys() - has
    assert min(found[has]) > 1.5 * max(found[[*lacks]])


def test_counts_order_the_kinds_as_printed():
    # ARM2007 abstract: usually 24 plates in inspector, 22-23 in contradens and lunaorum
    for plates in (22, 24):
        found = probabilities(belly_row_plates=plates)
        for kind in (CONTRADENS, LUNAORUM):
            assert (found[INSPECTOR] > found[kind]) == (plates == 24)
    # TANARM2016 p. 129: 8-16 spots in lunaorum, 8-20 contradens, 23 margaritatus
    for spots, first, last in ((23, MARGARITATUS, LUNAORUM), (9, LUNAORUM, MARGARITATUS)):
        found = probabilities(spots_in_row=spots)
        assert found[first] > found[CONTRADENS] > found[last]


@pytest.mark.parametrize("kind", FIVE)
def test_all_contrasts_together_put_the_kind_before_the_other_four(kind):
    said = {trait: cells[kind] for trait, cells in PRINTED.items() if kind in cells}
    found = probabilities(**said)
    assert all(found[kind] > 5 * found[other] for other in FIVE if other != kind)


# From here on common practice.
L102, L201, L471 = "hypancistrus_cf_inspector_l102", "hypancistrus_l201", "hypancistrus_l471"
L005 = "hypancistrus_l004_group"  # one row for L004, L005, L028 and L073
HYPANCISTRUS = [t for t in TABLE.ids if t.startswith("hypancistrus_")]


def of_genus(genus):
    return [t for t in TABLE.ids if TABLE.taxa.loc[t, "genus"] == genus]


def record(taxon):
    return TABLE.cell(taxon, "adult_size").high


MARKS_102 = {"tail_fork": "forked", "fin_edging": "dark", "snout_shape": "pointed"}
MARKS_201 = {"tail_fork": "straight", "fin_edging": "none", "snout_shape": "rounded"}
MARKS_471 = {"tail_fork": "forked", "spot_size": "large"}
NOT_471 = {"tail_fork": "straight", "spot_size": "small"}


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
        # ... but the fin is so "usually", and only "somewhat": L471 is normal or tall, L201 is blank
        (L471, L201, 1.25, {"dorsal_height": "tall"}),
        (L201, L471, 1.25, {"dorsal_height": "normal"}),
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
    # Two inches are 50.8 mm, reckoned from the 160 mm of AQUAD_L102; 200 mm is said of L102 and its kin
    # together (GLASER_L501), and a table of records has to hold it.
    sizes = TABLE.claims(L102, "adult_size").set_index("source")["value"].astype(float)
    assert sizes["AQUAD_L102"] - record(L201) == pytest.approx(50.8, abs=10)
    assert record(L102) == sizes["GLASER_L501"] == 200
    assert 0 <= record(L201) - record(L471) <= 25  # only a little smaller
    common = probabilities(prior="commonness")
    assert common[L201] > common[L102]


@pytest.mark.parametrize(("teeth", "genus"), [("spoon", "Panaqolus"), ("fangs", "Leporacanthicus")])
def test_common_practice_first_look_at_the_mouth(teeth, genus):
    # conspicuous teeth are no Hypancistrus, long fangs are a Leporacanthicus
    found, has = probabilities(tooth_form=teeth), of_genus(genus)
    others = HYPANCISTRUS if teeth == "spoon" else [t for t in TABLE.ids if t not in has]
    assert min(found[has]) > 5 * max(found[others])


def test_common_practice_a_mustard_spotted_fish_with_conspicuous_teeth_is_the_usual_case():
    look = {"pattern": "light_spots", "spot_colour": "yellow", "tail_fork": "forked", "ground_colour": "dark"}
    found = probabilities(tooth_form="spoon", **look)
    assert sum(found[t] for t in HYPANCISTRUS) < 0.1
    assert found["panaqolus_albomaculatus"] > max(found[t] for t in HYPANCISTRUS)
    # The same fish without a look at the teeth may well be one: likelier than an unseen fish, and than one of
    # any other genus. P. sidereus (ARMBRUSTER2004Z p. 10-11) is as yellow-spotted and forked.
    found = probabilities(**look)
    assert sum(found[HYPANCISTRUS]) > 1.25 * sum(probabilities()[HYPANCISTRUS])
    assert found[list(TABLE.ids)].groupby(TABLE.taxa["genus"]).sum().idxmax() == "Hypancistrus"


def test_common_practice_an_adult_leporacanthicus_is_20_to_25_cm():
    records = sorted(record(t) for t in of_genus("Leporacanthicus"))
    assert 200 <= records[len(records) // 2] <= 250
    found = probabilities(tooth_form="fangs", adult_size=220, life_stage="adult")
    assert sum(found[t] for t in of_genus("Leporacanthicus")) > 0.5
