"""A care sheet as HTML and as text. Pure functions: the same sheet gives the same bytes."""

from __future__ import annotations

import re
import textwrap
from html import escape
from typing import TYPE_CHECKING

from idkey.care.columns import FOR_EVERY_FISH, GENERAL
from idkey.care.needs import CLASS_WORDS, sentences
from idkey.table.words import percent
from idkey.views.draw_care import flow_svg, size_svg, temperature_svg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from idkey.care.needs import Backing as Claim
    from idkey.care.needs import Need
    from idkey.care.sheet import CareSheet

__all__ = ["care_html", "care_text", "in_reading_order", "points", "standing_line"]

_OWN = "cautions"
_FOLDED = (GENERAL, *FOR_EVERY_FISH)
"""What concerns every fish: folded at the end, the law last."""

_ORIGIN_WORDS = {"species": "for the kind itself", "group": "for the care group", "all": "for every fish"}

_FOLD_WORDS = "Before you handle, move or sell it"
_PICTURES = (
    ("Temperature (°C, below it °F)", temperature_svg),
    ("Flow", flow_svg),
    ("Largest adult, seen from above", size_svg),
)
_DOUBT = 0.01
"""Share of "none of these" from which a sheet speaks of it."""
_SURE = 0.95
"""Share from which a name that is left alone is taken for settled, as an identification does by default."""
_NUMBERS = re.compile(r"-?[0-9.]+")

_STYLE = """
.idkey-care { color: var(--jp-ui-font-color1, inherit); max-width: 70em; }
.idkey-care table { border-collapse: collapse; width: 100%; table-layout: auto; margin: 0;
  color: inherit; font-size: inherit; }
.idkey-care caption { caption-side: top; text-align: left; font-weight: bold; padding: 0.4em 0; }
.idkey-care th, .idkey-care td { text-align: left; vertical-align: top; white-space: normal;
  overflow-wrap: anywhere; padding: 0.35em 0.7em;
  border-bottom: 1px solid var(--jp-border-color2, currentColor); }
.idkey-care thead th { border-bottom-width: 2px; }
.idkey-care tbody th { width: 11em; }
.idkey-care .idkey-care-why { width: 34%; color: var(--jp-ui-font-color2, inherit); }
.idkey-care .idkey-care-unknown { font-style: italic; }
.idkey-care .idkey-care-conflict { font-weight: bold; text-transform: uppercase;
  border: 2px solid var(--jp-error-color1, currentColor); padding: 0 0.3em; margin-right: 0.4em; }
.idkey-care h3 { font-size: 1.15em; margin: 0.4em 0; color: inherit; }
.idkey-care h4 { font-size: 1em; margin: 0.6em 0 0 0; color: inherit; }
.idkey-care p { margin: 0 0 0.3em 0; }
.idkey-care .idkey-care-mind { border: 1px solid var(--jp-border-color1, currentColor);
  border-left-width: 0.4em; padding: 0.4em 0.8em; margin: 0.4em 0; }
.idkey-care .idkey-care-pictures { display: flex; flex-wrap: wrap; gap: 0.6em 1.6em; margin: 0.6em 0; }
.idkey-care figure { flex: 1 1 20em; max-width: 25em; margin: 0; }
.idkey-care figcaption { font-weight: bold; }
.idkey-care ul { margin: 0.3em 0 0 0; padding-left: 1.2em; }
.idkey-care summary { cursor: pointer; }
""".strip()


def care_html(sheet: CareSheet) -> str:
    """Return a care sheet as one HTML section with a table.

    Parameters
    ----------
    sheet : CareSheet

    Returns
    -------
    str
        No ids, no script, nothing from outside; every text of the sheet is escaped.
    """
    several = len(sheet.names) > 1
    own, needs, folded = in_reading_order(sheet)
    rows = "\n".join([*(_row(need, several) for need in needs if _said(need)), *_nothing_known(needs)])
    return (
        f'<section class="idkey-care">\n<style>\n{_STYLE}\n</style>\n'
        f"<h3>{escape(_title(sheet))}</h3>\n{_summary(sheet)}{_mind(own, several)}{_pictures(sheet)}<table>\n"
        f"<caption>What {'they need' if several else 'it needs'}</caption>\n"
        '<thead><tr><th scope="col">Need</th><th scope="col">What is right</th>'
        '<th scope="col">How we know</th></tr></thead>\n'
        f"<tbody>\n{rows}\n</tbody>\n</table>\n{_folded(folded, several)}</section>"
    )


