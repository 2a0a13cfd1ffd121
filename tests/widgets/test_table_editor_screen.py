"""The table editor without a browser: typed, told at once, checked, saved, loaded again."""

import html
import re
from io import BytesIO
from time import process_time

import pandas as pd
import pytest

import idkey
from idkey.errors import TableError
from idkey.table import folder
from idkey.widgets.editor import _ELSEWHERE, _FORM, _SHEET

ZEBRA, L201, L471 = "hypancistrus_zebra", "hypancistrus_l201", "hypancistrus_l471"
EVIL = '<img src=x onerror="alert(1)">'


@pytest.fixture
def own(tmp_path):
    return tmp_path / "own"


@pytest.fixture
def screen(own):
    return idkey.table_editor(folder=own)


def words(widget):
    text = re.sub(r"<style>.*?</style>", " ", widget.value, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def line(screen, trait):
    return words(screen.form._lines[trait].children[0])


def is_shown(widget):
    return widget.layout.display != "none"


def lines(screen):
    return [column for column, row in screen.form._lines.items() if is_shown(row)]


def part(screen, title):
    screen.folds[title].button.click()
    return screen.folds[title].box


def cell(screen, taxon, column):
    """Choose a kind and open one of its cells."""
    screen._kind.value = taxon
    screen.form.open_cell(column)
    return screen.form.cell


def press(screen, *states):
    for state in states:
        next(c for c in screen.form.cell._states.children if c.state == state).button.click()


def change(screen, *place_and_text):
    screen.draft.set(*place_and_text)
    screen.changed()


def add_kind(screen, name="Hypancistrus sp.", code="L999", group="hypancistrus"):
    form = part(screen, "Add a kind")
    form._name.value, form._code.value, form._group.value = name, code, group
    form._add.click()


def save_elsewhere(screen, folder):
    elsewhere = screen.folds[_ELSEWHERE].box
    assert is_shown(elsewhere)
    elsewhere._folder.value = str(folder)
    elsewhere._save.click()
    assert idkey.load_table(folder).cell(ZEBRA, "tail_fork").names == ("forked",)


# -- the whole way --------------------------------------------------------------------------------


def test_a_kind_is_added_described_sourced_checked_saved_and_loaded_again(own):
    past = [{"pattern": "bars", "tail_fork": "concave", "mouth_shape": "small", "fin_edging": "none"}]
    screen = idkey.table_editor(folder=own, past=past)
    add_kind(screen)
    assert screen.taxon == "hypancistrus_l999"
    assert screen._kind.label == "Hypancistrus sp. (L999), new"
    assert "1 new kind" in words(screen._head)
    source = cell(screen, screen.taxon, "tail_fork").source
    press(screen, "forked", "concave")
    assert screen.draft.text(screen.taxon, "tail_fork") == "concave|forked"
    assert "shallow hollow or clearly forked" in line(screen, "tail_fork")
    source._fold.button.click()
    source._source.value, source._locator.value = "ARM2002", "p. 3"
    source._give.click()
    assert "given now, not saved" in words(source._claims)
    cell(screen, screen.taxon, "adult_size")._low.value = "6 in"
    assert screen.draft.text(screen.taxon, "adult_size") == "152"
    screen._check_button.click()
    assert screen.change.added == ("hypancistrus_l999",)
    assert screen.table.cell(screen.taxon, "tail_fork").names == ("concave", "forked")
    assert screen.change.past_count == 1
    assert "In the key" in words(screen._changes)
    assert "Something was changed" not in words(screen._changes)
    change(screen, screen.taxon, "mouth_shape", "small")
    assert "Something was changed after this was checked" in words(screen._changes)
    assert not own.exists()
    screen._save_button.click()
    assert words(screen._head) == "Nothing is changed."
    assert "Saved to" in words(screen._saved)
    assert screen._save_button.disabled
    assert "new" not in screen._kind.label
    table = idkey.load_table(own)
    assert table.cell("hypancistrus_l999", "tail_fork").names == ("concave", "forked")
    assert list(table.claims("hypancistrus_l999", "tail_fork")["source"]) == ["ARM2002"]
    # And once more, now on top of what was saved; the editor opened afresh finds it.
    again = idkey.table_editor(folder=own)
    cell(again, "hypancistrus_l999", "fin_edging")
    press(again, "white")
    again._save_button.click()
    assert idkey.load_table(own).cell("hypancistrus_l999", "fin_edging").names == ("white",)


def test_a_kind_that_cannot_be_told_from_another_is_told_at_once(screen):
    zebra = idkey.load_table().to_frame().loc[ZEBRA]
    add_kind(screen, "Hypancistrus sp.", "L998")
    for column in ("adult_size", "pattern", "tail_fork", "fin_edging", "mouth_shape"):
        cell(screen, screen.taxon, column)._text.value = zebra[column]
    assert "can't be told from Hypancistrus zebra" in words(screen._told)
    cell(screen, screen.taxon, "pattern")._text.value = "dark_spots"
    assert "can't be told from Hypancistrus zebra" not in words(screen._told)


def test_a_trade_code_taken_and_no_care_group_are_told_before_it_is_saved(screen):
    assert words(screen._head) == "Nothing is changed."
    add_kind(screen, "Hypancistrus sp.", "l-46 | L998", group="")
    told = words(screen._head)
    assert "Hypancistrus zebra (L046, L098) has the trade code L046, too." in told
    assert told.count("trade code") == 1
    assert ": no care group is chosen" in told
    cell(screen, screen.taxon, "tradeCode")._text.value = "L998"
    screen.draft.set(screen.taxon, "careGroup", "hypancistrus")
    screen.changed()
    assert "trade code" not in words(screen._head)
    assert "care group" not in words(screen._head)
    screen.draft.set(ZEBRA, "careGroup", "")
    screen.changed()
    assert "zebra (L046, L098): no care group is chosen" in words(screen._head)


# -- one cell -------------------------------------------------------------------------------------


def test_what_a_cell_was_or_takes_over_from_its_genus_stands_beside_it_and_undo(screen, own):
    tail = cell(screen, ZEBRA, "tail_fork")
    assert "shallow hollow or clearly forked, from the genus" in line(screen, "tail_fork")
    assert tail._text.value == ""
    assert tail._unknown.description == "Not known"
    tail._absent.click()
    assert "does not apply changed, was" in line(screen, "tail_fork")
    assert tail._absent.description == "\u2713 Does not apply"
    assert screen._kind.label.endswith(", changed")
    tail._unknown.click()
    assert "1 cell changed in 1 kind; not saved" in words(screen._head)
    assert screen.draft.text(ZEBRA, "tail_fork") == "?"
    was = "not known changed, was shallow hollow or clearly forked, from the genus"
    assert was in line(screen, "tail_fork")
    assert tail._unknown.description == "\u2713 Not known"
    assert screen.draft.made().cell(ZEBRA, "tail_fork") is None
    tail._undo.click()
    assert not screen.draft.is_changed
    assert "Nothing is changed" in words(screen._head)
    assert not screen._kind.label.endswith(", changed")
    assert not is_shown(tail._undo)
    screen.form._show.value = "known"
    assert "tail_fork" in lines(screen)
    tail._unknown.click()
    screen._save_button.click()
    assert idkey.load_table(own).cell(ZEBRA, "tail_fork") is None


def test_numbers_have_two_ends_and_what_cannot_be_read_is_kept(screen):
    teeth = cell(screen, ZEBRA, "teeth_lower")
    teeth._low.value, teeth._high.value = "12", "9"
    assert re.search("To mend.*runs backwards", words(teeth._feedback))
    assert teeth._text.value == "12..9"
    assert "to mend" in line(screen, "teeth_lower")
    teeth._high.value = "16"
    assert "To mend" not in words(teeth._feedback)
    assert screen.draft.made().cell(ZEBRA, "teeth_lower").high == 16
    teeth._text.value = "about <b>ten</b>"
    assert teeth._low.value == "about <b>ten</b>"
    shown = screen.form._lines["teeth_lower"].children[0].value
    assert "<b>" not in shown
    assert "&lt;b&gt;" in shown


def test_what_young_fish_show_is_a_cell_of_its_own(screen):
    pattern = cell(screen, ZEBRA, "pattern")
    pattern._young.click()
    assert screen.form.column == "pattern_young"
    press(screen, "plain")
    assert screen.draft.text(ZEBRA, "pattern_young") == "plain"
    assert "young: no marks" in line(screen, "pattern")
    pattern._young.click()
    assert screen.form.column == "pattern"
    assert not is_shown(cell(screen, ZEBRA, "belly_plates")._young)


def test_next_goes_through_the_traits_that_are_shown(screen):
    core = [t.id for t in screen.table.traits if t.core]
    screen.form.open_cell(core[0])
    for trait in core[1:]:
        screen.form.cell._next.click()
        assert screen.form.column == trait
    screen.form.cell._next.click()
    assert not is_shown(screen.form.cell)
    screen.form._show.value = "all"
    assert set(lines(screen)) == set(screen.table.trait_ids)


def test_names_and_care_group(screen):
    screen._kind.value = ZEBRA
    screen.form._show.value = "names"
    assert lines(screen) == list(screen.draft.names)
    name = cell(screen, ZEBRA, "vernacularName")
    assert not is_shown(name._choice)
    assert not is_shown(name.source)
    name._text.value = EVIL
    cell(screen, ZEBRA, "commonness")._choice.value = "rare"
    assert "rare changed, was" in line(screen, "commonness")
    assert screen.draft.made().taxa.at[ZEBRA, "commonness"] == "rare"
    cell(screen, ZEBRA, "scientificName")._text.value = ""
    screen._check_button.click()
    assert "fill this cell" in words(screen._changes)
    assert screen.form.column == "scientificName"
    assert EVIL not in "".join(w.value for w in (screen._head, screen._told, screen._changes))


def test_a_new_source_can_be_written_in_full(screen):
    source = cell(screen, ZEBRA, "tail_fork").source
    source._fold.button.click()
    source._new.button.click()
    source._bibtex.value = "@misc{ROE2020, author = {Roe, Bo}, title = {Invented}, year = {2020}}"
    source._add.click()
    assert source._source.value == "ROE2020"
    assert source._source.label == "Roe 2020 [ROE2020]"
    source._give.click()
    assert "Roe 2020" in words(source._claims)
    assert "ROE2020" in screen.draft.made().sources
    source._back.click()
    assert not screen.draft.claims


def test_the_sheet_shows_the_same_draft_and_edits_a_cell_as_text(screen):
    screen._kind.value = ZEBRA
    screen._mode.value = _SHEET
    screen.form._column.value = "tail_fork"
    screen.form.cell._text.value = "forked:0.25|concave:0.75"
    assert screen.draft.made().cell(ZEBRA, "tail_fork").shares == (0.75, 0.25)
    assert "forked:0.25|concave:0.75 changed" in words(screen.form._grid)
    screen.form.cell._text.value = "lyre"
    assert "use a state of tail_fork" in words(screen.form.cell._feedback)
    assert "lyre to mend" in words(screen.form._grid)
    screen._mode.value = _FORM
    assert "\u201clyre\u201d can't be read" in line(screen, "tail_fork")
    screen._mode.value = _SHEET
    screen.form.cell._undo.click()
    assert not screen.draft.is_changed


# -- checked and saved ------------------------------------------------------------------------------


def test_what_cannot_be_saved_is_listed_and_gone_to(screen, own):
    screen.draft.set(L201, "tail_fork", "lyre")
    change(screen, L471, "teeth_lower", "many")
    for pressed in (screen._check_button, screen._save_button):
        screen._kind.value = ZEBRA
        pressed.click()
        assert re.search("2 things to mend.*'many'", words(screen._changes))
        assert (screen.taxon, screen.form.column) == (L201, "tail_fork")
    assert not own.exists()


def test_the_shipped_table_asks_for_a_folder_and_one_with_a_fault_is_not_opened(tmp_path, own):
    (tmp_path / "taxa.csv").write_text("id\n")
    with pytest.raises(TableError):
        idkey.table_editor(folder=tmp_path)
    screen = idkey.table_editor()
    change(screen, ZEBRA, "tail_fork", "forked")
    screen._save_button.click()
    elsewhere = screen.folds[_ELSEWHERE].box
    assert "not saved over" in words(elsewhere._note)
    elsewhere._save.click()
    assert "Name the folder first" in words(screen._alert)
    save_elsewhere(screen, own)
    assert not is_shown(elsewhere)


def test_a_file_edited_by_hand_is_not_overwritten_and_the_draft_can_go_elsewhere(tmp_path, own):
    idkey.start_table(own)
    screen = idkey.table_editor(folder=own)
    change(screen, ZEBRA, "tail_fork", "forked")
    edited = (own / "care.csv").read_text().rstrip() + "\n\n"
    (own / "care.csv").write_text(edited)
    screen._save_button.click()
    assert "care.csv" in words(screen._alert)
    assert (own / "care.csv").read_text() == edited
    assert screen.draft.text(ZEBRA, "tail_fork") == "forked"
    save_elsewhere(screen, tmp_path / "whole")
    assert not screen.draft.is_changed


# -- kinds, traits, spreadsheets, conflicts ---------------------------------------------------------


def test_a_kind_is_taken_out_and_all_is_undone_only_after_a_second_word(screen, own):
    screen._kind.value = ZEBRA
    for label in (", taken out", ""):
        removed = list(screen.draft.removed)
        ask = part(screen, "Take this kind out")
        assert screen.draft.removed == removed
        ask._yes.click()
        assert screen._kind.label == f"Hypancistrus zebra (L046, L098){label}"
    add_kind(screen)
    ask = part(screen, "Undo all changes")
    assert screen.draft.is_changed
    ask._yes.click()
    assert not screen.draft.is_changed
    assert screen.taxon in screen.table.ids
    screen._kind.value = ZEBRA
    part(screen, "Take this kind out")._yes.click()
    screen._save_button.click()
    assert ZEBRA not in idkey.load_table(own).ids
    assert ZEBRA not in dict(screen._kind.options).values()


def test_a_trait_is_added_and_filled(screen, own):
    screen._kind.value = ZEBRA
    form = part(screen, "Add a trait")
    form._add.click()
    assert "name the trait" in words(screen._alert)
    form._label.value, form._question.value = "Eye ring", f"A ring? {EVIL}"
    form._states.value = "no ring\npale ring"
    form._add.click()
    assert screen.form.column == "eye_ring"
    assert EVIL not in screen.form.cell._question.value
    press(screen, "pale_ring")
    change(screen, ZEBRA, "vernacularName", EVIL)
    screen._check_button.click()
    assert EVIL not in screen._changes.value + screen._told.value + screen._static_html()
    assert [t.id for t in screen.change.traits_added] == ["eye_ring"]
    screen._save_button.click()
    table = idkey.load_table(own)
    assert table.cell(ZEBRA, "eye_ring").names == ("pale_ring",)
    assert table.trait("eye_ring").words == ("no ring", "pale ring")


def test_a_spreadsheet_is_looked_at_before_it_is_taken(screen, tmp_path):
    path = tmp_path / "kinds.csv"
    path.write_text(f"id,tail_fork,vernacularName\n{ZEBRA},forked,{EVIL.replace(',', '')}\n{L201},lyre,\n")
    sheet = part(screen, "Read a spreadsheet")
    sheet._path.value = str(tmp_path / "none.csv")
    sheet._look.click()
    assert "none.csv" in words(screen._alert)
    sheet._path.value = str(path)
    sheet._look.click()
    assert "lyre" in words(sheet._report)
    assert "<img" not in sheet._report.value
    assert not screen.draft.is_changed
    sheet._take.click()
    assert screen.draft.text(ZEBRA, "tail_fork") == "forked"
    assert (L201, "tail_fork") not in screen.draft.changed
    assert "2 cells taken into the draft" in words(sheet._report)


def test_conflicts_with_a_newer_shipped_table_are_settled_one_by_one_and_the_draft_stays(own, monkeypatch):
    mine = idkey.start_table(own).with_cell(ZEBRA, "tail_fork", "forked")
    mine.with_cell(ZEBRA, "vernacularName", "mine").save()
    shipped = folder._shipped()
    taxa = pd.read_csv(BytesIO(shipped["taxa.csv"]), dtype=str, keep_default_na=False, index_col="id")
    taxa.loc[ZEBRA, ["tail_fork", "vernacularName"]] = ["streamers", EVIL]
    claim = f"{ZEBRA},,,tail_fork,drawn out at the tips,,,memory,species,\n"
    about = re.sub(rb'"version": "[^"]+"', b'"version": "99.0"', shipped["datapackage.json"], count=1)
    newer = {"taxa.csv": taxa.to_csv().encode(), "datapackage.json": about}
    newer["evidence.csv"] = shipped["evidence.csv"] + claim.encode()
    monkeypatch.setattr(folder, "_shipped", lambda: shipped | newer)
    screen = idkey.table_editor(folder=own)
    change(screen, L201, "vernacularName", "theirs")
    conflicts, seen = screen.conflicts, ""
    for number in (1, 2):
        assert f"({number} of 2)" in words(conflicts._shows)
        assert "<img" not in conflicts._shows.value
        seen += words(conflicts._shows)
        conflicts._later.click()
    assert "Yours says forked" in seen
    while "tail_fork" not in words(conflicts._shows):
        conflicts._later.click()
    conflicts._shipped.click()
    assert "(1 of 1)" in words(conflicts._shows)
    conflicts._own.click()
    assert not is_shown(conflicts)
    assert screen.draft.text(ZEBRA, "tail_fork") == "streamers"
    assert screen.draft.text(ZEBRA, "vernacularName") == "mine"
    assert list(screen.draft.changed) == [(L201, "vernacularName")]
    screen._save_button.click()
    again = idkey.load_table(own)
    assert not again.conflicts
    assert again.taxa.at[L201, "vernacularName"] == "theirs"


# -- what is saved in the notebook, other tables, speed ---------------------------------------------


def test_a_table_from_anywhere():
    frame = pd.DataFrame({"kind": ["a", EVIL], "tail": ["forked", EVIL], "commonness": [7, 9]})
    screen = idkey.table_editor(idkey.TraitTable.from_frame(frame, taxon="kind"))
    screen.form.open_cell("tail")
    press(screen, "forked")
    # A trait called like a column of names is a trait.
    screen.form.open_cell("commonness")
    assert not is_shown(screen.form.cell._choice)
    screen._mode.value = _SHEET
    screen._check_button.click()
    shown = (screen._head, screen._told, screen._changes, screen.form._grid, screen.form.cell._question)
    assert "<img" not in "".join(widget.value for widget in shown)


def test_it_opens_and_changes_kind_quickly():
    table = idkey.load_table()
    # Of this process alone: others may be busy.
    began = process_time()
    screen = idkey.table_editor(table)
    assert process_time() - began < 1.5
    screen.form._show.value = "all"
    screen.form.open_cell("pattern")
    began = process_time()
    screen._kind.value = ZEBRA
    assert process_time() - began < 0.5
