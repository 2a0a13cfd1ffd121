"""Where the shipped table and a keeper's own additions say different things, as a list to settle."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from idkey.views.html import page

if TYPE_CHECKING:
    from idkey.table.conflicts import Conflict
    from idkey.table.table import TraitTable

__all__ = ["conflicts_html", "conflicts_text"]

_NONE = "Nothing to settle: the shipped table and your own additions agree."
_KEEP = {"own": "keep yours", "shipped": "take what the shipped table says"}
_DROP = "give up what is set aside"


def conflicts_text(table: TraitTable) -> str:
    """Return each conflict: what was, what the shipped table says now, what is yours, how to settle it."""
    if not table.conflicts:
        return _NONE
    lines = [_heading(table)]
    for conflict in table.conflicts:
        lines += ["", conflict.text]
        lines += [f"  {label}: {text}" for label, text in _sides(conflict)]
        lines += [f"  to {what}: {code}" for what, code in _ways(table, conflict)]
    return "\n".join(lines)


def conflicts_html(table: TraitTable) -> str:
    """Return the same as a table for a notebook."""
    if not table.conflicts:
        return page(f"<p>{escape(_NONE)}</p>")
    rows = "".join(_row(table, conflict) for conflict in table.conflicts)
    head = "".join(
        f'<th scope="col">{title}</th>'
        for title in ("What happened", "It was", "Shipped table now", "Yours", "To settle it")
    )
    return page(
        f'<div class="idk-scroll"><table class="idk-grid"><caption>{escape(_heading(table))}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def _row(table: TraitTable, conflict: Conflict) -> str:
    ways = "".join(f"<li>{what}: <code>{escape(code)}</code></li>" for what, code in _ways(table, conflict))
    sides = "".join(
        f"<td>{escape(text) or '&nbsp;'}</td>" for text in (conflict.before, conflict.shipped, conflict.own)
    )
    return f'<tr><th scope="row">{escape(conflict.text)}</th>{sides}<td><ul>{ways}</ul></td></tr>'


def _heading(table: TraitTable) -> str:
    count = len(table.conflicts)
    return "1 conflict to settle" if count == 1 else f"{count} conflicts to settle"


def _sides(conflict: Conflict) -> list[tuple[str, str]]:
    sides = (("it was", conflict.before), ("shipped table now", conflict.shipped), ("yours", conflict.own))
    return [(label, text) for label, text in sides if text]


def _ways(table: TraitTable, conflict: Conflict) -> list[tuple[str, str]]:
    """Return what can be done, and the call that does it."""
    folder = str(table.origin.folder) if table.origin else table.name
    return [
        (
            _DROP if conflict.kind == "gone" else _KEEP[keep],
            f"table = idkey.table.overlay.settle({folder!r}, {conflict.id!r}, {keep!r})",
        )
        for keep in conflict.choices
    ]
