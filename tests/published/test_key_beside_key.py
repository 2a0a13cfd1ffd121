"""Two published keys beside the keys that are built from their couplets.

CRAMER2015 and DESOUZA2019: see `test_published_keys.py`, where the sources stand and how they were coded.

Measured the same way for the printed and the built key: the number of couplets; the number of ends; the
couplets read to reach a name, as the mean over species (a species with several ends counts as their mean) and
as the most for any end. All traits cost the same here and all kinds weigh the same.
"""

import re
from functools import cache

import numpy as np
import pandas as pd
import pytest
from sklearn.tree import DecisionTreeClassifier
from test_published_keys import KEYS, built_key, coded, paths, printed

import idkey

SOURCES = list(KEYS)
every_key = pytest.mark.parametrize("source", SOURCES)


def ends_of(key):
    """Return (names, couplets read) of every end of a built key, by walking it."""
    found, waiting = [], [(1, 1)]
    while waiting:
        number, depth = waiting.pop()
        couplet = key.couplets[number - 1]
        for lead in (couplet.a, couplet.b):
            if lead.goes_to is None:
                found.append((lead.taxa, depth))
            else:
                waiting.append((lead.goes_to, depth + 1))
    return found


def measures(couplets, ends):
    """Return what is measured of a key: its couplets, and (names, couplets read) of its ends."""
    steps = {}
    for names, depth in ends:
        for name in names:
            steps.setdefault(name, []).append(depth)
    mean = float(np.mean([np.mean(depths) for depths in steps.values()]))
    return {
        "couplets": couplets,
        "ends": len(ends),
        "species": len(steps),
        "mean": mean,
        "most": max(depth for _, depth in ends),
    }


@cache
def side_by_side(source):
    """Return the measures of the printed and of the built key, one column each."""
    ways = [((name,), len(steps)) for name, steps in paths(source)]
    key = built_key(source)
    return pd.DataFrame(
        {
            "printed": measures(len(printed(source)["couplets"]), ways),
            "built": measures(len(key.couplets), ends_of(key)),
        }
    )


@pytest.mark.parametrize(
    ("source", "counted"),
    [
        # CRAMER2015 p. 468-469, DESOUZA2019 p. 8-9; counted on the printed keys
        ("CRAMER2015", {"couplets": 9, "ends": 10, "species": 10, "mean": 3.8, "most": 6}),
        ("DESOUZA2019", {"couplets": 13, "ends": 14, "species": 13, "mean": 54.5 / 13, "most": 6}),
    ],
)
def test_measures_of_the_printed_key(source, counted):
    assert side_by_side(source)["printed"].to_dict() == pytest.approx(counted)


@every_key
def test_built_key_beside_the_printed_one(source):
    both = side_by_side(source)
    built, given = both["built"], both["printed"]
    assert built["species"] == given["species"]
    assert built["mean"] <= given["mean"] + 1e-9
    assert built["most"] <= given["most"]
    # a kind that varies or is blank in a trait may stand at several ends, each a couplet more
    assert built["couplets"] <= given["couplets"] + built["ends"] - built["species"]


@every_key
def test_built_key_tells_every_species_alone_as_the_printed_one_does(source):
    assert all(len(names) == 1 for names, _ in ends_of(built_key(source)))


def leads_of(text):
    """Return the leads of a key as text, (number, letter) -> words, lines that were folded joined again."""
    leads, here = {}, None
    for line in text.splitlines():
        head = re.match(r"(\d+)([ab])\s", line)
        if head:
            here = int(head[1]), head[2]
            assert here not in leads
            leads[here] = line[head.end() :]
        elif line.strip():
            leads[here] += " " + line
    return {place: " ".join(words.split()) for place, words in leads.items()}


@every_key
def test_text_is_a_traditional_key(source):
    key = built_key(source)
    leads = leads_of(key.text())
    # couplets numbered from 1, two leads each
    assert list(leads) == [(n, letter) for n in range(1, len(leads) // 2 + 1) for letter in "ab"]
    assert len(leads) == 2 * len(key.couplets)
    # each lead says something and ends in the number of another couplet or in a name
    names = "|".join(re.escape(name) for name in coded(source)["taxon"])
    ends = {place: re.fullmatch(rf"(.+?): (.+) ({names}|\d+)", words) for place, words in leads.items()}
    assert [leads[place] for place, end in ends.items() if end is None] == []
    to = [end[3] for end in ends.values()]
    numbers = {int(end) for end in to if end.isdigit()}
    assert numbers == set(range(2, len(key.couplets) + 1))
    assert {end for end in to if not end.isdigit()} == set(coded(source)["taxon"])
    # the two leads of a couplet are about the same trait, and do not say the same
    for number in range(1, len(key.couplets) + 1):
        a, b = ends[number, "a"], ends[number, "b"]
        assert a[1] == b[1]
        assert a[2] != b[2]


# -- beside scikit-learn's tree, where a table is crisp --------------------------------------------------


def crisp_parts(source):
    """Return, for each printed couplet, its kinds and the traits in which each of them has one state."""
    kinds = printed(source)["kinds"]
    table = coded(source).set_index("taxon")
    found = {}
    for couplet in printed(source)["couplets"]:
        names = [n for n, steps in paths(source) if any(s.number == couplet["number"] for s in steps)]
        part = table.loc[list(dict.fromkeys(names)), [t for t in table if kinds[t] == "nominal"]]
        part = part.loc[:, part.notna().all()]
        part = part.loc[:, ~part.apply(lambda c: c.str.contains("|", regex=False)).any().astype(bool)]
        part = part.loc[:, part.nunique() > 1]
        if part.shape[1] and len(part.drop_duplicates()) > 2:
            found[couplet["number"]] = part
    return found


def parts():
    return [pytest.param(p, id=f"{s}-{n}") for s in SOURCES for n, p in crisp_parts(s).items()]


@pytest.mark.filterwarnings("ignore:The number of unique classes")
@pytest.mark.parametrize("part", parts())
def test_crisp_part_beside_a_tree(part):
    key = idkey.build_key(idkey.TraitTable.from_frame(part.reset_index(), taxon="taxon"))
    x = pd.get_dummies(part).astype(float).to_numpy()
    tree = DecisionTreeClassifier(criterion="entropy", random_state=0).fit(x, np.arange(len(part)))
    nodes = np.asarray(tree.decision_path(x).sum(axis=1)).ravel()
    assert tree.get_n_leaves() == len(part.drop_duplicates())
    assert key.is_exact
    assert key.expected_questions() <= np.mean(nodes - 1) + 1e-9


def test_either_key_has_a_crisp_part():
    assert [s for s in SOURCES if crisp_parts(s)] == SOURCES
