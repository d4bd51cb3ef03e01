"""What the quarterly report of a network of many wells takes: from the record to all its files.

The network is invented (`tests.large_network`): three aquifers, two basins, clusters, quarterly rounds of manual
readings. The report is made as a user does, by ``gwnet report``, with a process a core for the figures.

Run: ``python tests/bench/bench_large_report.py [WELLS [ROUNDS [UNIT]]]``, 640 wells, 20 rounds and m unless given. Prints
wall clock and CPU seconds, load of the machine, the greatest memory of all its processes together (resident, pages that
they share counted once in each; and proportional, those counted once in all), and what was made.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

#: How often the memory of the processes is looked at [s].
EVERY_S = 0.25


def make_record(folder: Path, wells: int, rounds: int, unit: str) -> Path:
    """Load the tables of an invented network; return its database."""
    from gwnet.network import Network, init
    from tests.large_network import write_network

    write_network(folder / "tables", wells, unit=unit, rounds=rounds)
    path = folder / "network.sqlite"
    init(path)
    with Network(path) as network:
        if network.load([folder / "tables"], by="A. Keeper").rejections:
            raise SystemExit("The tables of the network were not loaded.")
    return path


def processes_of(number: int) -> list[int]:
    """Return a process and all that it started; those that have ended are left out."""
    found = [number]
    try:
        for task in Path(f"/proc/{number}/task").iterdir():
            started = (task / "children").read_text()
            found += [one for child in started.split() for one in processes_of(int(child))]
    except OSError:
        pass
    return found


def memory_mib(number: int) -> tuple[float, float]:
    """Return resident and proportional memory of a process and all that it started; zeros where nothing tells it."""
    sums = {"Rss:": 0.0, "Pss:": 0.0}
    for one in processes_of(number):
        try:
            lines = Path(f"/proc/{one}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue
        for line in lines:
            name, *rest = line.split()
            if name in sums:
                sums[name] += float(rest[0]) / 1024
    return sums["Rss:"], sums["Pss:"]


def main(wells: int = 640, rounds: int = 20, unit: str = "m") -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        start = time.perf_counter()
        path = make_record(folder, wells, rounds, unit)
        print(f"record of {wells} wells and {rounds} rounds in {unit}: {time.perf_counter() - start:.1f} s to make")
        out = folder / "out"
        command = [sys.executable, "-m", "gwnet", "report", "quarterly", "--period", "2025-Q4"]
        environment = {**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])}
        before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        made = subprocess.Popen(
            [*command, "--db", str(path), "--out", str(out)], stdout=subprocess.DEVNULL, env=environment
        )
        resident = proportional = 0.0
        while made.poll() is None:
            now = memory_mib(made.pid)
            resident, proportional = max(resident, now[0]), max(proportional, now[1])
            time.sleep(EVERY_S)
        took, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
        if made.returncode:
            raise SystemExit(f"The report ended with {made.returncode}.")
        cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        load = ", ".join(f"{part:.1f}" for part in os.getloadavg())
        files = list(out.iterdir())
        (pdf,) = out.glob("*.pdf")
        size = sum(file.stat().st_size for file in files) / 1e6
        print(f"quarterly: {took:.1f} s, {cpu:.1f} s of CPU; {os.cpu_count()} cores, load {load}")
        print(f"peak memory of all its processes: {resident:.0f} MiB resident, {proportional:.0f} MiB proportional")
        print(f"{_pages(pdf)} pages, {len(files)} files of {size:.1f} MB")


def _pages(pdf: Path) -> int:
    from pypdf import PdfReader

    return len(PdfReader(pdf).pages)


if __name__ == "__main__":
    texts = sys.argv[1:]
    main(*(int(text) for text in texts[:2]), *texts[2:3])
