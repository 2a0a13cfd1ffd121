"""Tanks held against a care sheet, as HTML and as text. Pure functions; every text is escaped."""

from __future__ import annotations

import re
import textwrap
from html import escape
from typing import TYPE_CHECKING

from idkey.table.units import amount
from idkey.views.html import page

if TYPE_CHECKING:
    from idkey.care.check import Check, TankCheck
    from idkey.care.room import RoomCheck
    from idkey.care.tank import Tank

__all__ = ["room_html", "room_page", "room_text", "tank_html", "tank_page", "tank_text"]

_WIDTH = 100
_SIGNS = {
    "fails": "\u2715",
    "names disagree": "\u2260",
    "not measured": "?",
    "need not known": "\u2013",
    "pass": "\u2713",
    "read": "\u2192",
}
"""A sign beside each word, the most urgent first."""
_CLASSES = {"fails": "idk-tank-fails", "not measured": "idk-tank-open", "names disagree": "idk-tank-open"}
_NUMBER_AND_UNIT = re.compile(r"(\d) (\u00b0|%|(?:L|US|cm|mm|m|in|mg/L)\b)")
_TIMES = " \u00d7 "
_HEADS = ("Need", "Answer", "Wanted", "This tank", "What to do")


# -- one tank ---------------------------------------------------------------------------------------


def tank_page(check: TankCheck) -> str:
    """Return a tank check that stands on its own: whose it is, the verdict, the rows."""
    head = f"<h3>{escape(_title(check))}</h3>\n"
    return page(f"{head}{_verdict_html(check)}\n{tank_html(check)}")


def tank_html(check: TankCheck) -> str:
    """Return the rows of a tank check, what fails first; the verdict in words is left to who shows it.

    Parameters
    ----------
    check : TankCheck

    Returns
    -------
    str
        A piece of HTML without ids; every text is escaped.
    """
    head = "".join(f'<th scope="col">{name}</th>' for name in _HEADS)
    rows = "\n".join(_row(c) for c in _by_urgency(check))
    return (
        '<div class="idk-scroll"><table class="idk-grid idk-tank-grid">\n'
        f"<caption>{_text(_measures(check.tank))}</caption>\n"
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody></table></div>"
    )


def _by_urgency(check: TankCheck) -> list[Check]:
    order = list(_SIGNS)
    return sorted(check.checks, key=lambda c: order.index(c.verdict))


def _row(check: Check) -> str:
    off = f"<br>{_text(check.short_by)}" if check.short_by else ""
    why = ""
    if check.basis:
        why = f"<details><summary>Source</summary>{_text(check.basis)}</details>"
    return (
        f'<tr><th scope="row">{escape(check.label)}</th><td>{_answer(check.verdict)}{off}</td>'
        f"<td>{_text(check.wanted)}{why}</td><td>{_text(check.found)}</td>"
        f"<td>{_text(check.change)}</td></tr>"
    )


def _text(text: str) -> str:
    """Escape a text and keep each number with its unit on one line."""
    return _NUMBER_AND_UNIT.sub("\\1\u00a0\\2", escape(text)).replace("US gal", "US\u00a0gal")


def _answer(verdict: str) -> str:
    classes = " ".join(filter(None, ("idk-tank-answer", _CLASSES.get(verdict, ""))))
    sign = f'<span aria-hidden="true">{_SIGNS[verdict]}</span>'
    return f'<span class="{classes}">{sign} {escape(verdict)}</span>'


def _verdict_html(check: TankCheck) -> str:
    return f'<p class="idk-outcome">{_sign(check)} {_text(check.verdict)}</p>'


def _sign(check: TankCheck) -> str:
    sign = _SIGNS["fails" if check.fails else "pass" if check.ok else "not measured"]
    return f'<span aria-hidden="true">{sign}</span>'


def _title(check: TankCheck) -> str:
    return f"Tank {check.tank.name} for {'; '.join(check.labels or check.names)}"


