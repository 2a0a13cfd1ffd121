"""The book: what is written is found again, on a file and on a server."""

import datetime as dt
import uuid
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import event, text

import idkey
from idkey.book.entries import LEAST
from idkey.errors import IdkeyError, TableWarning, UnknownName
from idkey.table.files import files_of

from .desks import seen

HOSTILE = ("'; DROP TABLE fish; --", "=1+1", "@SUM(A1)", "<script>alert(1)</script>", "%", "_", "雌🐟")


@pytest.fixture
def bag(book):
    return book.add_bag(book.add_box("A. B.", "2026-05-31", "17"), "L 201", 6, "rack 3")


# -- written and read ------------------------------------------------------------------------------------


def test_a_fish_is_kept_with_all_that_is_needed_to_judge_it_again(book, bag, shipped):
    fish = idkey.Identification(shipped, prior=["L201"], none_prior=0.1)
    fish.answer("pattern", "light_spots").answer("spot_colour", "white:0.8|yellow:0.2").answer(
        "tail_fork", None
    )
    fish.answer("head_spots", "same:0.8|none:0.2 measured on a photo").answer("life_stage", "young")
    before = dt.datetime.now(dt.UTC)
    kept = book.keep(fish, bag, tag="red 7", who="K")
    assert (kept.number, kept.bag.label, kept.bag.box.seller, kept.tank) == (1, "L 201", "A. B.", "rack 3")
    look = book.fish(1).look
    assert list(look.answers.items()) == list(fish.answers.items())
    assert (look.unseen, look.young, look.label, look.who) == (["tail_fork"], True, "L 201", "K")
    ranking = fish.ranking().set_index("taxon")["probability"]
    assert look.names == {taxon: share for taxon, share in ranking.items() if share >= LEAST}
    assert "none of these" in look.names
    assert before <= look.at <= dt.datetime.now(dt.UTC)
    assert look.at.astimezone().isoformat()[-6:] == look.zone
    table = book.edition(look.edition_id)
    assert files_of(table) == files_of(shipped)
    again = book.reopen(1, table)
    assert again.ranking().equals(fish.ranking())
    assert (dict(again.answers), again.unseen) == (dict(fish.answers), fish.unseen)


def test_a_later_look_stands_beside_the_earlier_one_and_a_name_beside_the_name(book, bag):
    book.keep(seen(1), bag)
    look = book.look(1, seen(2).answer("basin", "orinoco"), who="K")
    first = book.name(1, "L 201")
    second = book.name(1, "none of these", "sent to a specialist", who="K", probability=0.99)
    fish = book.fish(1)
    assert [found.answers["adult_size"] for found in fish.looks] == ["41", "42"]
    assert (fish.look.id, fish.look.edition.id) == (look.id, look.edition.id)
    assert [naming.id for naming in fish.namings] == [first.id, second.id]
    assert (first.taxon, first.name, first.ground) == (
        "hypancistrus_l201",
        "Hypancistrus sp. (L201)",
        "looked at",
    )
    assert (first.look_id, first.probability) == (look.id, look.names.get("hypancistrus_l201", 0.0))
    assert (fish.naming.taxon, fish.naming.probability) == ("none of these", 0.99)
    assert fish.looks[0].edition_id == fish.looks[1].edition_id


def test_what_became_of_it_is_told_and_its_tank_is_the_last(book, bag):
    book.keep(seen(1), bag)
    for what, detail in (("moved", "rack 9"), ("paired", "2"), ("sold", "XY")):
        book.tell(1, what, detail, who="K")
    fish = book.fish(1)
    told = [(event.what, event.detail) for event in fish.events]
    assert told == [("kept", "rack 3"), ("moved", "rack 9"), ("paired", "2"), ("sold", "XY")]
    assert fish.tank == "rack 9"
    assert [event.at for event in fish.events] == sorted({event.at for event in fish.events})
    assert [row.detail for row in book.events()] == ["rack 3", "rack 9", "2", "XY"]


