"""The book: what is written is found again, on a file and on a server."""

import pytest

import idkey


@pytest.fixture
def fish(shipped):
    found = idkey.Identification(shipped)
    return found.answer("pattern", "light_spots").answer("basin", "orinoco").answer("tail_fork", None)


def test_a_fish_is_kept_with_all_that_is_needed_to_judge_it_again(book, fish, shipped):
    box = book.add_box("A. B.", "2026-05-31", "17")
    bag = book.add_bag(box, "L 201", 6, "rack 3")
    kept = book.keep(fish, bag, tag="red 7", who="K")
    assert (kept.number, kept.bag.label, kept.bag.box.seller, kept.tank) == (1, "L 201", "A. B.", "rack 3")
    look = book.fish(1).look
    assert look.answers == {"pattern": "light_spots", "basin": "orinoco"}
    assert list(look.answers) == list(fish.answers)
    assert (look.unseen, look.young, look.label, look.who) == (["tail_fork"], None, None, "K")
    table = book.edition(look.edition_id)
    again = book.reopen(1, table)
    assert again.ranking().equals(fish.ranking())
    assert (dict(again.answers), again.unseen) == (dict(fish.answers), fish.unseen)
