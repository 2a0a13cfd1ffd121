"""A table whose every text holds markup and script: it is shown as text, and nothing runs."""

import pytest
from lab import SCREEN, open_notebook, until_idle, write_notebook
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

EVIL = '<img src=x onerror="window.ran=1"><script>window.ran=1</script> & "quoted" \'so\''

FROM_FRAME = f"""
import idkey, pandas as pd
evil = {EVIL!r}
frame = pd.DataFrame({{"kind": [evil + " a", "b" + evil], evil: [evil + "1", evil + "2"]}})
screen = idkey.identify(idkey.TraitTable.from_frame(frame, taxon="kind"))
screen
"""
# The shipped files, with every text that people read replaced.
FROM_FILES = f"""
import dataclasses, idkey
evil = {EVIL!r}
table = idkey.load_table()
taxa, care, evidence = table.taxa.copy(), table.care.copy(), table.evidence.copy()
for column in ("scientificName", "vernacularName", "genus", "tradeCode"):
    taxa[column] = evil + taxa[column]
for column in ("cautions", "breeding"):
    if column in care:
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
table = dataclasses.replace(
    table, taxa=taxa, care=care, evidence=evidence, traits=traits, sources=sources, name=evil
)
screen = idkey.identify(table)
screen
"""


@pytest.mark.parametrize("source", [FROM_FRAME, FROM_FILES], ids=["from_frame", "files"])
def test_markup_in_a_table_is_text_and_runs_nothing(page, lab, source):
    dialogs = []
    page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
    write_notebook(lab, "hostile.ipynb", source)
    open_notebook(page, lab, "hostile.ipynb")
    screen = page.locator(SCREEN).first
    screen.locator("h3").first.wait_for()
    screen.locator("button.idk-answer").first.click()
    expect(screen.locator("details.idk-name").first).to_contain_text("<script>window.ran=1</script>")
    screen.get_by_label("Name on the bag").fill(EVIL)
    screen.get_by_label("Name on the bag").press("Enter")
    compare = screen.get_by_role("button", name="Compare the first two", exact=True)
    if compare.is_visible():
        compare.click()
        expect(screen.get_by_role("button", name="Hide the comparison")).to_be_visible()
    until_idle(page)
    screen.evaluate("e => e.querySelectorAll('details').forEach(d => d.open = true)")
    assert screen.locator("img, script").count() == 0
    assert not dialogs
    assert page.evaluate("window.ran") is None
    expect(screen.locator("h3").first).to_be_visible()