def test_boxes_bags_and_numbers_run_on(book, bag):
    book.add_bag(bag.box, "L260")
    other = book.add_bag(book.add_box("C", dt.date(2026, 6, 1)), "mixed")
    for n, where in enumerate((bag, other, None, bag)):
        book.keep(seen(n), where)
    assert [(box.number, [b.number for b in box.bags]) for box in book.boxes()] == [(2, [1]), (1, [1, 2])]
    assert [box.number for box in book.boxes(1)] == [2]
    box = book.box(1)
    assert (box.seller, box.date, box.invoice) == ("A. B.", dt.date(2026, 5, 31), "17")
    assert [[fish.number for fish in b.fish] for b in box.bags] == [[1, 4], []]
    assert [fish.number for fish in book.last(3)] == [4, 3, 2]
    assert str(book) == f"{book.place}: 2 boxes, 3 bags, 4 fish, 4 looks, 0 names"
    assert book.add_box("D").date == dt.date.today()


def test_a_fish_is_found_by_tag_tank_label_name_and_number(book, bag):
    book.keep(seen(1), bag, tag="Red 7")
    book.keep(seen(2), tank="rack 4", tag="blue")
    book.name(2, "L46", "bred")
    expected = {"red": [1], "7": [1], "2": [2], "#2": [2], "L-201": [1], "l 0201": [1], "rack": [2, 1]}
    expected |= {"RACK 4": [2], "zebra": [2], "L046": [2], "nothing": [], "": [], "%": []}
    assert {query: [fish.number for fish in book.find(query)] for query in expected} == expected
    book.tell(1, "moved", "quarantine")
    assert [fish.number for fish in book.find("rack")] == [2]
    assert [fish.number for fish in book.find("quarantine")] == [1]


def test_a_fish_sent_twice_under_one_id_is_written_once(book, bag):
    fish_id = uuid.uuid4()
    first = book.keep(seen(1), bag, tag="a", fish_id=fish_id)
    again = book.keep(seen(1), bag, tag="a", fish_id=str(fish_id))
    assert (first.id, first.number) == (again.id, again.number) == (fish_id, 1)
    assert len(book.looks()) == 1
    with pytest.raises(IdkeyError, match="fish 1: is kept under this id with other answers; add a look"):
        book.keep(seen(2), fish_id=fish_id)
    assert book.keep(seen(3)).number == 2


def test_one_fish_sent_by_two_desks_at_one_moment_is_written_once(book, monkeypatch):
    fish_id = uuid.uuid4()
    book.keep(seen(1), fish_id=fish_id)
    # The other desk wrote it after this one had looked.
    monkeypatch.setattr(book, "_read", lambda *_: None)
    with pytest.raises(IdkeyError, match="another desk has written the same at this moment; try again"):
        book.keep(seen(1), fish_id=fish_id)
    monkeypatch.undo()
    assert book.keep(seen(1), fish_id=fish_id).number == 1
    assert book.keep(seen(2)).number == 2


def test_a_photo_is_known_by_its_bytes(book, tmp_path):
    picture = tmp_path / "fish.jpg"
    picture.write_bytes(b"abc")
    fish = book.keep(seen(1), photos=[picture, (picture, {"eye": [1.5, 2]})])
    # SHA-256 of "abc": FIPS 180-2, appendix B.1.
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert {photo.sha256 for photo in fish.photos} == {known}
    assert {str(photo.place) for photo in fish.photos} == {str(picture)}
    assert sorted(map(str, (photo.points for photo in fish.photos))) == ["{'eye': [1.5, 2]}", "{}"]


def test_a_look_made_by_another_table_is_judged_by_that_table(book, shipped):
    other = shipped.with_cell("hypancistrus_l201", "adult_size", "50")
    book.keep(seen(1))
    book.look(1, seen(1, other))
    first, second = (book.edition(look.edition_id) for look in book.fish(1).looks)
    assert first.cell("hypancistrus_l201", "adult_size") == shipped.cell("hypancistrus_l201", "adult_size")
    assert second.cell("hypancistrus_l201", "adult_size").high == 50


