"""A table looked over: the counts against a plain reading of the files, and small tables worked by hand."""

import re
from collections import Counter, defaultdict

import numpy as np
import pytest
from hypothesis import given
from shipped import TABLE
from shipped import rows as rows_of

from idkey import care_for
from idkey.model.review import BLANK, KNOWN, NOT_APPLICABLE, review
from idkey.table.claims import CLASSES, UNSOURCED

from .tables import nominal, table_of, tables, with_claims

TAIL = nominal("tail", ("forked", "straight"), effort=20, core=True)
SPOTS = nominal("spots", ("white", "gold"), effort=5)


@pytest.fixture(scope="module")
def shipped():
    return review(TABLE)


def plain_cells():
    """Each cell as the files have it: its own; else none, where it does not apply; else that of the genus."""
    rules = {t["id"]: t["applies_when"].partition("=")[::2] for t in rows_of("traits.csv")}
    genera = {row["genus"]: row for row in rows_of("genera.csv")}

    def cell(row, trait):
        other, states = rules[trait][0], rules[trait][1].split("|")
        if row[trait]:
            return row[trait].replace("?", ""), row["id"]
        shown = cell(row, other)[0] if other else ""
        if shown and not {state.partition(":")[0] for state in shown.split("|")} & set(states):
            return "-", ""
        return genera.get(row["genus"], {}).get(trait, ""), row["genus"]

    return {row["id"]: {trait: cell(row, trait) for trait in rules} for row in rows_of("taxa.csv")}


def test_coverage_is_what_the_files_hold(shipped):
    core = [t["id"] for t in rows_of("traits.csv") if t["core"] == "yes"]
    held = {taxon: {t: text for t, (text, _) in row.items()} for taxon, row in plain_cells().items()}
    for taxon, row in held.items():
        cells, found = list(row.values()), shipped.taxa.loc[taxon]
        blank, away = cells.count(""), cells.count("-")
        filled = len(cells) - blank - away
        assert (found["filled"], found["not_applicable"], found["blank"]) == (filled, away, blank)
        assert found["core_filled"] == sum(row[t] not in ("", "-") for t in core)
        assert found["core"] == len(core)
    for trait in shipped.grid.columns:
        assert shipped.traits.at[trait, "filled"] == sum(row[trait] not in ("", "-") for row in held.values())


def said(trait, text):
    """What a cell or a claim allows: a set of states, or of the ends of a range; None for free words."""
    if trait["states"]:
        states = {part.partition(":")[0] for part in text.split("|")}
        return states if states <= {*trait["states"].split("|")} else None
    if not re.fullmatch(r"[0-9.]+", text):
        return None
    low, _, high = text.partition("..")
    return {0.0 if trait["kind"] == "ceiling" else float(low), float(high or low)}


def within(trait, part, whole):
    if trait["states"] or not whole:
        return part <= whole
    return min(whole) <= min(part) <= max(part) <= max(whole)


def test_what_the_cells_rest_on_is_what_the_files_say(shipped):
    traits, behind = {t["id"]: t for t in rows_of("traits.csv")}, defaultdict(list)
    for claim in rows_of("evidence.csv"):
        if claim["attribute"] in traits and not claim["note"].startswith("Not followed"):
            value = said(traits[claim["attribute"]], claim["value"])
            behind[claim["taxon"] or claim["genus"], claim["attribute"]].append((claim, value))
    expected = Counter()
    for taxon, row in plain_cells().items():
        for name, (text, who) in row.items():
            if text not in ("", "-"):
                trait, cell = traits[name], said(traits[name], text)
                claims = [pair for about in {taxon, who} for pair in behind[about, name]]
                read = [(c, v) for c, v in claims if v is not None and within(trait, v, cell)]
                if not within(trait, cell, set().union(*(v for _, v in read))):
                    read += [(c, cell) for c, v in claims if v is None]
                for best in CLASSES:
                    strong = CLASSES[: CLASSES.index(best) + 1]
                    if within(trait, cell, set().union(*(v for c, v in read if c["class"] in strong))):
                        break
                assert shipped.grid.at[taxon, name] == best
                expected[best] += 1
                expected["one"] += len({c["source"] for c, _ in read} - {""}) < 2
    assert {c: int(shipped.taxa[c].sum()) for c in CLASSES} == {c: expected[c] for c in CLASSES}
    assert int(shipped.taxa["one_source"].sum()) == int(shipped.traits["one_source"].sum()) == expected["one"]
    assert not len(shipped.unsourced)


