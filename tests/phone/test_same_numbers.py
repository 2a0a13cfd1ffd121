"""The page gives the numbers of the package, and asks what it would ask: on random sets of answers."""

import re
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from answered import answered
from markup import words
from scipy.special import ndtr

from idkey.care.sheet import care_for
from idkey.errors import IdkeyError
from idkey.model.compare import compare
from idkey.model.doubt import doubt_of
from idkey.table.table import TraitTable
from idkey.views.identify import asked_html, together_html
from idkey.views.labels import care_in_brief

SETS = 2_000
JUDGED = """sets => sets.map(fish => {
  const found = judged(fish), off = deviations(fish, found.adult);
  const poor = found.names[0].at < 0 ? null : off[found.names[0].at];
  const why = reasons(fish, found, found.names[0].at).map(reason => reason.text);
  return [found.posterior, found.next && found.next.trait.id, found.names.map(row => row.id), poor,
    outcome(fish, found).text, why];
})"""


def random_answer(trait, column, rng):
    """An answer as a person may give it: some states, leaning to one or none; a number, often at an edge."""
    if trait.has_states:
        some = rng.permutation(trait.states)[: rng.choice([1, 1, 1, 2, 3])][: max(len(trait.states) - 1, 1)]
        sure = np.where(np.arange(len(some)) < rng.integers(2), 3.0, 1.0)
        return dict(zip(some.tolist(), (sure / sure.sum()).tolist(), strict=True))
    ends = np.unique(np.concatenate([column.low[column.known], column.high[column.known]]))
    at = float(rng.choice(ends if len(ends) else [30.0])) * rng.choice([1.0, 1.0, 0.4, 0.97, 1.05, 1.3])
    low = max(round(at, 1), 1.0)
    return [low, low + float(rng.choice([0.0, 0.0, 2.0, 0.3 * low]))]


def random_fish(table, rng):
    """A fish as the page holds it: gaps, an age or none, things unseen, names on the bag or none."""
    said = {}
    for trait in rng.permutation(table.trait_ids)[: rng.integers(0, 14)]:
        said[str(trait)] = random_answer(table.trait(trait), table.column(trait), rng)
    left = [t for t in table.trait_ids if t not in said]
    bag = rng.choice(table.ids, rng.integers(1, min(4, len(table))), replace=False).tolist()
    return {
        "answers": said,
        "stage": str(rng.choice(["", "", "adult", "young"])),
        "unseen": rng.choice(left, min(2, len(left)), replace=False).tolist() if rng.integers(2) else [],
        "bag": bag if rng.integers(3) == 0 else [],
    }


def as_python(table, fish):
    found = answered(table, fish["answers"] | dict.fromkeys(fish["unseen"]), fish["bag"] or "commonness")
    return found.answer("life_stage", fish["stage"]) if fish["stage"] else found


def agree(page, table, count, seed):
    rng = np.random.default_rng(seed)
    sets = [random_fish(table, rng) for _ in range(count)]
    worst, swapped = 0.0, 0
    for fish, (posterior, asked, names, off, text, why) in zip(
        sets, page.evaluate(JUDGED, sets), strict=True
    ):
        found = as_python(table, fish)
        worst = max(worst, np.abs(np.array(posterior) - found.of_names).max())
        following = found.next_question()
        assert asked == (following and following.trait.id), fish
        rows = found.ranked()
        if names != [row.taxon for row in rows]:
            # What differs in the last digit alone may be rounded to one or to two numbers.
            swapped += 1
            at = {row.taxon: row.probability for row in rows}
            assert [*map(at.get, names)] == pytest.approx([*at.values()], rel=1e-11), fish
        # Half a per cent may be rounded up by one and down by the other.
        if not any(abs(row.probability * 100 % 1 - 0.5) < 1e-9 for row in rows):
            assert text == found.outcome().text, fish
        if len(fish["answers"]) % 4 == 3:
            assert sorted(why) == sorted(reason.text for reason in found.reasons(rows[0].taxon)), fish
        if off is not None and rows[0].compared:
            assert off == pytest.approx(rows[0].deviation, abs=1e-7), fish
    assert worst < 1e-9
    assert swapped <= count / 100
    return sets


