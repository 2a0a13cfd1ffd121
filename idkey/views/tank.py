"""Tanks held against a care sheet, as documents: one tank, and a room ranked for a fish."""

from __future__ import annotations

import re

from idkey.care.check import TankCheck
from idkey.care.room import RoomCheck
from idkey.care.rules import Check
from idkey.care.tank import Tank
from idkey.table.units import amount
from idkey.views.doc import PRINT, SCREEN, TEXT, Content, Document, Fold, Inline, Lines, On, Table, Tag
from idkey.views.words import number_of

_WIDTH = 100
_SIGNS = {"fails": "\u2715", "names disagree": "\u2260", "not measured": "?"}
_SIGNS |= {"need not known": "\u2013", "pass": "\u2713", "read": "\u2192"}
"""A sign beside each word, the most urgent first."""
_STYLES = {"fails": "loud", "not measured": "open", "names disagree": "open"}
_NUMBER_AND_UNIT = re.compile(r"(\d|US) (\u00b0|%|gal|(?:L|US|cm|mm|m|in|mg/L)\b)")


def tank_document(check: TankCheck) -> Document:
    """Return a tank check as a document: whose it is, the verdict, and one need a row, what fails first."""
    verdict = Lines((_kept(f"{_SIGNS[_answer(check)]} {check.verdict}"),), style="outcome")
    lines = [check.verdict, _measures(check.tank)]
    for c in _by_urgency(check):
        off = f", {c.short_by}" if c.short_by else ""
        words = f"{c.label}: {_SIGNS[c.verdict]} {c.verdict}{off}; wanted: {c.wanted}; here: {c.found}"
        lines.append(f"{words}. {c.change}".rstrip())
    blocks = (On((SCREEN, PRINT), (verdict, tank_table(check))), On(TEXT, (Lines((*lines,), indent=4),)))
    title = f"Tank {check.tank.name} for {'; '.join(check.labels or check.names)}"
    return Document(title, blocks, width=_WIDTH)


def tank_table(check: TankCheck) -> Table:
    """Return the rows of a tank check, what fails first; the verdict in words is left to who shows it."""
    heads, shares = ("Need", "Answer", "Wanted", "This tank", "What to do"), (26.0, 38.0, 42.0, 32.0, 40.0)
    rows = tuple(map(_row, _by_urgency(check)))
    return Table(heads, rows, _kept(_measures(check.tank)), "tank-grid", shares)


def _row(check: Check) -> tuple[Content, ...]:
    answer = (_tag(check.verdict, check.verdict), _kept(f"\n{check.short_by}") if check.short_by else "")
    # On paper the sources stand on the care sheet.
    basis = Fold("Source", (Lines((_kept(check.basis),), style="soft"),))
    source = On(SCREEN, (basis,) if check.basis else ())
    return check.label, answer, (_kept(check.wanted), source), _kept(check.found), _kept(check.change)


def _by_urgency(check: TankCheck) -> list[Check]:
    return sorted(check.checks, key=lambda c: list(_SIGNS).index(c.verdict))


def _tag(verdict: str, words: str) -> Inline:
    text = f"{_SIGNS[verdict]} {words}"
    return Tag(text, _STYLES[verdict]) if verdict in _STYLES else text


def _kept(text: str) -> str:
    """Keep each number with its unit on one line."""
    return _NUMBER_AND_UNIT.sub("\\1\u00a0\\2", text)


def _answer(check: TankCheck) -> str:
    """Return the verdict whose sign stands for the whole tank."""
    return "fails" if check.fails else "pass" if check.ok else "not measured"


def _measures(tank: Tank) -> str:
    """Say what the tank is, metric first."""
    sides = (tank.length_cm, tank.width_cm, tank.height_cm)
    if tank.volume_l is None:
        full = f"{amount(tank.full_volume_l, unit='L')} when full; height of the water not measured"
    else:
        full = f"filled to {amount(tank.fill_cm, unit='cm')}: {amount(tank.volume_l, unit='L')}"
    over = "" if tank.turnover is None else f", turned over {tank.turnover:.1f} times an hour"
    return f"{tank.name}: {amount(*sides, unit='cm', between=' × ')}, {full}{over}"


def room_document(room: RoomCheck) -> Document:
    """Return a ranked room as a document, each tank with its rows behind a fold."""
    named = [(f"{c.tank.name}: {_SIGNS[_answer(c)]} {_word(c)}", tank_table(c)) for c in room.checks]
    folds = tuple(Fold(words, (table,), "name") for words, table in named)
    ranking = [f"{n}. {c.tank.name}: {c.verdict}" for n, c in enumerate(room.checks, start=1)]
    lines = Lines((_room_line(room), *ranking), indent=4)
    blocks = (On((SCREEN, PRINT), (room_table(room), *folds)), On(TEXT, (lines,)))
    return Document(f"The fish room for {'; '.join(room.labels)}", blocks, width=_WIDTH)


def room_table(room: RoomCheck) -> Table:
    """Return the tanks of a room, the best for this fish first, with the verdict of each."""
    rows = tuple(
        (str(place), c.tank.name, (_tag(_answer(c), _word(c)),), _kept(c.verdict))
        for place, c in enumerate(room.checks, start=1)
    )
    heads = ("Rank", "Tank", "Answer", "Why")
    return Table(heads, rows, _room_line(room), "tank-grid idk-tank-room", (12.0, 30.0, 36.0, 100.0), False)


def _word(check: TankCheck) -> str:
    return "fails" if check.fails else "fits" if check.ok else "can't be said yet"


def _room_line(room: RoomCheck) -> str:
    fitting = ", ".join(c.tank.name for c in room.fitting)
    words = f"fits: {fitting}" if fitting else "none can be said to fit as it is"
    return f"{number_of(len(room.checks), 'tank')}, the best first; {words}"
