"""The compare screen: two or three kinds chosen from lists, side by side below."""

from __future__ import annotations

from typing import Any

import ipywidgets as w

from idkey.errors import IdkeyError
from idkey.model.compare import Comparison, compare, lookalikes
from idkey.table.files import load_table
from idkey.table.table import TraitTable
from idkey.views.compare import compare_html, compare_text
from idkey.widgets.base import Screen, guarded, style_element

__all__ = ["CompareScreen", "compare_view"]

_NO_THIRD = ""
# JupyterLab takes arrow keys and letters on a closed list for commands of its own.
_KEYS = '<span class="idk-soft">By keyboard: Alt and the down arrow open a list; then type a name.</span>'


def compare_view(
    table: TraitTable | None = None, a: str | None = None, b: str | None = None
) -> CompareScreen:
    """Open the compare screen in a notebook.

    Parameters
    ----------
    table : TraitTable, optional
        By default the shipped table.
    a, b : str, optional
        Taxon ids to start with; by default the first kind of the table and the kind most like it.

    Returns
    -------
    CompareScreen
        Put it last in a cell. Its `comparison` holds what is shown.

    Raises
    ------
    UnknownName
        An id that is not in the table.
    IdkeyError
        The same kind twice, or a table of one kind.
    """
    return CompareScreen(load_table() if table is None else table, a, b)


class CompareScreen(Screen):
    """Two or three kinds side by side; see `compare_view`.

    Attributes
    ----------
    table : TraitTable
    comparison : Comparison
        What is shown; usable from the next cell.
    """

    comparison: Comparison

    def __init__(self, table: TraitTable, a: str | None = None, b: str | None = None):
        self.table = table
        if b is None:
            a, b = lookalikes(table).nearest(a if a is not None else table.ids[0])
        elif a is None:
            b, a = lookalikes(table).nearest(b)
        self.comparison = compare(table, a, b)
        kinds = sorted(_unique(table).items(), key=lambda pair: pair[0].casefold())
        self._a = self._dropdown("First kind", kinds, a)
        self._b = self._dropdown("Second kind", kinds, b)
        self._c = self._dropdown("Third kind", [("none", _NO_THIRD), *kinds], _NO_THIRD)
        self._young = w.Checkbox(
            value=False, description="It is a young fish", indent=False, layout=w.Layout(width="auto")
        )
        self._result = w.HTML()
        super().__init__()
        for control in (self._a, self._b, self._c, self._young):
            control.observe(self._on_choice, names="value")
        row = w.Layout(flex_flow="row wrap", align_items="center")
        chosen = w.HBox([self._a, self._b, self._c, self._young], layout=row)
        self.children = [style_element(), chosen, w.HTML(_KEYS), self._alert, self._result]
        self._show()

    @staticmethod
    def _dropdown(description: str, options: list[tuple[str, str]], value: str) -> w.Dropdown:
        return w.Dropdown(
            options=options,
            value=value,
            description=description,
            style={"description_width": "initial"},
            layout=w.Layout(width="330px", margin="0 14px 6px 0"),
        )

    @guarded
    def _on_choice(self, _change: Any) -> None:
        chosen = [self._a.value, self._b.value, *filter(None, [self._c.value])]
        if len(set(chosen)) < len(chosen):
            # What stands below would no longer be what is chosen above.
            self._result.value = ""
            msg = "The same kind is chosen twice: choose different kinds."
            raise IdkeyError(msg)
        self.comparison = compare(self.table, *chosen)
        self._show()

    def _show(self) -> None:
        self._result.value = self._static_html()

    def _static_html(self) -> str:
        return compare_html(self.comparison, young=self._young.value)

    def _static_text(self) -> str:
        return compare_text(self.comparison)


def _unique(table: TraitTable) -> dict[str, str]:
    """Return a label for each kind, all different, to its id."""
    labels = [table.label(taxon) for taxon in table.ids]
    return {
        label if labels.count(label) == 1 else f"{label} [{taxon}]": taxon
        for label, taxon in zip(labels, table.ids, strict=True)
    }
