"""What publications say tells whole genera apart, held against every kind of the table.

A diagnosis says something of the kinds of some genera, and by that of all the others that they lack it.
No cell of these genera may exclude it, and no cell outside may allow it, but for the exceptions: kinds of
which a source says otherwise. An exception has its source beside it, and the table must hold that claim. A
blank cell neither excludes nor allows. Where a diagnosis also stands behind the cells, this checks that the
table was filled as it says, and not the diagnosis itself.

Sources
-------
ARMLUJ2024
    Armbruster JW, Lujan NK (2024) New tribe-level classification of Hypostominae. Neotrop. Ichthyol.
    22(4):e240108. DOI 10.1590/1982-0224-2024-0108; diagnoses of Acanthicini and Hypostomini.
RPDZ2005
    Rapp Py-Daniel LH, Zuanon J (2005) Description of a new species of Parancistrus. Neotrop. Ichthyol.
    3(4):571-577. DOI 10.1590/S1679-62252005000400014; diagnosis of Parancistrus, p. 573.
CHAMON2014, CHAMON2016
    Chamon CC, Rapp Py-Daniel LH (2014) Taxonomic revision of Spectracanthicus. Neotrop. Ichthyol. 12(1):1-25.
    DOI 10.1590/S1679-62252014000100001. Chamon CC (2016) Redescription of Acanthicus hystrix. Zootaxa
    4088(3):395-408. DOI 10.11646/zootaxa.4088.3.5.
ARMBRUSTER2004M
    Armbruster JW (2004) Phylogenetic relationships of the suckermouth armoured catfishes. Zool. J. Linn. Soc.
    141(1):1-80. DOI 10.1111/j.1096-3642.2004.00109.x; its matrix: one to four kinds a genus are coded.
all other keys
    as in traits/sources.bib.
"""

from typing import NamedTuple

import pytest
from shipped import rows

from idkey.table.schema import Range, States, parse_cell

TRIBE = ("Acanthicus", "Leporacanthicus", "Megalancistrus", "Pseudacanthicus")
ANY_NUMBER = 10**6


class Diagnosis(NamedTuple):
    """What is said of genera, and of which kinds outside them (`but`) something else is said, and where."""

    trait: str
    says: str
    genera: tuple[str, ...]
    but: dict[str, str] = {}  # noqa: RUF012 - never changed


DIAGNOSES = {
    # RPDZ2005 p. 573: a membrane ties the last dorsal ray to the adipose fin in Parancistrus, Baryancistrus,
    # Spectracanthicus and kin. CHAMON2014 p. 2 and, for Baryancistrus, ARMBRUSTER2004Z p. 6 say the same.
    "joined fins": Diagnosis("dorsal_reach", "joined", ("Parancistrus", "Baryancistrus", "Spectracanthicus")),
    # ARMLUJ2024, diagnosis of the tribe: more than seven soft rays in the dorsal fin, else seven at most.
    "eight rays": Diagnosis(
        "dorsal_rays",
        f"8..{ANY_NUMBER}",
        TRIBE,
        {
            "Chaetostoma": "FISHWESTEC",  # page on C. bifurcum: eight or more
            "Pterygoplichthys": "ARMBRUSTER2004Z",  # p. 6: nine or more
            "Hypostomus": "USGS_PTER",  # 7 to 8, may count the last split ray
            "ancistrus_dolichopterus": "ORNCARE",  # species page: 9
            "ancistrus_maximus": "DESOUZA2019",  # p. 39, remarks on A. nudiceps: 8
            "ancistrus_nudiceps": "DESOUZA2019",  # p. 39: 8 in two fish of the Cuyuni
            "panaqolus_albivermis": "LUJAN2013",  # p. 197: 8 in one fish of four
            "pseudolithoxus_anthrax": "FISHBASE2013",  # morphology: 7 to 8
        },
    ),
    # ARMLUJ2024, diagnosis of the tribe: side plates with keels of long, stout bristles.
    "keels": Diagnosis("body_keels", "strong", TRIBE, {"Dekeyseria": "WIKIPEDIA_DEKEY"}),
    # ARMLUJ2024, diagnosis of Hypostomini: cheek plates turn out about 30 degrees and bear no long bristles.
    "short cheek bristles": Diagnosis(
        "cheek_spines",
        "short",
        ("Hypostomus",),
        {
            "spectracanthicus_murinus": "CHAMON2014",  # p. 4: the plates cannot be spread
            "Pseudancistrus": "ARMLUJ2024",  # the same place: cannot be spread, but in P. sidereus
            "pseudancistrus_sidereus": "ARMBRUSTER2004Z",  # p. 10: short and weak, but they turn out
        },
    ),
    # CHAMON2016 p. 396-397: no adipose fin.
    "no adipose fin": Diagnosis(
        "adipose_fin",
        "absent",
        ("Acanthicus",),
        {
            "ancistrus_macrophthalmus": "DESOUZA2019",  # p. 34: its spine is there or not
            "ancistrus_saudades": "DESOUZA2019",  # p. 47: the same
            "guyanancistrus_brevispinis": "ARMBRUSTER2004M",  # char. 137
        },
    ),
    # Memory: that two long fangs in the upper jaw are found in Leporacanthicus alone is read nowhere. The
    # matrix (char. 205 ff.) codes large teeth; "fangs" is a word of this table.
    "fangs": Diagnosis("tooth_form", "fangs", ("Leporacanthicus",)),
}

