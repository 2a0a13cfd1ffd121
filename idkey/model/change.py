"""What a change of the table does: to telling kinds apart, to the key, and to names given before."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from idkey.display import Shown
from idkey.errors import IdkeyError
from idkey.model.combine import kept
from idkey.model.distinguish import Worth, worth
from idkey.model.doubts import Doubt, doubts
from idkey.model.grow import grow_key
from idkey.model.key import Key, build_key
from idkey.model.lookalikes import Apart, apart
from idkey.model.past import Past, PastChange, renamed
from idkey.model.prior import Prior, check_table
from idkey.table.schema import YOUNG, Trait
from idkey.table.table import TraitTable

__all__ = ["MOST_HELD", "Change", "what_changes"]

MOST_HELD = 200
"""Kinds that are held against all others after one change."""


@dataclass(frozen=True, eq=False, repr=False)
class Change(Shown):
    """What a change of the table does; see `what_changes`.

    Attributes
    ----------
    old, new : TraitTable
    added, removed : tuple of str
        Taxon ids.
    altered : tuple of str
        Kinds of which a cell of a trait that both tables have is another.
    touched : tuple of str
        Kinds of which only names or claims are others.
    traits_added, traits_altered, traits_removed : tuple of Trait
    apart : tuple of Apart
        The kinds added and altered, each held against all others; those that are told least well come first.
    not_held : int
        Kinds added or altered past the first `MOST_HELD`, which are not held against others.
    key_before, key_after : Key or None
        None where no key was wanted.
    past : tuple of PastChange
        Past identifications that come out otherwise.
    past_count : int
        Past identifications looked at.
    doubts : tuple of Doubt
        Cells of the kinds added, altered and touched that contradict their genus or their source.
    idle : tuple of Worth
        Traits that no longer earn their place, or, being new, do not.
    useful : tuple of Worth
        New traits that do.
    missed : tuple of Worth
        Traits taken out that told some pair of kinds best, or alone; as they stood in the old table.
    """

    old: TraitTable
    new: TraitTable
    added: tuple[str, ...]
    removed: tuple[str, ...]
    altered: tuple[str, ...]
    touched: tuple[str, ...]
    traits_added: tuple[Trait, ...]
    traits_altered: tuple[Trait, ...]
    traits_removed: tuple[Trait, ...]
    apart: tuple[Apart, ...]
    not_held: int
    key_before: Key | None
    key_after: Key | None
    past: tuple[PastChange, ...]
    past_count: int
    doubts: tuple[Doubt, ...]
    idle: tuple[Worth, ...]
    useful: tuple[Worth, ...]
    missed: tuple[Worth, ...]

    @property
    def couplets_added(self) -> int:
        """Couplets that the key has more; fewer where it is negative, 0 without a key."""
        if self.key_before is None or self.key_after is None:
            return 0
        return len(self.key_after.couplets) - len(self.key_before.couplets)

    @property
    def questions_before(self) -> float:
        """Mean number of couplets to a name before; NaN without a key."""
        return float("nan") if self.key_before is None else self.key_before.expected_questions()

    @property
    def questions_after(self) -> float:
        """Mean number of couplets to a name after; NaN without a key."""
        return float("nan") if self.key_after is None else self.key_after.expected_questions()

    @property
    def is_empty(self) -> bool:
        """Whether no kind, cell, claim or trait is another."""
        kinds = self.added or self.removed or self.altered or self.touched
        return not (kinds or self.traits_added or self.traits_altered or self.traits_removed)


def what_changes(
    old: TraitTable,
    new: TraitTable,
    *,
    key: Key | Literal[False] | None = None,
    past: Iterable[Past] = (),
    prior: Prior = None,
) -> Change:
    """Say what a change of the table does.

    Parameters
    ----------
    old, new : TraitTable
        The table before and after; `new` is mostly made from `old` by `with_taxon` and its like.
    key : Key or False, optional
        The key to the old table, which saves building it; False for no key at all.
    past : iterable of Identification or mapping
        Past identifications; see `idkey.model.past.renamed`.
    prior : {"commonness", "uniform"} or mapping of taxon id to weight, default uniform
        What the questions of the key are weighted by, as for `build_key`.

    Returns
    -------
    Change

    Raises
    ------
    IdkeyError
        No trait table, or a key to another table.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    >>> old = TraitTable.from_frame(frame, taxon="kind")
    >>> found = what_changes(old, old.with_taxon("c", tail="forked"))
    >>> found.added, found.apart[0].hardly_known, found.couplets_added
    (('c',), ('a',), 0)
    """
    check_table(old)
    check_table(new)
    before, after = set(old.ids), set(new.ids)
    added = tuple(t for t in new.ids if t not in before)
    altered = _altered(old, new)
    changed = added + altered
    touched = _touched(old, new, changed)
    key_before = _old_key(old, key, prior)
    traits = {t.id: t for t in old.traits}
    traits_altered = tuple(t for t in new.traits if t.id in traits and t != traits[t.id])
    key_after = None
    if key_before is not None:
        # What a trait may ask, and what it costs, is in every couplet.
        afresh = bool(traits_altered)
        key_after = build_key(new, prior) if afresh else grow_key(key_before, new, changed, prior=prior)
    past = list(past)
    held = [apart(new, taxon) for taxon in changed[:MOST_HELD]]
    kept = set(new.trait_ids)
    earned = {w.trait.id: w for w in worth(old) if w.earns}
    worths = worth(new)
    return Change(
        old=old,
        new=new,
        added=added,
        removed=tuple(t for t in old.ids if t not in after),
        altered=altered,
        touched=touched,
        traits_added=tuple(t for t in new.traits if t.id not in traits),
        traits_altered=traits_altered,
        traits_removed=tuple(t for t in old.traits if t.id not in kept),
        apart=tuple(sorted(held, key=_how_well_told)),
        not_held=len(changed) - len(held),
        key_before=key_before,
        key_after=key_after,
        past=renamed(old, new, past),
        past_count=len(past),
        doubts=doubts(new, changed + touched) if changed or touched else (),
        idle=tuple(w for w in worths if not w.earns and (w.trait.id in earned or w.trait.id not in traits)),
        useful=tuple(w for w in worths if w.earns and w.trait.id not in traits),
        missed=tuple(w for trait, w in earned.items() if trait not in kept),
    )


def _how_well_told(found: Apart) -> tuple[int, ...]:
    return -len(found.never), -len(found.one_look), -len(found.adults_only), -len(found.hardly_known)


def _old_key(old: TraitTable, key: Key | Literal[False] | None, prior: Prior) -> Key | None:
    if key is False:
        return None
    if key is None:
        return _key_to(old) if prior is None else build_key(old, prior)
    if not isinstance(key, Key) or key.table.ids != old.ids:
        msg = "key: give the key to the old table, from build_key(old), or False for none"
        raise IdkeyError(msg)
    return key


@kept
def _key_to(table: TraitTable) -> Key:
    # One table is mostly changed in several ways, one after the other; its key is built once.
    return build_key(table)


def _altered(old: TraitTable, new: TraitTable) -> tuple[str, ...]:
    """Return the kinds of both tables of which a cell is another, in the order of the new one."""
    before, traits = set(old.ids), set(old.trait_ids)
    rows = [(old.position(taxon), new.position(taxon)) for taxon in new.ids if taxon in before]
    blank = (None,) * max(len(old), len(new))
    found = set()
    for column in (name for t in new.trait_ids if t in traits for name in (t, t + YOUNG)):
        was, now = old.cells.get(column, blank), new.cells.get(column, blank)
        found |= {j for i, j in rows if was[i] is not now[j] and was[i] != now[j]}
    return tuple(new.ids[j] for j in sorted(found))


def _touched(old: TraitTable, new: TraitTable, but: Collection[str]) -> tuple[str, ...]:
    """Return the other kinds of both tables of which a name or a claim is another."""
    before = set(old.ids)
    both = [taxon for taxon in new.ids if taxon in before]
    columns = [c for c in new.taxa.columns if c in old.taxa.columns]
    was, now = (table.taxa.loc[both, columns].to_numpy(dtype=object) for table in (old, new))
    found = {both[i] for i in np.flatnonzero((was != now).any(axis=1))}
    found |= _claimed(old, new)
    found -= set(but)
    return tuple(taxon for taxon in both if taxon in found)


def _claimed(before: TraitTable, after: TraitTable) -> set[str]:
    """Return the taxa of the claims that are in one table alone; what is said of a new trait is no change."""
    old, new = before.evidence, after.evidence
    if "taxon" not in old.columns or "taxon" not in new.columns:
        return set()
    columns = [c for c in new.columns if c in old.columns]
    other = {t.id for t in before.traits} ^ {t.id for t in after.traits}
    if other:
        other |= {column + YOUNG for column in other}
        old, new = (frame[~frame["attribute"].isin(other)] for frame in (old, new))
    old, new = old[columns].reset_index(drop=True), new[columns].reset_index(drop=True)
    # Mostly claims are added at the end: then only those need be looked at.
    if new.iloc[: len(old)].equals(old):
        return set(new["taxon"].iloc[len(old) :])
    rows = pd.concat([old, new], ignore_index=True)
    return set(rows.loc[~rows.duplicated(keep=False), "taxon"])
