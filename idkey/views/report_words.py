"""What a printed document says: titles, cautions, back references, index. Knows neither HTML nor PDF."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from idkey.views.care import in_reading_order, points, standing_line
from idkey.views.doc import clean as plain
from idkey.views.words import CLASS_NOTE, made_with, sources_line, stamp
from idkey.views.words import table_date as text_date

if TYPE_CHECKING:
    from idkey.care.sheet import CareSheet

__all__ = [
    "CLASS_NOTE",
    "CareRow",
    "care_rows",
    "care_standing",
    "care_title",
    "made_with",
    "plain",
    "sources_line",
    "stamp",
    "text_date",
]


# -- the key ----------------------------------------------------------------------------------------


def _one_line(text: str) -> str:
    return " ".join(plain(text).split())


# -- a care sheet, a comparison -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CareRow:
    """One need as it is printed: what, what is right, whether nothing suits all names, how we know."""

    label: str
    text: str
    conflict: bool
    why: str


DOES_NOT_APPLY, NOT_KNOWN = "does not apply", "not known"


def care_title(sheet: CareSheet) -> str:
    """Return the title of a care sheet."""
    several = len(sheet.labels) > 1
    return _one_line(f"{'Care that is right for all of' if several else 'Care'}: {'; '.join(sheet.labels)}")


def care_standing(sheet: CareSheet) -> str:
    """Say how likely the names are, for a sheet made from an identification; blank for any other."""
    return plain(standing_line(sheet))


def care_rows(sheet: CareSheet) -> list[CareRow]:
    """Return the needs of a care sheet: cautions of these kinds, needs, what concerns every fish."""
    rows = []
    own, needs, folded = in_reading_order(sheet)
    for need in (*own, *needs, *folded):
        why = ", ".join(need.classes)
        if need.sources:
            why += f"; {len(need.sources)} source{'s' if len(need.sources) > 1 else ''}"
        text = need.text
        if need in folded:
            text = "\n".join(f"• {point}" for point in points(need))
        rows.append(CareRow(_one_line(need.label), plain(text), bool(need.conflict), plain(why)))
    return rows
