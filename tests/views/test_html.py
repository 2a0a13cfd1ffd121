"""The static picture of an identification."""

from idkey import Identification, load_table
from idkey.views.identify import identification_html


def test_one_answer_is_not_answers():
    fish = Identification(load_table()).answer("pattern", "light_spots")
    assert "over the 1 answer that the table can compare" in identification_html(fish)
    fish.answer("spot_colour", "white")
    assert "over the 2 answers that the table can compare" in identification_html(fish)


def test_the_same_identification_gives_the_same_bytes():
    fish = [Identification(load_table()).answer("pattern", "light_spots") for _ in range(2)]
    assert identification_html(fish[0]) == identification_html(fish[1])
