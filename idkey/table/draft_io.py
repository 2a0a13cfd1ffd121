"""A draft and other tables: what is taken over from one, and the folder it is saved to."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from idkey.table import files, store
from idkey.table.claims import UNSOURCED, Claim
from idkey.table.draft import Draft, Place
from idkey.table.table import TraitTable
from idkey.table.typed import text_in

__all__ = ["is_shipped", "own_folder", "save_draft", "take_over"]


def is_shipped(table: TraitTable) -> bool:
    """Whether a table is the shipped one, which is not saved over."""
    return table.origin is not None and table.origin.folder == files.shipped_folder().resolve()


def own_folder(table: TraitTable) -> Path | None:
    """Return the folder that a table can be saved to without asking."""
    return None if table.origin is None or is_shipped(table) else table.origin.folder


def save_draft(draft: Draft, folder: str | Path | None = None) -> None:
    """Save what a draft makes; afterwards nothing of it is unsaved.

    Parameters
    ----------
    draft : Draft
    folder : str or pathlib.Path, optional
        By default the table's own folder. Additions to the shipped table start an own table in a new folder;
        any other table is written whole to a new folder.

    Raises
    ------
    TableError
        With everything that is wrong; nothing is saved then.
    IdkeyError
        A folder that holds something else, or a file that was changed since it was loaded.
    """
    table = draft.made()
    if folder is not None and is_shipped(draft.saved):
        draft.rebase(store.start_table(folder))
        table, folder = draft.made(), None
    store.save_table(table, folder)
    draft.start_from(table)


def take_over(draft: Draft, table: TraitTable) -> int:
    """Take over what another table says otherwise than the draft does now; return how many cells.

    Its new kinds are added. `table` came from ``draft.sound()``: it has the same traits and sources.
    """
    now = draft.sound()
    for taxon in table.ids:
        if taxon not in draft.ids:
            draft.add(taxon)
    said = [
        (taxon, column, text)
        for column in (*table.taxa.columns, *table.cells)
        for taxon in table.ids
        if (text := text_in(table, taxon, column)) != text_in(now, taxon, column)
    ]
    for taxon, column, text in said:
        draft.set(taxon, column, text)
    for place, claim in _new_claims(now, table):
        draft.claim(*place, claim)
    return len(said)


def _new_claims(old: TraitTable, new: TraitTable) -> Iterator[tuple[Place, Claim]]:
    """Yield the claims on trait cells that only the new table has and that say where they come from."""
    if "taxon" not in new.evidence.columns:
        return
    known = set(old.evidence.itertuples(index=False, name=None))
    for row in new.evidence.to_dict("records"):
        said = row["taxon"] and row["attribute"] in new.cells and row["note"] != UNSOURCED
        if said and tuple(row.values()) not in known:
            parts = (row[name] for name in ("source", "locator", "class", "scope", "value", "note"))
            yield (row["taxon"], row["attribute"]), Claim(*parts)
