"""The contrasts that the original papers print between five Hypancistrus, against the shipped table.

ARM2007     Armbruster, Lujan & Taphorn 2007, Copeia 2007(1):62-79, abstract
TANARM2016  Tan & Armbruster 2016, ZooKeys 552:123-135, abstract and diagnoses, doi 10.3897/zookeys.552.5956
ARM2002     Armbruster 2002, Copeia 2002(1):86-92, abstract
A kind that a paper does not contrast in a trait is left out of that row.
"""

import pytest

from idkey import load_table
from idkey.table.schema import Range

from .tables import posterior

TABLE = load_table()
INSPECTOR, CONTRADENS, LUNAORUM, MARGARITATUS, PHANTASMA = FIVE = [
    f"hypancistrus_{name}" for name in ("inspector", "contradens", "lunaorum", "margaritatus", "phantasma")
]

STATES = [
    # TANARM2016 abstract: light spots on dark in all but phantasma; ARM2002 and ARM2007 abstracts
    *(("pattern", kind, {"light_spots"}) for kind in FIVE[:4]),
    ("pattern", PHANTASMA, {"dark_spots"}),
    # ARM2007: contradens larger, lunaorum smaller
    # TANARM2016: contradens equal or larger, margaritatus about equal
    ("spot_vs_nostril", CONTRADENS, {"equal", "larger"}),
    ("spot_vs_nostril", LUNAORUM, {"smaller"}),
    ("spot_vs_nostril", MARGARITATUS, {"equal"}),
    # ARM2007 abstract; TANARM2016 diagnosis of margaritatus
    ("head_spots", INSPECTOR, {"smaller"}),
    ("head_spots", CONTRADENS, {"same", "none"}),
    ("head_spots", LUNAORUM, {"same", "none"}),
    ("head_spots", MARGARITATUS, {"same"}),
    # TANARM2016 abstract
    ("spot_density", CONTRADENS, {"sparse"}),
    ("spot_density", LUNAORUM, {"sparse"}),
    ("spot_density", MARGARITATUS, {"dense"}),
    # ARM2007 abstract
    ("dorsal_reach", INSPECTOR, {"gap"}),
    ("dorsal_reach", CONTRADENS, {"reaches"}),
    ("dorsal_reach", LUNAORUM, {"reaches"}),
    # not from the papers themselves: summary of TANARM2016 (inspector, phantasma), hobby list (contradens)
    ("fin_edging", INSPECTOR, {"dark"}),
    ("fin_edging", PHANTASMA, {"dark"}),
    ("fin_edging", CONTRADENS, {"none"}),
]
NUMBERS = [
    # ARM2007 abstract: "usually" 22-23, inspector 24
    ("belly_row_plates", INSPECTOR, 24, 24),
    ("belly_row_plates", CONTRADENS, 22, 23),
    ("belly_row_plates", LUNAORUM, 22, 23),
    # TANARM2016 p. 129, diagnosis of margaritatus
    ("spots_in_row", CONTRADENS, 8, 20),
    ("spots_in_row", LUNAORUM, 8, 16),
]


def test_what_is_printed_stands_in_the_table():
    for trait, kind, states in STATES:
        assert set(TABLE.cell(kind, trait).names) == states, (trait, kind)
    for trait, kind, low, high in NUMBERS:
        assert TABLE.cell(kind, trait) == Range(low, high), (trait, kind)
    # TANARM2016: holotype of margaritatus 45.6 mm SL, with 23 spots in the row (its only fish); largest
    # phantasma 123.3 mm SL. A trade form may have made a record longer, never shorter. contradens: hobby.
    assert TABLE.cell(PHANTASMA, "adult_size").high == pytest.approx(123.3)
    assert TABLE.cell(MARGARITATUS, "adult_size").high >= 45.6
    assert TABLE.cell(CONTRADENS, "adult_size").high == pytest.approx(126)
    row = TABLE.cell(MARGARITATUS, "spots_in_row")
    assert row.low <= 23 <= row.high


def probabilities(**answers):
    return posterior(TABLE, answers, prior="uniform")


PRINTED = {}
for _trait, _kind, _states in STATES:
    PRINTED.setdefault(_trait, {})[_kind] = _states


@pytest.mark.parametrize(
    ("trait", "state"), [(j, s) for j, kinds in PRINTED.items() for s in sorted(set().union(*kinds.values()))]
)
def test_each_contrast_orders_the_kinds_as_printed(trait, state):
    found = probabilities(**{trait: state})
    has = [kind for kind, states in PRINTED[trait].items() if state in states]
    lacks = [kind for kind, states in PRINTED[trait].items() if state not in states]
    assert min(found[has]) > 1.5 * max(found[lacks])


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
    said = {t: "|".join(sorted(states)) for t, k, states in STATES if k == kind}
    said |= {t: f"{low}..{high}" for t, k, low, high in NUMBERS if k == kind}
    found = probabilities(**said)
    assert all(found[kind] > 5 * found[other] for other in FIVE if other != kind)
