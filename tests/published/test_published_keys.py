"""Two published keys, coded couplet by couplet, against the matcher and the key builder.

Sources
-------
CRAMER2015
    Cramer CA, Rapp Py-Daniel LH (2015) A new species of Panaqolus from the rio Madeira basin with
    remarkable intraspecific color variation. Neotropical Ichthyology 13(3):461-470; key on p. 468-469.
    DOI 10.1590/1982-0224-20140099
DESOUZA2019
    de Souza LS, Taphorn DC, Armbruster JW (2019) Review of Ancistrus from the northwestern Guiana Shield,
    Orinoco Andes, and adjacent basins with description of six new species. Zootaxa 4552(1):1-67;
    key on p. 8-9. DOI 10.11646/zootaxa.4552.1.1

How the couplets were coded, as data in this folder and nothing chosen to suit this package, CODING.md says.
Should a check fail, mend the package, not the coding, unless the coding departs from the printed key.
"""

import itertools
import json
import re
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from answered import answered
from sklearn.tree import DecisionTreeClassifier

import idkey

HERE = Path(__file__).parent
NONE = "none of these"
KEYS = {
    "CRAMER2015": "panaqolus_cramer2015",  # Neotrop. Ichthyol. 13(3):468-469
    "DESOUZA2019": "ancistrus_desouza2019",  # Zootaxa 4552(1):8-9
}


# -- the printed keys as data ----------------------------------------------------------------------------


@cache
def printed(source):
    """Return the printed key as it stands in the JSON file."""
    return json.loads((HERE / f"{KEYS[source]}_couplets.json").read_text(encoding="utf-8"))


@cache
def coded(source):
    """Return the coded table: text cells, NaN where the key does not say."""
    return pd.read_csv(HERE / f"{KEYS[source]}.csv", dtype=str)


def lead_of(source, number, lead):
    return next(c for c in printed(source)["couplets"] if c["number"] == number)[lead]


def paths(source, number=1, steps=()):
    """Return every way from couplet 1 to a name, as (name, steps); a step is (couplet, lead)."""
    found = []
    for lead in "ab":
        here = (*steps, (number, lead))
        to = lead_of(source, number, lead)["to"]
        found += paths(source, to, here) if isinstance(to, int) else [(to, here)]
    return found


# -- a small reader of cells, on purpose not the package's own -------------------------------------------


def states(text):
    return frozenset(text.split("|"))


def span(text):
    low, high = text.split("..")
    return float(low), float(high)


def narrower(kind, one, other):
    """Return what two statements about the same fish leave together."""
    if kind == "nominal":
        kept = states(one) & states(other)
        assert kept, (one, other)
        return "|".join(s for s in one.split("|") if s in kept)
    if kind == "ceiling":
        return min(one, other, key=float)
    (a, b), (c, d) = span(one), span(other)
    assert max(a, c) <= min(b, d), (one, other)
    low = one.split("..")[0] if a >= c else other.split("..")[0]
    high = one.split("..")[1] if b <= d else other.split("..")[1]
    return f"{low}..{high}"


def said_on(source, steps):
    """Return what all the leads of a path say together: trait -> cell text."""
    kinds, total = printed(source)["kinds"], {}
    for step in steps:
        for trait, text in lead_of(source, *step)["says"].items():
            total[trait] = narrower(kinds[trait], total[trait], text) if trait in total else text
    return total


def fits_answer(kind, cell, answer):
    """Whether one answer about a fish agrees with a cell or with a lead."""
    if kind == "nominal":
        return answer in states(cell)
    if kind == "ceiling":
        return answer <= float(cell)
    low, high = span(cell)
    return low <= answer <= high


def fits_row(kind, said, cell):
    """Whether a kind with this cell can be meant by a lead that says this."""
    if kind == "nominal":
        return bool(states(said) & states(cell))
    if kind == "ceiling":
        return float(cell) <= float(said)
    (a, b), (low, high) = span(cell), span(said)
    return low <= a and b <= high


def walk(source, agrees):
    """Return the names reached from couplet 1, taking every lead whose statements all agree."""
    ends, waiting = set(), [1]
    while waiting:
        number = waiting.pop()
        for lead in "ab":
            taken = lead_of(source, number, lead)
            if all(agrees(trait, text) for trait, text in taken["says"].items()):
                if isinstance(taken["to"], int):
                    waiting.append(taken["to"])
                else:
                    ends.add(taken["to"])
    return ends


def walk_answers(source, answers):
    kinds = printed(source)["kinds"]
    return walk(source, lambda t, said: t not in answers or fits_answer(kinds[t], said, answers[t]))


def walk_row(source, row):
    kinds = printed(source)["kinds"]
    return walk(source, lambda t, said: pd.isna(row[t]) or fits_row(kinds[t], said, row[t]))


def answers_for(source, steps):
    """Return every set of answers a path allows: each state in turn, a range by its middle.

    A largest size is answered with a fish of half that length.
    """
    kinds, options = printed(source)["kinds"], {}
    for trait, text in said_on(source, steps).items():
        if kinds[trait] == "nominal":
            options[trait] = text.split("|")
        else:
            options[trait] = [float(text) / 2 if kinds[trait] == "ceiling" else sum(span(text)) / 2]
    return [dict(zip(options, values, strict=True)) for values in itertools.product(*options.values())]