def test_the_strongest_claim_counts_and_sources_count_once():
    rows = {"k": "forked gold", "l": "- gold", "m": {"spots": "gold", "tail_young": "forked"}}
    claims = [
        ("k", "tail", "memory", "", {}),
        ("k", "tail", "secondary", "A", {}),
        ("k", "tail", "secondary", "A", {}),
        ("k", "tail", "common practice", "", {}),
        ("k", "spots", "secondary", "A", {"scope": "genus"}),
        ("k", "spots", "read", "B", {"scope": "genus"}),
        ("l", "spots", "memory", "", {"note": UNSOURCED}),
        ("m", "tail_young", "memory", "", {}),
    ]
    claims = ((t, a, "", {"class": c, "source": s} | more) for t, a, c, s, more in claims)
    found = review(with_claims(table_of([TAIL, SPOTS], rows), *claims))
    # A cell without any claim rests on memory; those of young fish are not in the grid.
    grid = [["secondary", "read"], [NOT_APPLICABLE, "memory"], [BLANK, "memory"]]
    assert found.grid.to_numpy().tolist() == grid
    cells = found.cells.set_index(["taxon", "column"])
    assert list(map(" ".join, cells.index)) == ["k tail", "k spots", "l spots", "m spots", "m tail_young"]
    assert cells["sources"].tolist() == [1, 2, 0, 0, 0]
    assert cells["genus_only"].tolist() == [False, True, False, False, False]
    assert found.unsourced[["taxon", "column"]].to_numpy().tolist() == [["l", "spots"], ["m", "spots"]]
    assert len(found.single_source) == 4
    assert found.taxa["one_source"].tolist() == [1, 1, 1]


@pytest.mark.parametrize(
    ("taxon", "trait", "value"),
    [
        ("ancistrus_leucostictus", "adult_size", 60),  # less than was read
        ("acanthicus_hystrix", "adult_size", 700),  # more
        ("hypancistrus_zebra", "pattern", "plain"),  # another state
        ("acanthicus_adonis", "pattern", "light_spots|plain|bars"),  # one more
        ("hemiancistrus_subviridis", "teeth_lower", "2..60"),  # what was read is in free words
    ],
)
def test_a_changed_cell_does_not_rest_on_what_was_read_of_it_before(shipped, taxon, trait, value):
    new = TABLE.with_cell(taxon, trait, value)
    found = new.review()
    assert shipped.grid.at[taxon, trait] in ("read", "secondary")
    assert found.grid.at[taxon, trait] == "memory"
    assert (taxon, trait) in [tuple(row) for row in found.unsourced[["taxon", "column"]].to_numpy()]
    # Nothing that was claimed before is lost, and none of the other cells rests on anything else.
    assert len(new.claims(taxon, trait)) == len(TABLE.claims(taxon, trait)) + 1
    assert int((found.grid != shipped.grid).to_numpy().sum()) == 1
    named = TABLE.with_cell(taxon, trait, value, source="ARM2002", evidence_class="secondary").review()
    assert named.grid.at[taxon, trait] == "secondary"
    assert not len(named.unsourced)


def test_care_weighs_the_classes_of_evidence_as_the_review():
    # the strongest first, as in the review above
    needs = [need for t in TABLE.ids[::5] for need in care_for(TABLE, t).attributes.values()]
    several = [need.classes for need in needs if len(need.classes) > 1]
    assert several
    for classes in several:
        assert list(classes) == sorted(classes, key=CLASSES.index)


def test_what_to_fill_next():
    # k and l are alike in their tails, and the spots of l are blank: were they white, k and l would be told;
    # of the kinds known (k gold, m white, n white) two of three are white.
    rows = {"k": "forked gold", "l": "forked", "m": "straight white", "n": "straight white"}
    (found,) = review(table_of([TAIL, SPOTS], rows)).fill_next.to_dict("records")
    wanted = {"taxon": "l", "trait": "spots", "untold": 1, "likely": pytest.approx(2 / 3), "effort_s": 5}
    assert found == wanted
    told = review(table_of([TAIL, SPOTS], {"k": "forked", "l": "straight"}))
    assert not len(told.untold)
    assert not len(told.fill_next)
    assert [w.trait.id for w in told.idle] == ["spots"]


@given(tables())
def test_every_cell_is_counted_once(table):
    found = review(table)
    grid = found.grid
    assert grid.shape == (len(table), len(table.traits))
    assert set(np.unique(grid.to_numpy(dtype=str))) <= {BLANK, NOT_APPLICABLE, KNOWN}
    for frame, across in ((found.taxa, len(table.traits)), (found.traits, len(table))):
        assert (frame[["filled", "not_applicable", "blank"]].sum(axis=1) == across).all()
        assert not frame[[*CLASSES, "one_source"]].to_numpy().any()
    assert found.taxa["filled"].sum() == sum(c.known.sum() for c in map(table.column, table.trait_ids))
    assert not len(found.single_source)
    # the pairs that no look tells are all counted
    assert len(found.untold) == len(table) * (len(table) - 1) // 2 - sum(w.best for w in found.worth)
    blanks = {(t, c) for t in table.ids for c in table.trait_ids if grid.at[t, c] == BLANK}
    filled_next = found.fill_next
    assert set(zip(filled_next["taxon"], filled_next["trait"], strict=True)) <= blanks
    assert (filled_next["likely"] <= filled_next["untold"] + 1e-9).all()
