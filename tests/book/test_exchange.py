"""A book in open forms, held against programs that know nothing of it, and read back."""

import csv
import json
import uuid
import zipfile
from datetime import datetime

import pytest
from dwca.read import DwCAReader

import idkey
from idkey.book.records import Bag, Box, Edition, Event, Fish, Look, Naming, Photo
from idkey.errors import IdkeyError

from .desks import seen

DWC = "http://rs.tdwg.org/dwc/terms/"
LABEL = '=HYPERLINK("http://x") "L201", wild'


@pytest.fixture
def filled(book, tmp_path, shipped):
    """A book with something of everything."""
    picture = tmp_path / "fish.jpg"
    picture.write_bytes(b"abc")
    box = book.add_box("Seller & Sons", "2026-05-31", "INV-77", "a note")
    book.add_bag(box, "empty bag")
    bag = book.add_bag(box, LABEL, 6, "rack\n3")
    book.keep(seen(1), bag, tag="-red 7", who="K", photos=[(picture, {"eye": [1.5, 2]})])
    fish = idkey.Identification(shipped, prior={"L46": 2.0}, none_prior=0.2)
    fish.answer("life_stage", "young").answer("pattern", "light_spots")
    fish.answer("adult_size", "60..62.5 measured on a photo")
    book.look(1, fish, who="Ännchen")
    book.name(1, "L46", "grown out", who="K")
    book.tell(1, "sold", "Buyer Buyerson", who="K")
    book.keep(seen(2, shipped.with_cell("hypancistrus_l201", "adult_size", "50")), count=5)
    book.name(2, "none of these")
    book.tell(2, "moved", "rack 4")
    return book


def everything(book):
    """Return all records of a book, as plain columns by id."""
    with book._store.reading() as session:
        kinds = (Box, Bag, Fish, Photo, Look, Naming, Event, Edition)
        found = {kind: [row.as_dict() for row in session.query(kind)] for kind in kinds}
    return {kind: sorted(rows, key=lambda row: str(row["id"])) for kind, rows in found.items()}


# -- Darwin Core -----------------------------------------------------------------------------------------


def test_an_archive_is_read_by_a_program_that_knows_the_standard_alone(filled, tmp_path):
    place = tmp_path / "fish.zip"
    filled.save_darwin_core(place)
    # python-dwca-reader, of the Belgian Biodiversity Platform.
    with DwCAReader(place) as archive:
        assert archive.core_contains_term(DWC + "occurrenceID")
        assert archive.descriptor.core.type == DWC + "Occurrence"
        assert archive.descriptor.extensions_type == [DWC + "Identification"]
        first, second = archive.rows
        looks = [row.data for row in first.extensions]
    fish = filled.fish(1)
    told = {term.removeprefix(DWC): text for term, text in first.data.items()}
    assert first.id == told["occurrenceID"] == fish.id.urn
    assert told["verbatimIdentification"] == f"'{LABEL}"
    assert (told["catalogNumber"], told["individualCount"]) == ("1", "1")
    assert (told["basisOfRecord"], told["occurrenceStatus"]) == ("LivingSpecimen", "present")
    assert (told["scientificName"], told["vernacularName"]) == ("Hypancistrus zebra", "L046 | L098")
    assert (told["taxonID"], told["identifiedBy"]) == ("hypancistrus_zebra", "K")
    assert told["identificationQualifier"] == ""  # It was grown out: nothing is doubted.
    assert told["identificationRemarks"].startswith("grown out; probability ")
    assert datetime.fromisoformat(told["dateIdentified"]) == fish.naming.at
    assert datetime.fromisoformat(told["eventDate"]) == fish.kept_at
    assert told["associatedMedia"] == "fish.jpg"
    assert first.data[DWC + "otherCatalogNumbers"] == "'-red 7"
    assert [row[DWC + "identifiedBy"] for row in looks] == ["K", "Ännchen", "K"]
    # Of the second look the prior named one kind alone.
    assert [max(look.names.values()) > 0.5 for look in fish.looks] == [False, True]
    assert [row[DWC + "identificationQualifier"] for row in looks] == ["uncertain", "probably", ""]
    assert (second.data[DWC + "scientificName"], second.data[DWC + "taxonID"]) == ("", "none of these")
    assert second.data[DWC + "individualCount"] == "5"