def test_what_the_table_of_today_cannot_take_is_named_and_the_rest_goes_on(book, shipped):
    fish = idkey.Identification(shipped, prior=["L46"])
    book.keep(fish.answer("pattern", "light_spots").answer("adult_size", 80))
    without, gone = shipped.without_taxon("L46"), ("adult_size", "adult_size_young")
    without = replace(
        without,
        traits=tuple(trait for trait in without.traits if trait.id not in gone),
        own_cells={column: cells for column, cells in without.own_cells.items() if column not in gone},
        genera={
            name: {c: v for c, v in row.items() if c not in gone} for name, row in without.genera.items()
        },
    )
    with pytest.warns(TableWarning, match="fish 1: left out: prior: .*L46.*adult_size"):
        again = book.reopen(1, without)
    assert dict(again.answers) == {"pattern": "light_spots"}


# -- what can't be written -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("task", "message"),
    [
        (lambda b: b.keep("fish"), "keep: fish: .fish.: give an Identification"),
        (lambda b: b.keep(seen(1), count=0), "count: 0: how many fish, a whole number from 1"),
        (lambda b: b.keep(seen(1), tag="a\0b"), r"tag: .*control character"),
        (lambda b: b.keep(seen(1), tag="\ud800"), "tag: .*half of a character"),
        (lambda b: b.keep(seen(1), tag="x" * 10_001), "tag: .*10000 are the most"),
        (lambda b: b.keep(seen(1), fish_id="12"), "fish_id: '12': give a UUID"),
        (lambda b: b.keep(seen(1), photos=["no/such.jpg"]), "photo: 'no/such.jpg': the file can't be read"),
        (lambda b: b.add_box("A", "31.5.2026"), "date: '31.5.2026': write the day as 2026-05-31"),
        (lambda b: b.add_bag(7, "L201"), "box 7: the book holds box 1 to 1"),
        (lambda b: b.fish(3), "fish 3: the book holds fish 1 to 1"),
        (lambda b: b.fish("1; DROP TABLE fish"), "number: '1; DROP TABLE fish': give a whole number"),
        (lambda b: b.add_photo(1, (__file__, {"eye": object()})), "photo: .*give what JSON can hold"),
        (lambda b: b.look(3, seen(1)), "fish 3: "),
        (
            lambda b: b.name(1, "L46", "guessed"),
            "ground: 'guessed': use a ground .looked at, grown",
        ),
        (lambda b: b.tell(1, "eaten"), "what: 'eaten': use what became of it .kept, moved"),
        (lambda b: b.edition("x"), "'x': the book holds no table of this id"),
    ],
)
def test_what_cannot_be_written_is_one_line_and_nothing_is(book, task, message):
    book.keep(seen(0), book.add_bag(book.add_box("A"), "L201"))
    before = str(book)
    with pytest.raises(IdkeyError, match=message) as caught:
        task(book)
    assert "\n" not in str(caught.value)
    assert str(book) == before


def test_a_kind_that_the_table_does_not_have_is_no_name(book):
    book.keep(seen(0))
    with pytest.raises(UnknownName, match="no_such_kind"):
        book.name(1, "no_such_kind")
    assert book.fish(1).namings == []


def test_a_bag_of_another_book_is_refused(book, bag, tmp_path):
    with idkey.open_book(tmp_path / "other.sqlite") as other:
        with pytest.raises(IdkeyError, match="the bag 'L 201' is not in it"):
            other.keep(seen(1), bag)
        assert other.last() == []


# -- text from a label -----------------------------------------------------------------------------------


LABELS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=40)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(st.one_of(st.sampled_from(HOSTILE), LABELS))
def test_text_from_a_label_is_text_and_nothing_else(book, label):
    bag = book.add_bag(book.add_box(label, invoice=label), label, tank=label)
    kept = book.keep(seen(1), bag, tag=label, who=label)
    book.tell(kept.number, "note", label, who=label)
    fish = book.fish(kept.number)
    # A line break that is no control character is but how it was set.
    written = " ".join(part.strip() for part in label.splitlines()).strip()
    texts = (fish.tag, fish.tank, fish.bag.label, fish.bag.box.seller, fish.look.who, fish.events[-1].detail)
    assert set(texts) == {written}
    assert kept.number in [found.number for found in book.find(label)] or not written.strip("%_-;'")
    assert len(book.box(bag.box.number).bags) == 1