# ARMBRUSTER2004M char. 69, angle of the lower jaws: acute or right, against oblique. Kinds as they are coded.
NARROW = (
    *("hypancistrus_inspector", "hypancistrus_zebra", "leporacanthicus_galaxias", "panaqolus_albomaculatus"),
    *(
        "panaqolus_maccus",
        "panaque_nigrolineatus",
        "pseudacanthicus_leopardus",
        "scobinancistrus_pariolispos",
    ),
    *("spectracanthicus_murinus", "spectracanthicus_punctatissimus"),
)
WIDE = (
    *("acanthicus_hystrix", "baryancistrus_niveatus", "pseudolithoxus_anthrax", "pterygoplichthys_gibbiceps"),
    *("guyanancistrus_brevispinis", "lithoxancistrus_orinoco"),
)


def genus_of(table, taxon):
    return table.taxa.loc[taxon, "genus"]


def meets(cell, said):
    """Whether a cell allows what is said."""
    if isinstance(cell, States):
        return not set(cell.names).isdisjoint(said.names)
    return cell.low <= said.high and said.low <= cell.high


def lies_within(cell, said):
    """Whether a cell says the same or more."""
    if isinstance(cell, States):
        return set(cell.names) <= set(said.names)
    return said.low <= cell.low and cell.high <= said.high


def held(table, diagnosis, kinds, test):
    """Return the kinds by what a test of cell and diagnosis gives; None where the cell says nothing."""
    said = parse_cell(table.trait_of(diagnosis.trait), diagnosis.says)
    cells = {kind: table.cell(kind, diagnosis.trait) for kind in kinds}
    return {kind: test(c, said) if isinstance(c, (States, Range)) else None for kind, c in cells.items()}


@pytest.mark.parametrize("name", DIAGNOSES)
def test_no_cell_excludes_what_the_diagnosis_of_its_genus_says(shipped, name):
    diagnosis = DIAGNOSES[name]
    inside = [t for t in shipped.ids if genus_of(shipped, t) in diagnosis.genera]
    found = held(shipped, diagnosis, inside, meets)
    assert {genus_of(shipped, t) for t in inside} == set(diagnosis.genera)
    assert [t for t, fine in found.items() if fine is False] == []
    assert any(found.values())


@pytest.mark.parametrize("name", DIAGNOSES)
def test_no_kind_outside_has_it_but_those_of_which_a_source_says_so(shipped, name):
    diagnosis = DIAGNOSES[name]
    outside = [t for t in shipped.ids if genus_of(shipped, t) not in diagnosis.genera]
    having = {t for t, fine in held(shipped, diagnosis, outside, meets).items() if fine}
    assert {t if t in diagnosis.but else genus_of(shipped, t) for t in having} == set(diagnosis.but)
    for about, source in diagnosis.but.items():
        claims = [c for c in rows("evidence.csv") if about in (c["taxon"], c["genus"])]
        assert (diagnosis.trait, source) in {(c["attribute"], c["source"]) for c in claims}, about


