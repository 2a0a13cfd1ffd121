"""Rows of traits.csv <-> traits."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from decimal import Decimal

from idkey.errors import one_of
from idkey.table.csvfile import Found, Row, Sheet, Wrong
from idkey.table.ids import is_id
from idkey.table.layout import MOST_NAME, MOST_STATES, UNITS
from idkey.table.schema import KINDS, YOUNG, Trait

__all__ = ["read_traits", "trait_row"]

_DEFAULT_SPREAD = "5%"
"""Measuring error of a trait with states, which has no use for one."""


def read_traits(sheet: Sheet, found: Found) -> Iterator[Trait]:
    """Yield the traits that can be made of the rows; what is wrong is added to `found`."""
    states = {row["id"]: _parts(row["states"]) for row in sheet.rows}
    seen: set[str] = set()
    for row in sheet.rows:
        if found.full:
            return
        wrong = found.at(row)
        _check_id(row["id"], seen, wrong)
        seen.add(row["id"])
        trait = _trait(row, states, wrong)
        if trait is not None:
            yield trait


def _parts(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split("|") if part.strip())


def _check_id(trait_id: str, seen: set[str], wrong: Wrong) -> None:
    if not is_id(trait_id):
        wrong("id", "an id is lower-case letters, digits and _ and starts with a letter")
    if trait_id in seen:
        wrong("id", "a trait of this id is there already")
    if trait_id.endswith(YOUNG):
        wrong("id", f"the ending {YOUNG} is kept for what a young fish shows; choose another id")


def _trait(row: Row, all_states: dict[str, tuple[str, ...]], wrong: Wrong) -> Trait | None:
    kind, states, words = row["kind"], all_states[row["id"]], _parts(row["state_words"])
    if kind not in KINDS:
        wrong("kind", one_of(kind, KINDS, "a trait kind"))
        return None
    good = _check_states(kind, states, words, wrong)
    if row["unit"] not in UNITS:
        wrong("unit", one_of(row["unit"], UNITS[1:], "a unit"))
    elif kind in ("measure", "ceiling") and not row["unit"]:
        wrong("unit", f"a {kind} needs a unit: {', '.join(UNITS[1:])}")
    if not row["question"]:
        wrong("question", "write the question in plain words")
    error = _number(row["error"], lambda x: 0 < x < 1)
    if error is None:
        wrong("error", "write a share more than 0 and less than 1, such as 0.1")
    effort = _number(row["effort_s"], lambda x: x > 0)
    if effort is None:
        wrong("effort_s", "write the seconds it takes to look, more than 0")
    spread_text = row["spread"] or ("" if kind in ("measure", "ceiling") else _DEFAULT_SPREAD)
    spread = _spread(spread_text)
    if spread is None:
        wrong("spread", "write the measuring error in the unit of the trait, or per cent such as 5%")
    for column in ("core", "needs_adult", "in_key"):
        if row[column] not in ("yes", "no"):
            wrong(column, "write yes or no")
    applies = _applies_when(row["applies_when"], row["id"], all_states)
    if isinstance(applies, str):
        wrong("applies_when", applies)
    if not good or error is None or effort is None or spread is None or isinstance(applies, str):
        return None
    return Trait(
        id=row["id"],
        kind=kind,  # type: ignore[arg-type]
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


def _number(text: str, good: Callable[[float], bool]) -> float | None:
    try:
        # Python would read 1_0 as 10.
        value = math.nan if "_" in text else float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and good(value) else None


def _spread(text: str) -> float | None:
    """Read a measuring error; per cent by moving the point, so that it is written back exactly."""
    value = _number(text.removesuffix("%"), lambda x: x > 0)
    if value is None or not text.endswith("%"):
        return value
    share = float(Decimal(text.removesuffix("%")).scaleb(-2))
    return share if share > 0 else None


def _applies_when(
    text: str, own: str, all_states: dict[str, tuple[str, ...]]
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
    if wrong is not None:
        return one_of(wrong, states[:MOST_STATES], f"a state of {trait}")
    return trait, wanted


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
        "core": _yes_no(trait.core),
        "question": trait.question,
        "how_to_look": trait.how,
        "error": _number_text(trait.error),
        "error_basis": trait.error_basis,
        "spread": _spread_text(trait),
        "effort_s": _number_text(trait.effort),
        "applies_when": f"{applies[0]}={'|'.join(applies[1])}" if applies else "",
        "needs_adult": _yes_no(trait.needs_adult),
        "in_key": _yes_no(trait.in_key),
        "group": trait.group,
    }
    return {column: text.strip() for column, text in row.items()}


def _yes_no(value: bool) -> str:  # noqa: FBT001
    return "yes" if value else "no"


def _number_text(value: float) -> str:
    """Return all digits of a number, and no point where it is whole."""
    text = repr(float(value))
    return text.removesuffix(".0")


def _spread_text(trait: Trait) -> str:
    if not trait.spread_is_relative:
        return _number_text(trait.spread)
    text = f"{Decimal(repr(float(trait.spread))).scaleb(2).normalize():f}%"
    return "" if trait.has_states and text == _DEFAULT_SPREAD else text
