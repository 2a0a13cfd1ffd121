"""The shipped care sheets: every cell reads, is backed, and keeps to what the sources say."""

import pytest
from care_tables import ATTRIBUTES, FOR_EVERY_FISH

from idkey import care_for
from idkey.care.needs import read_cell, sentences

# Ranges that the sources bear out, by care group or kind; of what is not here no source gives any.
WATER = {  # temperature in °C, pH
    "hypancistrus": ((23, 29), (5.8, 7.0)),  # FRWIKI_HYP, info box
    "hypancistrus_xingu": ((26, 30), (5.8, 7.2)),  # ENCYC3 p.132; AQWORLD2014 p.21; pH to 7.2 AQBREEDER_L260
    "hypancistrus_zebra": ((26, 30), (6.5, 7.0)),  # ENCYC3 p.132; pH HANDWIKI_ZEBRA
    "hypancistrus_seideli": ((26, 30), (5.8, 7.0)),  # AQWORLD2014 p.21 (L066)
    "hypancistrus_l260": ((26, 30), (5.0, 7.2)),  # AQBREEDER_L260; pH from AQFACH2016, river 5.0-6.0
    "panaqolus": ((23, 29), (6.0, 7.6)),  # FTA_PM 23-28, pH 6.8-7.6; WANNINGER2006 28-29, pH 6.0-6.5
    "panaqolus_maccus": ((23, 28), (6.8, 7.6)),  # FTA_PM
    "panaque panaque_nigrolineatus": ((22, 28), (6.5, 7.5)),  # MAB_ROYAL
    # FAUNA_LHET and FAUNA_L007, header and habitat; pH DISZHAL_L029
    "leporacanthicus leporacanthicus_galaxias": ((26, 30), (5.6, 7.0)),
    "leporacanthicus_heterodon": ((26, 30), None),  # FAUNA_LHET
    "pseudacanthicus": ((25, 29), (5.5, 7.5)),  # OTF_L024; pH PETWIKI_LEO
    "pseudacanthicus_leopardus": ((24, 28), (5.5, 7.5)),  # PETWIKI_LEO
    "pseudacanthicus_pitanga": ((25, 29), (6.5, 7.5)),  # OTF_L024
    "scobinancistrus scobinancistrus_aureatus": ((26, 32), (6.0, 7.5)),  # FAUNA_L014; pH AAF_L014 (weak)
    "baryancistrus baryancistrus_xanthellus": ((27, 32), (6.4, 7.6)),  # SF_L081
    "parancistrus": ((27, 30), None),  # FAUNA_PA; no pH found
    "hemiancistrus hemiancistrus_l128": ((24, 28), (6.0, 7.5)),  # TROPFISHCO_L128 (seller)
    "spectracanthicus spectracanthicus_punctatissimus": ((26, 29), (6.0, 7.2)),  # TROPFISHCO_L030 (seller)
    "ancistrus": ((23, 28), None),  # AMAZONAS_CLARO p.85, ENCYC3 p.132, ENVLIT_BN; no pH found for the genus
    "ancistrus_dolichopterus": ((23, 25), None),  # ENCYC3 p.132; its single pH is no limit
    "acanthicus acanthicus_hystrix": ((23, 30), (6.0, 7.5)),  # SF_ADONIS, SF_HYSTRIX
    "acanthicus_adonis": ((23, 30), None),  # SF_ADONIS
    "megalancistrus megalancistrus_parananus": ((20, 28), (6.0, 7.5)),  # SF_MEGA
    "pterygoplichthys pterygoplichthys_gibbiceps": ((24, 30), (6.5, 7.8)),  # TFWF_PG
}
NOT_FOUND = {"peckoltia", "chaetostoma", "hypostomus", "pseudolithoxus", "hopliancistrus"}
# Groups of genera for which no care source was read: common practice, after their relatives.
LENT = {"pseudancistrus", "lasiancistrus", "dekeyseria", "guyanancistrus", "lithoxancistrus"}
WATER[" ".join(sorted(LENT))] = ((26, 28), None)
BROODS = {  # eggs, days to hatch
    "hypancistrus hypancistrus_xingu": ((6, 12), (5, 12)),  # WOKO_ZUCHT, L46W_ZUCHT; SAF_BRUT, cave brooders
    "hypancistrus_zebra": (None, (7, 10)),  # L46W_ZUCHT about 7 days at 29 °C; XZHBC 7-10
    "leporacanthicus_l240_l241": ((100, 100), None),  # L240_BERICHT, about 100
    "spectracanthicus_murinus": ((1, 9), None),  # BSSW_SMUR, under 10
    "ancistrus": ((20, 200), (4, 10)),  # ENVLIT_BN 20-100, SELECTAQ_BN 150-200; AQCONSEILS
    "ancistrus_dolichopterus": ((70, 100), (4, 5)),  # WOKO_ZUCHT
}
UP_TO_12_CM = """
hypancistrus_debilittera hypancistrus_l004_group hypancistrus_l201 hypancistrus_l316 hypancistrus_l471
hypancistrus_margaritatus hypancistrus_phantasma hypancistrus_vandragti hypancistrus_yudja
"""
TANKS = {  # length and width in cm, volume for one and for a group in L
    UP_TO_12_CM: (None, None, 120, None),  # FRWIKI_HYP, for the genus: given to its small kinds alone
    "hypancistrus_zebra": (None, None, 115, None),  # HANDWIKI_ZEBRA, 30 US gal
    "hypancistrus_l260": (None, None, 60, 75),  # AQBREEDER_L260; ICFP_L260, a pair in 75-115 L
    "panaqolus": (None, None, 76, 160),  # FTA_PM, P. maccus; ASOV_L002, six L002
    "panaqolus_maccus": (None, None, 76, None),  # FTA_PM
    "panaque panaque_nigrolineatus": (None, None, 473, None),  # MAB_ROYAL, 125 US gal
    "leporacanthicus leporacanthicus_galaxias": (None, None, 200, 350),  # DISZHAL_L029, a pair in 350 L
    "leporacanthicus_heterodon": (100, None, None, None),  # FAUNA_LHET
    "leporacanthicus_l240_l241": (None, None, 300, None),  # GTV_L240
    "pseudacanthicus_pitanga": (None, None, 375, None),  # OTF_L024
    "pseudacanthicus_leopardus": (None, None, 300, None),  # PETWIKI_LEO
    "baryancistrus baryancistrus_xanthellus": (120, 45, 240, None),  # SF_BX; FISHYWIKI_L081
    "spectracanthicus_murinus": (80, 35, None, 80 * 35 * 40 / 1000),  # BSSW_SMUR, 80 x 35 x 40 cm for five
    "ancistrus": (None, None, 75, 75),  # ENVLIT_BN, a pair
    "acanthicus acanthicus_adonis acanthicus_hystrix": (600, 200, None, None),  # SF_ADONIS, SF_HYSTRIX
    "pterygoplichthys pterygoplichthys_gibbiceps": (None, None, 473, None),  # MERIFISH_PG, 125 US gal
}
# Groups of fish of rapids, which go by the house target for oxygen.
RAPIDS = """
hypancistrus hypancistrus_xingu leporacanthicus pseudacanthicus scobinancistrus baryancistrus parancistrus
hemiancistrus spectracanthicus acanthicus chaetostoma pseudolithoxus hopliancistrus
pseudancistrus lasiancistrus dekeyseria guyanancistrus lithoxancistrus
"""


