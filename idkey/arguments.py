"""What a public call may be given: each argument is held against its annotation, and refused in plain words.

A text may hold no control character and no half of a character, which no file can hold; a path none that the
machine can't name.
"""

from __future__ import annotations

import inspect
import os
import re
from collections.abc import Callable, Collection, Iterable, Mapping
from contextlib import suppress
from dataclasses import is_dataclass
from functools import cache, wraps
from numbers import Integral, Real
from types import NoneType, UnionType
from typing import Any, Literal, NamedTuple, TypeVar, Union, get_args, get_origin, get_type_hints

import numpy as np

from idkey.errors import IdkeyError

ODD_CHARACTER = re.compile(r"[\x00-\x08\x0e-\x1b\x7f\ud800-\udfff]")
"""Control characters that are no white space, and halves of a character: nobody wrote these."""

_T = TypeVar("_T")
_SHOWN, _MOST_NAME = 60, 255
_WORDS = {
    "CareSheet": "a care sheet, such as care_for(table, 'hypancistrus_zebra')",
    "Claim": "a Claim, or its parts by name, such as source='KEY'",
    "DataFrame": "a pandas DataFrame",
    "Identification": "an Identification",
    "PathLike": "a path",
    "TraitTable": "a trait table, from load_table() or TraitTable.from_frame(df, ...)",
}
"""What is to be given in place of what is none of this class."""


def shown(value: Any) -> str:
    """Return a value as a message shows it: short, on one line, and of what is no plain value its type."""
    if isinstance(value, (str, bytes)):
        return repr(value[:_SHOWN])
    if isinstance(value, (int, float, np.generic, NoneType, list, tuple, dict, set)):
        # Python writes no number of more than some thousand digits.
        with suppress(ValueError):
            text = repr(value)
            if len(text) <= _SHOWN and " at 0x" not in text:
                return text
    return type(value).__name__


def text_problem(text: str) -> str:
    """Say what is wrong with the characters of a text, and what would be right; blank where nothing is."""
    sign = ODD_CHARACTER.search(text)
    what = "half of a character" if sign and sign.group() >= "\ud800" else "the control character"
    return f"the text holds {what} {sign.group()!r}; delete it" if sign else ""


class _Rule(NamedTuple):
    """One kind of value: its name, whether a value is of it, and what is wrong inside one that is."""

    words: str
    is_one: Callable[[Any], bool]
    inside: Callable[[Any], str]


def _fine(_: Any) -> str:
    return ""


def _in_text(value: str) -> str:
    problem = text_problem(value)
    return problem and f"{shown(value)}: {problem}"


def _in_number(value: Any) -> str:
    try:
        float(value)
    except OverflowError:
        return f"{type(value).__name__}: the number is too large"
    return ""


def _in_path(value: Any) -> str:
    try:
        path = os.fsencode(value)
    except (TypeError, ValueError):
        path = b"\0"
    long = any(len(name) > _MOST_NAME for name in re.split(rb"[/\\]", path))
    why = "this can be no path" if b"\0" in path else "a name in this path is too long" if long else ""
    return why and f"{shown(os.fspath(value))}: {why}"


def _is_number(value: Any) -> bool:
    return isinstance(value, Real) and not isinstance(value, (bool, np.bool_))


_PLAIN = {
    str: _Rule("a text", lambda value: isinstance(value, str), _in_text),
    bool: _Rule("True or False", lambda value: isinstance(value, (bool, np.bool_)), _fine),
    int: _Rule("a whole number", lambda value: isinstance(value, Integral) and _is_number(value), _fine),
    float: _Rule("a number", _is_number, _in_number),
    NoneType: _Rule("None", lambda value: value is None, _fine),
}
_PATH = _PLAIN[str]._replace(words="a path", inside=_in_path)
_TEXTS = str, bytes


@cache
def _rules(hint: Any) -> tuple[_Rule, ...]:
    """Return what an annotation allows; nothing where it allows everything."""
    origin, parts = get_origin(hint), get_args(hint)
    if hint in _PLAIN:
        return (_PLAIN[hint],)
    if origin is Literal and all(isinstance(part, str) for part in parts):
        return (_PLAIN[str]._replace(words=f"one of ({', '.join(parts)})"),)
    if origin is Literal:
        # Which of them it may be the call itself says best.
        return tuple(rule for kind in dict.fromkeys(map(type, parts)) for rule in _rules(kind))
    if origin in (Union, UnionType):
        paths = any(_is_path(part) for part in parts)
        each = [(_PATH,) if paths and part is str else _rules(part) for part in parts]
        return tuple(rule for rules in each for rule in rules) if all(each) else ()
    kind = origin or hint
    if not isinstance(kind, type) or kind in (Any, object):
        return ()
    named = kind.__name__
    words = _WORDS.get(named, f"{'an' if named[0] in 'AEIOU' else 'a'} {named}")
    inside = _in_path if _is_path(kind) else _fine
    if issubclass(kind, Mapping):
        kind, words, inside = Mapping, "a mapping", _in_mapping(*parts or (Any, Any))
    elif issubclass(kind, Iterable) and parts:
        inside = _in_tuple(parts) if kind is tuple and parts[-1] is not ... else _in_each(parts[0])
        kind, words = (tuple, "a tuple") if kind is tuple else (Iterable, "a list or the like")
    return (_Rule(words, lambda value: isinstance(value, kind) and not isinstance(value, _TEXTS), inside),)


