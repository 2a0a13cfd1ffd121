"""The shipped care sheets: every cell reads, is backed, and keeps to what the sources say."""

from __future__ import annotations

import pytest
from care_tables import ATTRIBUTES, FOR_EVERY_FISH

from idkey import care_for, load_table
from idkey.care.needs import read_cell

COLUMNS = list(ATTRIBUTES)
# Temperature (°C) and pH that the sources of each group bear out, with the sources that set the range.
SOURCED = {
    "hypancistrus": ((23, 29), (5.8, 7.0)),  # FRWIKI_HYP, info box
    "hypancistrus_xingu": ((26, 30), (5.8, 7.2)),  # ENCYC3 p.132; AQWORLD2014 p.21; pH to 7.2 AQBREEDER_L260
    "panaqolus": ((23, 29), (6.0, 7.6)),  # FTA_PM 23-28, pH 6.8-7.6; WANNINGER2006 28-29, pH 6.0-6.5
    "panaque": ((22, 28), (6.5, 7.5)),  # MAB_ROYAL
    "leporacanthicus": ((26, 30), (5.6, 7.0)),  # FAUNA_LHET and FAUNA_L007; pH DISZHAL_L029
    "pseudacanthicus": ((25, 29), (5.5, 7.5)),  # OTF_L024; pH PETWIKI_LEO
    "scobinancistrus": ((26, 32), (6.0, 7.5)),  # FAUNA_L014; pH AAF_L014 (weak)
    "baryancistrus": ((27, 32), (6.4, 7.6)),  # SF_L081
    "parancistrus": ((27, 30), None),  # FAUNA_PA; no pH found
    "hemiancistrus": ((24, 28), (6.0, 7.5)),  # TROPFISHCO_L128 (seller)
    "spectracanthicus": ((26, 29), (6.0, 7.2)),  # TROPFISHCO_L030 (seller)
    "ancistrus": ((23, 28), (6.5, 7.5)),  # AMAZONAS_CLARO p.85, ENCYC3 p.132, ENVLIT_BN
    "acanthicus": ((23, 30), (6.0, 7.5)),  # SF_ADONIS, SF_HYSTRIX
    "megalancistrus": ((20, 28), (6.0, 7.5)),  # SF_MEGA
    "pterygoplichthys": ((24, 30), (6.5, 7.8)),  # TFWF_PG
    "peckoltia": (None, None),  # nothing found
    "chaetostoma": (None, None),
    "hypostomus": (None, None),
    "pseudolithoxus": (None, None),
    "hopliancistrus": (None, None),
}
# Kinds for which a source gives a range of their own, also where it is that of the group.
SOURCED_KINDS = {
    "hypancistrus_zebra": ((26, 30), (6.5, 7.0)),  # ENCYC3 p.132; pH HANDWIKI_ZEBRA
    "hypancistrus_seideli": ((26, 30), (5.8, 7.0)),  # AQWORLD2014 p.21 (L066)
    "hypancistrus_l260": ((26, 30), (6.5, 7.2)),  # AQBREEDER_L260
    "panaqolus_maccus": ((23, 28), (6.8, 7.6)),  # FTA_PM
    "panaque_nigrolineatus": ((22, 28), (6.5, 7.5)),  # MAB_ROYAL
    "leporacanthicus_galaxias": ((26, 30), (5.6, 7.0)),  # FAUNA_L007, header and habitat; pH DISZHAL_L029
    "leporacanthicus_heterodon": ((26, 30), None),  # FAUNA_LHET
    "pseudacanthicus_leopardus": ((24, 28), (5.5, 7.5)),  # PETWIKI_LEO
    "pseudacanthicus_pitanga": ((25, 29), (6.5, 7.5)),  # OTF_L024
    "scobinancistrus_aureatus": ((26, 32), (6.0, 7.5)),  # FAUNA_L014; pH AAF_L014 (weak)
    "baryancistrus_xanthellus": ((27, 32), (6.4, 7.6)),  # SF_L081
    "hemiancistrus_l128": ((24, 28), (6.0, 7.5)),  # TROPFISHCO_L128
    "spectracanthicus_punctatissimus": ((26, 29), (6.0, 7.2)),  # TROPFISHCO_L030
    "ancistrus_dolichopterus": ((23, 25), (6.5, 6.5)),  # ENCYC3 p.132
    "acanthicus_adonis": ((23, 30), None),  # SF_ADONIS
    "acanthicus_hystrix": ((23, 30), (6.0, 7.5)),  # SF_HYSTRIX
    "megalancistrus_parananus": ((20, 28), (6.0, 7.5)),  # SF_MEGA
    "pterygoplichthys_gibbiceps": ((24, 30), (6.5, 7.8)),  # TFWF_PG
}
# Eggs and days to hatch; for every other row no source gives them.
BROODS = {
    "hypancistrus": ((6, 12), (5, 12)),  # WOKO_ZUCHT; SAF_BRUT, cave brooders
    "hypancistrus_xingu": ((6, 12), (5, 12)),  # the same; L46W_ZUCHT up to 12 eggs
    "hypancistrus_zebra": (None, (7, 10)),  # L46W_ZUCHT about 7 days at 29 °C; XZHBC 7-10
    "leporacanthicus_l240_l241": ((100, 100), None),  # L240_BERICHT, about 100
    "spectracanthicus_murinus": ((1, 9), None),  # BSSW_SMUR, under 10
    "ancistrus": ((20, 200), (4, 10)),  # ENVLIT_BN 20-100, SELECTAQ_BN 150-200; AQCONSEILS
    "ancistrus_dolichopterus": ((70, 100), (4, 5)),  # WOKO_ZUCHT
}
# Tanks: length and width in cm, volume for one and for a group in L.
TANKS = {
    "hypancistrus": (None, None, 120, None),  # FRWIKI_HYP
    "hypancistrus_xingu": (None, None, 120, None),  # FRWIKI_HYP
    "hypancistrus_zebra": (None, None, 115, None),  # HANDWIKI_ZEBRA, 30 US gal
    "hypancistrus_l260": (None, None, 60, 75),  # AQBREEDER_L260; ICFP_L260, a pair in 75-115 L
    "panaqolus": (None, None, 76, 160),  # FTA_PM, P. maccus; ASOV_L002, six L002
    "panaqolus_maccus": (None, None, 76, None),  # FTA_PM
    "panaque": (None, None, 473, None),  # MAB_ROYAL, 125 US gal
    "panaque_nigrolineatus": (None, None, 473, None),  # MAB_ROYAL
    "leporacanthicus": (None, None, 200, 350),  # DISZHAL_L029, a pair in 350 L
    "leporacanthicus_galaxias": (None, None, 200, 350),  # DISZHAL_L029
    "leporacanthicus_heterodon": (100, None, None, None),  # FAUNA_LHET
    "leporacanthicus_l240_l241": (None, None, 300, None),  # GTV_L240
    "pseudacanthicus": (None, None, 375, None),  # OTF_L024
    "pseudacanthicus_leopardus": (None, None, 300, None),  # PETWIKI_LEO
    "pseudacanthicus_pitanga": (None, None, 375, None),  # OTF_L024
    "baryancistrus": (120, 45, 240, None),  # SF_BX; FISHYWIKI_L081
    "baryancistrus_xanthellus": (120, 45, 240, None),  # the same
    "spectracanthicus_murinus": (80, 35, None, 80 * 35 * 40 / 1000),  # BSSW_SMUR, 80 x 35 x 40 cm for five
    "ancistrus": (None, None, 75, 75),  # ENVLIT_BN, a pair
    "acanthicus": (600, 200, None, None),  # SF_ADONIS, SF_HYSTRIX
    "acanthicus_adonis": (600, 200, None, None),  # SF_ADONIS
    "acanthicus_hystrix": (600, 200, None, None),  # SF_HYSTRIX
    "pterygoplichthys": (None, None, 473, None),  # MERIFISH_PG, 125 US gal
    "pterygoplichthys_gibbiceps": (None, None, 473, None),  # MERIFISH_PG
}
# Groups of fish of rapids, which go by the house target for oxygen.
RAPIDS = {
    "hypancistrus", "hypancistrus_xingu", "leporacanthicus", "pseudacanthicus", "scobinancistrus",
    "baryancistrus", "parancistrus", "hemiancistrus", "spectracanthicus", "acanthicus",
}  # fmt: skip


