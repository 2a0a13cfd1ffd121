"""Which kinds go by a name."""

import pytest

from idkey import Identification, load_table
from idkey.model.called import kinds_called
from idkey.views.identify import bag_html


@pytest.fixture(scope="module")
def table():
    return load_table()


@pytest.mark.parametrize(
    "text",
    ["L46", "l 046", "L-046", "L098", "Hypancistrus zebra", "zebra  PLECO", "hypancistrus_zebra"],
)
def test_codes_and_names_are_found_in_any_spelling(table, text):
    assert kinds_called(table, text) == ("hypancistrus_zebra",)


def test_every_code_and_name_of_the_table_finds_its_kind(table):
    for column in ("scientificName", "vernacularName", "tradeCode"):
        for taxon, cell in table.taxa[column].items():
            for name in filter(None, cell.split("|")):
                assert taxon in kinds_called(table, name), name


def test_a_word_finds_all_that_have_it_and_nonsense_finds_none(table):
    assert set(kinds_called(table, "hypancistrus")) == {
        t for t in table.ids if table.taxa.at[t, "genus"] == "Hypancistrus"
    }
    assert kinds_called(table, "L9999") == kinds_called(table, "  ") == kinds_called(table, "<b>") == ()


def test_the_bag_says_where_the_name_stands_and_changes_nothing(table):
    fish = Identification(table).answer("pattern", "plain")
    before = fish.ranking()
    names = [row.taxon for row in fish.ranked() if row.taxon != "none of these"]
    place = names.index("hypancistrus_zebra") + 1
    assert f"{place}th of 88" in bag_html(fish, "L046") or place % 10 in (1, 2, 3)
    assert "does not count as evidence" in bag_html(fish, "L046")
    assert fish.ranking().equals(before)
    assert "&lt;b&gt;" in bag_html(fish, "<b>x")
    assert bag_html(fish, " ") == ""