# -- a person is forgotten -------------------------------------------------------------------------------


def test_one_call_deletes_the_traces_of_a_person_and_of_nobody_else(book):
    box = book.add_box("Quintilla Meyer", invoice="INV-77", note="phoned Quintilla  Meyer twice")
    other = book.add_box("Meyer", invoice="INV-78")
    book.keep(seen(0), book.add_bag(box, "L201"), who="quintilla meyer")
    book.tell(1, "sold", "Quintilla Meyer", who="7")
    book.name(1, "L46", who="Quintilla Meyer")
    book.tell(1, "note", "came from Quintilla Meyer's tank, not Quintilla Meyerbeer's")
    book.tell(1, "paired", "7")
    # The box, the look, two events by or about the person, the name; two notes.
    assert book.forget("Quintilla Meyer") == 7
    fish = book.fish(1)
    assert (fish.look.who, fish.naming.who, fish.bag.box.seller, fish.bag.box.invoice) == ("",) * 4
    assert [(e.what, e.detail, e.who) for e in fish.events] == [
        ("kept", "", ""),
        ("sold", "", "7"),
        ("note", "came from 's tank, not Quintilla Meyerbeer's", ""),
        ("paired", "7", ""),
    ]
    assert fish.bag.box.note == "phoned  twice"
    assert (book.box(2).seller, book.box(2).invoice) == (other.seller, other.invoice)
    assert book.forget("7") == 1
    assert [e.detail for e in book.fish(1).events if e.what == "paired"] == ["7"]
    book.tell(1, "sold", "XY, cash")
    book.tell(1, "moved", "rack XY")
    assert book.forget("xy") == 1
    assert [e.detail for e in book.fish(1).events[-2:]] == ["cash", "rack XY"]
    assert book.forget("nobody at all") == 0
    with pytest.raises(IdkeyError, match="forget: ' ': write a name"):
        book.forget(" ")


def test_a_forgotten_person_is_gone_from_the_file_itself(tmp_path):
    place = tmp_path / "b.sqlite"
    with idkey.open_book(place) as book:
        for _ in range(50):
            box = book.add_box("Quintilla Meyer", note="x" * 500)
        bag = book.add_bag(box, "L201 from Quintilla Meyer", tank="Quintilla Meyer's rack")
        book.keep(seen(1), bag, tag="Quintilla Meyer 1", who="Quintilla Meyer")
        assert [fish.number for fish in book.find("Quintilla")] == [1]
        assert b"Quintilla" in b"".join(path.read_bytes() for path in tmp_path.iterdir())
        book.forget("Quintilla Meyer")
        assert (book.find("Quintilla"), book.fish(1).bag.label) == ([], "L201 from")
        held = b"".join(path.read_bytes() for path in tmp_path.iterdir())
        assert b"quintilla" not in held.lower()
    assert b"forget" in place.read_bytes()  # The file says what it holds, and how a person is forgotten.


# -- how it is found -------------------------------------------------------------------------------------


def test_a_box_is_opened_and_a_fish_found_by_an_index_alone(book, bag):
    book.keep(seen(1), bag, tag="red")
    asked = []

    def noted(connection, cursor, statement, parameters, *_):
        if statement.startswith("SELECT"):
            asked.append((statement, parameters))

    event.listen(book._store.engine, "before_cursor_execute", noted)
    book.fish(1), book.find("red"), book.find("1"), book.box(1), book.last()
    event.remove(book._store.engine, "before_cursor_execute", noted)
    assert len(asked) > 15
    plain = "EXPLAIN " if book._store.is_server else "EXPLAIN QUERY PLAN "
    with book._store.reading() as session:
        connection = session.connection()
        if book._store.is_server:
            # So small a book is read whole otherwise.
            connection.execute(text("SET enable_seqscan = off"))
        for statement, parameters in asked:
            plan = " ".join(str(row) for row in connection.exec_driver_sql(plain + statement, parameters))
            assert "Seq Scan" not in plan, statement
            # The last fish are read along the index of their numbers, into a list of at most fifty.
            plan = plan.replace("SCAN fish USING INDEX", "").replace("SCAN anon_1", "")
            assert "SCAN" not in plan, statement