def test_persons_of_the_trade_are_not_in_an_archive(filled, tmp_path):
    filled.save_darwin_core(tmp_path / "fish.zip")
    with zipfile.ZipFile(tmp_path / "fish.zip") as archive:
        assert archive.testzip() is None
        text = "".join(archive.read(name).decode("utf-8", "ignore") for name in archive.namelist())
    assert "L201" in text
    assert not [word for word in ("Seller", "INV-77", "a note", "Buyerson", str(tmp_path)) if word in text]


def test_an_archive_read_back_holds_all_but_what_was_left_out(filled, tmp_path):
    place = tmp_path / "fish.zip"
    filled.save_darwin_core(place)
    with idkey.open_book(tmp_path / "back.sqlite") as back:
        assert back.read_darwin_core(place) == 2
        was, found = everything(filled), everything(back)
        for row in was[Box]:
            row.update(seller="", invoice="", note="")
        was[Bag] = [bag for bag in was[Bag] if bag["label"] != "empty bag"]
        for row in was[Photo]:
            row["place"] = "fish.jpg"
        for row in was[Event]:
            row["detail"] = "" if row["what"] == "sold" else row["detail"]
        assert found == was
        for look in back.fish(1).looks:
            again, before = (book.edition(look.edition_id) for book in (back, filled))
            assert again.to_frame().equals(before.to_frame())
        assert back.reopen(1, back.edition(look.edition_id)).ranking()["probability"].iloc[0] == max(
            look.names.values()
        )
        for query in ("l201", "red", "zebra", "rack 4"):
            assert [fish.number for fish in back.find(query)] == [fish.number for fish in filled.find(query)]
        # Read again it adds nothing; a number that is given away is not given again.
        assert back.read_darwin_core(place) == 0
        assert back.keep(seen(3)).number == 3
    with idkey.open_book(tmp_path / "other.sqlite") as other:
        for n in range(4):
            other.keep(seen(n))
        assert other.read_darwin_core(place) == 2
        assert [fish.number for fish in other.last(2)] == [6, 5]
        assert other.fish(5).id == filled.fish(1).id


META = """<archive xmlns="http://rs.tdwg.org/dwc/text/"><core encoding="UTF-8" fieldsTerminatedBy="\\t"
 fieldsEnclosedBy="" ignoreHeaderLines="1" rowType="http://rs.tdwg.org/dwc/terms/Occurrence">
<files><location>o.txt</location></files><id index="1"/>
<field index="0" term="http://rs.tdwg.org/dwc/terms/verbatimIdentification"/>
<field index="2" term="http://rs.tdwg.org/dwc/terms/eventDate"/>
<field index="3" term="http://rs.tdwg.org/dwc/terms/individualCount"/>
<field term="http://rs.tdwg.org/dwc/terms/basisOfRecord" default="LivingSpecimen"/></core>
<extension fieldsTerminatedBy="," rowType="http://rs.tdwg.org/dwc/terms/Identification">
<files><location>i.csv</location></files><coreid index="0"/>
<field index="1" term="http://rs.tdwg.org/dwc/terms/scientificName"/>
<field index="2" term="http://rs.tdwg.org/dwc/terms/dateIdentified"/></extension></archive>"""
OCCURRENCES = 'label\tid\tday\tcount\nL "201"\tA:1\t2020-01-02\t\nL201\tA:2\t2020-01-02T10:00:00+02:00\t3\n'


def archive_of(place, **files):
    with zipfile.ZipFile(place, "w") as archive:
        for name, text in files.items():
            archive.writestr(name.replace("_", "."), text)
    return place


def test_an_archive_of_another_program_is_read_as_far_as_the_terms_go(book, tmp_path):
    named = "A:2,Hypancistrus zebra,2021-03-04\n"
    place = archive_of(tmp_path / "a.zip", meta_xml=META, o_txt=OCCURRENCES, i_csv=named)
    assert book.read_darwin_core(place) == 2
    assert book.read_darwin_core(place) == 0
    first, second = book.fish(1), book.fish(2)
    assert (first.bag.label, first.count, first.kept_at.isoformat()) == (
        'L "201"',
        1,
        "2020-01-02T00:00:00+00:00",
    )
    assert (second.bag.label, second.count, second.kept_at.isoformat()) == (
        "L201",
        3,
        "2020-01-02T08:00:00+00:00",
    )
    assert first.id == uuid.uuid5(uuid.NAMESPACE_URL, "A:1")
    assert [(naming.name, naming.ground) for naming in second.namings] == [
        ("Hypancistrus zebra", "looked at")
    ]
    assert [bag.number for bag in book.boxes()[0].bags] == [1, 2]
    assert [fish.number for fish in book.find("zebra")] == [2]


