"""A table whose every text holds markup and script: it is shown as text, and nothing runs."""

import pytest
from lab import EVIL, press, show, until_idle
from playwright.sync_api import expect

# A frame, and the shipped files with every text that people read replaced.
TABLES = f"""
import dataclasses, idkey, pandas as pd
evil = {EVIL!r}
frame = pd.DataFrame({{"kind": [evil + " a", "b" + evil], evil: [evil + "1", evil + "2"]}})
framed = idkey.TraitTable.from_frame(frame, taxon="kind")
table = idkey.load_table()
taxa, care, evidence = table.taxa.copy(), table.care.copy(), table.evidence.copy()
for column in ("scientificName", "vernacularName", "genus", "tradeCode"):
    taxa[column] = evil + taxa[column]
for column in ("cautions", "breeding"):
    care[column] = evil + care[column]
for column in ("locator", "note"):
    evidence[column] = evil + evidence[column]
traits = tuple(
    dataclasses.replace(
        t, label=evil + t.label, question=evil + t.question, how=evil + t.how,
        words=tuple(evil + word for word in t.words),
    )
    for t in table.traits
)
sources = {{k: dataclasses.replace(s, short=evil, full=evil, doi='10.1/"><script>window.ran=1</script>')
           for k, s in table.sources.items()}}
filed = dataclasses.replace(
    table, taxa=taxa, care=care, evidence=evidence, traits=traits, sources=sources, name=evil
)
"""


@pytest.fixture(scope="module")
def notebook(scratch, lab):
    (lab.root / "hostile.py").write_text(TABLES, encoding="utf-8")
    return scratch


def is_harmless(screen):
    until_idle(screen.page)
    screen.evaluate("e => e.querySelectorAll('details').forEach(d => d.open = true)")
    assert screen.locator("img, script").count() == 0
    assert screen.page.evaluate("window.ran") is None


@pytest.mark.parametrize("table", ["framed", "filed"])
def test_markup_in_a_table_is_text_and_runs_nothing(notebook, table):
    screen = show(notebook, f"import idkey, hostile; idkey.identify(hostile.{table})")
    screen.locator("button.idk-answer").first.click()
    expect(screen.locator("details.idk-name").first).to_contain_text("<script>window.ran=1</script>")
    screen.get_by_label("Name on the bag").fill(EVIL)
    screen.get_by_label("Name on the bag").press("Enter")
    if table == "filed":
        press(screen, "Side by side")
        expect(screen.get_by_role("button", name="Hide: side by side")).to_be_visible()
    is_harmless(screen)
    expect(screen.locator("h3").first).to_be_visible()


def test_two_kinds_chosen_on_the_compare_screen_stand_side_by_side_as_text(notebook):
    screen = show(notebook, 'idkey.compare_view(hostile.filed, "hypancistrus_zebra", "hypancistrus_l201")')
    expect(screen.locator("caption", has_text="What differs")).to_be_visible()
    screen.get_by_label("Second kind").select_option(index=0)
    expect(screen.locator("h3").first).to_contain_text("<script>window.ran=1</script>")
    is_harmless(screen)
