"""The table that comes with the package: how much it holds, and that every cell says what its sources say."""

import itertools
import time
from collections import defaultdict

import pytest
from shipped import FOLDER, rows

from idkey.table.folder import load_table
from idkey.table.layout import shipped_folder
from idkey.table.schema import YOUNG, NotApplicable, Range, States, parse_cell

# Of each start trait of the plan: the kinds that a publication, article or page itself states it of, counted
# in the statements that were gathered from the works of sources.bib before the table was coded; and the same
# with the kinds added whose genus has such a statement that can be coded. The table can lack no more.
STATED = {
    "adult_size": (59, 78),
    "tail_fork": (16, 79),
    "fin_edging": (30, 62),
    "spot_size": (22, 22),
    "mouth_shape": (11, 81),
}

# Outside the core traits a value from memory is worse than a blank. The exceptions: two traits that are the
# same in the whole genus and that the literature takes for granted; what was concluded of a genus from kinds
# of it that a matrix codes, named in the note; and these cells, which say so in their notes.
MEMORY_TRAITS = {*STATED, "tooth_form", "jaw_angle"}
MEMORY_CELLS = {
    ("ancistrus_hoplogenys", "pattern"),
    ("ancistrus_macrophthalmus", "belly_spots"),
    ("leporacanthicus_joselimai", "ground_colour"),
    ("leporacanthicus_joselimai", "pattern"),
    ("leporacanthicus_joselimai", "spot_colour"),
    ("pseudancistrus_sidereus", "belly_spots"),
    ("pseudolithoxus_kinja", "belly_spots"),
    ("scobinancistrus_pariolispos", "pattern"),
    ("peckoltia_sabaji", "pattern"),
    ("peckoltia_sabaji", "spot_colour"),
}


# Which end a claim gives, and what is added to its figure; "more than" is entered from the figure itself.
ENDS = {"at most": ("high", 0), "or more": ("low", 0), "fewer than": ("high", -1), "more than": ("low", 0)}


def end_of(claim):
    """Return which end of a count a claim gives, and the figure, where it gives one end only."""
    for words, (end, step) in ENDS.items():
        if (number := claim.replace(words, "").strip()) != claim and number.isdecimal():
            return end, float(number) + step
    return None


@pytest.fixture(scope="module")
def claims() -> dict[tuple[str, str], list[dict[str, str]]]:
    """The claims behind each cell, worked out from the files alone: its own, then those of its genus."""
    found = defaultdict(list)
    for row in rows("evidence.csv"):
        found[row["taxon"] or row["genus"] or row["care_group"], row["attribute"]].append(row)
    applies = {row["id"]: row["applies_when"].partition("=")[0] for row in rows("traits.csv")}
    kinds, genera = rows("taxa.csv"), {row["genus"]: row for row in rows("genera.csv")}
    behind = defaultdict(list, found)
    for row in kinds:
        genus = genera.get(row["genus"], {})
        for column in genus.keys() - {"genus"}:
            if row[column] == "" and genus[column]:
                behind[row["id"], column] = [*found[row["id"], column], *found[row["genus"], column]]
    for row in kinds:
        for column, other in applies.items():
            if other and not behind[row["id"], column]:
                behind[row["id"], column] = [{**c, "value": "-"} for c in behind[row["id"], other]]
    return behind


@pytest.fixture(scope="module")
def filled(shipped) -> list[tuple[str, str]]:
    """Taxon and column of every filled trait cell."""
    return [place for place in itertools.product(shipped.ids, shipped.cells) if shipped.cell(*place)]


# -- size ------------------------------------------------------------------------------------------------


def test_it_is_the_folder_of_the_project_with_enough_kinds_and_traits(shipped):
    assert shipped_folder() == FOLDER
    assert shipped.ids == load_table(FOLDER).ids == tuple(row["id"] for row in rows("taxa.csv"))
    assert shipped.trait_ids == tuple(row["id"] for row in rows("traits.csv"))
    assert len(shipped.evidence) == len(rows("evidence.csv"))
    assert len(shipped.care) == len(rows("care.csv"))
    assert len(shipped) >= 50
    assert len(shipped.traits) >= 16
    assert sorted(t.id for t in shipped.traits if t.core) == sorted(STATED)
    for trait in shipped.trait_ids:  # each tells at least two kinds apart
        assert len({cell for cell in shipped.cells[trait] if isinstance(cell, (States, Range))}) >= 2, trait


