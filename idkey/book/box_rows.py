"""The rows of a box, from a frame or a keeper's sheet: bags, labels, and what was answered on each fish."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from numbers import Real
from pathlib import Path
from typing import Any

import pandas as pd

from idkey.errors import AnswerError, IdkeyError, Problem, TableError
from idkey.model.identify import Identification
from idkey.table.columns import ColumnNames, ColumnRead
from idkey.table.csvfile import cell_problem, read_grid
from idkey.table.schema import LIFE_STAGE, is_missing, state_text
from idkey.table.table import TraitTable

BAG, LABEL, FISH, COUNT, TANK = "bag", "label", "fish", "count", "tank"
_TEXTS = BAG, LABEL, FISH, TANK
_WORDS = {
    BAG: "bag no|bag number|bag nr|no|nr|number|position",
    LABEL: "name|sold as|invoice|name on the invoice|invoice name|label as written|trade name|species|kind|"
    "L number|code|trade code|article|description",
    FISH: "fish no|fish number|tag|specimen",
    COUNT: "quantity|qty|pieces|pcs|how many|number of fish",
    TANK: "tank no|tank number",
    LIFE_STAGE: "age|stage|adult or young",
}
"""What people call the columns of a box that are no traits; a trait goes by its id or its label."""


@dataclass
class BagRead:
    """A bag as its rows have it; `fish` are the tag and the answers of each row, `rows` their places."""

    number: str
    label: str = ""
    count: int = 0
    tank: str = ""
    fish: list[tuple[str, Identification]] = field(default_factory=list)
    rows: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class BoxRead:
    """The bags of a sheet, what was not taken, and how columns and file were read."""

    bags: tuple[BagRead, ...]
    place: str
    problems: tuple[Problem, ...]
    columns: tuple[ColumnRead, ...]
    notes: tuple[str, ...]


def read_box(table: TraitTable, rows: Any, sheet: str | None = None) -> BoxRead:
    """Read the rows of a box; see `idkey.book.box.check_box`. Raises TableError."""
    names, place, notes = _columns_of_a_box(table), "", ()
    if isinstance(rows, pd.DataFrame):
        header, top = [str(column) for column in rows.columns], ""
        cells = zip(rows.index, rows.to_numpy(object), strict=True)
        lines = [(str(i), list(row)) for i, row in cells]
    elif isinstance(rows, str | os.PathLike):
        grid = read_grid(Path(rows), sheet, names.known)
        place, header, top, notes = grid.place, grid.header, str(grid.header_row), grid.notes
        lines = [(str(number), list(row)) for number, row in grid.lines]
    else:
        right = "give a DataFrame, or the path of a CSV or XLSX file"
        raise IdkeyError(f"rows: {type(rows).__name__}: {right}")
    filled = {at for _, row in lines for at, cell in enumerate(row) if not is_missing(cell)}
    columns = names.read(header, filled)
    if all(column.meaning != LABEL for column in columns):
        right = "no column holds the label of a bag; name one label"
        raise TableError([Problem(place, top, "", ", ".join(header[:12]), right)])
    if not lines:
        raise TableError([Problem(place, "", "", "", "there is no bag; write one row a bag")])
    reader = _Reader(table, columns, place)
    reader.problems += [Problem(place, top, c.name, c.name, c.text) for c in columns if not c.meaning]
    for number, row in lines:
        reader.read(number, row)
    return BoxRead(tuple(reader.bags.values()), place, tuple(reader.problems), columns, tuple(notes))


def kept_box(table: TraitTable, box: Any) -> BoxRead:
    """Return a box that is in a book, each fish as it was looked at last; see `Book.box`."""
    place, problems, bags = f"box {box.number}", [], []
    for bag in box.bags:
        read = BagRead(str(bag.number), bag.label, bag.count, bag.tank)
        for fish in bag.fish:
            seen, row = Identification(table), f"fish {fish.number}"
            answers = {**fish.look.answers, **dict.fromkeys(fish.look.unseen)} if fish.look else {}
            for trait, answer in answers.items():
                try:
                    seen.answer(trait, answer)
                except AnswerError as error:
                    problems.append(Problem(place, row, trait, str(answer), _right(error)))
            read.fish.append((fish.tag or str(fish.number), seen))
            read.rows.append(row)
        # A bag that nobody looked at is judged as one, too.
        read.fish = read.fish or [("", Identification(table))]
        bags.append(read)
    return BoxRead(tuple(bags), place, tuple(problems), (), ())


def _right(error: AnswerError) -> str:
    """Return what would be right: the trait and the value stand before it."""
    return str(error).partition(": ")[2].partition(": ")[2] or str(error)


def _columns_of_a_box(table: TraitTable) -> ColumnNames:
    columns = (*_TEXTS, COUNT, LIFE_STAGE, *table.trait_ids)
    labels = [(t.id, t.label) for t in table.traits if t.label]
    words = [(column, column) for column in columns] + labels
    words += [(column, word) for column, some in _WORDS.items() for word in some.split("|")]
    return ColumnNames(columns, words, (*columns, *(label for _, label in labels)), (LABEL,))


class _Reader:
    """Reads the rows of a box, one after the other."""

    def __init__(self, table: TraitTable, columns: Sequence[ColumnRead], place: str):
        self.table, self.place = table, place
        self.columns = {column.meaning: column for column in columns if column.meaning}
        self.bags: dict[str, BagRead] = {}
        self.problems: list[Problem] = []

    def read(self, row: str, cells: Sequence[Any]) -> None:
        """Read one row: a bag, or one more fish of a bag."""
        values: dict[str, Any] = {}
        for meaning, column in self.columns.items():
            value = cells[column.at] if column.at < len(cells) else None
            right = cell_problem(value) if isinstance(value, str) else ""
            if right:
                self.wrong(row, meaning, value[:60], right)
            elif not is_missing(value):
                values[meaning] = " ".join(state_text(value).split()) if meaning in _TEXTS else value
        # A row that names no bag is a bag of its own.
        number = values.get(BAG) or (f"of row {row}" if BAG in self.columns else str(len(self.bags) + 1))
        bag = self.bags.setdefault(number, BagRead(number))
        label = values.get(LABEL, "")
        if bag.label and label not in ("", bag.label):
            right = f"bag {number} has the label {bag.label!r} already; a bag has one label"
            self.wrong(row, LABEL, label, right)
        bag.label, bag.tank = bag.label or label, bag.tank or values.get(TANK, "")
        bag.count += self.count(row, values.get(COUNT))
        bag.fish.append((values.get(FISH, ""), self.fish(row, values)))
        bag.rows.append(row)

    def count(self, row: str, value: Any) -> int:
        """Return how many fish a row stands for: 1 where it does not say."""
        if value is None:
            return 1
        try:
            number = float(value)
        except (TypeError, ValueError):
            number = 0.0
        if number >= 1 and number == int(number):
            return int(number)
        self.wrong(row, COUNT, value, "write how many fish, a whole number from 1")
        return 1

    def fish(self, row: str, values: Mapping[str, Any]) -> Identification:
        """Return what was answered in a row."""
        fish = Identification(self.table)
        for meaning, value in values.items():
            if meaning in (*_TEXTS, COUNT):
                continue
            try:
                fish.answer(meaning, _with_unit(value, self.columns[meaning].unit))
            except AnswerError as error:
                self.wrong(row, meaning, value, _right(error))
        return fish

    def wrong(self, row: str, meaning: str, value: Any, right: str) -> None:
        """Note a cell that was not taken."""
        self.problems.append(
            Problem(self.place or "rows", row, self.columns[meaning].name, str(value), right)
        )


def _with_unit(value: Any, unit: str) -> Any:
    """Return an answer with the unit that stands in the header behind a number."""
    text = state_text(value) if isinstance(value, Real) else value
    return f"{text} {unit}" if unit and isinstance(text, str) and text[-1:].isdigit() else value