@pytest.fixture(scope="module")
def rows(shipped):
    """Kind or care group -> its row of care.csv."""
    return {row["taxon"] or row["care_group"]: row for row in shipped.care.to_dict("records")}


@pytest.fixture(scope="module")
def backed(shipped, rows):
    """Every filled cell: its row, its column, the claims it goes by, and those that were set aside."""
    claims = {}
    for c in shipped.evidence.to_dict("records"):
        aside = c["note"].startswith("Not followed")
        claims.setdefault((c["taxon"] or c["care_group"], c["attribute"]), ([], []))[aside].append(c)
    return [
        (row, column, *claims.get((name, column), ([], [])))
        for name, row in rows.items()
        for column in ATTRIBUTES
        if row[column]
    ]


def by_name(sourced):
    return {name: values for names, values in sourced.items() for name in names.split()}


def test_every_care_group_has_a_row_and_every_kind_a_sheet_that_says_a_caution_once(shipped, rows):
    groups = {name for name, row in rows.items() if not row["taxon"]}
    assert groups == {*by_name(WATER), *NOT_FOUND, "all"} - set(shipped.ids)
    assert len(rows) == len(shipped.care)
    assert set(shipped.taxa["careGroup"]) <= groups
    assert all(
        row["care_group"] == shipped.taxa.at[t, "careGroup"] for t, row in rows.items() if row["taxon"]
    )
    assert tuple(column for column in ATTRIBUTES if rows["all"][column]) == FOR_EVERY_FISH
    assert all(len(sentences(rows["all"][column])) <= 4 for column in FOR_EVERY_FISH)
    for taxon in shipped.ids:
        assert set(ATTRIBUTES) <= set(care_for(shipped, taxon).attributes)
        told = [
            sentence
            for place in ("all", shipped.taxa.at[taxon, "careGroup"], taxon)
            for column in (*FOR_EVERY_FISH, "cautions")
            for sentence in sentences(rows.get(place, {}).get(column, ""))
        ]
        assert len(told) == len(set(told)), taxon


