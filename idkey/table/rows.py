"""Rows of a file held against its fields; traits and care columns <-> rows."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from decimal import Decimal
from functools import cache
from typing import Any

from idkey.errors import TableError, one_of
from idkey.table.csvfile import Found, Row, Sheet, Wrong, read_sheet
from idkey.table.fields import FIELDS, HEADERS, KINDS, UNITS, number_in, parts_of
from idkey.table.ids import is_id
from idkey.table.layout import MOST_NAME, MOST_STATES, shipped_folder
from idkey.table.schema import YOUNG, CareColumn, Trait

_DEFAULT_SPREAD = "5%"
"""Measuring error of a trait with states, which has no use for one."""

_WORDS = "write one wording for each of the {} states, joined by |"

Known = Mapping[str, Collection[str] | None]
"""The names that a field may point to, by ``Field.to``; None where their file could not be read."""


def checked(
    sheet: Sheet, found: Found, what: str = "", known: Known | None = None
) -> Iterator[tuple[Row, Wrong]]:
    """Yield the rows of a file, each held against its fields, with a function that notes what else is wrong.

    `what` is what one row is, for the message on an id that stands twice. Where nothing is `known` of the
    names that a field points to, no cell is to blame.
    """
    seen: set[str] = set()
    for row in sheet.rows:
        if found.full:
            return
        wrong = found.at(row)
        for field in FIELDS[sheet.file].values():
            text = row[field.name]
            names = known.get(field.to) if known and field.to and text else None
            if names is not None and text not in names:
                wrong(field.name, found.one_of(text, names, field.right))
            elif field.name == "id" and not is_id(text):
                wrong(field.name, field.problem(text) or field.right)
            elif right := field.problem(text):
                wrong(field.name, right)
            if field.unique:
                if text in seen:
                    wrong(field.name, f"a {what} of this {field.name} is there already")
                seen.add(text)
        yield row, wrong


# -- traits and care columns -----------------------------------------------------------------------------

_ATTRIBUTES = {"state_words": "words", "how_to_look": "how", "effort_s": "effort"}
"""What is called otherwise in a trait than in traits.csv."""


def _values(row: Row, file: str) -> dict[str, Any]:
    """Return the cells of a row as values: yes and no, numbers, states, texts."""
    values: dict[str, Any] = {column: row[column] for column in FIELDS[file]}
    for column, field in FIELDS[file].items():
        if field.type == "boolean":
            values[column] = row[column] == "yes"
        elif field.type == "number":
            values[column] = number_in(row[column], field.above, field.below)
        elif column in ("states", "state_words"):
            values[column] = parts_of(row[column])
    return values


def _text(value: Any) -> str:
    """Return a value as a cell; of a number all digits, and no point where it is whole."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "|".join(value)
    return repr(float(value)).removesuffix(".0") if isinstance(value, (int, float)) else value or ""


def read_traits(sheet: Sheet, found: Found) -> Iterator[Trait]:
    """Yield the traits that can be made of the rows; what is wrong is added to `found`."""
    states = {row["id"]: parts_of(row["states"]) for row in sheet.rows}
    for row, wrong in checked(sheet, found, "trait"):
        if row["id"].endswith(YOUNG):
            wrong("id", f"the ending {YOUNG} is kept for what a young fish shows; choose another id")
        if row["kind"] in KINDS and (trait := _trait(row, states, wrong)):
            yield trait


def _trait(row: Row, states: Mapping[str, tuple[str, ...]], wrong: Wrong) -> Trait | None:
    values = _values(row, "traits.csv")
    kind, numeric = row["kind"], row["kind"] in ("measure", "ceiling")
    good = _check_states(kind, values["states"], values["state_words"], wrong)
    if numeric and not row["unit"]:
        wrong("unit", f"a {kind} needs a unit: {', '.join(UNITS[1:])}")
    text = row["spread"] or ("" if numeric else _DEFAULT_SPREAD)
    values["spread"], values["spread_is_relative"] = _spread(text), text.endswith("%")
    if values["spread"] is None:
        wrong("spread", FIELDS["traits.csv"]["spread"].right)
    values["applies_when"] = applies = _applies_when(row["applies_when"], row["id"], states)
    if isinstance(applies, str):
        wrong("applies_when", applies)
    numbers = values["error"], values["effort_s"], values["spread"]
    if not good or isinstance(applies, str) or None in numbers:
        return None
    if len(values["state_words"]) != len(values["states"]):
        values["state_words"] = values["states"]
    return Trait(**{_ATTRIBUTES.get(column, column): value for column, value in values.items()})


