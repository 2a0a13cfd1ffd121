"""What a change of the table does: to telling kinds apart, to the key, and to names that were given before.

The new key is built afresh; of a table of more than `KEYED_AFRESH` kinds, where that takes long, each kind
that is new or changed is walked down the old key instead, and stands with those at whose end it comes out.

Past identifications are run again through the new table, all at once, with the prior by commonness that
`Identification` starts from. An answer that a table can't take, because the trait or the state is gone, is
left out there and said so.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd

from idkey.display import Shown
from idkey.errors import AnswerError, IdkeyError
from idkey.model.answers import code_frame, read_answer
from idkey.model.combine import kept, model_of
from idkey.model.distinguish import Worth, worth
from idkey.model.evidence import ADULT_FROM, NONE
from idkey.model.identify import Identification
from idkey.model.key import Key, build_key
from idkey.model.lookalikes import Apart, apart
from idkey.model.match import candidate_names, posterior
from idkey.model.prior import NONE_PRIOR, Prior, check_table, prior_vector
from idkey.model.suspect_cells import Doubt, doubts
from idkey.table.schema import LIFE_STAGE, YOUNG, Range, States, Trait
from idkey.table.table import TraitTable

__all__ = ["Change", "Past", "PastChange", "end_in_key", "renamed", "what_changes"]

MOST_HELD = 200
"""Kinds that are held against all others after one change."""
KEYED_AFRESH = 200
"""Kinds up to which the new key is built: a second or two."""

Past = Identification | Mapping[str, Any]
"""An identification, what its ``to_dict()`` gave (a "label" beside it is kept), or plain answers."""

_LABELS = ("label", "bag", "name")
_TIE_DIGITS = 14
"""Names equally likely to so many digits are a tie, which goes by name: the last bits depend on which fish
are judged together, and must not look like a change of the table."""


@dataclass(frozen=True, slots=True)
class PastChange:
    """A past identification that comes out otherwise: the likeliest name by the old table and by the new one.

    It stands at `index` among those given, from 0, and was kept under the name `label`. `gained` are the
    names possible now that were not, likeliest first, `lost` those that are not any more; `unread` are the
    answers that the new table can't take, as ``trait: answer``.
    """

    index: int
    label: str
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
    apart : tuple of Apart
        The kinds added and altered, each held against all others; those that are told least well come first.
    not_held : int
        Kinds added or altered past the first `MOST_HELD`.
    key_before, key_after : Key or None
        None where no key was wanted; `key_after` also where there are more than `KEYED_AFRESH` kinds.
    key_ends : mapping of str to tuple of str
        Without a new key: where the kinds added and altered come out in the old one, and with whom.
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
    traits_added: tuple[Trait, ...]
    traits_altered: tuple[Trait, ...]
    traits_removed: tuple[Trait, ...]
    apart: tuple[Apart, ...]
    not_held: int
    key_before: Key | None
    key_after: Key | None
    key_ends: Mapping[str, tuple[str, ...]]
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

    `key` is the key to the old table, which saves building it; False for no key at all. `past` are past
    identifications; see `renamed`. `prior` is what the questions of the key are weighted by, as for
    `build_key`. Raises IdkeyError for no trait table, or a key to another table.

    Examples
    --------
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
    traits, kept_traits = {t.id: t for t in old.traits}, set(new.trait_ids)
    key_before, key_after, key_ends = _keys(old, new, changed[:MOST_HELD], key, prior)
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
        traits_added=tuple(t for t in new.traits if t.id not in traits),
        traits_altered=tuple(t for t in new.traits if t.id in traits and t != traits[t.id]),
        traits_removed=tuple(t for t in old.traits if t.id not in kept_traits),
        apart=tuple(held),
        not_held=len(changed) - len(held),
        key_before=key_before,
        key_after=key_after,
        key_ends=key_ends,
        past=renamed(old, new, past),
        past_count=len(past),
        doubts=doubts(new, changed + touched) if changed or touched else (),
        idle=tuple(w for w in worths if not w.earns and (w.trait.id in earned or w.trait.id not in traits)),
        useful=tuple(w for w in worths if w.earns and w.trait.id not in traits),
        missed=tuple(w for trait, w in earned.items() if trait not in kept_traits),
    )


# -- the key ----------------------------------------------------------------------------------------


def _keys(
    old: TraitTable, new: TraitTable, changed: Collection[str], key: Key | Literal[False] | None, prior: Prior
) -> tuple[Key | None, Key | None, dict[str, tuple[str, ...]]]:
    """Return the key before, the key after, and without one where the kinds that changed come out."""
    if key is False:
        return None, None, {}
    if key is not None and not (isinstance(key, Key) and key.table.ids == old.ids):
        msg = "key: give the key to the old table, from build_key(old), or False for none"
        raise IdkeyError(msg)
    # One table is mostly changed in several ways, one after the other; its key is built once.
    built = kept(build_key) if prior is None else partial(build_key, prior=prior)
    key = key or built(old)
    if len(new) <= KEYED_AFRESH:
        return key, built(new), {}
    return key, None, {taxon: end_in_key(key, new, taxon) for taxon in changed}


def end_in_key(key: Key, table: TraitTable, taxon: str) -> tuple[str, ...]:
    """Return the names at which a kind comes out in a key, by its row; what is not known goes both ways."""
    row: dict[str, str] = {LIFE_STAGE: "adult"}
    for trait in key.table.traits:
        cell = table.cell(taxon, trait.id) if trait.id in table.trait_ids else None
        if isinstance(cell, States):
            row[trait.id] = "|".join(name for name in cell.names if name in trait.states)
        elif isinstance(cell, Range) and not trait.has_states:
            low = ADULT_FROM * cell.high if trait.kind == "ceiling" else cell.low
            row[trait.id] = f"{low!r}..{cell.high!r}"
    return tuple(name for name in key.classify(row) if name not in key.left_out and name != taxon)


# -- what is another --------------------------------------------------------------------------------


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
    old, new = before.claims_by_kind, after.claims_by_kind
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


# -- names given before -----------------------------------------------------------------------------


def renamed(
    old: TraitTable, new: TraitTable, past: Iterable[Past], *, coverage: float = 0.95
) -> tuple[PastChange, ...]:
    """Return the past identifications of which the name, or the names still possible, change.

    They stand in the order given; one whose answers can't all be read any more is among them, even where its
    names stay. `coverage` is what the names still possible hold together. Raises AnswerError for an item that
    is no identification.
    """
    given = [_past_answers(item, i) for i, item in enumerate(past)]
    if not given:
        return ()
    first, second = (_named(table, [answers for answers, _ in given], coverage) for table in (old, new))
    changes = []
    for i, (was, now) in enumerate(zip(first, second, strict=True)):
        unread = tuple(answer for answer in now.unread if answer not in was.unread)
        gained = tuple(name for name in now.names if name not in was.names)
        lost = tuple(name for name in was.names if name not in now.names)
        # Without an answer there was no name, and what is possible says nothing of the fish.
        other = (was.answered or now.answered) and (gained or lost or was.names[0] != now.names[0])
        if other or unread:
            best = was.names[0], now.names[0], was.probability, now.probability
            changes.append(PastChange(i, given[i][1], *best, gained, lost, unread))
    return tuple(changes)


def _past_answers(item: Any, at: int) -> tuple[Mapping[str, Any], str]:
    """Return the answers of a past identification, and its label."""
    if isinstance(item, Identification):
        return item.answers, ""
    if not isinstance(item, Mapping):
        msg = f"past, item {at}: {type(item).__name__}: give an Identification, or what its to_dict() gives"
        raise AnswerError(msg)
    if isinstance(item.get("answers"), Mapping):
        label = next((str(item[key]) for key in _LABELS if item.get(key)), "")
        return item["answers"], label
    return item, ""


class _Named(NamedTuple):
    """What a table says to one set of answers; `unread` are those that it can't take."""

    names: tuple[str, ...]
    probability: float
    unread: list[str]
    answered: bool


