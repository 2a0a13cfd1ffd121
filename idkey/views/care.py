"""A care sheet as HTML and as text. Pure functions: the same sheet gives the same bytes."""

from __future__ import annotations

import re
import textwrap
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from idkey.care.need import Claim, Need
    from idkey.care.sheet import CareSheet

__all__ = ["care_html", "care_text"]

_CAUTIONS = ("cautions", "cautions_all")

_CLASS_WORDS = {
    "read": "read in the source",
    "secondary": "second-hand",
    "memory": "from memory, no source",
    "common practice": "common practice, no source",
}
_ORIGIN_WORDS = {"species": "for the kind itself", "group": "for the care group", "all": "for every fish"}

_GENERAL_WORDS = "Handling, electricity, infection, transport, law"
_NUMBERS = re.compile(r"-?[0-9.]+")
_SENTENCE_END = re.compile(r"(?<=\.)(?<![ (][A-Z]\.) (?=[A-Z])")

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
.idkey-care p { margin: 0 0 0.3em 0; }
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
    rows = "\n".join(_row(need, several) for need in sheet.attributes.values())
    return (
        f'<section class="idkey-care">\n<style>\n{_STYLE}\n</style>\n{_summary(sheet)}<table>\n'
        f"<caption>{escape(_title(sheet))}</caption>\n"
        '<thead><tr><th scope="col">Need</th><th scope="col">What is right</th>'
        '<th scope="col">How we know</th></tr></thead>\n'
        f"<tbody>\n{rows}\n</tbody>\n</table>\n</section>"
    )


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


def _summary(sheet: CareSheet) -> str:
    line = _conflict_line(sheet)
    return f"<p><strong>{escape(line)}</strong></p>\n" if line else ""


def _row(need: Need, several: bool) -> str:
    return (
        f'<tr><th scope="row">{escape(need.label)}</th><td>{_need_html(need)}</td>'
        f'<td class="idkey-care-why">{_why_html(need, several)}</td></tr>'
    )


def _need_html(need: Need) -> str:
    if not need.origin:
        return f'<span class="idkey-care-unknown">{escape(need.text)}</span>'
    lines = [escape(line) for line in need.text.splitlines()]
    if need.conflict:
        lines[0] = f'<strong class="idkey-care-conflict">conflict</strong>{lines[0]}'
    if need.origin == "all":
        items = "".join(f"<li>{point}</li>" for line in lines for point in _SENTENCE_END.split(line))
        return f"<details><summary>{escape(_GENERAL_WORDS)}</summary><ul>{items}</ul></details>"
    return "".join(f"<p>{line}</p>" for line in lines)


def _why_html(need: Need, several: bool) -> str:
    if not need.evidence:
        return ""
    parts = [_ORIGIN_WORDS.get(need.origin, ""), *(_CLASS_WORDS.get(c, c) for c in need.classes)]
    head = escape("; ".join(part for part in parts if part))
    texts = dict.fromkeys(_claim_text(claim, need.unit, several) for claim in need.evidence)
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f"<details><summary>{head}</summary><ul>{items}</ul></details>"


def _claim_text(claim: Claim, unit: str, several: bool) -> str:
    where = ", ".join(part for part in (claim.source_label, claim.locator) if part)
    basis = _CLASS_WORDS.get(claim.evidence_class, claim.evidence_class)
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
    label_width = max(len(need.label) for need in sheet.attributes.values()) + 2
    lines = [_title(sheet)]
    if _conflict_line(sheet):
        lines.append(_conflict_line(sheet))
    for need in sheet.attributes.values():
        mark = "conflict: " if need.conflict else ""
        text = mark + need.text
        if full:
            lines += _full_lines(need, text, label_width)
        else:
            line = f"{need.label:<{label_width}}{' / '.join(text.splitlines())}"
            # What keeps a fish or a hand from harm is never cut short.
            lines += (
                _wrapped(line, width, label_width) if need.attribute in _CAUTIONS else [_cut(line, width)]
            )
    return "\n".join(lines)


def _full_lines(need: Need, text: str, indent: int) -> list[str]:
    first, *rest = text.splitlines()
    lines = [f"{need.label:<{indent}}{first}", *(f"{'':<{indent}}{line}" for line in rest)]
    if need.classes:
        words = "; ".join(_CLASS_WORDS.get(c, c) for c in need.classes)
        sources = f": {'; '.join(need.sources)}" if need.sources else ""
        lines.append(f"{'':<{indent}}[{words}{sources}]")
    return lines


def _wrapped(line: str, width: int, indent: int) -> list[str]:
    return textwrap.wrap(line, width, subsequent_indent=" " * indent, break_on_hyphens=False)


def _cut(line: str, width: int) -> str:
    return line if len(line) <= width else line[: width - 1].rstrip() + "…"
