"""Unsaved changes: typed text is kept, the order of typing changes nothing, only a valid whole is made."""

from functools import partial

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import idkey
from idkey.errors import IdkeyError, TableError, UnknownName
from idkey.table.claims import Claim
from idkey.table.draft import Draft, own_folder
from idkey.table.files import files_of
from idkey.table.names import new_id
from idkey.table.reading import joined, new_trait, parted, states_in, toggled
from idkey.table.schema import Trait

from .small_folder import SMALL, table_of

TABLE = table_of(SMALL)
FEW = settings(max_examples=20)
GOOD = {
    "tail": ["", "-", "straight", "hollow|forked", "forked|hollow", "straight:0.25|forked:0.75"],
    "spots": ["", "light", "dark|none"],
    "rays": ["", "-", "7", "7..9"],
    "size": ["", "100"],
    "teeth": ["", "few"],
    "tail_young": ["", "hollow"],
    "commonness": ["", "common", "rare"],
    "vernacularName": ["", "A <b>bold</b> name"],
}
BAD = {"tail": "fork", "rays": "9..7", "size": "0", "commonness": "often", "careGroup": "moon"}
IDS = [*TABLE.ids, "new_one"]

good_edits = st.lists(
    st.sampled_from(sorted(GOOD)).flatmap(
        lambda column: st.tuples(st.sampled_from(IDS), st.just(column), st.sampled_from(GOOD[column]))
    ),
    unique_by=lambda edit: edit[:2],
)
claims = st.dictionaries(
    st.tuples(st.sampled_from(IDS), st.sampled_from(["tail", "rays", "teeth"])),
    st.sampled_from([Claim("SMITH", "p. 3"), Claim(evidence_class="memory", note="seen")]),
)


def drafted(edits=(), given_claims=None):
    draft = Draft(TABLE)
    draft.add("new_one", scientificName="Testia nova")
    for edit in edits:
        draft.set(*edit)
    for place, claim in (given_claims or {}).items():
        draft.claim(*place, claim)
    return draft


@FEW
@given(good_edits, claims, st.randoms(use_true_random=False))
def test_typed_in_any_order_or_taken_over_it_makes_what_with_rows_makes(edits, given_claims, random):
    made, other, taken = drafted(edits, given_claims).made(), drafted(), Draft(TABLE)
    steps = [partial(other.set, *edit) for edit in edits]
    steps += [partial(other.claim, *place, claim) for place, claim in given_claims.items()]
    random.shuffle(steps)
    for step in steps:
        step()
    rows = {"new_one": {"scientificName": "Testia nova"}}
    for taxon, column, text in edits:
        rows.setdefault(taxon, {})[column] = text
    assert taken.take(rows, given_claims) == len(edits) + 1
    assert files_of(other.made()) == files_of(taken.made()) == files_of(made)
    pd.testing.assert_frame_equal(made.to_frame(), TABLE.with_rows(rows).to_frame())


@given(good_edits)
def test_set_back_or_carried_over_to_what_was_made_nothing_is_changed(edits):
    draft, again, saved = drafted(edits), drafted(edits), drafted(edits)
    draft.set("beta", "tail", " hollow | straight ")  # as it was, in another order
    for taxon, column, _ in edits:
        draft.set(taxon, column, draft.was(taxon, column))
        again.revert(taxon, column)
    draft.remove("new_one")
    assert not draft.is_changed
    assert draft.made() is TABLE
    assert {taxon for taxon, _ in again.changed} <= {"new_one"}
    again.revert_all()
    assert not again.is_changed
    saved.rebase(saved.made())
    assert not saved.changed
    assert not saved.new


@FEW
@given(
    good_edits,
    st.lists(st.tuples(st.sampled_from(IDS), st.sampled_from(sorted(BAD))), min_size=1, unique=True),
)
def test_text_that_cannot_be_read_is_kept_named_and_stops_nothing_else(edits, places):
    draft = drafted(edits)
    for taxon, column in places:
        draft.set(taxon, column, BAD[column])
    assert {place: draft.text(*place) for place in places} == {p: BAD[p[1]] for p in places}
    assert set(draft.wrong) == set(places)
    with pytest.raises(TableError) as caught:
        draft.made()
    assert caught.value.problems == draft.problems
    rest = [edit for edit in edits if edit[:2] not in places]
    # What is wrong is as it was; everything else counts.
    pd.testing.assert_frame_equal(draft.sound.to_frame(), drafted(rest).made().to_frame())
    for place in places:
        draft.set(*place, draft.was(*place))
    assert not draft.problems


def test_all_problems_are_named_at_once_with_their_place():
    draft = drafted([("alpha", "tail", "fork"), ("new_one", "rays", "many")])
    draft.claim("beta", "tail", Claim("NOBODY"))
    draft.add("nameless", tail="forked")
    name = ("nameless", "scientificName")
    assert set(draft.wrong) == {("alpha", "tail"), ("beta", "tail"), ("new_one", "rays"), name}
    assert "did you mean 'forked'?" in draft.wrong["alpha", "tail"]
    assert len(draft.problems) == 4
    # A new kind without a name waits for it.
    assert "nameless" not in draft.sound.ids
    assert draft.label("nameless") == "nameless"
    draft.set(*name, "Testia sp.")
    assert draft.sound.label("nameless") == "Testia sp."
    with pytest.raises(UnknownName, match="did you mean 'alpha'"):
        draft.set("alfa", "tail", "forked")
    with pytest.raises(UnknownName, match="did you mean 'tail'"):
        draft.text("alpha", "tale")


