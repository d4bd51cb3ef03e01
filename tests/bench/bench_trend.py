"""How fast trend tests are beside pyMannKendall and SciPy, with the peak of memory; whether their values are the same.

Run: ``python tests/bench/bench_trend.py [small] [COUNT ...]`` (default 120 1000 3650). Prints milliseconds, ratios and
peaks of one run; ``small`` takes few wells. Counts of 10950 need 3 GB for the other libraries' tables of all pairs.
pyMannKendall (MIT licence) must be there.
"""

from __future__ import annotations

import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bench_levels
import numpy as np
import pymannkendall
from scipy import stats

from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.kendall import mann_kendall
from gwnet.hydro.trends.seasonal_kendall import seasonal_kendall
from gwnet.hydro.trends.theil_sen import theil_sen
from gwnet.network import Network
from gwnet.store import revision
from gwnet.store.session import open_store

WELLS, MONTHS, YEARS = 500, 120, 30


def timed(work: Callable[[], Any], times: int = 1) -> tuple[Any, float]:
    """Return what work gives and the fewest seconds it took."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        made = work()
        best = min(best, time.perf_counter() - start)
    return made, best


def peak(work: Callable[[], Any]) -> float:
    """Return the peak of memory during work [MB]."""
    tracemalloc.start()
    work()
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most / 1e6


def levels(random: np.random.Generator, count: int) -> np.ndarray:
    """Return levels to the centimetre that wander, rise slowly and have a season."""
    step = np.arange(count)
    wander = np.cumsum(random.normal(0, 0.01, count))
    return np.round(100 + 1e-4 * step + 0.3 * np.sin(step / 58) + wander, 2)


def report(name: str, ours: tuple[Any, float], others: dict[str, float], same: bool, memory: str = "") -> None:
    """Print one line of results."""
    ratios = ", ".join(
        f"{other} {seconds * 1e3:9.2f} ms = {seconds / ours[1]:6.1f} x" for other, seconds in others.items()
    )
    print(f"{name:34} {ours[1] * 1e3:9.2f} ms; {ratios}; values {'the same' if same else 'DIFFER'}{memory}")


def one_series(random: np.random.Generator, count: int) -> None:
    """Compare test, slope and limits of one series."""
    values = levels(random, count)
    times = 5 if count <= 1000 else 1
    theirs, seconds = timed(lambda: pymannkendall.original_test(values), times)
    other, other_seconds = timed(lambda: stats.theilslopes(values), times)

    def ours() -> Any:
        return mann_kendall(values), theil_sen(values, ranks="rounded")

    mine = timed(ours, 5)
    test, line = mine[0]
    same = (test.score, line.slope) == (theirs.s, theirs.slope)
    same &= (line.slope, line.lower, line.upper) == (other.slope, other.low_slope, other.high_slope)
    sizes = [
        peak(work) for work in (ours, lambda: pymannkendall.original_test(values), lambda: stats.theilslopes(values))
    ]
    memory = "; peaks {:.1f}, {:.1f}, {:.1f} MB".format(*sizes)
    report(f"one series of {count}", mine, {"pyMannKendall": seconds, "SciPy": other_seconds}, same, memory)


def many_wells(random: np.random.Generator, count: int) -> None:
    """Compare tests and slopes of a wellfield."""
    wells = np.array([levels(random, MONTHS) for _ in range(count)])
    tests, lines = (
        timed(lambda: [mann_kendall(well) for well in wells], 5),
        timed(lambda: [theil_sen(well, ranks="rounded") for well in wells], 5),
    )
    theirs, seconds = timed(lambda: [pymannkendall.original_test(well) for well in wells])
    others, other_seconds = timed(lambda: [stats.theilslopes(well) for well in wells])
    same = all((t.score, one.slope) == (p.s, p.slope) for t, one, p in zip(tests[0], lines[0], theirs, strict=True))
    same &= all((o.low_slope, o.high_slope) == (one.lower, one.upper) for one, o in zip(lines[0], others, strict=True))
    both = (None, tests[1] + lines[1])
    report(f"{count} wells x {MONTHS}, tests and slopes", both, {"pyMannKendall": seconds}, same)
    report(f"{count} wells x {MONTHS}, slopes", lines, {"SciPy": other_seconds}, same)


def from_a_database(wells: int) -> None:
    """Measure a wellfield from the record to the table of trends, beside the tests alone of pyMannKendall."""
    bench_levels.WELLS = wells
    random = np.random.default_rng(1)
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(folder) / "bench.sqlite", create=True)
        revision.upgrade(store)
        bench_levels.fill(store, wells * YEARS * 12)
        store.close()
        with Network(Path(folder) / "bench.sqlite") as network:
            _, reading = timed(network.levels)
            _, everything = timed(lambda: network.trends(seasons=12))
            _, values = timed(lambda: network.trends(method="all"))
            _, pooled = timed(lambda: network.trends.pooled(seasons=12))
    few = min(wells, 20)
    series = [levels(random, YEARS * 12) for _ in range(few)]
    _, theirs = timed(lambda: [pymannkendall.seasonal_test(one, period=12) for one in series])
    _, shared = timed(lambda: [pymannkendall.correlated_seasonal_test(one, period=12) for one in series])
    other = (theirs + shared) / few * wells
    print(
        f"net.trends(seasons=12), {wells} wells x {YEARS} years of months from SQLite: {everything:.2f} s, of which levels "
        f"{reading:.2f} s; method all {values:.2f} s; pooled {pooled:.2f} s; pyMannKendall's two seasonal tests alone {other:.1f} s "
        f"= {other / everything:.1f} x"
    )


def seasons(random: np.random.Generator) -> None:
    """Compare the seasonal test and slope, and the test with covariance."""
    series = levels(random, YEARS * 12)
    table = series.reshape(YEARS, 12)
    mine = timed(lambda: (seasonal_kendall(table), pair_slopes(table).limits(1000.0)), 5)
    theirs, seconds = timed(lambda: pymannkendall.seasonal_test(series, period=12), 3)
    both, both_seconds = timed(lambda: pymannkendall.correlated_seasonal_test(series, period=12), 3)
    test, line = mine[0]
    same = (test.score, line[0]) == (theirs.s, theirs.slope)
    same &= bool(np.isclose(test.variance_correlated, both.var_s, rtol=1e-9))
    report(f"seasons, {YEARS} years x 12", mine, {"pyMannKendall": seconds, "with covariance": both_seconds}, same)


def main() -> None:
    """Run all comparisons."""
    random = np.random.default_rng(0)
    words = sys.argv[1:]
    wells = 8 if "small" in words else WELLS
    counts = [int(word) for word in words if word != "small"] or [120, 1000, 3650]
    for count in counts:
        one_series(random, count)
    seasons(random)
    many_wells(random, wells)
    from_a_database(wells)


if __name__ == "__main__":
    main()
