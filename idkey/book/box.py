"""A box held against its labels: does each bag hold what is written on it, and where to look next.

The label is what is to be judged, so it counts for nothing: before anyone looks each kind counts by its
commonness in the trade, and `NONE_PRIOR` of fish are none of the kinds in the table (`PRIOR`). What is said
of a label is the weight of the answers: how many times likelier they are if the fish is of the kinds that the
label names than if it is not, ``(P / (1 - P)) / (p / (1 - p))`` with p the prior share of these kinds and P
the posterior. For one fish the label

* *fits* if no other name is possible (the names still possible hold 95 % of the posterior), and *fits with
  others* if at most `MOST_OTHERS` are, and it is among them;
* *does not fit* if it is none of them, the answers are `AGAINST` times likelier without it, and at least one
  answer lies outside all that the table allows for its kind: that other names are likelier is not enough, nor
  is the river that the seller names;
* *can't be told* yet in all other cases: no answers, a label that the table does not know, a kind of which
  too little is known, too many names left, or answers that only make other names likelier.

A bag comes out as the worst of its fish.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal, NamedTuple

import pandas as pd

from idkey.book.box_rows import BagRead, kept_box, read_box
from idkey.book.pair import SameKind, pairs
from idkey.display import Printed
from idkey.errors import IdkeyError, Problem, UnknownName
from idkey.model.answers import code_answers
from idkey.model.ask import Question
from idkey.model.combine import NONE_PRIOR, check_table, weights
from idkey.model.distinguish import HEARSAY
from idkey.model.fit import outside
from idkey.model.identify import FAIR, Identification, Reason, is_hardly_known
from idkey.table.columns import ColumnRead
from idkey.table.folder import load_table
from idkey.table.names import one
from idkey.table.schema import LIFE_STAGE, NONE
from idkey.table.table import TraitTable
from idkey.table.units import first_up, listed, number_of, percent

AGAINST = 20.0
"""How many times likelier the answers must be without the label before it is said not to fit: what were even
odds on the label are then less than 5 % (judgement)."""
MOST_OTHERS = 10
"""Other names up to which the label fits with others; with more it can't be told yet (judgement)."""
PRIOR = (
    "The label itself counts for nothing here: before anyone looks, each kind counts by its commonness in "
    f"the trade, and {percent(NONE_PRIOR)} of fish are none of the kinds in the table."
)

Verdict = Literal["fits", "fits with others", "does not fit", "can't be told"]
_BEST_FIRST: tuple[Verdict, ...] = ("fits", "fits with others", "can't be told", "does not fit")


@dataclass(frozen=True, eq=False)
class FishCheck:
    """One fish, or the lot of a bag, held against the label.

    Attributes
    ----------
    name : str
        What it is called: "bag 3", or "bag 3, fish b".
    tag : str
        As the sheet has it; blank where a bag is one row.
    fish : Identification
        What was answered; the label is no part of it.
    taxa : tuple of str
        Kinds that the label names; none for a label that the table does not know.
    verdict : {"fits", "fits with others", "does not fit", "can't be told"}
    against : tuple of Reason
        Answers outside all that the table allows for the likeliest kind of the label, strongest first.
    others : tuple of str
        Names still possible that the label does not name, likeliest first, "none of these" among them.
    likeliest, probability : str, float
        The likeliest name, a taxon id or "none of these", and its posterior.
    share : float
        Posterior of the kinds of the label together.
    weight : float
        How many times likelier the answers are if the label is right than if not; 1 without a known label.
    text : str
        The verdict in a sentence or two.
    """

    name: str
    tag: str
    fish: Identification
    taxa: tuple[str, ...]
    verdict: Verdict
    against: tuple[Reason, ...]
    others: tuple[str, ...]
    likeliest: str
    probability: float
    share: float
    weight: float
    text: str


@dataclass(frozen=True, eq=False)
class BagCheck:
    """A bag of a box: its label as written, and its fish held against it.

    `taxa` are the kinds that the label names; `hint` says what is near where it names none. `rows` are the
    places of its rows in the sheet.
    """

    table: TraitTable
    number: str
    label: str
    taxa: tuple[str, ...]
    hint: str
    count: int
    tank: str
    fish: tuple[FishCheck, ...]
    rows: tuple[str, ...] = ()

    @property
    def worst(self) -> FishCheck:
        """The fish by which the bag is judged."""
        return max(self.fish, key=lambda f: (_BEST_FIRST.index(f.verdict), -f.weight))

    @property
    def verdict(self) -> Verdict:
        """What holds for the bag: the worst that holds for one of its fish."""
        return self.worst.verdict

    @property
    def text(self) -> str:
        """The verdict in a sentence or two; of several fish, that of the one by which the bag is judged."""
        text = self.worst.text
        if len(self.fish) > 1:
            same = sum(f.verdict == self.verdict for f in self.fish)
            text += f" So for {same} of {len(self.fish)} fish looked at." if same > 1 else ""
        if self.mixed:
            pair = self.mixed[0]
            text += f" {first_up(pair.names[0])} and {pair.names[1]} are probably two kinds."
        return text

    @cached_property
    def pairs(self) -> tuple[SameKind, ...]:
        """Every two of its fish, least likely to be one kind first; fish without answers are left out."""
        seen = [f for f in self.fish if f.fish.answers]
        names = [f.name for f in seen]
        return pairs(self.table, [f.fish for f in seen], names, "same bag") if seen[1:] else ()

    @property
    def mixed(self) -> tuple[SameKind, ...]:
        """Those that are probably two kinds."""
        return tuple(pair for pair in self.pairs if pair.verdict == "two kinds")


