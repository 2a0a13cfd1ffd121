"""After a correction: which fish come out otherwise by the table of today, by how much, and why.

The latest look at each fish is judged three times: as it was written down then; again, by the package as it
now is, under the table that it was judged by (the edition that the book keeps); and under the table as it now
is. What sets the first two apart is the package, what sets the last two apart is the table. Each look has the
prior that it had.

By how much is the share of the probability that has gone to other names, ``1/2 sum |p - q|``: the total
variation distance of the two posteriors, 0 to 1. Names too unlikely to be written down count as one. Nothing
is renamed; that is for the keeper to do.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd

from idkey.book.causes import Cause, Causes
from idkey.display import Printed
from idkey.errors import IdkeyError
from idkey.model.changes import Change, code_past, what_changes
from idkey.model.combine import COVERAGE, NONE_PRIOR, check_table, model_of, prior_vector
from idkey.model.match import candidate_set, posterior
from idkey.table.layout import VERSION
from idkey.table.schema import NONE
from idkey.table.table import TraitTable

_TIE_DIGITS = 14
MOVED = 0.05
"""Share of the probability that has gone to other names from which a fish comes out otherwise."""
LEAST = 1e-3
"""Share from which it counts as a difference at all (judgement)."""
GONE = "sold", "died"
"""What may have become of a fish that is not here any more."""


class Named(NamedTuple):
    """The likeliest name, a taxon id or "none of these", and its probability."""

    taxon: str
    probability: float


@dataclass(frozen=True, slots=True)
class Rechecked:
    """A fish that comes out otherwise.

    Attributes
    ----------
    number, tag, label : int, str, str
        The fish, and the label that was its prior; blank for none.
    at : datetime
        When it was looked at last.
    edition : str
        Id of the table that it was judged by.
    package : str
        Version of the package that judged it.
    then, again, now : Named
        As written down; under the same table by the package as it now is (None where that table is not to be
        had); and under the table as it now is.
    moved : float
        Share of the probability that has gone to other names between then and now, 0 to 1.
    by_package, by_table : float
        The same, between then and again, and between again and now; NaN where the old table is not to be had.
    gained, lost : tuple of str
        Names possible now that were not then, likeliest first, and the other way round.
    causes : tuple of Cause
        What has changed in the table that bears on it, strongest first.
    unread : tuple of str
        Answers that the table as it now is can't take, as ``trait: answer``.
    name, ground : str
        The name that it was given last, as then written, and on what ground; blank where it has none.
    gone, to : str
        "sold" or "died" where it is not here any more, and to whom or why.
    """

    number: int
    tag: str
    label: str
    at: Any
    edition: str
    package: str
    then: Named
    again: Named | None
    now: Named
    moved: float
    by_package: float
    by_table: float
    gained: tuple[str, ...]
    lost: tuple[str, ...]
    causes: tuple[Cause, ...]
    unread: tuple[str, ...]
    name: str = ""
    ground: str = ""
    gone: str = ""
    to: str = ""

    @property
    def is_renamed(self) -> bool:
        """Whether the likeliest name is another."""
        return self.then.taxon != self.now.taxon

    @property
    def since(self) -> Literal["table", "package", "both", "not known"]:
        """Whether the table says otherwise now, or the package judges otherwise."""
        if self.again is None:
            return "not known"
        table = self.by_table >= LEAST or bool(self.unread)
        package = self.by_package >= LEAST
        return "both" if table and package else "package" if package else "table"


@dataclass(frozen=True, eq=False, repr=False)
class Recheck(Printed):
    """All fish of a book judged again; see `idkey.book.recheck`.

    Attributes
    ----------
    table : TraitTable
        The table as it now is; `package` is the version that judged now.
    fish : tuple of Rechecked
        Those that come out otherwise: with another name first, then by how much; a fish of which an answer
        can't be taken any more is among them.
    count, slightly : int
        How many fish were judged, and how many of them changed by less than `MOVED`.
    editions : mapping of str to TraitTable or None
        The tables that looks were judged by, by id; None where one is not to be had.
    """

    table: TraitTable
    fish: tuple[Rechecked, ...]
    count: int
    slightly: int
    editions: Mapping[str, TraitTable | None]
    package: str = VERSION

    @property
    def renamed(self) -> tuple[Rechecked, ...]:
        """Those of which the likeliest name is another."""
        return tuple(f for f in self.fish if f.is_renamed)

    @property
    def sold(self) -> tuple[Rechecked, ...]:
        """Those that were sold."""
        return tuple(f for f in self.fish if f.gone == "sold")

    @cached_property
    def changes(self) -> Mapping[str, Change]:
        """What sets the table as it now is apart from each edition; see `TraitTable.changes`."""
        tables = {name: table for name, table in self.editions.items() if table is not None}
        return {name: what_changes(old, self.table, key=False) for name, old in tables.items()}

    @property
    def text(self) -> str:
        """How many fish come out otherwise, and since what; one or two sentences."""
        if not self.count:
            return "The book holds no look yet."
        of = f"{self.count:,} fish"
        if not self.fish:
            return f"Judged again: {of}. None comes out otherwise."
        renamed, sold = len(self.renamed), len(self.sold)
        come = "comes" if len(self.fish) == 1 else "come"
        text = f"Judged again: {of}. {len(self.fish):,} {come} out otherwise"
        text += f", {f'{renamed:,}' if renamed else 'none'} with another likeliest name"
        were = "was" if sold == 1 else "were"
        text += f"; {sold:,} of them {were} sold." if sold else "."
        package = sum(f.since in ("package", "both") for f in self.fish)
        text += f" The package judges {package:,} of them otherwise by the same table." if package else ""
        return f"{text} No name in the book was changed."

    def to_frame(self) -> pd.DataFrame:
        """Return one row a fish that comes out otherwise."""
        rows = [
            (f.number, f.tag, f.label, f.then.taxon, f.then.probability, f.now.taxon, f.now.probability)
            + (f.moved, f.since, f.name, f.ground, f.gone, "; ".join(c.text for c in f.causes))
            for f in self.fish
        ]
        kinds = {"number": int, "tag": "str", "label": "str", "then": "str", "probability_then": float}
        kinds |= {"now": "str", "probability_now": float, "moved": float}
        kinds |= dict.fromkeys(("since", "name", "ground", "gone", "causes"), "str")
        return pd.DataFrame(rows, columns=list(kinds)).astype(kinds)


def recheck(
    table: TraitTable,
    looks: Iterable[Any],
    edition: Callable[[str], TraitTable],
    namings: Iterable[Any] = (),
    events: Iterable[Any] = (),
) -> Recheck:
    """Judge the latest look at each fish again.

    `looks`, `namings` and `events` are rows as `Book.looks` and the like return them, oldest first; `edition`
    returns the table of an edition by its id, or raises IdkeyError.
    """
    check_table(table)
    last = [*{look.number: look for look in looks}.values()]
    editions: dict[str, TraitTable | None] = {}
    for name in dict.fromkeys(look.edition_id for look in last):
        try:
            editions[name] = edition(name)
        except IdkeyError:
            editions[name] = None
    given = {naming.number: naming for naming in namings}
    gone = {event.number: event for event in events if event.what in GONE}
    found, slightly = [], 0
    for name, old in editions.items():
        judged = _Judged(table, old, [look for look in last if look.edition_id == name])
        slightly += int(((judged.moved >= LEAST) & ~judged.otherwise).sum())
        found += [judged.fish(i, given, gone) for i in np.flatnonzero(judged.otherwise)]
    found.sort(key=lambda fish: (not fish.is_renamed, -fish.moved, fish.number))
    return Recheck(table, tuple(found), len(last), slightly, editions)


class _Judged:
    """The looks of one edition, as they were written down and as they are judged now."""

    def __init__(self, table: TraitTable, old: TraitTable | None, looks: Sequence[Any]):
        self.looks, past = looks, [look.answers for look in looks]
        priors = [look.prior or {} for look in looks]
        seen = {*table.ids, *(old.ids if old else ()), *(name for look in looks for name in look.names)}
        names = [*sorted(seen - {NONE}), NONE]
        then, (now, unread) = _written(looks, names), _shares(table, past, priors, names)
        again, before = (None, [[]] * len(looks)) if old is None else _shares(old, past, priors, names)
        self.unread = [
            tuple(answer for answer in after if answer not in could_not)
            for after, could_not in zip(unread, before, strict=True)
        ]
        self.moved, self.by_package = _apart(then, now), _apart(then, again)
        self.by_table = _apart(again, now)
        self.then, self.again, self.now = (_best(names, shares) for shares in (then, again, now))
        self.possible = [_possible(names, shares, priors) for shares in (then, now)]
        other = [
            bool(lost) or was.taxon != now.taxon
            for lost, was, now in zip(self.unread, self.then, self.now, strict=True)
        ]
        self.otherwise = (self.moved >= MOVED) | np.array(other, dtype=bool)
        self._causes = None if old is None else Causes(old, table)

    def fish(self, i: int, given: Mapping[int, Any], gone: Mapping[int, Any]) -> Rechecked:
        """Return one of them, with the name that it was given and what became of it, by number."""
        look, (was, now) = self.looks[i], (possible[i] for possible in self.possible)
        gained, lost = tuple(n for n in now if n not in was), tuple(n for n in was if n not in now)
        concerned = tuple(dict.fromkeys((self.then[i].taxon, self.now[i].taxon, *gained, *lost)))
        causes = self._causes.of(look.answers, concerned, young=bool(look.young)) if self._causes else ()
        naming, event = given.get(look.number), gone.get(look.number)
        return Rechecked(
            number=look.number,
            tag=look.tag,
            label=look.label or "",
            at=look.at,
            edition=look.edition_id,
            package=look.package,
            then=self.then[i],
            again=self.again[i] if self.again else None,
            now=self.now[i],
            moved=float(self.moved[i]),
            by_package=float(self.by_package[i]),
            by_table=float(self.by_table[i]),
            gained=gained,
            lost=lost,
            causes=causes,
            unread=self.unread[i],
            name=naming.name if naming else "",
            ground=naming.ground if naming else "",
            gone=event.what if event else "",
            to=event.detail if event else "",
        )


def _written(looks: Sequence[Any], names: Sequence[str]) -> np.ndarray:
    """Return the probabilities written down, (n_looks, n_names); rows sum to 1 or a little less."""
    at = {name: i for i, name in enumerate(names)}
    found = np.zeros((len(looks), len(names)))
    for i, look in enumerate(looks):
        found[i, [at[name] for name in look.names]] = [*look.names.values()]
    return found


def _shares(
    table: TraitTable,
    past: Sequence[Mapping[str, Any]],
    priors: Sequence[Mapping[str, Any]],
    names: Sequence[str],
) -> tuple[np.ndarray, list[list[str]]]:
    """Return the posterior of each look by a table, (n_looks, n_names), and answers that it can't take."""
    coded, unread = code_past(table, past)
    texts = [json.dumps(prior, sort_keys=True) for prior in priors]
    of, rows = np.unique(texts, return_inverse=True)
    first = dict(zip(texts, priors, strict=True))
    prior = np.stack([_prior(table, first[str(text)]) for text in of])[rows]
    at = {name: i for i, name in enumerate(names)}
    found = np.zeros((coded.n, len(names)))
    found[:, [at[name] for name in (*table.ids, NONE)]] = posterior(model_of(table), coded, prior)
    return found, unread


