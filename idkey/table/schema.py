"""Traits, the columns of care, and the cell syntax: text on one side, values on the other.

A cell is a state (``forked``), several states where the kind varies (``concave|forked``, with shares
``concave:0.8|forked:0.2`` where they are known), a range (``12..16``), a number for a ceiling, blank for
not known or the same as in the genus, ``?`` for not known in spite of the genus, or ``-`` for not applicable.
"""

from __future__ import annotations

import numbers
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Literal

import numpy as np
import pandas as pd

from idkey.arguments import checked
from idkey.errors import one_of
from idkey.table.fields import FIELDS, KINDS, LEAST, MOST, number_in
from idkey.table.units import percent

LIFE_STAGE = "life_stage"
"""Answer that is no trait: whether the fish is known to be adult (Darwin Core ``lifeStage``)."""
LIFE_STAGES: tuple[str, ...] = ("adult", "young")

NONE = "none of these"
"""What a fish is called that is none of the kinds in a table; no kind can be called so."""

YOUNG = "_young"
"""Ending of the companion column that holds what a young fish shows."""

TRUTH = bool, np.bool_
_SHARE_DIGITS = 9
_LONGEST = 10**4000
NEVER_NEGATIVE = ("mm", "count", "% HL", "% SL")
"""Units whose numbers are 0 or more."""


@dataclass(frozen=True, slots=True)
class NotApplicable:
    """The trait does not exist in this kind, such as the spot colour of a plain fish."""


NOT_APPLICABLE = NotApplicable()


@dataclass(frozen=True, slots=True)
class NotKnown:
    """It is not known of this kind, whatever holds for its genus."""


NOT_KNOWN = NotKnown()


@dataclass(frozen=True, slots=True)
class States:
    """The states a kind shows, with the share of fish that show each (shares sum to 1).

    As an answer: the states that were seen, perhaps, with how sure the person is of each; or `measured` on a
    photo, with how likely each is by the measuring.
    """

    names: tuple[str, ...]
    shares: tuple[float, ...]
    measured: bool = False

    @property
    def even(self) -> bool:
        """Whether all have the same share, as far as a share is written."""
        return max(self.shares, default=0.0) - min(self.shares, default=0.0) < 10.0**-_SHARE_DIGITS


@dataclass(frozen=True, slots=True)
class Range:
    """A closed range in the unit of the trait. ``low == high`` for a single value.

    As an answer it may have been `measured` on a photo.
    """

    low: float
    high: float
    measured: bool = False


ON_A_PHOTO = "measured on a photo"
"""What stands behind an answer that is no look of a person's own."""

Cell = States | Range | NotApplicable | None
"""Value of a cell; ``None`` is not known. A ceiling is a Range from 0 to the largest recorded length."""
OwnCell = Cell | NotKnown
"""A cell as it stands in the row of a kind, where ``None`` is blank and takes over what the genus says."""


@checked
@dataclass(frozen=True, slots=True)
class Trait:
    """One feature of a fish, how it is asked and how far an answer can be trusted.

    What an attribute is for, fields.csv says of the column of traits.csv of that name; `how` is how_to_look,
    `words` are state_words, `effort` is effort_s. `error` is a share, 0 to 1; `spread` is in the unit, or a
    fraction of the value where it is relative; `applies_when` holds the other trait and its states; `borders`
    are as many as there are states but one, None where no measure tells the state.
    """

    id: str
    kind: Literal["nominal", "ordinal", "measure", "ceiling"]
    label: str = ""
    question: str = ""
    how: str = ""
    unit: str = ""
    states: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    error: float = 0.05
    error_basis: str = ""
    spread: float = 0.05
    spread_is_relative: bool = True
    effort: float = 10.0
    applies_when: tuple[str, tuple[str, ...]] | None = None
    needs_adult: bool = False
    in_key: bool = True
    group: str = ""
    core: bool = False
    measured: tuple[str, ...] = ()
    borders: tuple[float | None, ...] = ()
    borders_basis: str = ""

    def __post_init__(self) -> None:
        if not self.words:
            object.__setattr__(self, "words", self.states)

    @property
    def has_states(self) -> bool:
        """Whether the trait is answered with a state rather than a number."""
        return self.kind in ("nominal", "ordinal")

    @property
    def name(self) -> str:
        """The label, or the id where there is none."""
        return self.label or self.id

    @property
    def asked(self) -> str:
        """The question, or the name where there is none."""
        return self.question or self.name

    def word(self, state: str) -> str:
        """Return the plain words for a state."""
        return self.words[self.states.index(state)]

    def number(self, value: float) -> str:
        """Write a number with the unit of the trait."""
        text = f"{value:g}"
        return text if self.unit in ("", "count") else f"{text} {self.unit}"


