"""The errors of the package and the wording of every message.

A message says, on one line: where (file, row, column), the value that was found, and what would be right.
"""

from __future__ import annotations

import difflib
import errno
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_MOST_SHOWN = 40
_MOST_LISTED = 20
NO_RIGHT = (errno.EACCES, errno.EPERM, errno.EROFS)
_REFUSALS = {
    **dict.fromkeys((errno.ENOSPC, errno.EDQUOT), "no room is left on the disk"),
    **dict.fromkeys(NO_RIGHT, "there is no right to read or write here, or another program holds it open"),
    **dict.fromkeys((errno.ENOTDIR, errno.EEXIST), "is no folder"),
}


class IdkeyError(ValueError):
    """Base of every error that this package raises on purpose."""


class AnswerError(IdkeyError):
    """An answer that the table cannot take: unknown trait, unknown state, or a value that is no length."""


class UnknownName(IdkeyError):  # noqa: N818 - reads as the sentence it is
    """A taxon, trait or source that is not in the table, or a name that several kinds go by."""


class TableWarning(UserWarning):
    """A cell of a table that says something else than the claims behind it."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in one place of a table: the value found, what is wrong, and what would be right.

    `file` is the name of a file, or of a table that came from memory; `row` as a spreadsheet shows it (the
    header is row 1), with the id where there is one; `column` is blank when the whole row is meant.
    """

    file: str
    row: str
    column: str
    value: str
    right: str

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, self.row and f"row {self.row}", self.column) if part)
        # A name from a file may hold a line break; a problem stays on one line.
        return " ".join(f"{place}: {self.value!r}: {self.right}".splitlines())


class TableError(IdkeyError):
    """A table that cannot be used; its `problems` are all that were found, not only the first."""

    def __init__(self, problems: Iterable[Problem], undone: str = "loaded"):
        self.problems = tuple(problems)
        lines = [str(p) for p in self.problems[:_MOST_SHOWN]]
        if len(self.problems) > _MOST_SHOWN:
            lines.append(f"... and {len(self.problems) - _MOST_SHOWN} more")
        count = "1 problem" if len(self.problems) == 1 else f"{len(self.problems)} problems"
        super().__init__("\n".join([f"{count} in the table; nothing was {undone}", *lines]))


def one_of(value: object, allowed: Sequence[str], what: str = "one of") -> str:
    """Say which values are allowed, with the nearest spelling where one is near.

    >>> one_of("fork", ["straight", "concave", "forked"], "a state of tail_fork")
    "use a state of tail_fork (straight, concave, forked); did you mean 'forked'?"
    """
    near = difflib.get_close_matches(str(value), allowed, n=1, cutoff=0.6)
    most = len(allowed) if len(allowed) <= _MOST_LISTED else 3
    shown = ", ".join(allowed[:most])
    if most < len(allowed):
        shown += f" and {len(allowed) - most} more"
    hint = f"; did you mean {near[0]!r}?" if near else ""
    return f"use {what} ({shown}){hint}"


def refusal(error: Exception) -> str:
    """Say in words what the system did not allow."""
    said = getattr(error, "strerror", None) or str(error)
    return _REFUSALS.get(getattr(error, "errno", None), said)