class BoxLook(NamedTuple):
    """A look at one bag, worth `question.gain` bits of its names, `question.rate` a second."""

    bag: BagCheck
    fish: FishCheck
    question: Question


@dataclass(frozen=True, eq=False, repr=False)
class BoxCheck(Printed):
    """A box held against its labels; see `check_box`.

    Attributes
    ----------
    table : TraitTable
    bags : tuple of BagCheck
        In the order of the rows.
    place : str
        The file that it was read from, and the sheet in it; blank for rows given in code.
    problems : tuple of Problem
        Cells and columns that were not taken, each with what would be right.
    columns : tuple of ColumnRead
        How each column was read.
    notes : tuple of str
        How the file itself was read.
    prior : str
        The prior that was used, in words.
    """

    table: TraitTable
    bags: tuple[BagCheck, ...]
    place: str = ""
    problems: tuple[Problem, ...] = ()
    columns: tuple[ColumnRead, ...] = ()
    notes: tuple[str, ...] = ()
    prior: str = PRIOR

    def of(self, verdict: Verdict) -> tuple[BagCheck, ...]:
        """Return the bags that come out so."""
        return tuple(bag for bag in self.bags if bag.verdict == verdict)

    @property
    def text(self) -> str:
        """How many bags come out how; one sentence."""
        words = {
            "fits": ("1 label fits", "{} labels fit"),
            "fits with others": ("1 fits, and so do other names", "{} fit, and so do other names"),
            "does not fit": ("1 does not fit", "{} do not fit"),
            "can't be told": ("1 can't be told yet", "{} can't be told yet"),
        }
        counts = ((len(self.of(verdict)), said) for verdict, said in words.items())
        told = (one if n == 1 else many.format(n) for n, (one, many) in counts if n)
        return f"{number_of(len(self.bags), 'bag')}: {'; '.join(told)}."

    @cached_property
    def looks(self) -> tuple[BoxLook, ...]:
        """Which look at which bag next: what settles most for least trouble first, over all bags.

        Of fish that have their name nothing is asked. The gain of a look is the expected drop in the entropy
        of the names of that fish, as for `Identification.next_question`.
        """
        found = [
            BoxLook(bag, fish, question)
            for bag in self.bags
            for fish in bag.fish
            if fish.fish.next_question() is not None
            for question in fish.fish.questions()
        ]
        found.sort(key=lambda look: (-look.question.rate, look.fish.name, look.question.trait.id))
        return tuple(found)

    def next_look(self) -> BoxLook | None:
        """Return the look that settles most for least trouble; None when none is left or needed."""
        return next(iter(self.looks), None)

    def to_frame(self) -> pd.DataFrame:
        """Return one row a fish: bag, fish, label, verdict, likeliest, probability, share, weight, text."""
        rows = [
            (bag.number, f.tag, bag.label, f.verdict, f.likeliest, f.probability, f.share, f.weight, f.text)
            for bag in self.bags
            for f in bag.fish
        ]
        kinds = dict.fromkeys(("bag", "fish", "label", "verdict", "likeliest"), "str")
        kinds |= dict.fromkeys(("probability", "share", "weight"), float) | {"text": "str"}
        return pd.DataFrame(rows, columns=list(kinds)).astype(kinds)


def check_box(
    rows: pd.DataFrame | str | os.PathLike[str] | int,
    table: TraitTable | None = None,
    book: Any = None,
    *,
    sheet: str | None = None,
) -> BoxCheck:
    """Hold the bags of a box against their labels.

    One row is a bag, or one fish of a bag where several rows name the same bag. A column ``label`` holds the
    name as the invoice writes it; ``bag``, ``fish``, ``count``, ``tank`` and ``life_stage`` may stand beside
    it, and one column for each trait that was looked at, by its id or its label. Answers are written as on
    the screen ("white or yellow", "4 cm"), blank where nobody looked, "can't see it" where it can't be seen.
    A cell that can't be read is left out and told of in `problems`.

    Parameters
    ----------
    rows : DataFrame, path of a CSV or XLSX file, or with `book` the number of a box in it
    table : TraitTable, optional
        By default the shipped one.
    book : Book, optional
        The book that the box is in; of each fish the latest look counts.
    sheet : str, optional
        The sheet of a workbook; by default the first with a column for the label.

    Raises
    ------
    TableError
        No file, no column for the label, or no row. IdkeyError for a box that is not in the book.

    Examples
    --------
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"], "eye": ["red", "blue"]})
    >>> table = TraitTable.from_frame(frame, taxon="kind")
    >>> box = pd.DataFrame({"label": ["a", "b"], "tail": ["forked", "forked"], "eye": ["red", "red"]})
    >>> [bag.verdict for bag in check_box(box, table).bags]
    ['fits', 'does not fit']
    """
    table = load_table() if table is None else table
    check_table(table)
    if book is not None and not isinstance(rows, int):
        raise IdkeyError(f"rows: {type(rows).__name__}: give the number of a box in the book")
    read = read_box(table, rows, sheet) if book is None else kept_box(table, book.box(rows))
    bags = tuple(check_bag(table, bag) for bag in read.bags)
    return BoxCheck(table, bags, read.place, read.problems, read.columns, read.notes)