def test_every_cell_is_backed_and_what_was_set_aside_says_why(shipped, rows, backed):
    for row, column, followed, aside in backed:
        assert followed, (row["care_group"], row["taxon"], column)
        assert all(len(claim["note"]) > len("Not followed: ") for claim in aside), aside
        if row["taxon"] and row[column] == rows[row["care_group"]][column]:
            # What is the same as for the group is told of the kind itself.
            assert any(c["source"] and c["scope"] == "species" for c in followed), (row["taxon"], column)
    assert sum(len(aside) for *_, aside in backed) > 20


def test_temperatures_that_are_not_followed_are_on_record(shipped):
    for taxon, source, value, kept in (
        ("leporacanthicus_galaxias", "DISZHAL_L029", "22..26", (26, 30)),
        ("baryancistrus_xanthellus", "FISHLAB_BX", "25..30", (27, 32)),
        ("baryancistrus_xanthellus", "FAUNA_L081", "29..33", (27, 32)),
        ("hypancistrus_l260", "AQADVICE_L260", "22..27", (26, 30)),
        ("hypancistrus_l260", "AQFACH2016", "29..33", (26, 30)),
        ("hypancistrus_seideli", "ENCYC3", "23..28", (26, 30)),
        ("hypancistrus_zebra", "AKVA_ZEBRA", "32..35", (26, 30)),
        ("spectracanthicus_zuanoni", "MYFISH_ZUA", "25..25", (26, 29)),
    ):
        need = care_for(shipped, taxon).attributes["temperature_c"]
        assert need.value == kept
        assert [(c.value, c.followed) for c in need.evidence if c.source == source] == [(value, False)]


def test_cells_follow_from_their_claims_in_plain_words(backed):
    for row, column, followed, _ in backed:
        attribute, text = ATTRIBUTES[column], row[column]
        where = (row["care_group"], row["taxon"], column)
        value = read_cell(attribute, text)
        if attribute.kind == "text":
            assert text == " ".join(text.split()).rstrip(".") + ".", where
            assert text.isprintable(), where
            rest = text
            for claim in sorted(followed, key=lambda c: -len(c["value"])):
                assert claim["value"] in text, where
                rest = rest.replace(claim["value"], "")
            assert not rest.strip(), where
            continue
        own = [read_cell(attribute, c["value"]) for c in followed if c["value"] != "high"]
        if attribute.kind == "states":
            assert value == frozenset().union(*own), where
        elif attribute.kind == "minimum":
            assert value == max(own), where
        else:
            low, high = min(v[0] for v in own), max(v[1] for v in own)
            assert low <= value[0] <= value[1] <= high, where
            if column == "adult_length_mm":
                assert value == (low, high), where


def test_no_kind_is_housed_for_less_than_its_record(shipped):
    # The length of the care sheet is with the tail or without, in whole millimetres.
    compared = 0
    for taxon in shipped.ids:
        record, length = (
            shipped.cell(taxon, "adult_size"),
            care_for(shipped, taxon).attributes["adult_length_mm"],
        )
        if record is None or not length.known:
            continue
        compared += 1
        assert length.value[1] >= round(record.high), (taxon, length.value, record.high)
    assert compared > 80