@pytest.fixture(scope="module")
def table():
    return load_table()


@pytest.fixture(scope="module")
def rows(table):
    return table.care.to_dict("records")


def claims_for(table, row, column):
    found = table.evidence[table.evidence["attribute"] == column]
    if row["taxon"]:
        return found[found["taxon"] == row["taxon"]].to_dict("records")
    return found[(found["care_group"] == row["care_group"]) & (found["taxon"] == "")].to_dict("records")


def set_aside(claim):
    return claim["note"].startswith("Not followed")


def sentences(text):
    return [s for s in text.split(". ") if s]


def filled(rows):
    return [(row, column) for row in rows for column in COLUMNS if row[column]]


def test_every_care_group_has_a_row_and_every_kind_a_sheet(table, rows):
    groups = [row["care_group"] for row in rows if not row["taxon"]]
    assert sorted(groups) == sorted([*SOURCED, "all"])
    assert set(table.taxa["careGroup"]) <= set(SOURCED)
    for row in rows:
        assert not row["taxon"] or row["care_group"] == table.taxa.at[row["taxon"], "careGroup"], row["taxon"]
    for taxon in table.taxa.index:
        assert set(COLUMNS) <= set(care_for(table, taxon).attributes)


def test_the_row_for_every_fish_holds_what_concerns_every_fish_in_few_sentences(rows):
    (row,) = [row for row in rows if row["care_group"] == "all"]
    assert tuple(column for column in COLUMNS if row[column]) == FOR_EVERY_FISH
    for column in FOR_EVERY_FISH:
        assert len(sentences(row[column])) <= 4, column


