"""How long a drawing takes and how large it is: run by hand, ``python tests/benchmarks/drawings.py``.

Cold means that the art is read and no drawing is kept from before. No time is asserted anywhere.
"""

from __future__ import annotations

from time import perf_counter

import numpy as np

from idkey import load_table
from idkey.views import fish, sheet


def main() -> None:
    """Print the figures."""
    table = load_table()
    states = [(trait, state) for trait, states in fish.STATES.items() for state in states]
    pairs = list(zip(table.ids, table.ids[1:], strict=False))
    tasks = {
        "state icon": [lambda s=s: fish.state_svg(*s) for s in states],
        "sheet of a kind": [lambda i=i: sheet.taxon_svg(table, i) for i in table.ids],
        "two on one scale": [lambda p=p: sheet.scale_svg(table, p) for p in pairs],
    }
    for name, drawings in tasks.items():
        seconds, sizes = [], []
        for draw in drawings:
            fish._shapes.cache_clear()
            start = perf_counter()
            sizes.append(len(draw().encode()))
            seconds.append(1e3 * (perf_counter() - start))
        print(
            f"{name:17} cold: median {np.median(seconds):6.1f} ms, slowest {max(seconds):6.1f} ms; "
            f"bytes: median {np.median(sizes):7.0f}, largest {max(sizes):7d}   ({len(drawings)} drawings)"
        )


if __name__ == "__main__":
    main()