@pytest.mark.parametrize(
    ("columns", "sourced"),
    [
        (("temperature_c", "ph"), WATER),
        (("eggs", "hatch_days"), BROODS),
        (("tank_length_cm", "tank_width_cm", "tank_volume_l", "group_volume_l"), TANKS),
    ],
    ids=["water", "broods", "tanks"],
)
def test_figures_are_those_of_the_sources_and_unknown_elsewhere(rows, columns, sourced):
    figures = {
        name: tuple(read_cell(ATTRIBUTES[column], row[column]) for column in columns)
        for name, row in rows.items()
        if any(row[column] for column in columns)
    }
    assert figures == by_name(sourced)
    for row in rows.values():  # no group needs less than one fish
        one, many = (
            float(row[c] or rows[row["care_group"]][c] or 0) for c in ("tank_volume_l", "group_volume_l")
        )
        assert not (one and row["group_volume_l"]) or many >= one, row


def test_the_oxygen_target_is_a_house_figure_for_rapids_and_a_general_one_elsewhere(shipped, rows, backed):
    # 80 % of saturation at 30 °C: 0.8 x 7.56 mg/L = 6.05 (EN 25814 table, 30 °C).
    assert pytest.approx(6, abs=0.05) == 0.8 * 7.56
    assert all(rows[group]["oxygen_mg_l"] for group in {*by_name(WATER), *NOT_FOUND} - set(shipped.ids))
    for row, column, *claims in backed:
        if column != "oxygen_mg_l":
            continue
        grounds = [(c["class"], c["source"]) for c in sum(claims, []) if c["value"] != "high"]
        if row["care_group"] in RAPIDS.split():
            assert (row[column], grounds) == ("6", [("common practice", "")])
        else:  # ECOURSE_DO: warm-water fish, above 5 mg/L for good growth
            assert (row[column], grounds) == ("5", [("secondary", "ECOURSE_DO")])
    # MATTIAS1998 and CRUZ2013: 34 and 47 mmHg, about 1.8 and 2.5 mg/L, in suckermouths that breathe air.
    used = set(shipped.evidence[shipped.evidence["attribute"] == "oxygen_mg_l"]["source"])
    assert not used & {"MATTIAS1998", "CRUZ2013"}


def test_medicines_and_turnover_rest_on_no_more_than_they_have(backed):
    ((row, column, *claims),) = [cell for cell in backed if cell[1] == "medicine"]
    assert row["care_group"] == "all"
    assert "ask a vet" in row[column]
    assert {c["class"] for c in sum(claims, [])} == {"common practice"}
    # ENVLIT_FLOW 4-6 tank volumes an hour (any fresh water); FPC_LOACH over 10 (torrent loaches).
    for row, column, *claims in backed:
        if column == "turnover_per_hour":
            if row["care_group"] in LENT:
                assert {(c["class"], c["source"]) for c in sum(claims, [])} == {("common practice", "")}
            else:
                assert {c["source"] for c in sum(claims, [])} <= {"ENVLIT_FLOW", "FPC_LOACH"}
            assert all(c["note"] for c in sum(claims, []))


def test_a_genus_without_a_care_source_says_so_first_and_rests_on_common_practice_alone(shipped, rows):
    assert {shipped.taxa.at[t, "careGroup"] for t in ("dekeyseria_sp", "lithoxancistrus_orinoco")} <= LENT
    for group in LENT:
        kind = next(t for t in shipped.ids if shipped.taxa.at[t, "careGroup"] == group)
        sheet = care_for(shipped, kind)
        first = repr(sheet).splitlines()[1]
        assert first.startswith("Cautions")
        assert "No care source for this genus was read" in first
        own = [c for need in sheet.attributes.values() for c in need.evidence if c.care_group == group]
        assert {c.evidence_class for c in own} == {"common practice"}
        assert "the temperature is one that most of them take" in sheet.attributes["cautions"].text
    # Of the groups that have a temperature of their own more than half hold the lent one.
    groups = [
        r for r in rows.values() if r["temperature_c"] and not r["taxon"] and r["care_group"] not in LENT
    ]
    kin = [read_cell(ATTRIBUTES["temperature_c"], r["temperature_c"]) for r in groups]
    (low, high) = WATER[" ".join(sorted(LENT))][0]
    assert sum(warm[0] <= low and high <= warm[1] for warm in kin) > len(kin) / 2
    # No figure is laxer than that of any relative known from rapids.
    for column, strictest in (("oxygen_mg_l", max), ("turnover_per_hour", max)):
        kin = [read_cell(ATTRIBUTES[column], rows[g][column]) for g in RAPIDS.split()]
        assert {read_cell(ATTRIBUTES[column], rows[g][column]) for g in LENT} == {strictest(kin)}