def test_posterior_and_next_question_are_those_of_the_package(shipped, shipped_page):
    sets = []
    for seed, scheme in enumerate(("dark", "light")):
        shipped_page.emulate_media(color_scheme=scheme)
        sets += agree(shipped_page, shipped, SETS // 2, seed)
    # What they are to hold is in them.
    answers = [(shipped.trait(t), value) for fish in sets for t, value in fish["answers"].items()]
    assert any(trait.has_states and len({*value.values()}) > 1 for trait, value in answers)
    assert any(trait.kind == "ceiling" and value[0] < value[1] for trait, value in answers)
    assert {fish["stage"] for fish in sets} == {"", "adult", "young"}
    assert {bool(fish["bag"]) for fish in sets} == {True, False}


def test_so_they_are_for_some_kinds_and_for_a_table_from_elsewhere(shipped, opened):
    some = shipped.only([*shipped.ids[:7], "hypancistrus_zebra"])
    agree(opened(some), some, 100, seed=2)
    frame = pd.DataFrame(
        {"kind": [*"aabbcd"], "rays": [3, 5, 9, 9, 12, 7], "tail": ["a:1", "b|c", "b|c", "a:1", "d", None]}
    )
    frame["tail"] = frame["tail"].str.replace("|", "/")
    other = TraitTable.from_frame(frame, taxon="kind", kinds={"rays": "measure"})
    agree(opened(other), other, 100, seed=3)


ENDED = """sets => sets.map(one => {
  fish = one;
  show();
  ask(null, false);
  showRest();
  const said = ["question", "shown", "how"].map(id => byId(id).innerText);
  return [said.join(" "), byId("together").innerText, careInBrief(careOf(fish, found).kinds)];
})"""
DOUBTED = """pairs => pairs.map(([one, id, value]) => {
  const doubt = doubtOf(judged(one), traitOf.get(id), value);
  return doubt && [doubt.text, doubt.meant];
})"""


def plainly(text):
    """The words of a piece of text or HTML, what drawings are called left out, without a blank."""
    return "".join(words(re.sub(r"<svg.*?</svg>", "", text, flags=re.DOTALL)).split())


def test_the_plain_ending_and_the_care_until_then_are_those_of_the_package(shipped, shipped_page):
    rng = np.random.default_rng(4)
    sets = [random_fish(shipped, rng) for _ in range(150)]
    kinds = set()
    for fish, (said, together, brief) in zip(sets, shipped_page.evaluate(ENDED, sets), strict=True):
        found = as_python(shipped, fish)
        kinds.add(found.outcome().kind)
        assert plainly(said) == plainly(asked_html(found, None)), fish
        assert plainly(together) == plainly(together_html(found).partition("</summary>")[0]), fish
        try:
            sheet = care_for(found)
        except IdkeyError:
            continue
        assert dict(brief) == dict(care_in_brief(sheet)), fish
    assert {"several names", "none of these", "little known", "no answers"} <= kinds


def test_care_for_one_two_and_three_kinds_is_that_of_the_package(shipped, shipped_page):
    rng, ids = np.random.default_rng(5), sorted(shipped.ids)
    sets = [[at] for at in range(len(ids))]
    sets += [rng.choice(len(ids), n, replace=False).tolist() for n in (2, 3) for _ in range(150)]
    told = shipped_page.evaluate(
        "sets => sets.map(kinds => [careInBrief(kinds), textsOf('cautions', kinds)])", sets
    )
    disagree = 0
    for kinds, (brief, cautions) in zip(sets, told, strict=True):
        sheet = care_for(shipped, *(ids[at] for at in kinds))
        assert dict(brief) == dict(care_in_brief(sheet)), kinds
        disagree += any("disagree" in text for _, text in brief)
        parts = sheet.attributes["cautions"].parts
        assert cautions == [*dict.fromkeys(cell for part in parts for cell in part.cells)]
    assert disagree > 20


def test_side_by_side_the_order_is_that_of_the_package(shipped, shipped_page):
    rng, ids = np.random.default_rng(6), sorted(shipped.ids)
    pairs = [rng.choice(len(ids), 2, replace=False).tolist() for _ in range(300)]
    pairs += [[a, b] for a, b in combinations(range(12), 2)]
    orders = (
        """pairs => pairs.map(pair => Object.values(compared(pair)).map(some => some.map(one => one.id)))"""
    )
    for (a, b), told in zip(pairs, shipped_page.evaluate(orders, pairs), strict=True):
        found = compare(shipped, ids[a], ids[b])
        each = (found.differ, found.shared, found.unknown)
        assert told == [[contrast.trait.id for contrast in some] for some in each], (ids[a], ids[b])


def test_a_number_is_asked_back_as_the_package_does(shipped, shipped_page):
    rng = np.random.default_rng(7)
    numbers = [t for t in shipped.traits if not t.has_states]
    asked = []
    for trait in numbers:
        for x in (0.3, 2, 4.6, 12, 46, 150, 460, 900, 4600):
            fish = random_fish(shipped, rng)
            fish["answers"].pop(trait.id, None)
            asked.append([fish, trait.id, [x, x if x != 12 else 15]])
    doubts = 0
    for (fish, trait_id, value), told in zip(asked, shipped_page.evaluate(DOUBTED, asked), strict=True):
        trait, typed = shipped.trait(trait_id), "..".join(dict.fromkeys(f"{x:g}" for x in value))
        doubt = doubt_of(as_python(shipped, fish), trait, typed)
        assert (doubt is None) == (told is None), (fish, trait_id, value)
        if doubt is not None:
            doubts += 1
            text, meant = told
            assert text == doubt.text
            others = [(words, f"{low:g}") for words, (low, _) in meant[:-1]]
            assert others == [*doubt.others]
            assert meant[-1][0] == f"It is {doubt.read}"
    assert doubts > 20


def test_the_normal_distribution_function_is_that_of_scipy(shipped_page):
    x = np.concatenate([np.linspace(-37, 37, 4001), [-2 * 2**0.5, 2 * 2**0.5, 0.0]])
    found = np.array(shipped_page.evaluate("xs => xs.map(ndtr)", x.tolist()))
    assert np.abs(found / ndtr(x) - 1).max() < 1e-12
