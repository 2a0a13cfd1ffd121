"""A box held against its labels, on a table of four kinds and on the one that comes with the package."""

import numpy as np
import openpyxl
import pandas as pd
import pytest
from answered import answered
from hypothesis import given
from hypothesis import strategies as st

import idkey
from idkey.book.box import AGAINST, check_box
from idkey.model.combine import NONE_PRIOR
from idkey.table.schema import is_missing, state_text

KINDS = pd.DataFrame(
    {
        "kind": ["alpha", "beta", "gamma", "delta"],
        "tail": ["forked", "straight", "straight", "straight"],
        "spots": ["white", "white", "yellow", "yellow"],
        "eye": ["red", "red", "red|blue", "blue"],
        "teeth": ["8..9", "12..14", "12..14", "20..22"],
    }
)
FEW = idkey.TraitTable.from_frame(KINDS, taxon="kind")


def box(table=FEW, **columns):
    return check_box(pd.DataFrame(columns), table)


# -- verdicts --------------------------------------------------------------------------------------------


def test_each_verdict_and_the_answer_that_is_its_cause():
    found = box(
        label=["alpha", "gamma", "alpha", "alpha", "unheard of", ""],
        tail=["forked", "straight", "straight", None, "forked", "forked"],
        spots=["white", "yellow", "yellow", None, "white", "white"],
        eye=["red", "blue", None, None, "red", "red"],
    )
    fits, with_others, not_fit, nothing, unknown, blank = found.bags
    assert [bag.verdict for bag in (fits, with_others, not_fit)] == [
        "fits",
        "fits with others",
        "does not fit",
    ]
    assert [bag.verdict for bag in (nothing, unknown, blank)] == ["can't be told"] * 3
    assert fits.fish[0].others == ()
    assert with_others.fish[0].others == ("delta",)
    assert [r.trait for r in not_fit.fish[0].against] == ["tail", "spots"]
    assert "tail: you said straight; the table has forked" in not_fit.text
    assert unknown.taxa == ()
    assert "unheard of" in unknown.hint
    assert found.of("does not fit") == (not_fit,)


def test_the_label_counts_for_nothing_and_the_weight_is_that_of_the_answers():
    for label in ("alpha", "beta", "nothing known"):
        (fish,) = box(label=[label], tail=["forked"]).bags[0].fish
        assert (
            fish.fish.ranked()[0].probability
            == idkey.Identification(FEW).answer("tail", "forked").ranked()[0].probability
        )
    # By hand: alpha gives "forked" with 0.95 + 0.05 / 2 and the others with 0.05 / 2 of two states; a
    # stranger by the marginal of the column with one flat row more, (1 * 0.975 + 3 * 0.025 + 0.5) / 5.
    alpha, other, stranger = 0.975, 0.025, (0.975 + 3 * 0.025 + 0.5) / 5
    kinds = (1 - NONE_PRIOR) / 4
    rest = (3 * kinds * other + NONE_PRIOR * stranger) / (3 * kinds + NONE_PRIOR)
    (fish,) = box(label=["alpha"], tail=["forked"]).bags[0].fish
    assert fish.weight == pytest.approx(alpha / rest)


def test_that_others_are_likelier_is_no_cause():
    """A kind that shows two states is never ruled out by one of them, however often others are likelier."""
    n = 8
    frame = pd.DataFrame({"kind": ["either", "one", "two"]} | {f"t{i}": ["a|b", "a", "b"] for i in range(n)})
    table = idkey.TraitTable.from_frame(frame, taxon="kind")
    (bag,) = check_box(pd.DataFrame({"label": ["either"]} | {f"t{i}": ["a"] for i in range(n)}), table).bags
    (fish,) = bag.fish
    assert fish.weight < 1 / AGAINST
    assert fish.likeliest == "one"
    assert (bag.verdict, fish.against) == ("can't be told", ())


def test_the_river_that_the_seller_names_is_no_cause(shipped):
    """It is the seller's word, as the label is: alone it rules no label out."""
    answers = {
        "pattern": ["bars", "plain"],
        "basin": ["orinoco", "orinoco"],
        "tail_fork": ["concave", "concave"],
    }
    fits, plain = check_box(pd.DataFrame({"label": ["Hypancistrus zebra"] * 2} | answers), shipped).bags
    assert "basin" in [reason.trait for reason in fits.fish[0].fish.against("hypancistrus_zebra")]
    assert fits.verdict != "does not fit"
    assert fits.fish[0].against == ()
    assert (plain.verdict, [reason.trait for reason in plain.fish[0].against]) == (
        "does not fit",
        ["pattern"],
    )


