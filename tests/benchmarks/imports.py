"""How long `import idkey` takes, as a ratio to `import pandas`, both in fresh processes, by turns."""

from __future__ import annotations

import statistics
import subprocess
import sys

_ROUNDS = 9
_TIMED = "import time; t = time.perf_counter(); {}; print(time.perf_counter() - t)"
_CODE = {
    "import pandas": "import pandas",
    "import idkey": "import idkey",
    "import idkey; idkey.load_table()": "import idkey; idkey.load_table()",
    "import all of it but the widgets": "import idkey.views.registry, idkey.model.match",
}


def seconds(code: str) -> float:
    """Return how long a line of code takes in a process of its own."""
    return float(subprocess.check_output([sys.executable, "-c", _TIMED.format(code)], text=True))


def main() -> None:
    times: dict[str, list[float]] = {name: [] for name in _CODE}
    for _ in range(_ROUNDS):
        for name, code in _CODE.items():
            times[name].append(seconds(code))
    pandas = statistics.median(times["import pandas"])
    for name, taken in times.items():
        print(f"{name:36} {statistics.median(taken):6.3f} s   {statistics.median(taken) / pandas:5.2f} times")


if __name__ == "__main__":
    main()