@pytest.mark.parametrize("trait", STATED)
def test_core_traits_are_filled_where_the_sources_speak_and_for_every_hypancistrus(shipped, claims, trait):
    filled = {taxon for taxon in shipped.ids if shipped.cell(taxon, trait) is not None}
    stated = {
        taxon
        for taxon in filled
        for c in claims[taxon, trait]
        if c["class"] in ("read", "secondary") and c["scope"] == "species"
    }
    assert len(stated) >= STATED[trait][0]
    assert len(filled) >= STATED[trait][1]
    names = {taxon for taxon in shipped.ids if shipped.taxa.loc[taxon, "genus"] == "Hypancistrus"}
    assert len(names) >= 20
    assert trait == "spot_size" or names <= filled


def test_it_loads_fast():
    # Common practice: what takes longer than about a second is felt as waiting.
    start = time.process_time()
    load_table()
    assert time.process_time() - start < 1.5


# -- every cell says what its sources say ----------------------------------------------------------------


def test_every_filled_cell_is_the_union_or_the_hull_of_its_evidence(shipped, filled, claims):
    assert len(filled) >= 1000
    wrong, seen = [], 0
    for taxon, column in filled:
        trait, cell = shipped.trait_of(column), shipped.cell(taxon, column)
        if isinstance(cell, NotApplicable):
            continue
        followed = [c["value"] for c in claims[taxon, column] if not c["note"].startswith("Not followed")]
        if "plates present" in followed:  # how much is plated is another claim
            assert cell.names != ("naked",), taxon
            followed.remove("plates present")
        ends = {value: end_of(value) for value in followed}
        said = [parse_cell(trait, value) for value, end in ends.items() if end is None]
        if not said:  # one end is claimed, the other is a limit to work with
            assert ends, (taxon, column)
            assert all(getattr(cell, end) == number for end, number in ends.values()), (taxon, column)
            continue
        if isinstance(cell, States):
            right = {name for claim in said for name in claim.names} == set(cell.names)
        else:
            # The hull of ceilings (0 up to each record) is the ceiling of the largest record.
            right = Range(min(s.low for s in said), max(s.high for s in said)) == cell
            seen += 1
        if not right:
            wrong.append((taxon, column, cell, said))
    assert wrong == []
    assert seen >= 100


def test_what_holds_for_a_genus_is_said_once(shipped):
    """No claim about a genus is repeated for its kinds, save where a kind's cell is not that of its genus."""
    genus = {taxon: shipped.taxa.loc[taxon, "genus"] for taxon in shipped.ids}
    repeated = [
        (e["taxon"], e["attribute"])
        for e in rows("evidence.csv")
        if e["taxon"]
        and e["scope"] == "genus"
        and e["attribute"] in shipped.genera.get(genus[e["taxon"]], {})
    ]
    own = shipped.to_frame(own=True)
    assert [place for place in repeated if not own.loc[place]] == []
    assert len(repeated) <= 8
    assert {e["scope"] for e in rows("evidence.csv") if e["genus"]} == {"genus"}


def test_a_kind_is_not_known_in_spite_of_its_genus_where_it_is_said_to_differ(shipped):
    own = shipped.to_frame(own=True)
    places = [place for place in itertools.product(shipped.ids, shipped.cells) if own.loc[place] == "?"]
    # P. sidereus: its own description was read and says nothing of keels, and it may belong to another genus.
    sizes = [("panaqolus_orcesi", "adult_size"), ("panaqolus_pantostiktos", "adult_size")]
    assert sorted(places) == [*sizes, ("pseudancistrus_sidereus", "body_keels")]
    assert [shipped.cell(*place) for place in places] == [None] * 3


def test_a_trait_is_coded_where_it_applies_and_its_evidence_says_where_not(shipped, filled, claims):
    wrong, seen = [], 0
    for taxon, column in filled:
        cell, needs = shipped.cell(taxon, column), shipped.trait_of(column).applies_when
        other = needs and shipped.cell(taxon, needs[0])
        if isinstance(cell, NotApplicable):
            seen += 1
            values = {c["value"] for c in claims[taxon, column]}
            fine = values == {"-"} and set(needs[1]).isdisjoint(other.names)
        else:
            young = needs and needs[0] + YOUNG in shipped.cells and shipped.cell(taxon, needs[0] + YOUNG)
            shown = [c.names for c in (other, young) if isinstance(c, States)]
            fine = not isinstance(other, States) or set(needs[1]) & set(sum(shown, ()))
        if not fine:
            wrong.append((taxon, column))
    assert wrong == []
    assert seen >= 50