def test_a_caution_stands_once_on_a_sheet(table, rows):
    by_name = {row["taxon"] or row["care_group"]: row for row in rows}
    for taxon in table.taxa.index:
        places = ("all", table.taxa.at[taxon, "careGroup"], taxon)
        said = [
            sentence
            for place in places
            for column in (*FOR_EVERY_FISH, "cautions")
            for sentence in sentences(by_name.get(place, {}).get(column, ""))
        ]
        assert len(said) == len(set(said)), taxon


def test_every_cell_has_evidence_with_a_source_or_a_stated_lack_of_one(table, rows):
    for row, column in filled(rows):
        claims = claims_for(table, row, column)
        assert claims, (row["care_group"], row["taxon"], column)
        for claim in claims:
            assert (claim["source"] == "") == (claim["class"] in ("memory", "common practice")), claim
            assert not claim["source"] or claim["source"] in table.sources


def test_a_row_of_a_kind_holds_what_differs_from_its_group_or_is_told_of_the_kind_itself(table, rows):
    groups = {row["care_group"]: row for row in rows if not row["taxon"]}
    for row, column in filled(rows):
        if row["taxon"] and row[column] == groups[row["care_group"]][column]:
            claims = [c for c in claims_for(table, row, column) if not set_aside(c)]
            assert any(c["source"] and c["scope"] == "species" for c in claims), (row["taxon"], column)


def test_what_was_set_aside_stands_beside_what_is_followed(table, rows):
    seen = 0
    for row, column in filled(rows):
        claims = claims_for(table, row, column)
        aside = [c for c in claims if set_aside(c)]
        seen += len(aside)
        assert len(aside) < len(claims), (row["care_group"], row["taxon"], column)
        for claim in aside:  # and says why
            assert len(claim["note"]) > len("Not followed: "), claim
    assert seen > 20


@pytest.mark.parametrize(
    ("taxon", "source", "value", "kept"),
    [
        ("leporacanthicus_galaxias", "DISZHAL_L029", "22..26", (26, 30)),
        ("baryancistrus_xanthellus", "FISHLAB_BX", "25..30", (27, 32)),
        ("baryancistrus_xanthellus", "FAUNA_L081", "29..33", (27, 32)),
        ("hypancistrus_l260", "AQADVICE_L260", "22..27", (26, 30)),
        ("hypancistrus_l260", "AQFACH2016", "29..33", (26, 30)),
        ("hypancistrus_seideli", "ENCYC3", "23..28", (26, 30)),
        ("hypancistrus_zebra", "AKVA_ZEBRA", "32..35", (26, 30)),
        ("spectracanthicus_zuanoni", "MYFISH_ZUA", "25..25", (26, 29)),
    ],
)
def test_temperatures_that_are_not_followed_are_on_record(table, taxon, source, value, kept):
    need = care_for(table, taxon).attributes["temperature_c"]
    assert need.value == kept
    assert [(c.value, c.followed) for c in need.evidence if c.source == source] == [(value, False)]


