"""What a change of the table does: to telling kinds apart, to the key, and to names that were given before.

The new key is built afresh, but of a table of more than `KEYED_AFRESH` kinds, where that takes long.

Past identifications are run again through the new table, all at once, with the prior by commonness that
`Identification` starts from. An answer that a table can't take, because the trait or the state is gone, is
left out there and said so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd

from idkey.arguments import checked
from idkey.display import Shown
from idkey.errors import AnswerError, IdkeyError
from idkey.model.answers import Coded, code_frame, read_answer
from idkey.model.combine import COVERAGE, NONE_PRIOR, kept, model_of, prior_vector
from idkey.model.distinguish import Worth, worth
from idkey.model.identify import Identification
from idkey.model.key import Key, build_key
from idkey.model.lookalikes import Apart, apart
from idkey.model.match import candidate_names, posterior
from idkey.model.suspect_cells import Doubt, doubts
from idkey.table.cells import records
from idkey.table.schema import YOUNG, Trait
from idkey.table.table import TraitTable

MOST_HELD = 200
"""Kinds that are held against all others after one change."""
KEYED_AFRESH = 200
"""Kinds up to which the new key is built: a second or two."""

Past = Identification | Mapping[str, Any]
"""An identification, or its answers: trait id to answer."""


@dataclass(frozen=True, slots=True)
class PastChange:
    """A past identification that comes out otherwise: the likeliest name by the old table and by the new one.

    It stands at `index` among those given, from 0. `gained` are the names possible now that were not,
    likeliest first, `lost` those that are not any more; `unread` are the answers that the new table can't
    take, as ``trait: answer``.
    """

    index: int
    before: str
    after: str
    probability_before: float
    probability_after: float
    gained: tuple[str, ...]
    lost: tuple[str, ...]
    unread: tuple[str, ...] = ()

    @property
    def is_renamed(self) -> bool:
        """Whether the likeliest name is another."""
        return self.before != self.after


@dataclass(frozen=True, eq=False, repr=False)
class Change(Shown):
    """What a change of the table does; see `what_changes`.

    Attributes
    ----------
    altered : tuple of str
        Kinds of which a cell of a trait that both tables have is another.
    touched : tuple of str
        Kinds of which only names or claims are others.
    groups : tuple of str
        Genera and care groups of which something else is said or claimed, kinds of both tables that have
        other needs, and columns of care that are others.
    sources : tuple of str
        Keys of the sources that were added, taken out, or are others.
    apart : tuple of Apart
        The kinds added and altered, each held against all others; those that are told least well come first.
    not_held : int
        Kinds added or altered past the first `MOST_HELD`.
    key_before, key_after : Key or None
        None where no key was wanted; `key_after` also where there are more than `KEYED_AFRESH` kinds.
    past, past_count : tuple of PastChange, int
        Past identifications that come out otherwise, of so many.
    doubts : tuple of Doubt
        Cells of the kinds added, altered and touched that contradict their genus or their source.
    idle, useful, missed : tuple of Worth
        Traits that no longer earn their place, or, being new, do not; new traits that do; traits taken out
        that told some pair of kinds best, or alone, as they stood in the old table.
    """

    old: TraitTable
    new: TraitTable
    added: tuple[str, ...]
    removed: tuple[str, ...]
    altered: tuple[str, ...]
    touched: tuple[str, ...]
    groups: tuple[str, ...]
    sources: tuple[str, ...]
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
    def is_empty(self) -> bool:
        """Whether no kind, cell, claim, trait, need or source is another."""
        kinds = self.added or self.removed or self.altered or self.touched or self.groups or self.sources
        return not (kinds or self.traits_added or self.traits_altered or self.traits_removed)


@checked
def what_changes(
    old: TraitTable, new: TraitTable, *, key: Key | Literal[False] | None = None, past: Iterable[Past] = ()
) -> Change:
    """Say what a change of the table does.

    `key` is the key to the old table, which saves building it; False for no key at all. `past` are past
    identifications; see `renamed`. Raises IdkeyError for no trait table, or a key to another table.

    Examples
    --------
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    >>> old = TraitTable.from_frame(frame, taxon="kind")
    >>> found = what_changes(old, old.with_taxon("c", tail="forked"))
    >>> found.added, found.apart[0].hardly_known
    (('c',), ('a',))
    """
    if key and not (isinstance(key, Key) and key.table.ids == old.ids):
        raise IdkeyError("key: give the key to the old table, from build_key(old), or False for none")
    before, after = set(old.ids), set(new.ids)
    added = tuple(t for t in new.ids if t not in before)
    altered = altered_kinds(old, new, [t for t in new.trait_ids if t in old.trait_ids])
    changed = added + altered
    touched = _touched(old, new, altered)
    traits, kept_traits = {t.id: t for t in old.traits}, set(new.trait_ids)
    past = list(past)
    held = [apart(new, taxon) for taxon in changed[:MOST_HELD]]
    held.sort(key=lambda a: (-len(a.never), -len(a.one_look), -len(a.adults_only), -len(a.hardly_known)))
    earned = {w.trait.id: w for w in worth(old) if w.earns}
    worths = worth(new)
    return Change(
        old=old,
        new=new,
        added=added,
        removed=tuple(t for t in old.ids if t not in after),
        altered=altered,
        touched=touched,
        groups=_groups(old, new),
        sources=_others(old.sources, new.sources),
        traits_added=tuple(t for t in new.traits if t.id not in traits),
        traits_altered=tuple(t for t in new.traits if t.id in traits and t != traits[t.id]),
        traits_removed=tuple(t for t in old.traits if t.id not in kept_traits),
        apart=tuple(held),
        not_held=len(changed) - len(held),
        key_before=None if key is False else key or _built(old),
        key_after=None if key is False or len(new) > KEYED_AFRESH else _built(new),
        past=renamed(old, new, past),
        past_count=len(past),
        doubts=doubts(new, changed + touched) if changed or touched else (),
        idle=tuple(w for w in worths if not w.earns and (w.trait.id in earned or w.trait.id not in traits)),
        useful=tuple(w for w in worths if w.earns and w.trait.id not in traits),
        missed=tuple(w for trait, w in earned.items() if trait not in kept_traits),
    )


_built = kept(build_key)
"""The one key to a table, which is mostly changed in several ways, one after the other."""


# -- what is another --------------------------------------------------------------------------------


def altered_kinds(old: TraitTable, new: TraitTable, traits: Iterable[str]) -> tuple[str, ...]:
    """Return the kinds of both tables of which a cell of these traits is another, in the order of the new."""
    columns = [name for t in traits for name in (t, t + YOUNG)]
    was, now = (_rows(table, columns) for table in (old, new))
    return tuple(taxon for taxon, row in now.items() if was.get(taxon, row) != row)


def _rows(table: TraitTable, columns: Collection[str]) -> dict[str, tuple[Any, ...]]:
    cells = (table.cells.get(column, (None,) * len(table)) for column in columns)
    return dict(zip(table.ids, zip(*cells, strict=True), strict=False))


def _touched(old: TraitTable, new: TraitTable, but: Collection[str]) -> tuple[str, ...]:
    """Return the other kinds of both tables of which a name is another, or a claim about a trait of both."""
    before = set(old.ids)
    both = [taxon for taxon in new.ids if taxon in before]
    columns = [c for c in new.taxa.columns if c in old.taxa.columns]
    was, now = (table.taxa.loc[both, columns].to_numpy(dtype=object) for table in (old, new))
    touched = {both[i] for i in np.flatnonzero((was != now).any(axis=1))}
    claims = [table.claims_by_kind for table in (old, new)]
    columns = [c for c in claims[1].columns if c in claims[0].columns]
    if "taxon" in columns:
        other = {name + end for name in {*old.trait_ids} ^ {*new.trait_ids} for end in ("", YOUNG)}
        was, now = (of.loc[~of["attribute"].isin(other), columns].reset_index(drop=True) for of in claims)
        # Mostly claims are added at the end: then only those need be looked at.
        if now.iloc[: len(was)].equals(was):
            rows = now.iloc[len(was) :]
        else:
            rows = pd.concat([was, now]).drop_duplicates(keep=False)
        touched |= set(rows["taxon"])
    touched -= set(but)
    return tuple(taxon for taxon in both if taxon in touched)


def _groups(old: TraitTable, new: TraitTable) -> tuple[str, ...]:
    """Return the genera, care groups, kinds and columns of care of which something else is said."""
    was, now = (Counter(_said_of_groups(table)) for table in (old, new))
    names = [who for who, _ in (was - now) + (now - was)]
    columns = ({column.id: column for column in table.care_columns} for table in (old, new))
    groups = dict.fromkeys([*names, *_others(old.genera, new.genera), *_others(*columns)])
    return tuple(who for who in groups if who not in {*old.ids} ^ {*new.ids})


def _said_of_groups(table: TraitTable) -> Iterator[tuple[str, frozenset[tuple[str, str]]]]:
    """Yield each row of care, and each claim that is about no kind, with whom it is about."""
    claims = table.evidence
    claims = claims[claims["taxon"] == ""] if "taxon" in claims.columns else claims
    for row in (*records(table.care), *records(claims)):
        who = row.get("taxon") or row.get("genus") or row.get("care_group") or ""
        yield who, frozenset((column, str(text)) for column, text in row.items() if text)


def _others(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the keys that only one of the two has, or that stand for something else."""
    return tuple(key for key in {**old, **new} if old.get(key) != new.get(key))