def check_bag(table: TraitTable, bag: BagRead) -> BagCheck:
    """Hold the fish of one bag against its label."""
    taxa, hint = table.names.inside(bag.label), ""
    if bag.label and not taxa:
        try:
            one(table, bag.label)
        except UnknownName as error:
            hint = str(error)
    name, several = f"bag {bag.number}", len(bag.fish) > 1
    fish = tuple(
        check_fish(fish, bag.label, taxa, f"{name}, fish {tag or i}" if several else name, tag)
        for i, (tag, fish) in enumerate(bag.fish, start=1)
    )
    return BagCheck(table, bag.number, bag.label, taxa, hint, bag.count, bag.tank, fish, tuple(bag.rows))


def check_fish(
    fish: Identification, label: str, taxa: tuple[str, ...], name: str = "the fish", tag: str = ""
) -> FishCheck:
    """Hold one fish against a label that names these kinds.

    `fish` must have the prior by commonness, not that of the label.
    """
    table, ranked = fish.table, fish.ranked()
    of_label = [row for row in ranked if row.taxon in taxa]
    others = tuple(taxon for taxon in fish.candidates() if taxon not in taxa)
    before = float(weights(table)[[table.position(t) for t in taxa]].sum()) * (1 - NONE_PRIOR)
    share = float(sum(row.probability for row in of_label))
    weight = _odds(share) / _odds(before) if taxa and fish.answers else 1.0
    against = _against(fish, of_label[0].taxon) if of_label else ()
    verdict, text = _judged(fish, label, of_label, others, weight, against)
    best = ranked[0]
    return FishCheck(
        name, tag, fish, taxa, verdict, against, others, best.taxon, best.probability, share, weight, text
    )


def _odds(share: float) -> float:
    return share / max(1 - share, 1e-12)


def _against(fish: Identification, taxon: str) -> tuple[Reason, ...]:
    table, at = fish.table, fish.table.position(taxon)
    coded, stage = code_answers(table, fish.answers), fish.answers.get(LIFE_STAGE)
    # What the seller says of the river is the seller's word, as the label is, and was not seen on the fish.
    found = (r for r in fish.against(taxon) if r.decibans <= -FAIR and r.trait not in HEARSAY)
    return tuple(
        r for r in found if outside(table, table.trait(r.trait), coded.distinct[r.trait], stage)[0, at]
    )


def _judged(
    fish: Identification,
    label: str,
    of_label: Sequence[Any],
    others: Sequence[str],
    weight: float,
    against: Sequence[Reason],
) -> tuple[Verdict, str]:
    """Return the verdict on one fish, and in words."""
    table, best = fish.table, fish.ranked()[0]
    likelier = f"{_name(table, best.taxon)} ({percent(best.probability)})"
    if not label.strip():
        return "can't be told", f"There is no label. Likeliest: {likelier}."
    if not of_label:
        return "can't be told", f"The table knows no kind that is called {label!r}. Likeliest: {likelier}."
    if not fish.answers:
        return "can't be told", "Nothing has been looked at yet."
    possible = [row for row in of_label if row.candidate]
    known = [row for row in possible if not is_hardly_known(fish, row)]
    if not possible and weight <= 1 / AGAINST and against:
        # Without the weight that stands behind each.
        causes = "; ".join(reason.text.rpartition(" (")[0] for reason in against)
        instead = "Likelier" if best.probability >= 0.5 else "What it is can't be told yet; likeliest"
        return "does not fit", f"The label does not fit: {causes}. {instead}: {likelier}."
    if not possible:
        text = f"Other names are likelier, {likelier} first, but nothing seen rules the label out."
    elif not known:
        text = "Too little is known of the kind on the label to check the answers against it."
    elif not others:
        return "fits", f"The label fits, and no other name is possible ({percent(known[0].probability)})."
    elif len(others) > MOST_OTHERS:
        text = f"The label is still possible, and so are {len(others)} other names."
    elif weight <= 1 / AGAINST:
        text = f"The label is still possible, but hardly: likelier is {likelier}."
    else:
        names = listed(_name(table, taxon) for taxon in others)
        first = "" if best.taxon == of_label[0].taxon else f" Likeliest: {likelier}."
        return "fits with others", f"The label fits, and so do these others: {names}.{first}"
    return "can't be told", text


def _name(table: TraitTable, taxon: str) -> str:
    return "none of the kinds in the table" if taxon == NONE else table.label(taxon)
