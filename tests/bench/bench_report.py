"""How fast hydrographs of long logger lines are drawn beside plain matplotlib, and what a whole report takes.

Hydrographs: our way thins each line so that every pixel column keeps its extremes and draws in as many processes as
there are cores, with all that a hydrograph has around its line; the plain way plots every sample on bare axes, one
figure after the other: once with every sample in the file, and once as matplotlib is set up, which leaves out what it
takes for invisible. All write vector PDF, each in a process of its own. Report: wells with a logger each, put on record through the functions of the store, from the record to all
files of the quarterly report.

Run: ``python tests/bench/bench_report.py [FIGURES [SAMPLES [WELLS [SAMPLES]]]]``, 8 figures of 350,000 samples and a
report of 4 wells of 20,000 samples unless given; 200 350000 200 350000 is the largest. Prints seconds, ratios and peak
memory of one run.
"""

from __future__ import annotations

import io
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

STEP = np.timedelta64(15, "m")
#: Quarter of the report; lines end with its year.
PERIOD = "2024-Q4"


def line(number: int, count: int) -> tuple[Any, Any]:
    """Return times and heads of one logger: seasons, a daily swing and noise; it ends with the year 2024."""
    random = np.random.default_rng(number)
    when = np.datetime64("2024-12-31T00:00", "us") - np.arange(count)[::-1] * STEP
    days = np.arange(count) / 96.0
    head = 40.0 + np.sin(2 * np.pi * days / 365.25) + 0.02 * np.sin(2 * np.pi * days) + random.normal(0, 0.004, count)
    return when, head


