"""A letter to who sold a box: what was seen of its fish, beside what the table says of the names given."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from idkey.book.box import BoxCheck
from idkey.display import Printed


@dataclass(frozen=True, eq=False, repr=False)
class Letter(Printed):
    """A letter about a box; it states what was seen and accuses no one.

    Attributes
    ----------
    check : BoxCheck
        The box held against its labels.
    seller, invoice, sender : str
        As they are to stand in the letter; blank ones are left out.
    day : date, optional
        When the box came.
    pictures : mapping of str to tuple of str
        Names of the pictures to enclose, by number of the bag.
    """

    check: BoxCheck
    seller: str = ""
    day: date | None = None
    invoice: str = ""
    sender: str = ""
    pictures: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