# -- the evidence itself ---------------------------------------------------------------------------------


def test_claims_stand_once_and_have_a_source_where_they_need_one():
    evidence = rows("evidence.csv")
    for e in evidence:
        assert bool(e["source"]) == (e["class"] in ("read", "secondary")), e
    assert len({tuple(e.values()) for e in evidence}) == len(evidence)


def test_every_source_resolves_and_can_be_cited_and_every_doi_looks_like_one(shipped):
    used = {e["source"] for e in rows("evidence.csv") if e["source"]}
    used |= {t["nameAccordingTo"] for t in rows("taxa.csv") if t["nameAccordingTo"]}
    assert used <= set(shipped.sources)
    for key in used:
        source = shipped.sources[key]
        assert source.key == key
        assert source.short
        assert source.full
        assert "{" not in source.short + source.full
    # DOI syntax: prefix 10.<registrant>/<suffix>, ISO 26324.
    dois = [s.doi for s in shipped.sources.values() if s.doi]
    assert len(dois) >= 20
    assert [d for d in dois if not d.startswith("10.") or "/" not in d or " " in d] == []


def test_memory_stands_alone_only_where_it_may(filled, claims):
    alone = {cell for cell in filled if {c["class"] for c in claims[cell]} == {"memory"}}
    others = {(taxon, column) for taxon, column in alone if column.removesuffix(YOUNG) not in MEMORY_TRAITS}
    inferred = {
        cell
        for cell in others
        if all(
            c["genus"] and "inferred from congeners coded in ARMBRUSTER2004M" in c["note"]
            for c in claims[cell]
        )
    }
    assert others - inferred == MEMORY_CELLS
    for cell in MEMORY_CELLS:
        assert all(c["note"] for c in claims[cell]), cell


def test_hypancistrus_that_the_sources_leave_open_are_rows_of_their_own(shipped):
    # TRADE_L102 against ARM2002; GLASER_L201A; TANARM2016 against INDOFISH_L404: not settled by the sources.
    named = ["inspector", "cf_inspector_l102", "contradens", "l201", "margaritatus", "l136", "l404"]
    assert {f"hypancistrus_{name}" for name in named} <= set(shipped.ids)


# -- values that papers print (Copeia and ZooKeys; see sources.bib for the full references) --------------


@pytest.mark.parametrize(
    ("taxon", "column", "text", "where"),
    [
        # Armbruster, Lujan & Taphorn 2007, Copeia 2007(1):62-79, abstract: spots of lunaorum are smaller than
        # the nasal aperture; those of contradens larger (TANARM2016: equal or larger).
        ("hypancistrus_lunaorum", "spot_vs_nostril", "smaller", "ARM2007"),
        ("hypancistrus_contradens", "spot_vs_nostril", "equal|larger", "ARM2007"),
        # Tan & Armbruster 2016, ZooKeys 552:123-135: phantasma has dark spots on tan ground.
        ("hypancistrus_phantasma", "pattern", "dark_spots", "TANARM2016"),
        # Armbruster 2002, Copeia 2002(1):86-92: inspector has light spots.
        ("hypancistrus_inspector", "pattern", "light_spots", "ARM2002"),
        # The contrasts of the abstract of Armbruster, Lujan & Taphorn 2007 again.
        ("hypancistrus_inspector", "belly_row_plates", "24", "ARM2007"),
        ("hypancistrus_contradens", "belly_row_plates", "22..23", "ARM2007"),
        ("hypancistrus_lunaorum", "belly_row_plates", "22..23", "ARM2007"),
        ("hypancistrus_inspector", "dorsal_reach", "gap", "ARM2007"),
        ("hypancistrus_lunaorum", "dorsal_reach", "reaches", "ARM2007"),
        ("hypancistrus_inspector", "head_spots", "smaller", "ARM2007"),
    ],
)
def test_printed_values(shipped, claims, taxon, column, text, where):
    assert shipped.cell(taxon, column) == parse_cell(shipped.trait(column), text)
    assert where in {c["source"] for c in claims[taxon, column]}
