"""Labels for bags and tanks: which fish, and what it is as far as that is settled under a table."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from idkey.display import Printed
from idkey.model.identify import Identification
from idkey.table.table import TraitTable

if TYPE_CHECKING:
    from idkey.book.records import Fish

LOOKED_AT = "looked at"
"""The ground of a name that rests on looks alone; every other ground settles it."""
SETTLED = ("grown out", "bred", "sent to a specialist")
GROUNDS = (LOOKED_AT, *SETTLED)
"""On what a name may rest."""


@dataclass(frozen=True, slots=True)
class Label:
    """What one label is made from: a fish, or a lot of `count`.

    `taxon` is the name that a person gave it on `ground`, `name` the same as then written; both are blank
    where the answers alone speak.
    """

    number: int
    identification: Identification
    taxon: str = ""
    ground: str = ""
    name: str = ""
    probability: float | None = None
    count: int = 1
    tank: str = ""
    tag: str = ""

    @classmethod
    def of(cls, fish: Fish, identification: Identification) -> Label:
        """Return the label of a fish of the book, of which `identification` is the latest look.

        A name given by looks alone no longer counts once somebody looked again.
        """
        naming, look = fish.naming, fish.look
        settled = [naming for naming in fish.namings if naming.ground != LOOKED_AT]
        naming = settled[-1] if settled else naming if naming and naming.at >= look.at else None
        given = (naming.taxon, naming.ground, naming.name, naming.probability) if naming else ()
        label = cls(fish.number, identification, *given)
        return replace(label, count=fish.count, tank=fish.tank, tag=fish.tag)

    @property
    def settled(self) -> bool:
        """Whether the name rests on other grounds than looks."""
        return bool(self.taxon) and self.ground != LOOKED_AT


@dataclass(frozen=True, repr=False)
class Labels(Printed):
    """Labels to print and cut apart; each has a code for a phone that holds the number alone."""

    table: TraitTable
    labels: tuple[Label, ...]
    sheet: str = "A4"

    def save(self, path: str | os.PathLike[str], paper: str = "", *, overwrite: bool = False) -> None:
        """Write the sheets as HTML or PDF, on the paper they were made for; see `Printed.save`."""
        super().save(path, paper or self.sheet, overwrite=overwrite)