def test_cells_follow_from_their_claims(table, rows):
    for row, column in filled(rows):
        attribute = ATTRIBUTES[column]
        followed = [c for c in claims_for(table, row, column) if not set_aside(c)]
        where = (row["care_group"], row["taxon"], column)
        value = read_cell(attribute, row[column])
        if attribute.kind == "text":
            rest = row[column]
            for claim in sorted(followed, key=lambda c: -len(c["value"])):
                assert claim["value"] in row[column], where
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


@pytest.mark.parametrize("group", SOURCED)
def test_group_temperature_and_ph_keep_to_the_sources(rows, group):
    (row,) = [row for row in rows if row["care_group"] == group and not row["taxon"]]
    assert (_range(row, "temperature_c"), _range(row, "ph")) == SOURCED[group]


def test_kinds_that_differ_in_temperature_or_ph_keep_to_the_sources(rows):
    found = {
        row["taxon"]: (_range(row, "temperature_c"), _range(row, "ph"))
        for row in rows
        if row["taxon"] and (row["temperature_c"] or row["ph"])
    }
    assert found == SOURCED_KINDS


def _range(row, column):
    return read_cell(ATTRIBUTES[column], row[column])


def test_broods_are_those_of_the_sources_and_unknown_elsewhere(rows):
    found = {
        row["taxon"] or row["care_group"]: (_range(row, "eggs"), _range(row, "hatch_days"))
        for row in rows
        if row["eggs"] or row["hatch_days"]
    }
    assert found == BROODS


def test_eggs_counted_in_dissected_females_are_no_clutch(table):
    # IJIER_L333: 35 to 54 ripe oocytes, an upper bound; the clutch stays that of the genus (WOKO_ZUCHT).
    needs = care_for(table, "hypancistrus_seideli").attributes
    assert needs["eggs"].value == (6, 12)
    assert "35 to 54" in needs["breeding"].text


def test_tanks_are_those_of_the_sources_and_unknown_elsewhere(rows):
    columns = ("tank_length_cm", "tank_width_cm", "tank_volume_l", "group_volume_l")
    found = {
        row["taxon"] or row["care_group"]: tuple(_range(row, c) for c in columns)
        for row in rows
        if any(row[c] for c in columns)
    }
    assert found == TANKS


def test_no_group_needs_less_than_one_fish(rows):
    groups = {row["care_group"]: row for row in rows if not row["taxon"]}
    for row in rows:
        one, many = (
            float(row[c] or groups[row["care_group"]][c] or 0) for c in ("tank_volume_l", "group_volume_l")
        )
        assert not (one and row["group_volume_l"]) or many >= one, row


def test_the_oxygen_target_is_a_house_figure_for_rapids_and_a_general_one_elsewhere(table, rows):
    # 80 % of saturation at 30 °C: 0.8 x 7.56 mg/L = 6.05 (EN 25814 table, 30 °C).
    assert pytest.approx(6, abs=0.05) == 0.8 * 7.56
    for row in rows:
        if row["care_group"] == "all" or not (row["oxygen_mg_l"] or not row["taxon"]):
            continue
        claims = [c for c in claims_for(table, row, "oxygen_mg_l") if c["value"] != "high"]
        if row["care_group"] in RAPIDS:
            assert row["oxygen_mg_l"] == "6"
            assert [(c["class"], c["source"]) for c in claims] == [("common practice", "")]
        else:  # ECOURSE_DO: warm-water fish, above 5 mg/L for good growth
            assert row["oxygen_mg_l"] == "5"
            assert [(c["class"], c["source"]) for c in claims] == [("secondary", "ECOURSE_DO")]


def test_no_oxygen_floor_comes_from_fish_that_breathe_air(table):
    # MATTIAS1998 and CRUZ2013: 34 and 47 mmHg, about 1.8 and 2.5 mg/L, in suckermouths that breathe air.
    used = set(table.evidence[table.evidence["attribute"] == "oxygen_mg_l"]["source"])
    assert not used & {"MATTIAS1998", "CRUZ2013"}