def test_no_kind_of_hypancistrus_above_12_cm_is_given_the_tank_of_the_genus(shipped):
    # FRWIKI_HYP prints 120 L for a genus that grows to 178 mm: no figure is better than one too small.
    for taxon in shipped.ids:
        if shipped.taxa.at[taxon, "genus"] != "Hypancistrus":
            continue
        sheet = care_for(shipped, taxon).attributes
        length, tank = (sheet[c].value for c in ("adult_length_mm", "tank_volume_l"))
        assert tank is None or length[1] <= 125, taxon


def test_hooks_and_losses_are_named_where_a_source_has_them(rows):
    for name, words in {
        "megalancistrus": "bent back",  # COMIP_MEGA
        "chaetostoma": "strongly hooked",  # BALLEN2011, abstract
        "hopliancistrus": "hooks",  # GUARDIAN2022
        "panaqolus_nix": "hooked",  # CRAMER2015 p.464
        "pseudacanthicus_pitanga": "turned out",  # CHAMON2015 p.311
        "spectracanthicus_zuanoni": "right angle",  # CHAMON2014 p.21
        "hypancistrus_parkateje": "shoulder girdle",  # ARAUJO2024, abstract
    }.items():
        assert words in rows[name]["handling"], name
    # COLLINS2018MS and ARMLUJ2024: the cheeks of Pseudolithoxus bear long bristles, and they can be spread.
    assert "the cheeks: theirs can be spread" in rows["pseudolithoxus"]["handling"]
    # CHAMON2014 p.4: in S. murinus the cheek plates cannot be turned out; so its group says nothing of them.
    for name in ("spectracanthicus_murinus", "spectracanthicus"):
        assert "cheek" not in rows[name]["handling"]
    # Fish that died of the wrong warmth. IGBSSW_BX: two Baryancistrus lost at 24 °C; AMAZONAS_CLARO p.85:
    # A. claro lost at 29 °C.
    assert "24 °C (75 °F)" in rows["baryancistrus"]["cautions"]
    assert "29 °C (84 °F)" in rows["ancistrus"]["cautions"]


def test_the_only_listing_is_that_of_the_zebra_dated_and_what_was_derived_says_so(backed):
    listed = [cell for cell in backed if "CITES" in cell[0][cell[1]] or "Appendix" in cell[0][cell[1]]]
    ((row, column, *claims),) = listed
    assert (row["taxon"], column) == ("hypancistrus_zebra", "law")
    for part in ("Appendix II", "3 January 2017", "November 2022", "23 February 2023, a date derived"):
        assert part in row["law"]
    # PBW2017 (Appendix III), AMAZONAS2023 (CoP19), PROP41 and USFWS2019 (in force, 90-day rule).
    sources = {c["source"] for c in sum(claims, [])}
    assert {"PBW2017", "AMAZONAS2023", "PROP41", "USFWS2019", "FEDEAQUA"} <= sources


def test_what_the_sheets_of_single_kinds_and_of_two_say(shipped):
    # IJIER_L333: 35 to 54 ripe oocytes, an upper bound; the clutch stays that of the genus (WOKO_ZUCHT).
    needs = care_for(shipped, "hypancistrus_seideli").attributes
    assert needs["eggs"].value == (6, 12)
    assert "35 to 54" in needs["breeding"].text
    # Rule of thumb of the trade (common practice): the name decides the food, and these two are mixed up.
    for panaqolus in ("panaqolus_albomaculatus", "panaqolus_nix"):
        need = care_for(shipped, "hypancistrus_l201", panaqolus).attributes["diet_type"]
        assert need.value is None
        assert "wood" in need.conflict
    # The two white-spotted trade forms can be kept alike.
    sheet = care_for(shipped, "hypancistrus_l201", "hypancistrus_cf_inspector_l102")
    assert not sheet.conflicts
    assert sheet.attributes["temperature_c"].value
    # They differ in length: L201 stays about 5 cm smaller (common practice).
    assert "Hypancistrus cf. inspector" in sheet.attributes["adult_length_mm"].text