@pytest.mark.parametrize(
    ("files", "said"),
    [
        ({"o_txt": OCCURRENCES}, "meta.xml: the file is missing from the archive"),
        ({"meta_xml": "<archive"}, "meta.xml: is no XML"),
        ({"meta_xml": '<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>'}, "meta.xml: is no XML"),
        ({"meta_xml": META.replace("Occurrence", "Taxon")}, "must have rows of the type Occurrence"),
        ({"meta_xml": META}, "o.txt: the file is missing"),
        ({"meta_xml": META, "o_txt": OCCURRENCES.replace("2020-01-02\t", "soon\t")}, "o.txt, row 2: .*soon"),
        ({"meta_xml": META, "o_txt": OCCURRENCES.replace("\t3\n", "\tmany\n")}, "o.txt, row 3: .*many"),
        ({"meta_xml": META, "o_txt": OCCURRENCES.replace("\t3\n", "\t0\n")}, "o.txt, row 3: count: 0"),
    ],
)
def test_what_is_no_archive_is_told_with_its_place_and_nothing_is_read(book, tmp_path, files, said):
    files = {"i_csv": "", **files}
    with pytest.raises(IdkeyError, match=said) as caught:
        book.read_darwin_core(archive_of(tmp_path / "a.zip", **files))
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith("nothing was read")
    assert book.last() == book.boxes() == []


def test_a_changed_edition_does_not_enter_a_book(filled, tmp_path):
    filled.save_darwin_core(tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    editions = [name for name in files if name.endswith(".zip")]
    files[editions[0]], files[editions[1]] = files[editions[1]], files[editions[0]]
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    with idkey.open_book(tmp_path / "back.sqlite") as back:
        with pytest.raises(IdkeyError, match="the table that looks were judged by can't be read"):
            back.read_darwin_core(tmp_path / "b.zip")
        assert back.last() == []
    (tmp_path / "notes.txt").write_text("L201")
    with pytest.raises(IdkeyError, match=r"notes.txt: is no Darwin Core Archive .*; nothing was read"):
        filled.read_darwin_core(tmp_path / "notes.txt")


# -- CSV -------------------------------------------------------------------------------------------------


def test_the_whole_book_goes_to_csv_and_no_cell_of_it_is_a_formula(filled, tmp_path):
    folder = tmp_path / "out"
    filled.save_csv(folder)
    found = {}
    for file in folder.glob("*.csv"):
        with file.open(encoding="utf-8", newline="") as lines:
            found[file.stem] = list(csv.DictReader(lines))
    kept = everything(filled)
    kinds = {kind.__tablename__: kind for kind in kept}
    assert {name: len(rows) for name, rows in found.items()} == {n: len(kept[k]) for n, k in kinds.items()}
    for name, kind in kinds.items():
        assert [*found[name][0]][-len(kept[kind][0]) :] == [*kept[kind][0]]
    # What a spreadsheet program would run (OWASP, "CSV Injection").
    cells = [cell for rows in found.values() for row in rows for cell in row.values()]
    assert not [cell for cell in cells if cell[:1] in "=+-@\t\r" and cell]
    bag = next(row for row in found["bag"] if row["count"] == "6")
    assert (bag["box"], bag["number"], bag["label"], bag["tank"]) == ("1", "2", f"'{LABEL}", "rack 3")
    look = next(row for row in found["look"] if row["who"] == "Ännchen")
    assert (look["fish"], json.loads(look["answers"])) == (
        "1",
        {"life_stage": "young", "pattern": "light_spots", "adult_size": "60..62.5 measured on a photo"},
    )
    assert found["box"][0]["seller"] == "Seller & Sons"
    assert "forget(person)" in (folder / "about.txt").read_text()
    with pytest.raises(IdkeyError, match="is there already; say overwrite=True"):
        filled.save_csv(folder)
    filled.save_csv(folder, overwrite=True)
    filled.save_darwin_core(tmp_path / "a.zip")
    with pytest.raises(IdkeyError, match="is there already; say overwrite=True"):
        filled.save_darwin_core(tmp_path / "a.zip")