def _prior(table: TraitTable, prior: Mapping[str, Any]) -> np.ndarray:
    """Return the prior that a look had; names that the table does not have any more are left out of it."""
    said, none = prior.get("prior"), prior.get("none_prior", NONE_PRIOR)
    try:
        return prior_vector(table, said, none)
    except IdkeyError:
        pass
    known = [name for name in said or () if table.names.match(name)]
    kept = {name: said[name] for name in known} if isinstance(said, Mapping) else known
    return prior_vector(table, kept or "commonness", none)


def _apart(a: np.ndarray | None, b: np.ndarray | None) -> np.ndarray:
    """Total variation distance of the rows, (n,), names not written down in `a` as one; NaN without one."""
    if a is None or b is None:
        return np.full(len(b if a is None else a), np.nan)
    written = np.where(a > 0, np.abs(a - b), 0.0).sum(axis=1)
    return (written + np.abs(1 - a.sum(axis=1) - np.where(a > 0, 0.0, b).sum(axis=1))) / 2


def _possible(
    names: Sequence[str], shares: np.ndarray, priors: Sequence[Mapping[str, Any]]
) -> list[tuple[str, ...]]:
    """Return the names that hold the coverage of each look, likeliest first."""
    coverage = np.array([[float(prior.get("coverage", COVERAGE))] for prior in priors])
    # What was too unlikely to be written down is missing from the sum.
    shares = shares / np.maximum(shares.sum(axis=1, keepdims=True), 1e-300)
    order, called = _order(names, shares), np.array(names)
    keep = candidate_set(np.take_along_axis(shares, order, axis=1), coverage)
    return [tuple(called[ranked[kept]].tolist()) for ranked, kept in zip(order, keep, strict=True)]


def _order(names: Sequence[str], shares: np.ndarray) -> np.ndarray:
    """Positions of the names, likeliest first; equals go by name, since only shares were written down.

    Equal is what is so to 14 digits: the last bits depend on which fish are judged together, and must not
    look like a change of the table.
    """
    by_name = np.broadcast_to(np.argsort(np.argsort(np.array(names))), shares.shape)
    return np.lexsort((by_name, -shares.round(_TIE_DIGITS)), axis=1)


def _best(names: Sequence[str], shares: np.ndarray | None) -> list[Named]:
    if shares is None:
        return []
    at = _order(names, shares)[:, 0]
    return [Named(names[j], float(shares[i, j])) for i, j in enumerate(at)]