# -- names given before -----------------------------------------------------------------------------


def renamed(old: TraitTable, new: TraitTable, past: Iterable[Past]) -> tuple[PastChange, ...]:
    """Return the past identifications of which the name, or the names still possible, change.

    They stand in the order given; one whose answers can't all be read any more is among them, even where its
    names stay. Raises AnswerError for an item that is no identification.
    """
    given = [item.answers if isinstance(item, Identification) else item for item in past]
    for i, answers in enumerate(given):
        if not isinstance(answers, Mapping):
            msg = f"past, item {i}: {type(answers).__name__}: give an Identification, or its answers"
            raise AnswerError(msg)
    changes = []
    both = (_named(table, given) for table in (old, new)) if given else ((), ())
    for i, (was, now) in enumerate(zip(*both, strict=True)):
        unread = tuple(answer for answer in now.unread if answer not in was.unread)
        gained = tuple(name for name in now.names if name not in was.names)
        lost = tuple(name for name in was.names if name not in now.names)
        # Without an answer there was no name, and what is possible says nothing of the fish.
        other = (was.answered or now.answered) and (gained or lost or was.names[0] != now.names[0])
        if other or unread:
            best = was.names[0], now.names[0], was.probability, now.probability
            changes.append(PastChange(i, *best, gained, lost, unread))
    return tuple(changes)