def test_a_bag_is_judged_by_its_worst_fish_and_its_fish_are_held_against_each_other():
    found = box(
        bag=["1", "1", "2"],
        label=["alpha", None, "beta"],
        tail=["forked", "straight", "straight"],
        spots=["white", "yellow", "white"],
        eye=["red", "blue", "red"],
        teeth=["8", "21", "13"],
        count=[3, None, 2],
    )
    first, second = found.bags
    assert [f.verdict for f in first.fish] == ["fits", "does not fit"]
    assert first.verdict == "does not fit"
    assert (first.count, second.count) == (4, 2)
    assert [pair.verdict for pair in first.pairs] == ["two kinds"]
    assert second.pairs == ()
    assert "Bag 1, fish 1 and bag 1, fish 2 are probably two kinds." in first.text


ROWS = pd.DataFrame(
    {
        "bag": list("abcde"),
        "label": ["alpha", "beta", "gamma", "delta", "what"],
        "tail": ["forked", "straight", None, "forked", "straight"],
        "spots": ["yellow", None, "white", "yellow", "white"],
        "eye": ["red", "blue", "blue", None, "red"],
    }
)


@given(
    rows=st.permutations(range(len(ROWS))),
    columns=st.permutations(range(ROWS.shape[1])),
    blank=st.sampled_from(["teeth", "life_stage", "tank"]),
)
def test_neither_order_nor_a_blank_column_changes_a_verdict(rows, columns, blank):
    other = ROWS.iloc[rows, columns].assign(**{blank: None})
    found = check_box(other, FEW).to_frame().sort_values("bag", ignore_index=True)
    pd.testing.assert_frame_equal(found, check_box(ROWS, FEW).to_frame())


# -- where to look next ----------------------------------------------------------------------------------


def test_the_next_look_is_the_best_question_of_all_bags():
    found = box(
        label=["alpha", "beta", "gamma"], tail=["forked", "straight", None], spots=["white", None, None]
    )
    rates = {}
    for bag in found.bags:
        question = bag.fish[0].fish.next_question()
        rates[bag.number] = question.rate if question else 0.0
    best = found.next_look()
    assert best.question.rate == max(rates.values())
    assert best.bag.number == max(rates, key=rates.get)
    assert [look.question.rate for look in found.looks] == sorted(
        (x.question.rate for x in found.looks), reverse=True
    )


def test_a_fish_that_has_its_name_is_asked_nothing():
    found = box(label=["alpha"], tail=["forked"], spots=["white"], eye=["red"], teeth=["8"])
    assert found.bags[0].fish[0].fish.outcome().kind == "one name"
    assert found.next_look() is None


# -- a box of a book -------------------------------------------------------------------------------------


def test_a_box_of_a_book_is_judged_by_the_latest_look_at_each_fish(tmp_path, shipped):
    first_look = {"pattern": "lines", "tail_fork": None}
    latest = {"pattern": "light_spots", "spot_size": "small", "tail_fork": None}
    with idkey.open_book(tmp_path / "room.sqlite") as book:
        arrived = book.add_box("AB")
        bag = book.add_bag(arrived, "L 201", count=5, tank="rack 1")
        book.add_bag(arrived, "Zebra pleco")
        kept = book.keep(answered(shipped, first_look, ["L201"]), bag, tag="x")
        book.look(kept.number, answered(shipped, latest, ["L201"]))
        found = check_box(arrived.number, shipped, book)
        sheet = {"bag": [1, 2], "label": ["L 201", "Zebra pleco"], "pattern": ["light_spots", None]}
        again = check_box(pd.DataFrame(sheet | {"spot_size": ["small", None]}), shipped)
        for rows, message in ((7, "box 7"), ("box.csv", "give the number of a box in the book")):
            with pytest.raises(idkey.IdkeyError, match=message):
                check_box(rows, shipped, book)
    first, second = found.bags
    assert (first.count, first.tank, first.fish[0].tag) == (5, "rack 1", "x")
    assert first.fish[0].fish.unseen == ("tail_fork",)
    assert [(b.verdict, b.text) for b in found.bags] == [(b.verdict, b.text) for b in again.bags]
    assert second.fish[0].text == "Nothing has been looked at yet."


# -- rows of a sheet -------------------------------------------------------------------------------------


