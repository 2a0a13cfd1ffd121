"""How long a drawing takes and how large it is: run by hand, ``python tests/benchmarks/drawings.py``.

Cold means that no drawing is kept from before. No time is asserted anywhere.
"""

from time import perf_counter

import numpy as np

from idkey import load_table
from idkey.views import fish, sheet


def main() -> None:
    table = load_table()
    states = [(trait, state) for trait, states in fish.STATES.items() for state in states]
    tasks = {
        "state icon": [lambda s=s: fish.state_svg(*s) for s in states],
        "sheet of a kind": [lambda i=i: sheet.taxon_svg(table, i) for i in table.ids],
        "two on one scale": [lambda k=k: sheet.scale_svg(table, table.ids[k : k + 2]) for k in range(80)],
    }
    for name, drawings in tasks.items():
        spent, sizes = [], []
        for draw in drawings:
            fish._shapes.cache_clear()
            start = perf_counter()
            sizes.append(len(draw().encode()))
            spent.append(1e3 * (perf_counter() - start))
        times = f"median {np.median(spent):.1f} ms, slowest {max(spent):.1f} ms"
        print(f"{name}, cold: {times}; bytes: median {np.median(sizes):.0f}, largest {max(sizes)}")


if __name__ == "__main__":
    main()