def _measures(tank: Tank) -> str:
    """Say what the tank is, metric first."""
    sides = (tank.length_cm, tank.width_cm, tank.height_cm)
    parts = [f"{tank.name}: {amount(*sides, unit='cm', between=_TIMES)}"]
    litres = tank.volume_l
    if litres is None or tank.fill_cm is None:
        parts.append(f"{amount(tank.full_volume_l, unit='L')} when full; height of the water not measured")
    else:
        parts.append(f"filled to {amount(tank.fill_cm, unit='cm')}: {amount(litres, unit='L')}")
    if tank.turnover is not None:
        parts.append(f"turned over {tank.turnover:.1f} times an hour")
    return ", ".join(parts)


def tank_text(check: TankCheck, width: int = _WIDTH) -> str:
    """Return a tank check as plain text: the verdict, then one need a paragraph, what fails first.

    Parameters
    ----------
    check : TankCheck
    width : int
        Longest line.
    """
    lines = [*_wrap(_title(check), width), *_wrap(check.verdict, width), *_wrap(_measures(check.tank), width)]
    for c in _by_urgency(check):
        answer = f"{_SIGNS[c.verdict]} {c.verdict}"
        off = f", {c.short_by}" if c.short_by else ""
        said = f"{c.label}: {answer}{off}; wanted: {c.wanted}; here: {c.found}"
        lines += _wrap(f"{said}. {c.change}".rstrip(), width)
    return "\n".join(lines)


def _wrap(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent="    ", break_on_hyphens=False) or [""]


# -- a room -----------------------------------------------------------------------------------------


def room_page(room: RoomCheck) -> str:
    """Return a ranked room that stands on its own, each tank with its rows behind a fold."""
    folds = "\n".join(
        f'<details class="idk-name"><summary>{escape(c.tank.name)}: {_sign(c)} {_word(c)}</summary>'
        f"{tank_html(c)}</details>"
        for c in room.checks
    )
    return page(f"<h3>{escape(_room_title(room))}</h3>\n{room_html(room)}\n{folds}")


def room_html(room: RoomCheck) -> str:
    """Return the tanks of a room, the best for this fish first, with the verdict of each."""
    rows = "\n".join(
        f'<tr><td>{place}</td><th scope="row">{escape(c.tank.name)}</th>'
        f"<td>{_answer_of_tank(c)}</td><td>{_text(c.verdict)}</td></tr>"
        for place, c in enumerate(room.checks, start=1)
    )
    return (
        '<div class="idk-scroll"><table class="idk-grid idk-tank-grid idk-tank-room">\n'
        f"<caption>{escape(_room_line(room))}</caption>\n"
        '<thead><tr><th scope="col">Rank</th><th scope="col">Tank</th><th scope="col">Answer</th>'
        f'<th scope="col">Why</th></tr></thead>\n<tbody>\n{rows}\n</tbody></table></div>'
    )


def _answer_of_tank(check: TankCheck) -> str:
    verdict = "fails" if check.fails else "pass" if check.ok else "not measured"
    classes = " ".join(filter(None, ("idk-tank-answer", _CLASSES.get(verdict, ""))))
    return f'<span class="{classes}">{_sign(check)} {_word(check)}</span>'


def _word(check: TankCheck) -> str:
    return "fails" if check.fails else "fits" if check.ok else "can't be said yet"


def _room_title(room: RoomCheck) -> str:
    return f"The fish room for {'; '.join(room.labels)}"


def _room_line(room: RoomCheck) -> str:
    tanks = "1 tank" if len(room.checks) == 1 else f"{len(room.checks)} tanks"
    fitting = [c.tank.name for c in room.fitting]
    said = f"fits: {', '.join(fitting)}" if fitting else "none can be said to fit as it is"
    return f"{tanks}, the best first; {said}"


def room_text(room: RoomCheck, width: int = _WIDTH) -> str:
    """Return a ranked room as plain text, the best tank first."""
    lines = [*_wrap(_room_title(room), width), *_wrap(_room_line(room), width)]
    for place, check in enumerate(room.checks, start=1):
        lines += _wrap(f"{place}. {check.tank.name}: {check.verdict}", width)
    return "\n".join(lines)
