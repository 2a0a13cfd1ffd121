"""How long a drawing takes and how large it is: run by hand, ``python tests/benchmarks/drawings.py``.

Cold means that no drawing is kept from before; the first drawing of a process pays for loading matplotlib
besides, and is measured in processes of its own. No time is asserted anywhere.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterable
from time import perf_counter

import numpy as np

from idkey import load_table
from idkey.views import draw, draw_taxon
from idkey.views.draw_look import STATES

FIRST = """
from time import perf_counter
import idkey
table = idkey.load_table()
start = perf_counter()
from idkey.views.draw_taxon import taxon_svg
taxon_svg(table, table.ids[0])
print(perf_counter() - start)
"""
PROCESSES = 5


def timed(tasks: Iterable[Callable[[], str]]) -> tuple[np.ndarray, np.ndarray]:
    """Milliseconds and bytes of each drawing, cold."""
    seconds, sizes = [], []
    for task in tasks:
        draw._state_shapes.cache_clear()
        draw._fish_shapes.cache_clear()
        draw_taxon._drawn.cache_clear()
        start = perf_counter()
        svg = task()
        seconds.append(perf_counter() - start)
        sizes.append(len(svg.encode()))
    return 1e3 * np.array(seconds), np.array(sizes)


def main() -> None:
    """Print the figures."""
    table = load_table()
    draw.state_svg("pattern", "bars")
    kinds = {
        "state icon": [lambda t=t, s=s: draw.state_svg(t, s) for t, states in STATES.items() for s in states],
        "one view": [
            lambda i=i, v=v: draw.fish_svg(draw_taxon.look_of(table, i), v, i)
            for i in table.ids[::4]
            for v in draw.VIEWS
        ],
        "sheet of a kind": [lambda i=i: draw_taxon.taxon_svg(table, i) for i in table.ids],
        "two on one scale": [
            lambda a=a, b=b: draw_taxon.scale_svg(table, (a, b))
            for a, b in zip(table.ids, table.ids[1:], strict=False)
        ],
    }
    for name, tasks in kinds.items():
        ms, size = timed(tasks)
        print(
            f"{name:17} cold: median {np.median(ms):6.1f} ms, slowest {ms.max():6.1f} ms; "
            f"bytes: median {np.median(size):7.0f}, largest {size.max():7d}   ({len(tasks)} drawings)"
        )
    first = [
        float(subprocess.run([sys.executable, "-c", FIRST], capture_output=True, check=True).stdout)
        for _ in range(PROCESSES)
    ]
    print(f"first sheet of a process, matplotlib loaded for it: median {1e3 * np.median(first):.0f} ms")


if __name__ == "__main__":
    main()