def _nothing_known(needs: Sequence[Need]) -> list[str]:
    """Return the rows that say what is not known at all, all of it in one."""
    return [
        f'<tr><th scope="row">{escape(head)}</th><td><span class="idkey-care-unknown">{escape(labels)}</span>'
        '</td><td class="idkey-care-why"></td></tr>'
        for head, labels in _blanks(needs)
    ]


def _blanks(needs: Sequence[Need]) -> list[tuple[str, str]]:
    """Return ("Not known", labels) and the like for needs on which nothing is known."""
    found: dict[str, list[str]] = {}
    for need in needs:
        if not _said(need):
            label = need.label.removesuffix(", at least")
            found.setdefault(need.text.capitalize(), []).append(label if label == "pH" else label.lower())
    return [(head, ", ".join(labels)) for head, labels in found.items()]


def _said(need: Need) -> bool:
    return bool(need.origin)


def _mind(own: Sequence[Need], several: bool) -> str:
    """Return the cautions of these kinds in the open."""
    return "".join(
        f'<div class="idkey-care-mind"><p><strong>{escape(need.label)}</strong></p>'
        f"{''.join(f'<p>{escape(line)}</p>' for line in need.text.splitlines())}"
        f'<div class="idkey-care-source">{_why_html(need, several)}</div></div>\n'
        for need in own
    )


def _pictures(sheet: CareSheet) -> str:
    drawn = [(words, draw(sheet)) for words, draw in _PICTURES]
    figures = "".join(
        f"<figure><figcaption>{words}</figcaption>{svg}</figure>" for words, svg in drawn if svg
    )
    return f'<div class="idkey-care-pictures">{figures}</div>\n' if figures else ""


def _folded(needs: Sequence[Need], several: bool) -> str:
    """Return what concerns every fish behind one fold; nothing where nothing is on record."""
    parts = []
    for need in needs:
        items = "".join(f"<li>{escape(point)}</li>" for point in points(need))
        parts.append(f"<h4>{escape(need.label)}</h4><ul>{items}</ul>{_why_html(need, several)}")
    if not parts:
        return ""
    return f"<details><summary>{_FOLD_WORDS}</summary>{''.join(parts)}</details>\n"


def points(need: Need) -> list[str]:
    """Return a long text one sentence a point; where names differ in it one line, to keep who it is about."""
    lines = need.text.splitlines()
    return lines if need.value is None else [point for line in lines for point in sentences(line)]


def _title(sheet: CareSheet) -> str:
    if len(sheet.labels) == 1:
        return f"Care: {sheet.labels[0]}"
    return f"Care that is right for all of: {'; '.join(sheet.labels)}"


def _conflict_line(sheet: CareSheet) -> str:
    count = len(sheet.conflicts)
    if not count:
        return ""
    what = ", ".join(need.label for need in sheet.conflicts)
    return f"{count} conflict{'' if count == 1 else 's'}: {what}. No one answer suits all these names there."


def standing_line(sheet: CareSheet) -> str:
    """Say how likely each name of a sheet is; blank for a settled name, or if not made from a fish."""
    if not sheet.shares or (len(sheet.names) == 1 and sheet.shares[sheet.names[0]] >= _SURE):
        return ""
    shares = [
        f"{label} {percent(sheet.shares[name])}"
        for name, label in zip(sheet.names, sheet.short_labels, strict=True)
    ]
    line = f"Still possible: {'; '.join(shares)}."
    if sheet.others:
        names = "1 less likely name is" if sheet.others == 1 else f"{sheet.others} less likely names are"
        line += (
            f" {names} possible as well ({percent(sheet.others_share)}) and not on this sheet: "
            "answer more before you go by it."
        )
    if sheet.none_share >= _DOUBT:
        line += f" None of the kinds in the table: {percent(sheet.none_share)}; then nothing here holds."
    return line


def _summary(sheet: CareSheet) -> str:
    lines = ""
    if standing := standing_line(sheet):
        lines += f"<p>{escape(standing)}</p>\n"
    if conflict := _conflict_line(sheet):
        lines += f"<p><strong>{escape(conflict)}</strong></p>\n"
    return lines


def _row(need: Need, several: bool) -> str:
    return (
        f'<tr><th scope="row">{escape(need.label)}</th><td>{_need_html(need)}</td>'
        f'<td class="idkey-care-why">{_why_html(need, several)}</td></tr>'
    )


