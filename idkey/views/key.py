"""A key, as HTML and as text."""

from __future__ import annotations

import textwrap
from html import escape
from typing import TYPE_CHECKING

from idkey.views.html import page
from idkey.views.words import lead_words

if TYPE_CHECKING:
    from idkey.model.key import Couplet, Key, Lead

__all__ = ["key_html", "key_text"]

_WIDTH = 78


# -- a key ------------------------------------------------------------------------------------------


def key_html(key: Key) -> str:
    """Return the numbered couplets, each lead with where it goes."""
    if not key.couplets:
        names = ", ".join(key.table.label(t) for t in key.table.ids)
        return page(f"<p>These can't be told apart by this table: {escape(names)}.</p>")
    items = []
    for couplet in key.couplets:
        leads = []
        for letter, lead in (("a", couplet.a), ("b", couplet.b)):
            words = escape(lead_words(couplet, lead))
            leads.append(
                f'<div class="idk-lead"><strong>{couplet.number}{letter}</strong><span>{words}</span>'
                f'<span class="idk-end">{_end_html(key, lead)}</span></div>'
            )
        items.append(f"<li>{''.join(leads)}</li>")
    head = (
        f"<p>{len(key.table)} kinds, {len(key.couplets)} couplets; on average {key.expected_questions():.1f} "
        f"questions lead to a name (no key as telling needs fewer than {key.bounds().least_questions:.1f}). "
        "Start at 1; go to the number at the end of the lead that fits.</p>"
    )
    left_out = "; ".join(escape(key.table.label(t)) for t in key.left_out)
    if left_out:
        left_out = f"<p>Too little is known to key out, so possible at every end: {left_out}.</p>"
    return page(f'{head}<ol class="idk-key">{"".join(items)}</ol>{left_out}')


def _end_html(key: Key, lead: Lead) -> str:
    if lead.goes_to is not None:
        return f"go to <strong>{lead.goes_to}</strong>"
    names = "; ".join(escape(key.table.label(t)) for t in lead.taxa)
    if lead.group and len(lead.taxa) > 1:
        return f"<strong>{escape(lead.group)}</strong>: {names}"
    return f"<strong>{names}</strong>" if len(lead.taxa) == 1 else f"not told apart: <strong>{names}</strong>"


def key_text(key: Key) -> str:
    """Return the traditional key: numbered couplets, two leads each, dots to the next number or the name."""
    if not key.couplets:
        names = ", ".join(key.table.label(t) for t in key.table.ids)
        return f"These can't be told apart by this table: {names}"
    lines = []
    for couplet in key.couplets:
        for letter, lead in (("a", couplet.a), ("b", couplet.b)):
            lines += _lead_lines(key, couplet, letter, lead)
        lines.append("")
    if key.left_out:
        names = "; ".join(key.table.label(t) for t in key.left_out)
        lines += [*_wrap(f"Too little is known to key out, so possible at every end: {names}", _WIDTH), ""]
    return "\n".join(lines[:-1])


def _lead_lines(key: Key, couplet: Couplet, letter: str, lead: Lead) -> list[str]:
    words = lead_words(couplet, lead)
    if lead.goes_to is not None:
        end = str(lead.goes_to)
    else:
        names = [key.table.label(t) for t in lead.taxa]
        end = names[0] if len(names) == 1 else f"not told apart: {'; '.join(names)}"
        if lead.group and len(names) > 1:
            end = f"{lead.group}: {'; '.join(names)}"
    head = f"{couplet.number}{letter}"
    body = _wrap(words, _WIDTH - 6)
    lines = [f"{head:<6}{body[0]}", *(f"{'':<6}{line}" for line in body[1:])]
    room = _WIDTH - len(lines[-1]) - len(end) - 2
    if room >= 3:
        lines[-1] += f" {'.' * room} {end}"
        return lines
    tail = _wrap(end, _WIDTH - 10)
    return [*lines, *(f"{'':<10}{line}" for line in tail)]


def _wrap(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False) or [""]
