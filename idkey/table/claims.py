"""Claims and sources: where it stands written that a kind has this state, and how far that can be trusted."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from idkey.errors import one_of
from idkey.table.fields import CLASSES, SCOPES
from idkey.table.schema import Cell, NotKnown, Range, States, Trait, parse_cell

__all__ = [
    "CLASSES",
    "SOURCED",
    "UNSOURCED",
    "Claim",
    "Source",
    "claimed_cell",
    "is_covered",
    "is_within",
]

SOURCED = ("read", "secondary")
"""Classes that need a source."""
NOT_FOLLOWED = "Not followed"
"""How the note of a claim begins that the cell does not go by."""
UNSOURCED = "no source given yet"
"""Note of the claim that stands behind a cell until somebody names its source."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where a claim is written: BibTeX key, author and year, the whole reference on one line, and its DOI.

    `entry` is the text in sources.bib, with the comments before it.
    """

    key: str
    short: str
    full: str
    doi: str = ""
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Claim:
    """What one source says of one cell; each part is the column of evidence.csv of that name.

    A blank value stands for what the cell says; a blank class for secondary where a source is named, else for
    memory.
    """

    source: str = ""
    locator: str = ""
    evidence_class: str = ""
    scope: str = "species"
    value: str = ""
    note: str = ""

    def row(self, taxon: str, attribute: str, cell: str, *, care_group: str = "") -> dict[str, str]:
        """Return the claim as a row of evidence.csv; `cell` is the text of the cell it stands behind."""
        given = self.source or self.evidence_class or self.locator or self.value
        return {
            "taxon": taxon,
            "genus": "",
            "care_group": care_group,
            "attribute": attribute,
            "value": self.value or cell,
            "source": self.source or "",
            "locator": self.locator or "",
            "class": self.evidence_class or ("secondary" if self.source else "memory"),
            "scope": self.scope,
            "note": self.note or ("" if given else UNSOURCED),
        }

    def problems(self, sources: Collection[str]) -> Iterator[tuple[str, str]]:
        """Yield each thing that is wrong: the value, and what would be right."""
        if self.evidence_class and self.evidence_class not in CLASSES:
            yield self.evidence_class, one_of(self.evidence_class, CLASSES, "an evidence class")
        if self.scope not in SCOPES:
            yield self.scope, one_of(self.scope, SCOPES, "a scope")
        if self.source and self.source not in sources:
            hint = one_of(self.source, sorted(sources), "the key of a source")
            yield self.source, f"{hint}; a new source is added first, with with_source"
        if not self.source and self.evidence_class in SOURCED:
            yield self.evidence_class, f"class {self.evidence_class} needs the key of a source"


# -- a claim beside its cell ------------------------------------------------------------------------


def claimed_cell(trait: Trait, value: str) -> Cell:
    """Read what a claim says as a cell; None where it is blank or in free words."""
    try:
        claim = parse_cell(trait, value)
    except ValueError:
        return None
    return None if isinstance(claim, NotKnown) else claim


def is_within(trait: Trait, claim: Cell, cell: Cell) -> bool:
    """Whether a cell allows all that a claim says."""
    if isinstance(claim, States) and isinstance(cell, States):
        return set(claim.names) <= set(cell.names)
    if isinstance(claim, Range) and isinstance(cell, Range):
        return claim.high <= cell.high and (trait.kind == "ceiling" or cell.low <= claim.low)
    return type(claim) is type(cell)


def is_covered(trait: Trait | None, cell: Cell, claims: Collection[Cell]) -> bool:
    """Whether claims together say all that a cell says; of a need of care there is no trait."""
    if isinstance(cell, States):
        return set(cell.names) <= {n for claim in claims if isinstance(claim, States) for n in claim.names}
    if not isinstance(cell, Range):
        return any(type(claim) is type(cell) for claim in claims)
    ranges = [claim for claim in claims if isinstance(claim, Range)]
    if not ranges or cell.high > max(claim.high for claim in ranges):
        return False
    return (trait is not None and trait.kind == "ceiling") or min(claim.low for claim in ranges) <= cell.low
