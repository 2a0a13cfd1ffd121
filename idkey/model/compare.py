"""Kinds side by side: what tells them apart, best first, and the best few looks together.

A contrast is *shared* where the cells of all kinds read the same, for adults and for young; *unknown* where
the cell of one of them is blank; otherwise it *differs*, strongest first, however little it tells. The three
best looks are those that together leave the smallest chance of a mix-up, of the `TRIED` strongest differing
traits that tell at all (`HARDLY`), never two of one group and never what the seller says.
`idkey.model.distinguish` has the arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from idkey.arguments import checked
from idkey.display import Printed
from idkey.errors import IdkeyError
from idkey.model.distinguish import HARDLY, HEARSAY, Distinguisher, distinguisher
from idkey.table.names import every
from idkey.table.schema import Trait
from idkey.table.table import TraitTable

TRIED = 8
"""Differing traits of which the best looks are chosen."""
LOOKS = 3


@dataclass(frozen=True, slots=True)
class Contrast:
    """One trait of the kinds compared.

    Attributes
    ----------
    cells : tuple of str
        What the table has for each kind, in words; "not known", "does not apply".
    right : float
        Chance that one look at an adult gives the right kind, all being equally likely: ``1/k`` is a guess.
    right_young : float or None
        The same for a young fish; None where a young fish does not show it.
    kind : {"differs", "shared", "unknown"}
    hearsay : bool
        It is what the seller says, not a look at the fish.
    """

    trait: Trait
    cells: tuple[str, ...]
    right: float
    right_young: float | None
    kind: str
    hearsay: bool = False


@checked
@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Printed):
    """Two or more kinds side by side; see `compare`.

    Attributes
    ----------
    taxa, labels : tuple of str
        Taxon ids in the order given, and their names.
    differ, shared, unknown : tuple of Contrast
        `differ` strongest first, the others in the order of the table.
    looks, looks_young : tuple of Trait
        Up to three looks that together tell best, best first, for adults and for young fish; one that could
        never overturn the others is left out.
    mix_up, mix_up_young : float
        Chance that the fish is named wrongly after those looks.
    """

    table: TraitTable
    taxa: tuple[str, ...]
    labels: tuple[str, ...]
    differ: tuple[Contrast, ...]
    shared: tuple[Contrast, ...]
    unknown: tuple[Contrast, ...]
    looks: tuple[Trait, ...]
    looks_young: tuple[Trait, ...]
    mix_up: float
    mix_up_young: float

    @property
    def contrasts(self) -> tuple[Contrast, ...]:
        """All of them: differing, shared, unknown."""
        return self.differ + self.shared + self.unknown


@checked
def compare(table: TraitTable, a: str, b: str, *more: str) -> Comparison:
    """Put two or more kinds side by side.

    They are given by id, trade code or name; a code that means several kinds gives all of them, and a
    repeated kind counts once. Raises UnknownName, and IdkeyError for fewer than two different kinds.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"], "spots": ["w", "w"]})
    >>> found = compare(TraitTable.from_frame(frame, taxon="kind"), "a", "b")
    >>> [c.trait.id for c in found.differ], [c.trait.id for c in found.shared], round(found.mix_up, 3)
    (['tail'], ['spots'], 0.025)
    """
    taxa = every(table, (a, b, *more))
    at = [table.position(taxon) for taxon in taxa]
    if len(taxa) < 2:
        raise IdkeyError(f"{a!r} is given twice: give two different kinds to compare")
    tell, found = distinguisher(table), contrasts(table, taxa)
    differ, shared, unknown = (
        tuple(c for c in found if c.kind == kind) for kind in ("differs", "shared", "unknown")
    )
    looks, mix_up = _best_looks(tell, differ, at, "adult")
    looks_young, mix_up_young = _best_looks(tell, differ, at, "young")
    return Comparison(
        table=table,
        taxa=taxa,
        labels=tuple(table.label(taxon) for taxon in taxa),
        differ=differ,
        shared=shared,
        unknown=unknown,
        looks=looks,
        looks_young=looks_young,
        mix_up=mix_up,
        mix_up_young=mix_up_young,
    )


def contrasts(table: TraitTable, taxa: Sequence[str]) -> list[Contrast]:
    """Return every trait of kinds: differing ones, strongest first, then the others as in the table."""
    tell, at = distinguisher(table), [table.position(taxon) for taxon in taxa]
    found = [_contrast(tell, trait, taxa, at) for trait in table.traits]
    return sorted(found, key=_strength)


def _strength(c: Contrast) -> tuple[float, float]:
    return (-round(c.right, 12), -round(c.right_young or 0.0, 12)) if c.kind == "differs" else (0.0, 0.0)


def _tells(right: float, k: int) -> bool:
    """Whether a look that is right this often is more than hardly better than a guess among k kinds."""
    return right - 1 / k >= HARDLY * (1 - 1 / k) - 1e-12


def _contrast(tell: Distinguisher, trait: Trait, taxa: Sequence[str], at: list[int]) -> Contrast:
    table = tell.table
    cells = [(table.cell(t, trait.id), table.young_cell(t, trait.id)) for t in taxa]
    right = 1 - tell.mix_up([trait.id], at)
    shows_young = bool(tell.known(trait.id, "young")[at].all())
    right_young = 1 - tell.mix_up([trait.id], at, "young") if shows_young else None
    if any(adult is None for adult, _ in cells):
        kind = "unknown"
    else:
        kind = "shared" if all(cell == cells[0] for cell in cells) else "differs"
    words = tuple(table.words(taxon, trait.id) for taxon in taxa)
    return Contrast(trait, words, right, right_young, kind, trait.id in HEARSAY)


def _best_looks(
    tell: Distinguisher, differ: Sequence[Contrast], at: list[int], stage: str
) -> tuple[tuple[Trait, ...], float]:
    """Return the looks that together leave the smallest chance of a mix-up, and that chance."""
    worth = {c.trait.id: c.right_young if stage == "young" else c.right for c in differ if not c.hearsay}
    ranked = sorted(
        (t for t, right in worth.items() if right is not None and _tells(right, len(at))),
        key=lambda t: -round(worth[t], 12),
    )[:TRIED]
    best: tuple[str, ...] = ()
    least = (tell.mix_up([], at), 0.0)
    for size in range(1, LOOKS + 1):
        for chosen in combinations(ranked, size):
            groups = {tell.group(t, at, stage) for t in chosen}
            if len(groups) == size:
                trouble = sum(tell.table.trait(t).effort for t in chosen)
                # Of looks that leave the same chance, those that are least trouble.
                found = (round(tell.mix_up(chosen, at, stage), 12), trouble)
                if found < least:
                    best, least = chosen, found
    return tuple(tell.table.trait(t) for t in best), least[0]