def test_jaws_nearly_in_line_side_by_side_are_those_of_panaqolus(shipped):
    # CRAMER2015 couplets 2 and 8; LUJAN2013, diagnosis: parallel in P. albivermis.
    found = {t for t in shipped.ids if "parallel" in getattr(shipped.cell(t, "jaw_angle"), "names", ())}
    assert {genus_of(shipped, t) for t in found} == {"Panaqolus"}
    assert "panaqolus_albivermis" in found


def test_each_kind_of_a_genus_has_the_jaws_of_its_coded_kind(shipped):
    # ARMBRUSTER2004M char. 69. Cells of kinds that are not coded rest on memory: inferred from the coded.
    # ARMBRUSTER2008 names Peckoltia sabaji among five exceptions to its genus, which is not in these lists.
    for coded, wide in ((NARROW, False), (WIDE, True)):
        genera = {genus_of(shipped, t) for t in coded}
        cells = {t: shipped.cell(t, "jaw_angle") for t in shipped.ids if genus_of(shipped, t) in genera}
        assert all(cells[t] for t in coded)
        assert [t for t, cell in cells.items() if cell and ("wide" in cell.names) != wide] == []


def test_keels_and_rays_of_the_tribe_are_said_without_doubt(shipped):
    # ARMLUJ2024: both hold for all of the tribe, so that one look or one count tells it from Hypancistrus.
    for name in ("keels", "eight rays"):
        diagnosis = DIAGNOSES[name]
        inside = [t for t in shipped.ids if genus_of(shipped, t) in TRIBE]
        assert all(held(shipped, diagnosis, inside, lies_within).values())
        plain = [t for t in shipped.ids if genus_of(shipped, t) == "Hypancistrus"]
        assert not any(held(shipped, diagnosis, plain, meets).values())


@pytest.mark.parametrize(
    ("kinds", "trait", "says"),
    [
        # CHAMON2014 p. 2: at most 25 upper teeth a side in Spectracanthicus, more in Baryancistrus
        ("Spectracanthicus", "teeth_upper", "0..25"),
        ("Baryancistrus", "teeth_upper", f"26..{ANY_NUMBER}"),
        # WERNEKE2005a, abstract: two fish sold under one code
        ("hemiancistrus_subviridis", "teeth_upper", "0..29"),
        ("hemiancistrus_subviridis", "dorsal_reach", "gap|reaches"),
        ("baryancistrus_demantoides", "teeth_upper", f"31..{ANY_NUMBER}"),
        ("baryancistrus_demantoides", "teeth_lower", f"31..{ANY_NUMBER}"),
        # COLLINS2015, note on identification: flat, snout plated without tentacles, no keels, over 20 teeth
        ("Pseudolithoxus", "body_depth", "flat"),
        ("Pseudolithoxus", "snout_tentacles", "none"),
        ("Pseudolithoxus", "body_keels", "none"),
        ("Pseudolithoxus", "teeth_lower", f"21..{ANY_NUMBER}"),
        # ARMBRUSTER2005L, diagnosis: more than 30 teeth, whisker-like bristles on the cheek
        ("Lasiancistrus", "teeth_lower", f"30..{ANY_NUMBER}"),
        ("Lasiancistrus", "cheek_spines", "long"),
        # ARMBRUSTER2004Z p. 6-8: disc about as wide as the head, plates to the edge of the snout
        ("Pseudancistrus", "mouth_shape", "wide"),
        ("Pseudancistrus", "snout_tentacles", "none"),
        # DESOUZA2019 p. 8-9, couplet 2
        ("ancistrus_lithurgicus", "body_depth", "flat"),
        ("ancistrus_macrophthalmus", "body_depth", "flat"),
        ("ancistrus_nudiceps", "body_depth", "normal"),
        ("ancistrus_patronus", "body_depth", "normal"),
    ],
)
def test_a_cell_says_what_the_diagnosis_says_or_nothing(shipped, kinds, trait, says):
    found = held(
        shipped,
        Diagnosis(trait, says, ()),
        [t for t in shipped.ids if kinds in (t, genus_of(shipped, t))],
        lies_within,
    )
    assert found
    assert [t for t, fine in found.items() if fine is False] == []
