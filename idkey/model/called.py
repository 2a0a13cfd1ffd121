"""Which kinds go by a name: the id, the scientific or common name, or the trade code on the bag."""

from __future__ import annotations

import re

from idkey.table.table import TraitTable

__all__ = ["kinds_called", "same_name"]

_COLUMNS = ("scientificName", "vernacularName", "tradeCode")
_FEWEST_LETTERS = 3
_CODE = re.compile(r"(l|lda|ll)[\s-]*0*(\d+)([a-z]?)")
"""Trade codes as they are written on bags: L 46, L046 and L-046 are the same."""


def kinds_called(table: TraitTable, text: str) -> tuple[str, ...]:
    """Return the ids of the kinds that go by a name, in the order of the table.

    Parameters
    ----------
    table : TraitTable
    text : str
        Upper and lower case are the same, and so are ``L46``, ``L 046`` and ``L-046``. Where no kind has
        just this name, those count that have its words in one of their names ("zebra").

    Returns
    -------
    tuple of str
        Empty where no kind is called so, or the text is blank.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"kind": ["red fish", "blue fish"], "tail": ["forked", "straight"]})
    >>> table = TraitTable.from_frame(frame, taxon="kind")
    >>> kinds_called(table, "Red"), kinds_called(table, "green")
    (('red fish',), ())
    """
    wanted = same_name(text)
    if not wanted:
        return ()
    names = _names(table)
    exact = tuple(taxon for taxon, called in names.items() if wanted in called)
    if exact or len(wanted) < _FEWEST_LETTERS:
        return exact
    words = set(wanted.split())
    return tuple(
        taxon for taxon, called in names.items() if any(words <= set(name.split()) for name in called)
    )


def same_name(text: str) -> str:
    """Return a name in the one spelling in which names are compared."""
    plain = " ".join(text.replace("_", " ").casefold().split())
    code = _CODE.fullmatch(plain)
    return f"{code[1]}{code[2]}{code[3]}" if code else plain


def _names(table: TraitTable) -> dict[str, set[str]]:
    found = {taxon: {same_name(taxon), same_name(table.label(taxon))} for taxon in table.ids}
    for column in _COLUMNS:
        if column in table.taxa.columns:
            for taxon, cell in zip(table.ids, table.taxa[column], strict=True):
                found[taxon] |= {same_name(part) for part in str(cell or "").split("|")} - {""}
    return found
