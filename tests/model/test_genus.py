"""Of which genus a fish surely is, when the screen offers to stop, and which answer alone turns the genus."""

import random

import pytest
from shipped import TABLE

from idkey import Identification
from idkey.model.genus import LITTLE_BITS, MOST_GENERA, genera, genera_words, settles_little, turning

from .tables import NONE, nominal, of_genera, table_of

BELLY = nominal("belly", ("naked", "plated"), error=0.2, label="Belly")
MOUTH = nominal("mouth", ("wide", "small"), error=0.2, label="Mouth")
SNOUT = nominal("snout", ("blunt", "long"), error=0.002, label="Snout")
SPOTS = nominal("spots", ("white", "yellow"))
KINDS = {
    "a1": "naked wide blunt white",
    "a2": "naked wide blunt yellow",
    "b1": "plated small long white",
    "b2": "plated small long yellow",
}
GENERA = ["Alphus", "Alphus", "Betus", "Betus"]
TWO = of_genera(table_of([BELLY, MOUTH, SNOUT, SPOTS], KINDS), GENERA)


def walked(seed, count):
    """A fish of the shipped table with some answers of one of its rows, some at random."""
    rng = random.Random(seed)
    fish, taxon = Identification(TABLE), rng.choice(TABLE.ids)
    for trait in rng.sample([t for t in TABLE.traits if t.has_states], count):
        names = getattr(TABLE.cell(taxon, trait.id), "names", trait.states)
        fish.answer(trait.id, rng.choice(names if rng.random() < 0.8 else trait.states))
    return fish


@pytest.mark.parametrize("seed", range(12))
def test_the_share_of_a_genus_is_that_of_its_kinds_and_of_its_strangers(seed):
    fish = walked(seed, 4 + seed)
    names, share = genera(fish)
    assert 1 <= len(names) <= MOST_GENERA
    assert len(names) == 1 or share >= 0.95
    of_kinds = sum(row.probability for row in fish.kinds() if TABLE.genus[TABLE.position(row.taxon)] in names)
    none = next(row.probability for row in fish.ranked() if row.taxon == NONE)
    assert of_kinds <= share <= of_kinds + none
    stranger, likely = fish.stranger()
    if names == (stranger,):
        assert share == pytest.approx(of_kinds + none * likely)


def test_a_genus_is_said_as_surely_as_it_is_and_with_its_article():
    fish = Identification(TWO)
    assert genera_words(fish) == ""
    said = {"belly": "naked", "mouth": "wide", "snout": "blunt"}
    for trait, answer in said.items():
        fish.answer(trait, answer)
    assert genera(fish)[0] == ("Alphus",)
    assert genera_words(fish).startswith("An Alphus, almost surely (over 99 %).")
    # Two of a few hold it together where neither does alone.
    fish = Identification(TWO).answer("belly", "plated")
    assert genera(fish)[0] == ("Betus", "Alphus")
    assert genera_words(fish) == "A Betus or an Alphus, almost surely (over 99 %)."
    fish = Identification(TABLE).answer("pattern", "bars").answer("ground_colour", "pale")
    names, share = genera(fish.answer("basin", "xingu"))
    assert 0.5 < share < 0.95
    assert genera_words(fish) == f"Probably a {names[0]} ({share * 100:.0f} %)."


def test_to_stop_is_offered_once_one_genus_is_sure_and_the_next_question_settles_little():
    fish = Identification(TABLE).answer("pattern", "lines").answer("body_keels", "none")
    assert not settles_little(fish.answer("basin", "tapajos"))
    fish.answer("mouth_shape", "small")
    assert genera(fish)[1] >= 0.95
    assert fish.next_question().gain < LITTLE_BITS
    assert settles_little(fish)
    while (question := fish.next_question()) is not None:
        fish.answer(question.trait.id, None)
    # With nothing left to ask there is nothing to stop.
    assert not settles_little(fish)


@pytest.mark.parametrize("seed", range(8))
def test_an_answer_turns_the_genus_where_without_it_another_is_likelier_than_not(seed):
    fish = walked(seed, 7)
    now, found = genera(fish)[0][0], {turn.trait: turn for turn in turning(fish)}
    for left in fish.answers:
        other = Identification(TABLE)
        for trait, answer in fish.answers.items():
            if trait != left:
                other.answer(trait, answer)
        names, share = genera(other)
        if left in found:
            assert found[left].genus == names[0] != now
            assert found[left].share >= 0.5
            assert len(names) > 1 or found[left].share == pytest.approx(share)
        else:
            assert names[0] == now or len(names) > 1 or share < 0.5


def test_one_slip_is_told():
    fish = Identification(TWO).answer("belly", "naked").answer("mouth", "wide").answer("snout", "long")
    (turn,) = turning(fish)
    assert (turn.trait, turn.genus) == ("snout", "Alphus")
    assert turn.share > 0.9
    assert turning(fish.answer("snout", "blunt")) == ()
    assert turning(Identification(TWO).answer("snout", "long")) == ()