def not_contradicted(source, answers):
    """Return the kinds of the coded table that no answer contradicts; a blank contradicts nothing."""
    kinds = printed(source)["kinds"]
    return {
        row["taxon"]
        for _, row in coded(source).iterrows()
        if all(pd.isna(row[t]) or fits_answer(kinds[t], row[t], x) for t, x in answers.items())
    }


def cases():
    """Return one case for each species, path and set of answers."""
    made = []
    for source in KEYS:
        for name, steps in paths(source):
            way = "-".join(f"{number}{lead}" for number, lead in steps)
            for i, answers in enumerate(answers_for(source, steps), start=1):
                label = f"{source}-{name.replace(' ', '_')}-{way}-{i}"
                made.append(pytest.param(source, name, steps, answers, id=label))
    return made


every_path = pytest.mark.parametrize(("source", "name", "steps", "answers"), cases())
every_key = pytest.mark.parametrize("source", list(KEYS))


# -- the coding: the printed keys agree with themselves --------------------------------------------------


def measures(couplets, ends):
    """Return what is measured of a key: its couplets, and (names, couplets read) of its ends.

    The couplets read to reach a name are the mean over species, of which one with several ends counts as
    their mean, and the most for any end.
    """
    steps = {}
    for names, depth in ends:
        for name in names:
            steps.setdefault(name, []).append(depth)
    return {
        "couplets": couplets,
        "ends": len(ends),
        "species": len(steps),
        "mean": float(np.mean([np.mean(depths) for depths in steps.values()])),
        "most": max(depth for _, depth in ends),
    }


def measures_printed(source):
    ways = [((name,), len(steps)) for name, steps in paths(source)]
    return measures(len(printed(source)["couplets"]), ways)


@pytest.mark.parametrize(
    ("source", "counted"),
    [
        # CRAMER2015 p. 468-469, DOI 10.1590/1982-0224-20140099; counted on the printed key
        ("CRAMER2015", {"couplets": 9, "ends": 10, "species": 10, "mean": 38 / 10, "most": 6}),
        # DESOUZA2019 p. 8-9, DOI 10.11646/zootaxa.4552.1.1; A. triradiatus keys out twice, by 5 and 6 steps
        ("DESOUZA2019", {"couplets": 13, "ends": 14, "species": 13, "mean": 54.5 / 13, "most": 6}),
    ],
)
def test_size_of_the_printed_key(source, counted):
    assert measures_printed(source) == pytest.approx(counted)
    assert [c["number"] for c in printed(source)["couplets"]] == list(range(1, counted["couplets"] + 1))
    assert len(coded(source)) == counted["species"]
    assert sum(len(steps) for _, steps in paths(source)) == {"CRAMER2015": 38, "DESOUZA2019": 60}[source]


@every_key
def test_leads_of_a_couplet_are_coded_apart(source):
    kinds = printed(source)["kinds"]
    for couplet in printed(source)["couplets"]:
        a, b = couplet["a"]["says"], couplet["b"]["says"]
        shared = [t for t in a if t in b]
        assert shared, couplet["number"]
        assert any(kinds[t] == "nominal" and not states(a[t]) & states(b[t]) for t in shared) or any(
            kinds[t] == "measure" and not fits_row("measure", a[t], b[t]) for t in shared
        ), couplet["number"]


@every_key
def test_table_holds_what_the_couplets_say_and_no_more(source):
    # CRAMER2015 p. 468-469; DESOUZA2019 p. 8-9
    key = printed(source)
    expected = {}
    for name, steps in paths(source):
        cells = expected.setdefault(name, {})
        for trait, text in said_on(source, steps).items():
            cells.setdefault(trait, set()).update([text] if "|" not in text else text.split("|"))
    for name, extra in key["named"].items():
        for trait, text in extra["says"].items():
            expected[name].setdefault(trait, set()).update(text.split("|"))
    table = coded(source).set_index("taxon")
    assert list(table.columns) == list(key["kinds"])
    got = {
        name: {t: set(cell.split("|")) for t, cell in row.items() if not pd.isna(cell)}
        for name, row in table.iterrows()
    }
    assert got == expected


@every_path
def test_printed_key_leads_its_own_answers_home(source, name, steps, answers):
    assert name in not_contradicted(source, answers)
    assert walk_answers(source, answers) == {name}


@every_key
def test_printed_key_leads_every_row_home(source):
    # CRAMER2015 p. 468-469; DESOUZA2019 p. 8-9
    for name, row in coded(source).set_index("taxon").iterrows():
        assert walk_row(source, row) == {name}


def test_large_fish_with_banded_fins_need_the_river():
    # CRAMER2015 p. 468, couplets 1 and 5: large P. purusiensis keep bands on the fins only, and without the
    # river couplet 5 then sends them to P. nocturnus as well
    row = coded("CRAMER2015").set_index("taxon").loc["Panaqolus purusiensis"].drop("river")
    row["river"] = None
    assert walk_row("CRAMER2015", row) == {"Panaqolus purusiensis", "Panaqolus nocturnus"}