def _named(table: TraitTable, past: list[Mapping[str, Any]], coverage: float) -> list[_Named]:
    read: dict[tuple[str, str], str | None] = {}
    texts = [{trait: _read(read, table, trait, value) for trait, value in given.items()} for given in past]
    rows = [{trait: text for trait, text in row.items() if text is not None} for row in texts]
    coded = code_frame(table, pd.DataFrame(rows, index=range(len(rows)), dtype=object))
    share = posterior(model_of(table), coded, prior_vector(table, "commonness", NONE_PRIOR))
    names = candidate_names([*table.ids, NONE], share.round(_TIE_DIGITS), coverage)
    unread = [
        [f"{t}: {given[t]}" for t in row if row[t] is None] for row, given in zip(texts, past, strict=True)
    ]
    answered = [any(row.values()) for row in rows]
    return [_Named(*row) for row in zip(names, share.max(axis=1).tolist(), unread, answered, strict=True)]


def _read(read: dict[tuple[str, str], str | None], table: TraitTable, trait: str, value: Any) -> str | None:
    """Return an answer as a table reads it, blank where it says nothing; None where it can't."""
    key = trait, str(value)
    if key not in read:
        try:
            read[key] = read_answer(table, trait, value) or ""
        except AnswerError:
            read[key] = None
    return read[key]