def test_the_words_of_the_screen_are_answers_in_a_workbook_and_in_a_csv_file(tmp_path, shipped):
    header = [
        "Bag no",
        "Name on the invoice",
        "Qty",
        "Pattern",
        "Tail fin edge",
        "Length (cm)",
        "Spots in the fins",
    ]
    lines = [
        [
            "1",
            "Zebra pleco, 4 cm",
            6,
            "bars, bands or stripes",
            "shallow hollow or forked",
            "4,5",
            "can't see it",
        ],
        ["2", "L 201", 2, "light spots on dark", "", 6, "yes"],
    ]
    workbook = openpyxl.Workbook()
    for row in (header, *lines):
        workbook.active.append(row)
    workbook.save(tmp_path / "box.xlsx")
    pd.DataFrame(lines, columns=header).to_csv(tmp_path / "box.csv", index=False, sep=";")
    frames = []
    for name in ("box.xlsx", "box.csv"):
        found = check_box(tmp_path / name, shipped)
        assert not found.problems
        zebra, other = found.bags
        assert "hypancistrus_zebra" in zebra.taxa
        assert other.taxa == ("hypancistrus_l201",)
        assert dict(zebra.fish[0].fish.answers) == {
            "pattern": "bars",
            "tail_fork": "concave|forked",
            "adult_size": "45",
        }
        assert zebra.fish[0].fish.unseen == ("fin_spots",)
        assert (zebra.count, other.count) == (6, 2)
        frames.append(found.to_frame())
    pd.testing.assert_frame_equal(*frames)


def test_what_is_not_understood_is_told_of_by_row_and_column_and_the_rest_is_judged(tmp_path):
    rows = "label,tail,Price,count\nalpha,folded,3,2\nalpha,forked,3,half\n"
    (tmp_path / "box.csv").write_text(rows)
    found = check_box(tmp_path / "box.csv", FEW)
    told = [(p.file, p.row, p.column, p.value) for p in found.problems]
    assert told == [
        ("box.csv", "1", "Price", "Price"),
        ("box.csv", "2", "tail", "folded"),
        ("box.csv", "3", "count", "half"),
    ]
    assert found.problems[1].right == "use a state of tail (forked, straight); did you mean 'forked'?"
    assert dict(found.bags[1].fish[0].fish.answers) == {"tail": "forked"}


CELLS = st.one_of(
    st.sampled_from(
        ["forked", "white or yellow", "straight|forked", "can't see it", "?", "8", "8 to 9", "-", "=1"]
    ),
    st.text(max_size=12),
    st.integers(-3, 30),
    st.floats(),
    st.booleans(),
    st.none(),
)


@given(
    st.lists(
        st.fixed_dictionaries({"label": CELLS, "tail": CELLS, "spots": CELLS, "teeth": CELLS}), min_size=1
    )
)
def test_whatever_stands_in_a_cell_it_is_taken_or_told_of(rows):
    frame = pd.DataFrame(rows, dtype=object)
    found = check_box(frame, FEW)
    told = {(problem.row, problem.column) for problem in found.problems}
    assert len(found.bags) == len(rows)
    for i, (row, bag) in enumerate(zip(rows, found.bags, strict=True)):
        fish = bag.fish[0].fish
        for trait in ("tail", "spots", "teeth"):
            taken = trait in fish.answers or trait in fish.unseen
            blank = is_missing(row[trait])
            assert blank or taken != ((str(i), trait) in told)
            assert not (blank and taken)
        blank = is_missing(row["label"]) or (str(i), "label") in told
        assert bag.label == ("" if blank else " ".join(state_text(row["label"]).split()))


def test_two_labels_on_one_bag_are_told_of_and_the_first_counts():
    found = box(bag=["1", "1"], label=["alpha", "beta"], tail=["forked", "forked"])
    assert found.bags[0].label == "alpha"
    assert [p.value for p in found.problems] == ["beta"]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (pd.DataFrame({"tail": ["forked"]}), "no column holds the label of a bag"),
        (pd.DataFrame({"label": []}), "there is no bag"),
        ("no_such_file.csv", "there is no such file"),
        (3, "give a DataFrame, or the path of a CSV or XLSX file"),
    ],
)
def test_rows_that_are_no_box_are_one_clear_error(rows, message):
    with pytest.raises(idkey.IdkeyError, match=message):
        check_box(rows, FEW)


def test_a_label_of_several_kinds_stands_for_all_of_them():
    (bag,) = box(label=["alpha / gamma"], tail=["straight"], spots=["yellow"], teeth=["13"]).bags
    assert bag.taxa == ("alpha", "gamma")
    posterior = {row.taxon: row.probability for row in bag.fish[0].fish.ranked()}
    assert bag.fish[0].share == pytest.approx(np.sum([posterior[t] for t in bag.taxa]))
    assert (bag.verdict, bag.fish[0].likeliest) == ("fits with others", "gamma")