def _is_path(hint: Any) -> bool:
    kind = get_origin(hint) or hint
    return isinstance(kind, type) and issubclass(kind, os.PathLike)


def _in_each(hint: Any) -> Callable[[Any], str]:
    rules = _rules(hint)
    texts = str in (hint, *get_args(hint))

    def inside(values: Iterable[Any]) -> str:
        if not rules or not isinstance(values, Collection):
            return ""
        # Of what is no text one of each type tells of all.
        some = values if texts else {type(value): value for value in values}.values()
        return next(filter(None, (_problem(rules, value) for value in some)), "")

    return inside


def _in_tuple(hints: tuple[Any, ...]) -> Callable[[Any], str]:
    def inside(values: tuple[Any, ...]) -> str:
        if len(values) != len(hints):
            return f"{len(values)} values: give {len(hints)}"
        pairs = zip(hints, values, strict=True)
        return next(filter(None, (_problem(_rules(hint), value) for hint, value in pairs)), "")

    return inside


def _in_mapping(key: Any, value: Any) -> Callable[[Any], str]:
    keys, values, texts = _in_each(key), _rules(value), str in (value, *get_args(value))

    def inside(given: Mapping[Any, Any]) -> str:
        if problem := keys(given.keys()):
            return problem
        some = given.items() if texts else {type(v): (k, v) for k, v in given.items()}.values()
        found = ((k, _problem(values, v)) for k, v in some)
        return next((f"{shown(k)}: {problem}" for k, problem in found if problem), "")

    return inside


_TEXT = _rules(str)


def _problem(rules: tuple[_Rule, ...], value: Any) -> str:
    """Say what is wrong with a value, and what would be right; blank where nothing is."""
    found = ""
    for rule in rules:
        if rule.is_one(value):
            found = rule.inside(value)
            if not found:
                return ""
    words = " or ".join(dict.fromkeys(rule.words for rule in rules if rule.words != "None"))
    what = shown(value) if isinstance(value, (str, int, float)) else type(value).__name__
    return found if found or not rules else f"{what}: give {words}"


def checked(thing: _T) -> _T:
    """Have a function, or each public method of a class and how it is made, refuse what its annotations do.

    Raises IdkeyError before anything is done: the call, the argument, its value, and what would be right.
    """
    if isinstance(thing, type):
        for name, method in list(vars(thing).items()):
            # How a class is made that is no record says best itself what it may be made of.
            if name.startswith("_") and not (name == "__init__" and is_dataclass(thing)):
                continue
            if inspect.isfunction(method):
                setattr(thing, name, checked(method))
            elif isinstance(method, classmethod):
                setattr(thing, name, classmethod(checked(method.__func__)))
        return thing
    parameters = inspect.signature(thing).parameters.values()
    if all(p.annotation is inspect.Parameter.empty for p in parameters):
        return thing
    kinds = {p.kind: p.name for p in parameters}
    many, rest = kinds.get(inspect.Parameter.VAR_POSITIONAL), kinds.get(inspect.Parameter.VAR_KEYWORD)
    by_place = (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD)
    places = [p.name for p in parameters if p.kind in by_place]
    call = thing.__qualname__.removesuffix(".__init__").rpartition(".")[2]

    @cache
    def rules() -> dict[str, tuple[_Rule, ...]]:
        hints = get_type_hints(thing)
        return {p.name: _rules(hints[p.name]) if p.name in hints else () for p in parameters}

    @wraps(thing)
    def held(*args: Any, **given: Any) -> Any:
        known = rules()
        pairs = zip(places, args, strict=False)
        if given or len(args) > len(places):
            more = ((many, value) for value in args[len(places) :] if many)
            named = ((name if name in known else rest, value) for name, value in given.items())
            pairs = (*pairs, *more, *named)
        for name, value in pairs:
            allowed = known.get(name)
            # Most are plain texts: ids that are looked up.
            if not allowed or (allowed is _TEXT and type(value) is str and not ODD_CHARACTER.search(value)):
                continue
            if problem := _problem(allowed, value):
                raise IdkeyError(f"{call}: {name}: {problem}")
        return thing(*args, **given)

    return held
