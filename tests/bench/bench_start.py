"""How long ``gwnet wells`` takes on the wells of the demo beside a process that only imports the libraries that it uses.

Run: ``python tests/bench/bench_start.py [ROUNDS]``. Each round runs every process once, in turn; prints medians of the
seconds by the clock and of the processor, and the ratios of one run. ``gwnet --help`` stands beside ``import click``.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from gwnet.network import Network, init

#: Libraries of others that ``gwnet wells`` imports.
LIBRARIES = "import click, pandas, sqlalchemy.orm, sqlalchemy.dialects.sqlite"


def timed(arguments: list[str], folder: str) -> tuple[float, float]:
    """Return the seconds by the clock and of the processor that one process takes."""
    # compiled modules are kept, as in an installed program
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, *arguments], cwd=folder, env=environment, check=True, capture_output=True)
    clock, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return clock, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(rounds: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        init(Path(folder) / "record.sqlite")
        tables = Path(__file__).parents[2] / "demo_network"
        with Network(Path(folder) / "record.sqlite") as network:
            network.load([tables / f"{name}.csv" for name in ("sites", "aquifers", "wells")], by="bench")
        runs = {
            "libraries alone": ["-c", LIBRARIES],
            "gwnet wells": ["-m", "gwnet", "wells", "--db", "record.sqlite"],
            "import click": ["-c", "import click"],
            "gwnet --help": ["-m", "gwnet", "--help"],
        }
        for arguments in runs.values():
            timed(arguments, folder)
        seconds = {name: [] for name in runs}
        for _ in range(rounds):
            for name, arguments in runs.items():
                seconds[name].append(timed(arguments, folder))
    for barest, name in (("libraries alone", "gwnet wells"), ("import click", "gwnet --help")):
        values = {run: tuple(median(part) for part in zip(*seconds[run], strict=True)) for run in (barest, name)}
        for run, (clock, processor) in values.items():
            by_clock, by_processor = (
                value / least for value, least in zip((clock, processor), values[barest], strict=True)
            )
            print(
                f"{run:16s} {clock:6.2f} s {processor:6.2f} s of the processor; {by_clock:5.2f} x and {by_processor:5.2f} x"
                f" {barest}"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 9)
