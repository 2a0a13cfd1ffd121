"""The compare screen: two or three kinds chosen from lists, side by side below."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import ipywidgets as w

from idkey import display
from idkey.arguments import checked
from idkey.errors import IdkeyError
from idkey.model.compare import Comparison, compare
from idkey.model.lookalikes import lookalikes
from idkey.table.names import one
from idkey.table.own import own_table
from idkey.table.table import TraitTable
from idkey.widgets.base import Part, Screen, checkbox, dropdown, row, told_apart


@checked
def compare_view(
    table: TraitTable | None = None, a: str | None = None, b: str | None = None
) -> CompareScreen:
    """Open the compare screen in a notebook; put it last in a cell. Its `comparison` holds what is shown.

    Parameters
    ----------
    table : TraitTable, optional
        By default the one named with `idkey.use_table`, else the shipped one.
    a, b : str, optional
        Kinds to start with, by id, trade code or name; by default the first kind of the table and the kind
        most like it. Raises UnknownName, and IdkeyError for the same kind twice and for a table of one kind.
    """
    return CompareScreen(own_table() if table is None else table, a, b)


class Beside(Part):
    """Two or three kinds chosen from lists, side by side below; `comparison` is None until there are two."""

    def __init__(self, say: Callable[[str], None], table: TraitTable):
        super().__init__(say)
        self.table = table
        self.comparison: Comparison | None = None
        self._taken: tuple[Any, ...] = ()
        kinds = told_apart((table.label(taxon), taxon) for taxon in table.ids)
        self._a, self._b, self._c = (
            self.watch(dropdown(words, options, width="330px"), self._choose)
            for words, options in (
                ("First kind", kinds),
                ("Second kind", kinds),
                ("Third kind", [("none", ""), *kinds]),
            )
        )
        self._young = self.watch(checkbox("It is a young fish"), self._choose)
        self._result = w.HTML()
        chosen = row(self._a, self._b, self._c, self._young, name="idk-tools")
        self.children = [chosen, self._result]

    def take(self, a: str, b: str, *, young: bool = False) -> None:
        """Show two kinds; what the person chose instead stays until other two are given."""
        if (a, b, young) != self._taken:
            self._taken = a, b, young
            with self.filling():
                self._a.value, self._b.value, self._c.value, self._young.value = a, b, "", young
            self._show(a, b)

    def _choose(self, _value: Any) -> None:
        # What stands below would no longer be what is chosen above.
        self.comparison, self._result.value = None, ""
        chosen = [self._a.value, self._b.value, *filter(None, [self._c.value])]
        if len(set(chosen)) < len(chosen):
            raise IdkeyError("The same kind is chosen twice: choose different kinds.")
        self._show(*chosen)

    def _show(self, *taxa: str) -> None:
        self.comparison = compare(self.table, *taxa)
        self._result.value = display.html(self.comparison, young=self.young)

    @property
    def young(self) -> bool:
        """Whether they are shown as young fish."""
        return self._young.value


class CompareScreen(Screen):
    """Two or three kinds side by side; see `compare_view`."""

    def __init__(self, table: TraitTable, a: str | None = None, b: str | None = None):
        a, b = (kind if kind is None else one(table, kind) for kind in (a, b))
        if b is None:
            a, b = lookalikes(table).nearest(a if a is not None else table.ids[0])
        elif a is None:
            b, a = lookalikes(table).nearest(b)
        super().__init__()
        self.table = table
        self.beside = Beside(self.say, table)
        self.beside.take(a, b)
        self.children = [self._top, self._alert, self.beside]

    @property
    def comparison(self) -> Comparison | None:
        """What is shown; None while the same kind is chosen twice."""
        return self.beside.comparison

    def _things(self) -> list[Any]:
        return [self.comparison] if self.comparison else []

    def _static_html(self) -> str:
        return display.html(self.comparison, young=self.beside.young) if self.comparison else ""