def peak_mb() -> tuple[float, float]:
    """Return the greatest memory of this process, and of the largest of those that it started [MB]."""
    own, others = (resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own / 1024, others / 1024


def draw_ours(figures: int, count: int) -> dict[str, Any]:
    """Thin and draw hydrographs as a report does."""
    import pandas as pd

    from gwnet.figures.base.style import figure_bytes
    from gwnet.figures.hydrograph.draw import draw_hydrograph, hydrograph_plot_data
    from gwnet.figures.hydrograph.logger_line import LoggerSeries
    from gwnet.products.logger_lines import thinned
    from gwnet.reporting.content import Cover, FigureSlot, Report, Section
    from gwnet.reporting.drawn_together import with_figures

    columns = [
        "well",
        "measured_at",
        "status",
        "bound",
        "water_elevation_m",
        "uncertainty_m",
        "quality",
        "review",
        "usable",
        "aquifer",
    ]
    nothing = pd.DataFrame({column: pd.Series(dtype=object) for column in columns})
    site = {"site": "S", "name": "", "vertical_datum": "local", "time_zone": "UTC"}
    took, slots = 0.0, []
    for number in range(figures):
        when, head = line(number, count)
        start = time.perf_counter()
        series = thinned(LoggerSeries(when, head, np.ones(count, dtype=bool)))
        took += time.perf_counter() - start

        def draw(series: LoggerSeries = series, well: str = f"W{number}") -> bytes:
            return figure_bytes(draw_hydrograph(hydrograph_plot_data(nothing, well, site=site, series=series)), "pdf")

        slots.append(FigureSlot(f"f{number}", "caption", "alt", draw))
    known_on = pd.Timestamp("2025-01-01", tz="UTC").to_pydatetime()
    report = Report("T", "S", "P", "PROVISIONAL", known_on, Cover(()), (Section("a", "A", tuple(slots)),))
    start = time.perf_counter()
    drawn = with_figures(report, processes=os.cpu_count() or 1)
    took += time.perf_counter() - start
    size = sum(len(figure.pdf) for figure in drawn.figures())  # type: ignore[arg-type]
    return {"seconds": took, "peak": peak_mb(), "bytes": size}


def draw_plain(figures: int, count: int, *, simplified: bool) -> dict[str, Any]:
    """Plot every sample with matplotlib, one figure after the other."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    mpl.rcParams["path.simplify"] = simplified

    took, size = 0.0, 0
    for number in range(figures):
        when, head = line(number, count)
        start = time.perf_counter()
        figure = Figure(figsize=(7.1, 3.9))
        axes = figure.subplots()
        axes.plot(when, head, linewidth=0.5)
        axes.set_title(f"W{number}")
        axes.set_ylabel("Water elevation [m]")
        out = io.BytesIO()
        figure.savefig(out, format="pdf")
        took += time.perf_counter() - start
        size += len(out.getvalue())
    return {"seconds": took, "peak": peak_mb(), "bytes": size}


def make_record(path: str, wells: int, count: int) -> None:
    """Put wells with a logger, manual readings and two rounds on record."""
    import datetime as dt

    from tests.analysis.logger_record import Loggers
    from tests.analysis.record import Record

    record = Record(Path(path))
    made = Loggers(record)
    random = np.random.default_rng(5)
    rounds = {}
    for code, day in (("2024-Q3", "2024-09-10"), ("2024-Q4", "2024-12-10")):
        rounds[day] = record.add("gauging_round", site_id=record.site_id, code=code)
        date = dt.date.fromisoformat(day)
        record.add("round_record", gauging_round_id=rounds[day], starts_on=date, ends_on=date, wells="[]")
    record.tape("T")
    for number in range(wells):
        code = f"W{number:03d}"
        when, head = line(number, count)
        head = head - 0.2 * number / max(wells, 1)
        east, north = 500_000 + random.uniform(0, 4000), 5_600_000 + random.uniform(0, 4000)
        place = {"easting": float(east), "northing": float(north)}
        record.well(code, screen=(10.0, 20.0), point=(50.0, 0.5), ground_elevation_m=49.5, **place)
        made.instrument(f"L{number:03d}", kind="vented pressure logger")
        made.install(f"L{number:03d}", code, start=str(when[0])[:10], depth=15.0)
        made.samples(f"L{number:03d}", "water column", "m", when, np.round(head - 35.0, 4))
        for share in np.linspace(0.01, 0.9, 5):
            at = int(share * (count - 1))
            record.event(code, str(when[at])[:19], [("depth_to_water", round(50.0 - float(head[at]), 3))])
        for day, gauging in rounds.items():
            at = min(int(np.searchsorted(when, np.datetime64(f"{day}T09:00"))), count - 1)
            depth = round(50.0 - float(head[at]), 3)
            record.event(code, f"{day}T09:00:00", [("depth_to_water", depth)], gauging_round_id=gauging)
    record.store.close()


def make_report(path: str, out: str) -> dict[str, Any]:
    """Make the quarterly report of a record."""
    from gwnet.network import Network

    start = time.perf_counter()
    with Network(path) as network:
        files = network.report("quarterly", PERIOD, Path(out))
    return {
        "seconds": time.perf_counter() - start,
        "peak": peak_mb(),
        "bytes": sum(file.stat().st_size for file in files),
    }


def alone(work: str, *arguments: Any) -> dict[str, Any]:
    """Do one piece of work in a process of its own, so that its memory is its own."""
    command = [sys.executable, __file__, "--work", work, *map(str, arguments)]
    ran = subprocess.run(command, check=True, capture_output=True, text=True)
    return dict(json.loads(ran.stdout.splitlines()[-1]))


def told(found: dict[str, Any]) -> str:
    """Return what a piece of work took."""
    own, others = found["peak"]
    beside = f" and {others:.0f} MB the largest of its processes" if others > 1 else ""
    return f"{found['seconds']:.1f} s, peak memory {own:.0f} MB{beside}, {found['bytes'] / 1e6:.1f} MB of files"


def main(figures: int = 8, count: int = 350_000, wells: int = 4, samples: int = 20_000) -> None:
    """Measure and print."""
    ours = alone("ours", figures, count)
    print(f"{figures} hydrographs of {count:,} samples, thinned, {os.cpu_count()} processes: {told(ours)}", flush=True)
    for work, words in (("every", "every sample in the file"), ("plain", "as matplotlib is set up")):
        plain = alone(work, figures, count)
        print(f"bare axes, one after the other, {words}: {told(plain)}")
        print(f"  {plain['seconds'] / ours['seconds']:.1f} x plain matplotlib, {words}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "bench.sqlite")
        made = alone("record", path, wells, samples)
        print(f"record of {wells} wells with {samples:,} samples each: {made['seconds']:.1f} s to make", flush=True)
        print(f"quarterly report of it: {told(alone('report', path, Path(folder) / 'out'))}")


def _work(name: str, arguments: list[str]) -> dict[str, Any]:
    if name == "ours":
        return draw_ours(int(arguments[0]), int(arguments[1]))
    if name in ("plain", "every"):
        return draw_plain(int(arguments[0]), int(arguments[1]), simplified=name == "plain")
    if name == "report":
        return make_report(arguments[0], arguments[1])
    start = time.perf_counter()
    make_record(arguments[0], int(arguments[1]), int(arguments[2]))
    return {"seconds": time.perf_counter() - start, "peak": peak_mb(), "bytes": 0}


if __name__ == "__main__":
    if sys.argv[1:2] == ["--work"]:
        print(json.dumps(_work(sys.argv[2], sys.argv[3:])))
    else:
        main(*(int(text) for text in sys.argv[1:]))