def test_medicines_are_not_advised_on_without_a_source(table, rows):
    (row,) = [row for row in rows if row["medicine"]]
    assert row["care_group"] == "all"
    assert "ask a vet" in row["medicine"]
    assert {c["class"] for c in claims_for(table, row, "medicine")} == {"common practice"}


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("megalancistrus", "bent back"),  # COMIP_MEGA
        ("chaetostoma", "strongly hooked"),  # BALLEN2011, abstract
        ("hopliancistrus", "hooks"),  # GUARDIAN2022
        ("panaqolus_nix", "hooked"),  # CRAMER2015 p.464
        ("pseudacanthicus_pitanga", "turned out"),  # CHAMON2015 p.311
        ("spectracanthicus_zuanoni", "right angle"),  # CHAMON2014 p.21
        ("hypancistrus_parkateje", "shoulder girdle"),  # ARAUJO2024, abstract
    ],
)
def test_hooks_are_named_where_a_source_has_them(rows, name, words):
    (row,) = [row for row in rows if (row["taxon"] or row["care_group"]) == name]
    assert words in row["handling"]


def test_the_one_kind_without_long_cheek_spines_is_not_warned_of_them(rows):
    # CHAMON2014 p.4: in S. murinus the cheek plates cannot be turned out; so its group says nothing of them.
    for row in rows:
        if (
            row["taxon"] == "spectracanthicus_murinus"
            or row["care_group"] == "spectracanthicus"
            and not row["taxon"]
        ):
            assert "cheek" not in row["handling"]


def test_fish_that_died_of_the_wrong_warmth_are_named(rows):
    # IGBSSW_BX: two Baryancistrus lost at 24 °C; AMAZONAS_CLARO p.85: A. claro lost at 29 °C.
    said = {row["care_group"]: row["cautions"] for row in rows if not row["taxon"]}
    assert "24 °C (75 °F)" in said["baryancistrus"]
    assert "29 °C (84 °F)" in said["ancistrus"]


def test_turnover_rests_on_general_sources_only(table, rows):
    # ENVLIT_FLOW 4-6 tank volumes an hour (any fresh water); FPC_LOACH over 10 (torrent loaches).
    for row in rows:
        if row["turnover_per_hour"]:
            claims = claims_for(table, row, "turnover_per_hour")
            assert {c["source"] for c in claims} <= {"ENVLIT_FLOW", "FPC_LOACH"}
            assert all(c["note"] for c in claims)


def test_law_is_dated_and_what_was_derived_says_so(table, rows):
    # PBW2017 (Appendix III), AMAZONAS2023 (CoP19), PROP41 and USFWS2019 (in force, 90-day rule).
    (row,) = [row for row in rows if row["taxon"] == "hypancistrus_zebra"]
    for part in ("Appendix II", "3 January 2017", "November 2022", "23 February 2023, a date derived"):
        assert part in row["law"]
    sources = {c["source"] for c in claims_for(table, row, "law")}
    assert {"PBW2017", "AMAZONAS2023", "PROP41", "USFWS2019", "FEDEAQUA"} <= sources


def test_the_only_listing_is_that_of_the_zebra(rows):
    listed = [(r["taxon"], c) for r, c in filled(rows) if "CITES" in r[c] or "Appendix" in r[c]]
    assert listed == [("hypancistrus_zebra", "law")]


def test_a_mustard_spotted_panaqolus_and_a_hypancistrus_are_not_fed_alike(table):
    # Rule of thumb of the trade (common practice): the name decides the food, and these two are mixed up.
    for panaqolus in ("panaqolus_albomaculatus", "panaqolus_nix"):
        need = care_for(table, "hypancistrus_l201", panaqolus).attributes["diet_type"]
        assert need.value is None
        assert "wood" in need.conflict


def test_the_two_white_spotted_trade_forms_can_be_kept_alike(table):
    sheet = care_for(table, "hypancistrus_l201", "hypancistrus_cf_inspector_l102")
    assert not sheet.conflicts
    assert sheet.attributes["temperature_c"].settled
    # They differ in length: L201 stays about 5 cm smaller (common practice).
    assert "Hypancistrus cf. inspector" in sheet.attributes["adult_length_mm"].text


def test_warm_and_cool_kinds_conflict(table):
    # ENCYC3 p.132: Ancistrus dolichopterus 23-25 °C; SF_L081: Baryancistrus 27-32 °C, not cooler.
    need = care_for(table, "ancistrus_dolichopterus", "baryancistrus_xanthellus").attributes["temperature_c"]
    assert need.conflict
    assert need.value is None


def test_words_are_plain(rows):
    for row, column in filled(rows):
        if ATTRIBUTES[column].kind == "text":
            text = row[column]
            assert text == " ".join(text.split())
            assert text.endswith(".")
            assert text.isprintable()
