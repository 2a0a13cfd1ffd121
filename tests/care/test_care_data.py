"""The shipped care sheets: every cell reads, is backed, and keeps to what the sources say."""

from __future__ import annotations

import pytest

from idkey import care_for, load_table
from idkey.care.attributes import ATTRIBUTES, GENERAL, read_cell

COLUMNS = [a for a in ATTRIBUTES if a != GENERAL]

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
# Kinds whose sources give another range than the group's.
SOURCED_KINDS = {
    "pseudacanthicus_leopardus": ((24, 28), None),  # PETWIKI_LEO
    "panaqolus_maccus": ((23, 28), (6.8, 7.6)),  # FTA_PM
    "ancistrus_dolichopterus": ((23, 25), (6.5, 6.5)),  # ENCYC3 p.132
    "hypancistrus_zebra": (None, (6.5, 7.0)),  # HANDWIKI_ZEBRA
    "hypancistrus_seideli": (None, (5.8, 7.0)),  # AQWORLD2014 p.21 (L066)
    "hypancistrus_l260": (None, (6.5, 7.2)),  # AQBREEDER_L260
    "pseudacanthicus_pitanga": (None, (6.5, 7.5)),  # OTF_L024
}


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


def filled(rows):
    return [(row, column) for row in rows for column in COLUMNS if row[column]]


def test_every_care_group_has_a_row_and_every_kind_a_sheet(table, rows):
    groups = [row["care_group"] for row in rows if not row["taxon"]]
    assert sorted(groups) == sorted([*SOURCED, "all"])
    assert set(table.taxa["careGroup"]) <= set(SOURCED)
    for taxon in table.taxa.index:
        assert care_for(table, taxon).attributes[GENERAL].value


def test_rows_of_kinds_name_the_care_group_of_the_kind(table, rows):
    for row in rows:
        if row["taxon"]:
            assert row["care_group"] == table.taxa.at[row["taxon"], "careGroup"], row["taxon"]


def test_the_row_for_every_fish_holds_cautions_alone(rows):
    (row,) = [row for row in rows if row["care_group"] == "all"]
    assert [column for column in COLUMNS if row[column]] == ["cautions"]


def test_every_cell_reads(rows):
    for row, column in filled(rows):
        assert read_cell(ATTRIBUTES[column], row[column]) is not None


def test_every_cell_has_evidence_with_a_source_or_a_stated_lack_of_one(table, rows):
    for row, column in filled(rows):
        claims = claims_for(table, row, column)
        assert claims, (row["care_group"], row["taxon"], column)
        for claim in claims:
            assert (claim["source"] == "") == (claim["class"] in ("memory", "common practice")), claim
            assert not claim["source"] or claim["source"] in table.sources


def test_a_row_of_a_kind_holds_only_what_differs_from_its_group(rows):
    groups = {row["care_group"]: row for row in rows if not row["taxon"]}
    for row, column in filled(rows):
        if row["taxon"]:
            assert row[column] != groups[row["care_group"]][column] or column == "adult_length_mm", (
                row["taxon"],
                column,
            )


def test_cells_follow_from_their_claims(table, rows):
    for row, column in filled(rows):
        attribute = ATTRIBUTES[column]
        followed = [c for c in claims_for(table, row, column) if not c["note"].startswith("Not followed")]
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


def test_the_cool_range_for_leporacanthicus_is_on_record_and_not_followed(table):
    # DISZHAL_L029 gives 22-26 °C; the habitat readings behind FAUNA_L007 and FAUNA_LHET are 26-30 °C.
    need = care_for(table, "leporacanthicus_galaxias").attributes["temperature_c"]
    assert need.value == (26, 30)
    (cool,) = [c for c in need.evidence if c.value == "22..26"]
    assert not cool.followed


def test_the_oxygen_target_is_marked_as_a_house_figure(table, rows):
    # 80 % of saturation at 30 °C: 0.8 x 7.56 mg/L = 6.05 (EN 25814 table, 30 °C).
    assert pytest.approx(6, abs=0.05) == 0.8 * 7.56
    for row in rows:
        if row["oxygen_mg_l"]:
            claims = claims_for(table, row, "oxygen_mg_l")
            assert row["oxygen_mg_l"] == "6"
            assert [c["class"] for c in claims if c["value"] == "6"] == ["common practice"]


def test_turnover_rests_on_general_sources_only(table, rows):
    # ENVLIT_FLOW 4-6 tank volumes an hour (any fresh water); FPC_LOACH over 10 (torrent loaches).
    for row in rows:
        if row["turnover_per_hour"]:
            claims = claims_for(table, row, "turnover_per_hour")
            assert {c["source"] for c in claims} <= {"ENVLIT_FLOW", "FPC_LOACH"}
            assert all(c["note"] for c in claims)


def test_law_is_dated(table):
    # PBW2017 (Appendix III), AMAZONAS2023 (CoP19), PROP41 and USFWS2019 (in force, 90-day rule).
    text = care_for(table, "hypancistrus_zebra").attributes["cautions"].text
    for part in ("Appendix II", "3 January 2017", "November 2022", "23 February 2023"):
        assert part in text


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