class _Named(NamedTuple):
    """What a table says to one set of answers; `unread` are those that it can't take."""

    names: tuple[str, ...]
    probability: float
    unread: list[str]
    answered: bool


def _named(table: TraitTable, past: list[Mapping[str, Any]]) -> list[_Named]:
    coded, unread = code_past(table, past)
    share = posterior(model_of(table), coded, prior_vector(table, "commonness", NONE_PRIOR))
    names = candidate_names(table, coded, share, COVERAGE)
    answered = coded.stage > 0
    for codes in coded.codes.values():
        answered = answered | (codes > 0)
    best = share.max(axis=1).tolist()
    return [_Named(*row) for row in zip(names, best, unread, answered.tolist(), strict=True)]


def code_past(table: TraitTable, past: Sequence[Mapping[str, Any]]) -> tuple[Coded, list[list[str]]]:
    """Code answers that were given by another table, and for each fish those that this one can't take.

    The latter as ``trait: answer``; they are left out.
    """
    read: dict[tuple[str, str], str | None] = {}
    texts = [{trait: _read(read, table, trait, value) for trait, value in given.items()} for given in past]
    rows = [{trait: text for trait, text in row.items() if text is not None} for row in texts]
    coded = code_frame(table, pd.DataFrame(rows, index=range(len(rows)), dtype=object))
    unread = [
        [f"{t}: {given[t]}" for t in row if row[t] is None] for row, given in zip(texts, past, strict=True)
    ]
    return coded, unread


def _read(read: dict[tuple[str, str], str | None], table: TraitTable, trait: str, value: Any) -> str | None:
    """Return an answer as a table reads it, blank where it says nothing; None where it can't."""
    key = trait, str(value)
    if key not in read:
        try:
            read[key] = read_answer(table, trait, value) or ""
        except AnswerError:
            read[key] = None
    return read[key]
