"""What people write -> the cell of a table, an answer, a trait: the one reader for screens, calls and sheets.

What is not the table's own syntax is turned into it only where it can mean one thing; what was made of it
can be said.
"""

from __future__ import annotations

import math
import numbers
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from idkey.arguments import checked, shown
from idkey.errors import AnswerError, Problem, TableError
from idkey.table.fields import number_in
from idkey.table.names import folded, id_of
from idkey.table.schema import (
    ON_A_PHOTO,
    TRUTH,
    Cell,
    Range,
    States,
    Trait,
    answer_text,
    cell_text,
    is_missing,
    not_negative,
    parse_cell,
    parse_range,
    state_text,
    stated_shares,
    states_of,
)
from idkey.table.units import MM_PER_INCH, UNIT, converted, unit_words

MADE_A_DATE = "a spreadsheet made a date of this; format the cell as text and write it again, such as 12..16"
_UNKNOWN = {"?", "??", "???", "unknown", "not known", "n a", "na", "nan", "none known", "tbd", "not seen"}
_UNKNOWN |= {"not sure", "unsure", "dont know"}
_UNSEEN = _UNKNOWN - {"nan"} | {"cant see it", "cant see", "cant tell"}
_TRUE_FALSE = {True: ("yes", "True", "true", "1"), False: ("no", "False", "false", "0")}
_NOT_APPLICABLE = {"none", "not applicable", "does not apply", "doesnt apply"}
_PARTED = re.compile(r"(\s*[|/,;+&]\s*(?:(?:or|and)\s+)?|\s+(?:or|and|to)\s+)", re.IGNORECASE)
MORE_LIKE = 0.75
"""How sure a person is who says "more like this one": three in four (judgement)."""
BODY_AT_LEAST = 0.5
"""Share of the length with the tail fin that is body at the least, streamers left out (judgement)."""
_ROUNDED = 0.0101
"""By how much rounded shares, such as 0.33 of each of three, may fail to add up to 1."""
_MOST_PARTS, _MOST_NUMBER, _MOST_TEXT = 40, 100, 500
"""Parts and characters of a cell that is taken apart; what is longer is no state and no number."""
_NUMBER = r"(?:[0-9]+\s+)?[0-9]+/[0-9]+|[0-9]+(?:[.,][0-9]+)?"
_RANGE = re.compile(
    rf"({_NUMBER})\s*({UNIT})?"
    rf"(?:\s*(?:\.\.\.?|\u2026|[-\u2010-\u2015\u2212]|to)\s*({_NUMBER})\s*({UNIT})?)?",
    re.IGNORECASE,
)
_AT_MOST = re.compile(r"\s*(?:up to|at most|maximum|max\.?|\u2264|<=)\s*", re.IGNORECASE)
_ABOUT = re.compile(
    r"\s*(?:[~\u2248]|(?:about|around|roughly|approx(?:imately)?|circa|ca?)\b\.?)\s*", re.IGNORECASE
)
ABOUT = 0.1
"""By how much of it a number may be off that is said to be about so much, either way (judgement)."""
_STANDARD = re.compile(r"\s*\(?\b(?:SL|standard length)\)?\Z", re.IGNORECASE)
_TOTAL = re.compile(r"\b(?:TL|total)\b", re.IGNORECASE)
_MONTH = "(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)"
_DATE = re.compile(
    rf"\d{{4}}-\d\d-\d\d\b.*|\d{{1,2}}[-. /]+{_MONTH}[a-z]*\.?(?:[-. /]+\d+)?|{_MONTH}[a-z]*[-. /]+\d+",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Reading:
    """How a cell was read: what the table writes, what was made of it, or what would be right.

    `text` is blank for not known, None where the cell was not understood.
    """

    text: str | None
    said: str = ""
    right: str = ""


@lru_cache(maxsize=20_000)
def reading(trait: Trait, text: str) -> Reading:
    """Read a cell as people write it.

    The cell syntax; states by id or in words, joined by a comma, a stroke, "or", "and" or "to"; numbers with
    a decimal comma, a unit, and "to" or a dash between; "?" and the like for not known.

    >>> tail = Trait("tail", "ordinal", states=("straight", "concave", "forked"))
    >>> size = Trait("size", "ceiling", unit="mm")
    >>> reading(tail, "Forked or straight").text, reading(size, "17,8 cm").said
    ('straight|forked', "'17,8 cm' read as 178 mm")
    """
    try:
        return Reading(cell_text(trait, parse_cell(trait, text)))
    except ValueError as error:
        right = str(error)
    word, plain = folded(text), " ".join(text.split())
    if word in _words(trait):
        return _read_as(trait, text, _words(trait)[word])
    if word in _UNKNOWN:
        return Reading("?", f"{text!r} read as not known")
    if word in _NOT_APPLICABLE:
        return Reading("-", f"{text!r} read as - (not applicable to this kind)")
    if is_date(text):
        return Reading(None, right=MADE_A_DATE)
    if len(plain) > _MOST_TEXT:
        return Reading(None, right=right)
    if trait.has_states:
        states = _several(trait, plain)
        hint = "" if "|" in right else "; join several with |"
        return _read_as(trait, text, states) if states else Reading(None, right=right + hint)
    try:
        ends = _ends(trait, plain, right)
        # A record is one length.
        read = _read_as(trait, text, "..".join(ends) if trait.kind != "ceiling" else max(ends, key=float))
    except ValueError as error:
        return Reading(None, right=str(error))
    longest = trait.kind == "ceiling" and len(ends) > 1
    return replace(read, said=f"{read.said}, the largest of the range") if longest else read


def is_date(text: str) -> bool:
    """Whether a text is what a spreadsheet makes of a range: a date."""
    return len(text) <= _MOST_NUMBER and _DATE.fullmatch(" ".join(text.split())) is not None


def read_cell(trait: Trait, text: str) -> Cell:
    """Return the value of a cell as people write it. Raises ValueError with what would be right."""
    read = reading(trait, text)
    if read.text is None:
        raise ValueError(read.right)
    return parse_cell(trait, read.text)


def parse_answer(trait: Trait, value: Any) -> States | Range | None:
    """Read an answer: what a person saw, which may itself be uncertain. Raises AnswerError.

    Parameters
    ----------
    value : object
        A state; several as text ``"white|yellow"`` or a list (one of them, the person is not sure), or
        ``"white:0.8|yellow:0.2"`` or a mapping, with how sure the person is of each; a number; a range
        ``"5..6"`` or a pair ``(5, 6)``; ``"about 7 cm"``; text as `reading` takes it, `ON_A_PHOTO` behind any
        of them where a photo was measured. None, NaN, blank, "not sure", "?" and the like are no answer.
    """
    if isinstance(value, (States, Range)):
        value = answer_text(trait, value)
    if is_measured(value) and value.strip() not in trait.states:
        answer = parse_answer(trait, value.strip().removesuffix(ON_A_PHOTO))
        return None if answer is None else replace(answer, measured=True)
    try:
        return _answer(trait, value)
    except ValueError as error:
        raise AnswerError(f"{trait.id}: {shown(value)}: {error}") from None


def _answer(trait: Trait, value: Any) -> States | Range | None:
    read = _state_answer if trait.has_states else _number_answer
    if trait.has_states and isinstance(value, Mapping):
        shares = {state_text(state): state_text(share) for state, share in value.items()}
        value = "|".join(f"{state}:{share}" for state, share in shares.items())
    if is_missing(value):
        return None
    if trait.has_states and isinstance(value, str) and _leans(trait, value):
        return _leaning_answer(trait, value)
    if isinstance(value, str) and (exact := without_about(trait, value)):
        said = _answer(trait, exact)
        ends = (said.low * (1 - ABOUT), said.high * (1 + ABOUT)) if isinstance(said, Range) else ()
        return _number_answer(trait, tuple(f"{end:.6g}" for end in ends)) if ends else None
    if isinstance(value, str) and is_total(trait, value):
        return _from_total(trait, value)
    try:
        return read(trait, value)
    except ValueError as error:
        if not isinstance(value, str):
            raise
        if folded(value) in _UNSEEN:
            return None
        states = trait.has_states
        text = reading(trait, value).text if states else "..".join(_ends(trait, value, str(error)))
        if text in (None, "-"):
            raise
        return read(trait, text)


def without_about(trait: Trait, text: str) -> str:
    """Return the number that is said to be about so much, as it was typed; blank for any other text."""
    found = None if trait.has_states else _ABOUT.match(text)
    return text[found.end() :] if found else ""


def is_measured(value: Any) -> bool:
    """Whether an answer, as text, is said to be measured on a photo."""
    return isinstance(value, str) and value.rstrip().endswith(ON_A_PHOTO)


def is_total(trait: Trait, text: str) -> bool:
    """Whether a length is said to be one with the tail fin."""
    return trait.unit == "mm" and _TOTAL.search(text) is not None


def _from_total(trait: Trait, text: str) -> Range:
    """Read a length with the tail fin: a bound on both sides of the length without it, and no more."""
    plain = re.sub(r"\blength\b|[()]", " ", _TOTAL.sub(" ", text), flags=re.IGNORECASE)
    ends = [float(end) for end in _ends(trait, plain, "write the number, then TL, such as 85 mm TL")]
    return _number_answer(trait, (min(ends) * BODY_AT_LEAST, max(ends)))


def _state_answer(trait: Trait, value: Any) -> States | None:
    if isinstance(value, str):
        parts = [value] if value.strip() in trait.states else value.split("|")
    elif isinstance(value, Iterable):
        parts = [state_text(v) for v in value]
    else:
        names = _TRUE_FALSE[bool(value)] if isinstance(value, TRUTH) else ()
        parts = [name for name in names if name in trait.states][:1] or [state_text(value)]
    states = states_of(trait, parts)
    # Every state at once is the same as no answer.
    return None if not states.names or len(states.names) == len(trait.states) > 1 else states


def _leans(trait: Trait, text: str) -> bool:
    """Whether a number stands behind a state; states and wordings may themselves hold a colon."""
    parts = [part.strip() for part in text.split("|")]
    if text.strip() in trait.states:
        return False
    parts = [part for part in parts if part not in trait.states and folded(part) not in _words(trait)]
    return any(number_in(part.rpartition(":")[2]) is not None for part in parts if ":" in part)


def _leaning_answer(trait: Trait, text: str) -> States | None:
    given = stated_shares(trait, text)
    total = sum(given.values())
    if abs(total - 1) > _ROUNDED:
        right = "|".join(f"{name}:{share / total:.2g}" for name, share in given.items())
        msg = f"how sure you are adds up to {total:g}, not to 1; write {right}"
        raise ValueError(msg)
    states = parse_cell(trait, text)
    # Who leans to none of them says no more than who names them.
    return _state_answer(trait, list(states.names)) if states.even else states


def more_like(trait: Trait, states: Iterable[str], leaning: str = "") -> str:
    """Return the answer of a person who takes one of these states to be it, perhaps one more than the rest.

    >>> more_like(Trait("tail", "nominal", states=("straight", "forked")), ["forked", "straight"], "forked")
    'straight:0.25|forked:0.75'
    """
    names = states_of(trait, states).names
    rest = [(1 - MORE_LIKE) / max(len(names) - 1, 1)] * len(names)
    shares = tuple(MORE_LIKE if name == leaning else share for name, share in zip(names, rest, strict=True))
    even = leaning not in names or len(names) == 1
    return "|".join(names) if even else answer_text(trait, States(names, shares))


def _number_answer(trait: Trait, value: Any) -> Range:
    unit = "" if trait.unit == "count" else trait.unit
    if isinstance(value, (tuple, list)) and len(value) == 2:
        value = f"{value[0]}..{value[1]}"
    elif isinstance(value, numbers.Real) and not isinstance(value, bool):
        value = repr(float(value))
    elif not isinstance(value, str):
        msg = f"not a number; write a number in {unit or 'the unit of the trait'} or a range such as 5..6"
        raise ValueError(msg)
    found = parse_range(value.strip().removesuffix(unit).strip(), unit)
    if trait.kind == "ceiling" and found.low <= 0:
        msg = f"a length is more than 0 {trait.unit}".rstrip()
        raise ValueError(msg)
    return not_negative(trait, found)


@lru_cache(maxsize=512)
def _words(trait: Trait) -> dict[str, str]:
    """Return the states of a trait by what they may be called; a word for two states is none."""
    states: dict[str, set[str]] = {}
    for state, word in [*((s, s) for s in trait.states), *zip(trait.states, trait.words, strict=False)]:
        states.setdefault(folded(word), set()).add(state)
    return {word: min(named) for word, named in states.items() if word and len(named) == 1}


def _read_as(trait: Trait, text: str, read: str) -> Reading:
    cell = cell_text(trait, parse_cell(trait, read))
    shown = f"{cell} {trait.unit}" if trait.unit not in ("", "count") else cell
    return Reading(cell, f"{text!r} read as {shown}")


def _several(trait: Trait, text: str) -> str:
    """Read several states with something between them; blank where one is not understood."""
    words, parts = _words(trait), _PARTED.split(text)
    states: list[str] = []
    at = 0
    while at < len(parts) < _MOST_PARTS:
        # A wording may itself hold a comma or an "or", so the longest that is one counts.
        ends = (end for end in range(len(parts), at, -2) if folded("".join(parts[at:end])) in words)
        end = next(ends, None)
        if end is None:
            return ""
        state = words[folded("".join(parts[at:end]))]
        if at and parts[at - 1].strip().casefold() == "to":
            if trait.kind != "ordinal":
                return ""
            first, last = sorted((trait.states.index(states[-1]), trait.states.index(state)))
            states += trait.states[first : last + 1]
        states.append(state)
        at = end + 1
    return "|".join(dict.fromkeys(states)) if at >= len(parts) else ""


def _ends(trait: Trait, text: str, right: str) -> list[str]:
    """Return one number, or both ends of a range, in the unit of the trait. Raises ValueError."""
    text = " ".join(text.split())
    unit = trait.unit
    if unit == "mm":
        if is_total(trait, text):
            msg = "a total length can't be turned into a standard length; measure without the tail fin"
            raise ValueError(msg)
        text, right = _STANDARD.sub("", text), f"{right}; mm, cm or in may stand behind it"
    if trait.kind == "ceiling":
        text = _AT_MOST.sub("", text, count=1)
    match = _RANGE.fullmatch(text.strip()) if len(text) <= _MOST_NUMBER else None
    if match is None:
        raise ValueError(right)
    low, low_unit, high, high_unit = match.groups()
    if high is None:
        return [_number(trait, low, low_unit or unit)]
    if low_unit and not high_unit:
        raise ValueError("the second number has no unit; write the unit behind it")
    return [_number(trait, low, low_unit or high_unit or unit), _number(trait, high, high_unit or unit)]


def _number(trait: Trait, number: str, unit: str) -> str:
    factor = converted(1.0, unit, trait.unit)
    if "," in number and trait.unit == "count":
        raise ValueError("a count has no decimal comma; write a range lo..hi such as 12..16")
    value = _value(number, inches=factor == MM_PER_INCH)
    if factor == 1.0:
        return f"{value:.15g}"
    # Halves go up, as a keeper rounds: 2.5 in are 64 mm. A tenth of a millimetre counts in what is small.
    step = 1 if value * factor >= 10 else 10
    return f"{math.floor(value * factor * step + 0.5) / step:g}"


def _value(number: str, *, inches: bool) -> float:
    if "/" in number:
        *whole, top, bottom = (int(part) for part in re.split(r"[\s/]+", number))
        if not inches or not bottom:
            raise ValueError("a fraction is read in inches only; write a decimal number")
        return sum(whole) + top / bottom
    if re.fullmatch(r"[0-9]{1,3},[0-9]{3}", number):
        plain, point = number.replace(",", ""), number.replace(",", ".")
        raise ValueError(f"the comma can mean two things; write {plain} or {point}")
    return float(number.replace(",", "."))


def quantity(text: str, unit: str) -> float:
    """Return one amount as people write it, in a unit of the tables. Raises ValueError.

    >>> quantity("26,5", "degC"), quantity("31 1/2 in", "cm"), round(quantity("80 \u00b0F", "degC"), 1)
    (26.5, 80.01, 26.7)
    """
    plain = " ".join(text.split())
    match = _RANGE.fullmatch(plain.removeprefix("-")) if len(plain) <= _MOST_NUMBER else None
    if match is None or match[3]:
        msg = f"not a number; write the number alone in {unit_words(unit)}".removesuffix(" in ")
        raise ValueError(msg)
    number, word = match[1], match[2] or unit
    value = _value(number, inches=unit in ("mm", "cm") and converted(1.0, word, "mm") == MM_PER_INCH)
    value = converted(value, word, unit) if match[2] else value
    return -value if plain.startswith("-") else value


def states_in(trait: Trait, text: str) -> tuple[str, ...]:
    """Return the states that a cell names; none where it can't be read."""
    try:
        cell = read_cell(trait, text)
    except ValueError:
        return ()
    return cell.names if isinstance(cell, States) else ()


def parted(text: str) -> tuple[str, str]:
    """Return the two ends of a number cell as texts; what can't be parted stands in the first."""
    low, _, high = text.strip().partition("..")
    return low.strip().removeprefix("-"), high.strip()


def joined(trait: Trait, low: str, high: str) -> str:
    """Return the text of a number cell from its two ends; with one end, that number alone."""
    ends = [end.strip() for end in (low, high) if end.strip()]
    return "..".join((reading(trait, end).text or end).partition("..")[0] for end in ends)


def toggled(trait: Trait, text: str, state: str) -> str:
    """Return the text of a cell with one state more, or with that state taken away."""
    chosen = set(states_in(trait, text)) ^ {state}
    return "|".join(name for name in trait.states if name in chosen)


@checked
def new_trait(label: str, kind: str, *, states: str = "", unit: str = "", **rest: Any) -> Trait:
    r"""Return a trait as a person describes it in a form; `rest` are other fields of a `Trait`.

    The id is made of the label. States are in plain words, one a line; their ids are made of the words.
    Raises TableError with everything that is missing.

    >>> new_trait("Eye ring", "nominal", states="no ring\npale ring", question="A ring?").states
    ('no_ring', 'pale_ring')
    """
    has_states = kind in ("nominal", "ordinal")
    words = tuple(" ".join(line.split()) for line in states.splitlines() if line.strip() and has_states)
    names = tuple(id_of(line) for line in words)
    differ = all(names) and len({*names}) == len(names) and "|" not in states
    question = rest.pop("question", "").strip()
    wrong = [
        ("label", label, "name the trait in a word or two", id_of(label)),
        ("question", question, "write the question in plain words", question),
        ("unit", unit, "a number needs its unit", has_states or unit),
        ("states", states, "write at least two states, one a line", not has_states or len(words) > 1),
        ("states", states, "write states that differ in letters or digits; | is kept for several", differ),
    ]
    problems = [Problem("new trait", "", c, v, right) for c, v, right, fine in wrong if not fine]
    if problems:
        raise TableError(problems, "changed")
    rest |= {"kind": kind, "unit": "" if has_states else unit, "error": 0.1, "error_basis": "judgement"}
    return Trait(id_of(label), label=label.strip(), question=question, states=names, words=words, **rest)
