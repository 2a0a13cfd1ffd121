"""Rows of a file held against its fields; traits and care columns <-> rows."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from decimal import Decimal
from functools import cache

from idkey.errors import TableError, one_of
from idkey.table.care import CareColumn
from idkey.table.csvfile import Found, Row, Sheet, Wrong, read_sheet
from idkey.table.fields import FIELDS, HEADERS, KINDS, UNITS, number_in, parts_of
from idkey.table.ids import is_id
from idkey.table.layout import MOST_NAME, MOST_STATES, shipped_folder
from idkey.table.schema import YOUNG, Trait

__all__ = [
    "care_column_row",
    "checked",
    "read_care_columns",
    "read_traits",
    "shipped_care_columns",
    "shipped_care_sheet",
    "trait_row",
]

_DEFAULT_SPREAD = "5%"
"""Measuring error of a trait with states, which has no use for one."""

Known = Mapping[str, Collection[str] | None]
"""The names that a field may point to, by ``Field.to``; None where their file could not be read."""


def checked(
    sheet: Sheet, found: Found, what: str = "", known: Known | None = None
) -> Iterator[tuple[Row, Wrong]]:
    """Yield the rows of a file, each with a function that notes what is wrong in it.

    Parameters
    ----------
    sheet : Sheet
        Each cell is held against the field of its column; what is wrong is added to `found`.
    found : Found
    what : str
        What one row is, for the message on an id that stands twice.
    known : mapping, optional
        Where nothing is known of the names that a field points to, no cell is to blame.
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
            elif right := field.problem(text) or (
                field.right if field.name == "id" and not is_id(text) else ""
            ):
                wrong(field.name, right)
            if field.unique:
                if text in seen:
                    wrong(field.name, f"a {what} of this {field.name} is there already")
                seen.add(text)
        yield row, wrong


# -- traits.csv ------------------------------------------------------------------------------------------


def read_traits(sheet: Sheet, found: Found) -> Iterator[Trait]:
    """Yield the traits that can be made of the rows; what is wrong is added to `found`."""
    states = {row["id"]: parts_of(row["states"]) for row in sheet.rows}
    for row, wrong in checked(sheet, found, "trait"):
        if row["id"].endswith(YOUNG):
            wrong("id", f"the ending {YOUNG} is kept for what a young fish shows; choose another id")
        trait = _trait(row, states, wrong) if row["kind"] in KINDS else None
        if trait is not None:
            yield trait


def _trait(row: Row, all_states: Mapping[str, tuple[str, ...]], wrong: Wrong) -> Trait | None:
    kind, states, words = row["kind"], all_states[row["id"]], parts_of(row["state_words"])
    good = _check_states(kind, states, words, wrong)
    numeric = kind in ("measure", "ceiling")
    if numeric and not row["unit"]:
        wrong("unit", f"a {kind} needs a unit: {', '.join(UNITS[1:])}")
    error, effort = number_in(row["error"], 0, 1), number_in(row["effort_s"], 0)
    spread_text = row["spread"] or ("" if numeric else _DEFAULT_SPREAD)
    spread = _spread(spread_text)
    if spread is None:
        wrong("spread", FIELDS["traits.csv"]["spread"].right)
    applies = _applies_when(row["applies_when"], row["id"], all_states)
    if isinstance(applies, str):
        wrong("applies_when", applies)
    if not good or error is None or effort is None or spread is None or isinstance(applies, str):
        return None
    return Trait(
        id=row["id"],
        kind=kind,
        label=row["label"],
        question=row["question"],
        how=row["how_to_look"],
        unit=row["unit"],
        states=states,
        words=words if len(words) == len(states) else states,
        error=error,
        error_basis=row["error_basis"],
        spread=spread,
        spread_is_relative=spread_text.endswith("%"),
        effort=effort,
        applies_when=applies,
        needs_adult=row["needs_adult"] == "yes",
        in_key=row["in_key"] == "yes",
        group=row["group"],
        core=row["core"] == "yes",
    )


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
        wrong("state_words", f"write one wording for each of the {len(states)} states, joined by |")
    return True


def _spread(text: str) -> float | None:
    """Read a measuring error; per cent by moving the point, so that it is written back exactly."""
    value = number_in(text.removesuffix("%"), 0)
    if value is None or not text.endswith("%"):
        return value
    share = float(Decimal(text.removesuffix("%")).scaleb(-2))
    return share if share > 0 else None


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
    applies = trait.applies_when
    row = {
        "id": trait.id,
        "label": trait.label,
        "kind": trait.kind,
        "unit": trait.unit,
        "states": "|".join(trait.states),
        "state_words": "|".join(trait.words),
        "core": _text(trait.core),
        "question": trait.question,
        "how_to_look": trait.how,
        "error": _text(float(trait.error)),
        "error_basis": trait.error_basis,
        "spread": _spread_text(trait),
        "effort_s": _text(float(trait.effort)),
        "applies_when": f"{applies[0]}={'|'.join(applies[1])}" if applies else "",
        "needs_adult": _text(trait.needs_adult),
        "in_key": _text(trait.in_key),
        "group": trait.group,
    }
    return {column: text.strip() for column, text in row.items()}


def _text(value: object) -> str:
    """Return a value as a cell: yes or no, all digits of a number and no point where it is whole, parts."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "|".join(value)
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return "" if value is None else str(value)


def _spread_text(trait: Trait) -> str:
    if not trait.spread_is_relative:
        return _text(float(trait.spread))
    text = f"{Decimal(repr(float(trait.spread))).scaleb(2).normalize():f}%"
    return "" if trait.has_states and text == _DEFAULT_SPREAD else text


# -- care_columns.csv ------------------------------------------------------------------------------------


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
        states, words = parts_of(row["states"]), parts_of(row["state_words"])
        if (row["kind"] == "states") != bool(states):
            wrong("states", "a column of kind states has states, and no other has")
        elif len(words) != len(states):
            wrong("state_words", f"write one wording for each of the {len(states)} states, joined by |")
        for name, allowed in zip(("combine", "tank_rule"), _GOES_WITH.get(row["kind"], ()), strict=False):
            if row[name] not in allowed:
                right = " or ".join(filter(None, allowed))
                wrong(name, f"of a column of kind {row['kind']} it is {right}")
        if row["kind"] == "minimum" and not row["unit"]:
            wrong("unit", "a minimum needs a unit")
        yes = {name: row[name] == "yes" for name in ("every_fish", "vital")}
        made = row.values | {"states": states, "state_words": words} | yes
        yield CareColumn(**{**made, "least_width": number_in(row["least_width"], 0)})


def care_column_row(column: CareColumn) -> dict[str, str]:
    """Return a column of care.csv as a row of care_columns.csv."""
    return {name: _text(getattr(column, name)) for name in HEADERS["care_columns.csv"]}


@cache
def shipped_care_sheet() -> Sheet:
    """Return care_columns.csv of the table that comes with the package."""
    name, found = "care_columns.csv", Found()
    sheet = read_sheet(name, (shipped_folder() / name).read_bytes(), found, HEADERS[name], ())
    if found:
        raise TableError(found)
    return sheet


@cache
def shipped_care_columns() -> tuple[CareColumn, ...]:
    """Return the columns of care.csv in the table that comes with the package."""
    return tuple(read_care_columns(shipped_care_sheet(), Found()))