def _need_html(need: Need) -> str:
    lines = [escape(line) for line in need.text.splitlines()]
    if need.conflict:
        lines[0] = f'<strong class="idkey-care-conflict">conflict</strong>{lines[0]}'
    return "".join(f"<p>{line}</p>" for line in lines)


def _why_html(need: Need, several: bool) -> str:
    if not need.evidence:
        return ""
    parts = [_ORIGIN_WORDS.get(need.origin, ""), *(CLASS_WORDS.get(c, c) for c in need.classes)]
    head = escape("; ".join(part for part in parts if part))
    texts = dict.fromkeys(_claim_text(claim, need.unit, several) for claim in need.evidence)
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f"<details><summary>{head}</summary><ul>{items}</ul></details>"


def _claim_text(claim: Claim, unit: str, several: bool) -> str:
    where = ", ".join(part for part in (claim.source_label, claim.locator) if part)
    basis = CLASS_WORDS.get(claim.evidence_class, claim.evidence_class)
    text = f"{_plain_value(claim.value, unit)} ({'; '.join(part for part in (where, basis) if part)})"
    if several and claim.care_group != "all":
        text = f"{(claim.taxon or claim.care_group).replace('_', ' ').capitalize()}: {text}"
    return f"{text}. {claim.note}" if claim.note else text


def _plain_value(value: str, unit: str) -> str:
    if not _NUMBERS.fullmatch(value):
        return value.replace("|", " or ")
    low, _, high = value.partition("..")
    text = f"{low} to {high}" if high and high != low else low
    return f"{text} {unit}".rstrip()


def care_text(sheet: CareSheet, width: int = 100, *, full: bool = False) -> str:
    """Return a care sheet as plain text.

    Parameters
    ----------
    sheet : CareSheet
    width : int
        Longest line; a longer need is cut with an ellipsis unless `full`.
    full : bool
        Give every need in full, with its evidence classes and sources.
    """
    own, needs, folded = in_reading_order(sheet)
    shown = [need for need in (*own, *needs, *folded) if _said(need)]
    label_width = max(len(need.label) for need in sheet.attributes.values()) + 2
    lines = [_title(sheet), *_wrapped(standing_line(sheet), width, 0)]
    lines += _wrapped(_conflict_line(sheet), width, 0)
    for need in shown:
        mark = "conflict: " if need.conflict else ""
        text = mark + need.text
        line = f"{need.label:<{label_width}}{' / '.join(text.splitlines())}"
        if full:
            lines += _full_lines(need, text, label_width)
        elif need.attribute == _OWN or need.conflict:
            # What keeps a fish from harm is never cut short.
            lines += _wrapped(line, width, label_width)
        elif need not in folded:
            lines.append(_cut(line, width))
    for head, labels in _blanks(needs):
        lines += _wrapped(f"{head:<{label_width}}{labels}", width, label_width)
    if folded and not full:
        labels = ", ".join(need.label.lower() for need in folded)
        lines += _wrapped(f"{_FOLD_WORDS}: {labels}; care_text(sheet, full=True) has it all", width, 0)
    return "\n".join(lines)


def in_reading_order(sheet: CareSheet) -> tuple[Sequence[Need], Sequence[Need], Sequence[Need]]:
    """Return the cautions of these kinds, the needs, and what concerns every fish where that is on record."""
    found = sheet.attributes
    own = [need for a, need in found.items() if a == _OWN and _said(need)]
    needs = [need for a, need in found.items() if a not in _FOLDED and need not in own]
    return own, needs, [found[a] for a in _FOLDED if a in found and _said(found[a])]


def _full_lines(need: Need, text: str, indent: int) -> list[str]:
    first, *rest = text.splitlines()
    lines = [f"{need.label:<{indent}}{first}", *(f"{'':<{indent}}{line}" for line in rest)]
    if need.classes:
        words = "; ".join(CLASS_WORDS.get(c, c) for c in need.classes)
        sources = f": {'; '.join(need.sources)}" if need.sources else ""
        lines.append(f"{'':<{indent}}[{words}{sources}]")
    return lines


def _wrapped(line: str, width: int, indent: int) -> list[str]:
    return textwrap.wrap(line, width, subsequent_indent=" " * indent, break_on_hyphens=False)


def _cut(line: str, width: int) -> str:
    return line if len(line) <= width else line[: width - 1].rstrip() + "…"
