"""The compare screen: two or three kinds chosen from lists, side by side below."""

from __future__ import annotations

from typing import Any

import ipywidgets as w

from idkey import display
from idkey.arguments import checked
from idkey.errors import IdkeyError
from idkey.model.compare import compare
from idkey.model.lookalikes import lookalikes
from idkey.table.folder import load_table
from idkey.table.names import one
from idkey.table.table import TraitTable
from idkey.widgets.base import Screen, checkbox, dropdown, row, style_element, told_apart

# JupyterLab takes arrow keys and letters on a closed list for commands of its own.
_KEYS = '<span class="idk-soft">By keyboard: Alt and the down arrow open a list; then type a name.</span>'


@checked
def compare_view(
    table: TraitTable | None = None, a: str | None = None, b: str | None = None
) -> CompareScreen:
    """Open the compare screen in a notebook; put it last in a cell. Its `comparison` holds what is shown.

    Parameters
    ----------
    table : TraitTable, optional
        By default the shipped table.
    a, b : str, optional
        Kinds to start with, by id, trade code or name; by default the first kind of the table and the kind
        most like it. Raises UnknownName, and IdkeyError for the same kind twice and for a table of one kind.
    """
    return CompareScreen(load_table() if table is None else table, a, b)


class CompareScreen(Screen):
    """Two or three kinds side by side; see `compare_view`."""

    def __init__(self, table: TraitTable, a: str | None = None, b: str | None = None):
        self.table = table
        a, b = (kind if kind is None else one(table, kind) for kind in (a, b))
        if b is None:
            a, b = lookalikes(table).nearest(a if a is not None else table.ids[0])
        elif a is None:
            b, a = lookalikes(table).nearest(b)
        self.comparison = compare(table, a, b)
        kinds = told_apart((table.label(taxon), taxon) for taxon in table.ids)
        self._a, self._b, self._c = (
            self.watch(dropdown(words, options, value, width="330px"), self._choose)
            for words, options, value in (
                ("First kind", kinds, a),
                ("Second kind", kinds, b),
                ("Third kind", [("none", ""), *kinds], ""),
            )
        )
        self._young = self.watch(checkbox("It is a young fish"), self._choose)
        self._result = w.HTML()
        super().__init__()
        chosen = row(self._a, self._b, self._c, self._young, name="idk-tools")
        self.children = [style_element(), chosen, w.HTML(_KEYS), self._alert, self._result]
        self._result.value = self._static_html()

    def _choose(self, _value: Any) -> None:
        chosen = [self._a.value, self._b.value, *filter(None, [self._c.value])]
        if len(set(chosen)) < len(chosen):
            # What stands below would no longer be what is chosen above.
            self._result.value = ""
            raise IdkeyError("The same kind is chosen twice: choose different kinds.")
        self.comparison = compare(self.table, *chosen)
        self._result.value = self._static_html()

    def _static_html(self) -> str:
        return display.html(self.comparison, young=self._young.value)

    def _static_text(self) -> str:
        return display.text(self.comparison)