def test_kinds_taken_out_and_put_back():
    draft = drafted([("alpha", "tail", "hollow")])
    for taxon in ("alpha", "new_one", "Alpha", "9lives", "", "with space"):
        with pytest.raises(IdkeyError, match="id"):
            draft.add(taxon, scientificName="Testia nova")
    assert draft.new == ["new_one"]
    draft.remove("alpha")
    assert draft.removed == ["alpha"]
    assert "alpha" not in draft.made().ids
    with pytest.raises(IdkeyError, match="put it back"):
        draft.add("alpha", scientificName="Testia alpha")
    draft.put_back("alpha")
    assert draft.made().cell("alpha", "tail").names == ("hollow",)
    draft.remove("new_one")
    assert not draft.new
    for taxon in TABLE.ids:
        draft.remove(taxon)
    assert draft.problems
    assert draft.sound.ids == TABLE.ids


def test_a_claim_waits_until_its_cell_is_filled():
    draft = Draft(TABLE)
    draft.claim("omega", "tail", Claim("SMITH", "p. 9"))
    assert not draft.problems
    assert len(draft.made().claims("omega", "tail")) == 0
    draft.set("omega", "tail", "forked")
    assert list(draft.made().claims("omega", "tail")["locator"]) == ["p. 9"]
    draft.claim("omega", "tail", None)
    assert list(draft.made().claims("omega", "tail")["note"]) == ["no source given yet"]


def test_new_traits_and_sources():
    draft = Draft(TABLE)
    with pytest.raises(TableError, match="already"):
        draft.add_trait(TABLE.traits[0])
    draft.add_trait(new_trait("Eye ring", "nominal", states="no ring\npale ring", question="A ring?"))
    draft.set("alpha", "eye_ring", "pale_ring")
    assert draft.add_source("@book{ROE, author = {Roe, Bo}, title = {Invented}, year = {2020}}") == ("ROE",)
    draft.claim("alpha", "eye_ring", Claim("ROE", "p. 1"))
    made = draft.made()
    assert made.trait_ids[-1] == "eye_ring"
    assert list(made.claims("alpha", "eye_ring")["source"]) == ["ROE"]
    with pytest.raises(TableError):
        draft.add_source("no bibtex at all")
    with pytest.raises(TableError) as caught:
        new_trait("", "nominal", states="one")
    assert {problem.column for problem in caught.value.problems} >= {"label", "question", "states"}
    with pytest.raises(TableError, match="unit"):
        new_trait("Barbel", "measure", question="How long?")


def test_carried_over_to_another_table_the_rest_stays():
    draft = drafted([("alpha", "tail", "hollow"), ("beta", "rays", "oops"), ("gamma", "tail", "forked")])
    draft.rebase(TABLE.with_cell("alpha", "tail", "hollow").without_taxon("gamma"))
    assert dict(draft.changed)["beta", "rays"] == "oops"
    assert {taxon for taxon, _ in draft.changed} == {"beta", "new_one"}


def test_saved_additions_to_the_shipped_table_start_an_own_one(tmp_path):
    draft, new, zebra = Draft(idkey.load_table()), "hypancistrus_l999", "hypancistrus_zebra"
    draft.add(new, scientificName="Hypancistrus sp.", tradeCode="L999", careGroup="hypancistrus")
    draft.set(new, "pattern", "lines")
    draft.set(zebra, "tail_fork", "forked")
    draft.set(zebra, "teeth_lower", "many")
    with pytest.raises(TableError):
        draft.save(tmp_path / "own")
    assert not (tmp_path / "own").exists()
    draft.revert(zebra, "teeth_lower")
    with pytest.raises(IdkeyError, match="start_table|not saved over"):
        draft.save()
    assert len(draft.changed) > 1
    draft.save(tmp_path / "own")
    assert not draft.is_changed
    assert own_folder(draft.saved) == (tmp_path / "own").resolve()
    assert (tmp_path / "own" / "base.zip").exists()
    again = idkey.load_table(tmp_path / "own")
    assert again.label(new) == "Hypancistrus sp. (L999)"
    assert again.cell(zebra, "tail_fork").names == ("forked",)
    draft.set(new, "pattern", "bars")
    draft.save()
    assert idkey.load_table(tmp_path / "own").cell(new, "pattern").names == ("bars",)


def test_pressed_and_typed_values_become_cells():
    tail = Trait("tail", "ordinal", states=("straight", "hollow", "forked"))
    assert toggled(tail, "oops", "hollow") == "hollow"
    assert toggled(tail, "straight:0.2|forked:0.8", "hollow") == "straight|hollow|forked"
    assert toggled(tail, "hollow", "hollow") == ""
    assert states_in(tail, "-") == states_in(tail, "oops") == ()
    rays, size = Trait("rays", "measure", unit="count"), Trait("size", "ceiling", unit="mm")
    assert parted(joined(rays, "7", " 9 ")) == ("7", "9")
    assert joined(rays, "", "9") == "9"
    assert parted(joined(size, "6,5 cm", "")) == ("65", "")
    assert [parted(text) for text in ("-", "about 7")] == [("", ""), ("about 7", "")]


@given(st.text(max_size=40), st.text(max_size=8), st.sets(st.sampled_from(["kind", "kind_2", "testia_nova"])))
def test_a_proposed_id_can_always_be_used(name, code, taken):
    made = new_id(taken, name, code)
    assert made not in taken
    assert TABLE.with_taxon(made, scientificName="Testia sp.").ids[-1] == made