def _check_states(kind: str, states: tuple[str, ...], words: tuple[str, ...], wrong: Wrong) -> bool:
    """Whether cells can be read by these states; a wording that is missing does not stand in the way."""
    if kind not in ("nominal", "ordinal"):
        if states:
            wrong("states", f"a {kind} has no states; leave this blank")
        return True
    if len(states) > MOST_STATES or any(len(state) > MOST_NAME for state in states):
        wrong("states", f"write at most {MOST_STATES} states, each of at most {MOST_NAME} characters")
        return False
    if len(states) < 2 or len(set(states)) != len(states):
        wrong("states", "write at least two different states joined by |")
    if "-" in states:
        wrong("states", "- is kept for what does not apply; give the state another name")
    if len(words) != len(states):
        wrong("state_words", _WORDS.format(len(states)))
    return True


def _spread(text: str) -> float | None:
    """Read a measuring error; per cent by moving the point, so that it is written back exactly."""
    value = number_in(text.removesuffix("%"), 0)
    if value is None or not text.endswith("%"):
        return value
    return float(Decimal(text.removesuffix("%")).scaleb(-2)) or None


def _applies_when(
    text: str, own: str, all_states: Mapping[str, tuple[str, ...]]
) -> tuple[str, tuple[str, ...]] | str | None:
    """Read ``trait=state|state``; a str is a sentence on what is wrong."""
    if not text:
        return None
    name, sign, rest = text.partition("=")
    trait = name.strip()
    states = all_states.get(trait, ()) if trait != own else ()
    if not sign or not states:
        return "write trait=state|state with the id of another trait that has states"
    wanted = tuple(s.strip() for s in rest.split("|"))
    wrong = next((s for s in wanted if s not in states[:MOST_STATES]), None)
    return (trait, wanted) if wrong is None else one_of(wrong, states[:MOST_STATES], f"a state of {trait}")


def trait_row(trait: Trait) -> dict[str, str]:
    """Return a trait as a row of traits.csv, by column."""
    row = {c: getattr(trait, _ATTRIBUTES.get(c, c)) for c in HEADERS["traits.csv"]}
    if trait.applies_when:
        row["applies_when"] = f"{trait.applies_when[0]}={'|'.join(trait.applies_when[1])}"
    if trait.spread_is_relative:
        text = f"{Decimal(repr(float(trait.spread))).scaleb(2).normalize():f}%"
        row["spread"] = "" if trait.has_states and text == _DEFAULT_SPREAD else text
    return {column: _text(value).strip() for column, value in row.items()}


_GOES_WITH = {
    "range": (("overlap", "span", "list"), ("", "within", "room")),
    "minimum": (("largest",), ("", "at_least")),
    "states": (("shared",), ("", "read")),
    "text": (("text",), ("", "read")),
}
"""How needs may be combined and by which rule a tank is held against them, by the kind of the column."""


def read_care_columns(sheet: Sheet, found: Found) -> Iterator[CareColumn]:
    """Yield the columns of care.csv that can be made of the rows; what is wrong is added to `found`."""
    for row, wrong in checked(sheet, found, "column"):
        values = _values(row, sheet.file)
        if (row["kind"] == "states") != bool(values["states"]):
            wrong("states", "a column of kind states has states, and no other has")
        elif len(values["state_words"]) != len(values["states"]):
            wrong("state_words", _WORDS.format(len(values["states"])))
        for name, allowed in zip(("combine", "tank_rule"), _GOES_WITH.get(row["kind"], ()), strict=False):
            if row[name] not in allowed:
                right = " or ".join(filter(None, allowed))
                wrong(name, f"of a column of kind {row['kind']} it is {right}")
        if row["kind"] == "minimum" and not row["unit"]:
            wrong("unit", "a minimum needs a unit")
        yield CareColumn(**values)


def care_column_row(column: CareColumn) -> dict[str, str]:
    """Return a column of care.csv as a row of care_columns.csv."""
    return {name: _text(getattr(column, name)) for name in HEADERS["care_columns.csv"]}


@cache
def shipped_care_sheet() -> Sheet:
    """Return care_columns.csv of the table that comes with the package."""
    name, found = "care_columns.csv", Found()
    sheet = read_sheet(name, (shipped_folder() / name).read_bytes(), found, HEADERS[name])
    if found:
        raise TableError(found)
    return sheet


@cache
def shipped_care_columns() -> tuple[CareColumn, ...]:
    """Return the columns of care.csv in the table that comes with the package."""
    return tuple(read_care_columns(shipped_care_sheet(), Found()))