def trait_problems(traits: Sequence[Trait]) -> Iterator[tuple[str, str, str]]:
    """Yield what is wrong with ids, kinds and states of traits: the id, the value, what would be right."""
    ids = [trait.id for trait in traits]
    for i, trait in enumerate(traits):
        adult = trait.id.removesuffix(YOUNG)
        if trait.id in ids[:i]:
            yield trait.id, trait.id, "a trait of this name is there already"
        if adult != trait.id and adult in ids:
            yield trait.id, trait.id, f"this name is kept for what a young fish shows of {adult}"
        if trait.kind not in KINDS:
            yield trait.id, str(trait.kind), one_of(trait.kind, KINDS, "a trait kind")
        if len(set(trait.states)) != len(trait.states):
            yield trait.id, ", ".join(trait.states), "two states have the same name"
        if len(trait.words) != len(trait.states):
            right = f"write one wording for each of the {len(trait.states)} states"
            yield trait.id, ", ".join(trait.words), right
        for column, value in (("error", trait.error), ("spread", trait.spread), ("effort_s", trait.effort)):
            if not (0 <= value <= 1 if column == "error" else LEAST <= value <= MOST):
                yield trait.id, f"{column} {value}", FIELDS["traits.csv"][column].right
        for state in trait.states:
            if not state or state == "-" or "|" in state or state != state.strip():
                right = "a state is not blank, not - alone, and holds no | and no blank at its ends"
                yield trait.id, state, right


def state_text(value: Any) -> str:
    """Return a raw value as the text of a state: ``1.0`` and ``1`` are the same state ``1``.

    >>> state_text(4.0), state_text(True), state_text(" forked ")
    ('4', 'yes', 'forked')
    """
    if isinstance(value, TRUTH):
        return "yes" if value else "no"
    if isinstance(value, numbers.Integral):
        if abs(value) >= _LONGEST:
            raise ValueError("the number is too long; write a shorter one")
        # Not by way of a float, which would make neighbours of long catalogue numbers the same.
        return str(int(value))
    if isinstance(value, numbers.Real):
        return number_text(value)
    if not isinstance(value, (str, Decimal, date, np.generic)):
        raise ValueError("not a text; write a text, a number, True or False")
    return str(value).strip()


def number_text(value: float) -> str:
    """Write a number with all its digits, and no point where it is whole."""
    return repr(float(value) + 0.0).removesuffix(".0")


def is_missing(value: Any) -> bool:
    """Whether a raw value means "nothing here": None, NaN, NA, NaT or blank text."""
    if isinstance(value, str):
        return not value.strip()
    return not isinstance(value, Iterable) and bool(pd.isna(value))


def parse_cell(trait: Trait, text: str) -> OwnCell:
    """Read the text of one table cell. Raises ValueError that says what would be right, without the place."""
    text = text.strip()
    if not text:
        return None
    if text == "-":
        return NOT_APPLICABLE
    if text == "?" and "?" not in trait.states:
        return NOT_KNOWN
    if trait.has_states:
        return _parse_states(trait, text)
    if trait.kind == "ceiling":
        value = _parse_number(text, f"the largest recorded length in {trait.unit or 'numbers'}, such as 126")
        if value < LEAST:
            raise ValueError("a largest length is more than 0")
        return Range(0.0, value)
    return not_negative(trait, parse_range(text))


def states_of(trait: Trait | CareColumn, names: Iterable[str]) -> States:
    """Return states in their order, each of the same share. Raises ValueError for what is none of them."""
    parts = [name.strip() for name in names]
    for part in parts:
        if part not in trait.states:
            raise ValueError(one_of(part, trait.states, f"a state of {trait.id}"))
    kept = tuple(state for state in trait.states if state in set(parts))
    return States(kept, (1.0 / len(kept),) * len(kept) if kept else ())


def not_negative(trait: Trait, found: Range) -> Range:
    """Return a range that may stand in the unit of a trait. Raises ValueError."""
    if trait.unit in NEVER_NEGATIVE and found.low < 0:
        raise ValueError(f"cannot be negative; write 0 or more {trait.unit}")
    return found


def stated_shares(trait: Trait, text: str) -> dict[str, float]:
    """Return the states of a text with their shares as written, 1 where none is. Raises ValueError."""
    given: dict[str, float] = {}
    stated: list[bool] = []
    for raw in text.split("|"):
        part = raw.strip()
        # A state may itself hold a colon (tables from elsewhere): only split what is no state as it stands.
        name, colon, share = (part, "", "") if part in trait.states else part.rpartition(":")
        if not colon:
            name, share = part, "1"
        name = name.strip()
        if name not in trait.states:
            raise ValueError(one_of(name, trait.states, f"a state of {trait.id}"))
        if name in given:
            raise ValueError(f"state {name!r} stands twice; name it once")
        stated.append(bool(colon))
        given[name] = _parse_number(share, "a share such as forked:0.2") if colon else 1.0
    if any(stated) != all(stated):
        raise ValueError("give each state its share, such as concave:0.8|forked:0.2, or none of them")
    if not all(share >= LEAST for share in given.values()):
        raise ValueError("shares are more than 0")
    return given