def test_the_kind_that_keys_out_twice():
    # DESOUZA2019 p. 9, couplets 10 and 13: with and without white spots on the belly
    ways = [steps for name, steps in paths("DESOUZA2019") if name == "Ancistrus triradiatus"]
    assert [steps[-1][0] for steps in ways] == [10, 13]
    row = coded("DESOUZA2019").set_index("taxon").loc["Ancistrus triradiatus"]
    assert states(row["belly_spots"]) == {"absent", "present"}


# -- the package against the printed keys ----------------------------------------------------------------


@cache
def trait_table(source):
    return idkey.TraitTable.from_frame(coded(source), taxon="taxon", kinds=printed(source)["kinds"])


@cache
def built_key(source):
    return idkey.build_key(trait_table(source))


@cache
def nearest_match(source):
    return idkey.NearestMatch().fit(trait_table(source))


def check_first(source, name, answers, ranking):
    """Check that the species leads, tied only with kinds the printed key reaches by the same answers."""
    probability = ranking.set_index("taxon")["probability"]
    assert probability.sum() == pytest.approx(1)
    assert set(probability.index) - {NONE} == set(coded(source)["taxon"])
    names = probability.drop(NONE, errors="ignore")
    assert list(names) == sorted(names, reverse=True)
    first = set(names.index[names >= names.max() * (1 - 1e-9)])
    assert name in first
    assert first <= walk_answers(source, answers)
    assert names[name] > probability.get(NONE, 0.0)
    # no kind that every answer allows may be ruled out
    assert all(names[other] > 0 for other in not_contradicted(source, answers))


@every_path
def test_identification_names_the_species(source, name, steps, answers):
    # CRAMER2015 p. 468-469; DESOUZA2019 p. 8-9: answered in the printed order, and at once
    check_first(source, name, answers, answered(trait_table(source), answers).ranking())
    check_first(source, name, answers, nearest_match(source).rank(answers))


@every_path
def test_built_key_keeps_the_species(source, name, steps, answers):
    # CRAMER2015 p. 468-469; DESOUZA2019 p. 8-9: after each couplet of the path, nothing is lost that the
    # answers so far allow
    for reached in range(1, len(steps) + 1):
        traits = said_on(source, steps[:reached])
        so_far = {trait: answers[trait] for trait in traits}
        assert not_contradicted(source, so_far) <= set(built_key(source).classify(so_far))
    assert name in built_key(source).classify(answers)


# -- a printed key beside the built one ------------------------------------------------------------------
# All traits cost the same here and all kinds weigh the same. Every printed couplet has a trait that is known
# of all kinds still in play (couplet 5 of CRAMER2015 by the river, as large P. purusiensis vary in their
# bands), so a key as short as the printed one exists.


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


@every_key
def test_built_key_beside_the_printed_one(source):
    key, given = built_key(source), measures_printed(source)
    ends = ends_of(key)
    built = measures(len(key.couplets), ends)
    assert built["species"] == given["species"]
    assert built["mean"] <= given["mean"] + 1e-9
    assert key.questions <= given["mean"] + 1e-9
    assert built["most"] <= given["most"]
    # a kind that varies or is blank in a trait may stand at several ends, each a couplet more
    assert 1 <= built["couplets"] <= given["couplets"] + built["ends"] - built["species"]
    # every species is told alone, as in the printed key
    assert all(len(names) == 1 for names, _ in ends)


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
        names = [n for n, steps in paths(source) if any(number == couplet["number"] for number, _ in steps)]
        part = table.loc[list(dict.fromkeys(names)), [t for t in table if kinds[t] == "nominal"]]
        part = part.loc[:, part.notna().all()]
        part = part.loc[:, ~part.apply(lambda c: c.str.contains("|", regex=False)).any().astype(bool)]
        part = part.loc[:, part.nunique() > 1]
        if part.shape[1] and len(part.drop_duplicates()) > 2:
            found[couplet["number"]] = part
    return found


def parts():
    return [pytest.param(p, id=f"{s}-{n}") for s in list(KEYS) for n, p in crisp_parts(s).items()]


@pytest.mark.filterwarnings("ignore:The number of unique classes")
@pytest.mark.parametrize("part", parts())
def test_crisp_part_beside_a_tree(part):
    key = idkey.build_key(idkey.TraitTable.from_frame(part.reset_index(), taxon="taxon"))
    x = pd.get_dummies(part).astype(float).to_numpy()
    tree = DecisionTreeClassifier(criterion="entropy", random_state=0).fit(x, np.arange(len(part)))
    nodes = np.asarray(tree.decision_path(x).sum(axis=1)).ravel()
    assert tree.get_n_leaves() == len(part.drop_duplicates())
    assert key.is_exact
    assert key.questions <= np.mean(nodes - 1) + 1e-9


def test_either_key_has_a_crisp_part():
    assert [s for s in list(KEYS) if crisp_parts(s)] == list(KEYS)