def _parse_states(trait: Trait, text: str) -> States:
    given = stated_shares(trait, text)
    total = sum(given.values())
    if abs(total - 1.0) < 10.0**-_SHARE_DIGITS:
        # Shares that were written by `cell_text` come back bit for bit.
        total = 1.0
    names = tuple(sorted(given, key=trait.states.index))
    return States(names, tuple(given[name] / total for name in names))


def parse_range(text: str, unit: str = "") -> Range:
    """Read ``lo..hi`` or one number. Raises ValueError with a sentence that says what would be right."""
    low_text, dots, high_text = text.partition("..")
    right = f"a range lo..hi such as 12..16, or one number{unit and ', in '}{unit}"
    low = _parse_number(low_text, right)
    high = _parse_number(high_text, right) if dots else low
    if low > high:
        raise ValueError(f"the range runs backwards; write {high:g}..{low:g}")
    return Range(low, high)


def _parse_number(text: str, right: str) -> float:
    value = number_in(text)
    if value is None:
        beyond = re.fullmatch(r"[-+.0-9]+(e[-+]?[0-9]+)?", text.strip(), re.IGNORECASE)
        what = f"not a number of at most {MOST:g}" if beyond else "not a number"
        raise ValueError(f"{what}; write {right}")
    return value


def cell_text(trait: Trait, cell: OwnCell) -> str:
    """Write a cell as text; the inverse of `parse_cell`."""
    if cell is None:
        return ""
    if isinstance(cell, NotApplicable):
        return "-"
    if isinstance(cell, NotKnown):
        return "?"
    if isinstance(cell, States):
        shares = zip(cell.names, cell.shares, strict=True)
        return "|".join(cell.names if cell.even else (_share_text(trait, *share) for share in shares))
    if trait.kind == "ceiling":
        return number_text(cell.high)
    return f"{number_text(cell.low)}..{number_text(cell.high)}"


def _share_text(trait: Trait, name: str, share: float) -> str:
    text = f"{name}:{share!r}"
    while text in trait.states:
        # A table from elsewhere may hold a state of just this wording; the blank keeps the two apart.
        text = f"{name}: {text.removeprefix(name + ':')}"
    return text


def cell_words(trait: Trait, cell: Cell) -> str:
    """Write a cell, or an answer, in plain words; states of unlike shares with their shares."""
    if cell is None or isinstance(cell, NotKnown):
        return "not known"
    if isinstance(cell, NotApplicable):
        return "does not apply"
    if isinstance(cell, States):
        shares = [""] * len(cell.names) if cell.even else [f" ({percent(share)})" for share in cell.shares]
        words = " or ".join(trait.word(name) + share for name, share in zip(cell.names, shares, strict=True))
    elif trait.kind == "ceiling" and cell.low == 0:
        words = f"up to {trait.number(cell.high)}"
    else:
        words = f"{cell.low:g} to " * (cell.low != cell.high) + trait.number(cell.high)
    return f"{words}, {ON_A_PHOTO}" if cell.measured else words


def answer_text(trait: Trait, answer: States | Range) -> str:
    """Write an answer as the shortest text that reads back to it."""
    if isinstance(answer, States):
        text = cell_text(trait, answer)
    else:
        text = "..".join(dict.fromkeys(map(number_text, (answer.low, answer.high))))
    return f"{text} {ON_A_PHOTO}" if answer.measured else text


# -- the columns of care.csv ------------------------------------------------------------------------------

EVERY_GROUP = "all"
"""Care group whose row holds for every fish."""


@dataclass(frozen=True, slots=True)
class CareColumn:
    """One column of care.csv; what each attribute is for, fields.csv says of the column of that name."""

    id: str
    label: str
    kind: Literal["range", "minimum", "states", "text"]
    unit: str = ""
    states: tuple[str, ...] = ()
    about: str = ""
    state_words: tuple[str, ...] = ()
    combine: str = "text"
    every_fish: bool = False
    tank_label: str = ""
    tank_measure: str = ""
    tank_rule: str = ""
    vital: bool = False
    below: str = ""
    above: str = ""
    to_raise: str = ""
    to_lower: str = ""
    least_width: float | None = None


def parse_care(column: CareColumn, text: str) -> States | Range | float | str | None:
    """Read a care cell; None where it is blank. Raises ValueError that says what would be right."""
    text = text.strip()
    if not text or column.kind == "text":
        return text or None
    if column.kind == "states":
        return states_of(column, text.split("|"))
    found = parse_range(text)
    if column.kind == "range":
        return found
    if found.low != found.high or found.low <= 0:
        raise ValueError(f"write one number more than 0, in {column.unit}")
    return found.low
