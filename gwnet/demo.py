"""Builds the demo network by the public route, as anybody would build a network of their own.

What is built stands in ``demo.toml`` beside the demo's tables: which tables, logger files and corrections are loaded,
and which report, maps, hydrographs and chart of coverage are made from them.
"""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gwnet import network
from gwnet.errors import OutputError
from gwnet.resources import demo_folder

#: Name of the database that the demo makes.
DATABASE = "gwnet.sqlite"

#: Endings of the files that hold tables.
_TABLES = (".csv", ".xlsx")


@dataclass(frozen=True)
class Made:
    """One thing that the demo made.

    Attributes
    ----------
    what : str
        What it is, for the person who reads the list.
    path : pathlib.Path
        Where it lies.
    """

    what: str
    path: Path


def build(folder: str | Path, *, progress: Callable[[int, int], None] | None = None) -> list[Made]:
    """Build the demo network's database, report, maps and hydrographs.

    Parameters
    ----------
    folder : str or pathlib.Path
        Folder to make; it must not exist yet, or be empty.
    progress : callable, optional
        Called with steps done and steps in all.

    Returns
    -------
    list of Made
        What was made, in the order of making.

    Raises
    ------
    OutputError
        If the folder holds something already.
    """
    folder = Path(folder)
    _refuse_full(folder)
    plan = _plan()
    total = 4 + len(plan.get("map", [])) + len(plan.get("hydrograph", []))
    target = folder.resolve()
    target.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    try:
        made = []
        for done, step in enumerate(_steps(plan, part)):
            made += step
            if progress is not None:
                progress(done + 1, total)
        _move(part, target)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return [Made(one.what, folder / one.path.relative_to(part)) for one in made]


def _refuse_full(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise OutputError(
            "The demo needs a new folder, and this one is there already.",
            where=str(folder),
            fix="Remove it, or name another: gwnet demo DIR.",
        )


def _move(part: Path, target: Path) -> None:
    """Put what is ready in its place: as the folder itself, or into one that is there and empty."""
    if not target.exists():
        part.chmod(0o755)
        part.rename(target)
        return
    for child in sorted(part.iterdir()):
        child.rename(target / child.name)
    part.rmdir()


def _steps(plan: dict[str, Any], folder: Path) -> Iterator[list[Made]]:
    """Do one step after another; give what each made."""
    database = folder / DATABASE
    load(database)
    with network.Network(database) as net:
        yield [Made("the record, an SQLite database", database)]
        wanted = plan["report"]
        report = net.report(wanted["definition"], wanted["period"], folder / "report")
        what = f"the {wanted['definition']} report of {wanted['period']}, its manifest and its data"
        yield [Made(what, path) for path in report]
        for one in plan.get("map", []):
            drawn = net.map(**{**one, "date": dt.date.fromisoformat(one["date"])})
            files = drawn.write(folder / "maps" / one["aquifer"])
            yield [Made(f"map of the {one['aquifer']} aquifer on {one['date']}", path) for path in files]
        for one in plan.get("hydrograph", []):
            target = folder / "hydrographs" / f"{one['name']}.png"
            target.parent.mkdir(exist_ok=True)
            start = one.get("start")
            figure = net.hydrograph(one["wells"], start=None if start is None else dt.date.fromisoformat(start))
            net.save_figure(figure, target)
            yield [Made(f"hydrograph of {', '.join(one['wells'])}", target)]
        if "comparison" in plan:
            yield _comparisons(net, plan["comparison"], folder / "comparisons")
        chart = folder / "coverage.png"
        net.loggers.coverage().write(chart)
        yield [Made("chart of who has data when", chart)]


def _comparisons(net: network.Network, wanted: dict[str, str], folder: Path) -> list[Made]:
    """Draw gradients over the years, the change between two days, two days side by side, and the worth of wells."""
    folder.mkdir()
    aquifer, date = wanted["aquifer"], wanted["date"]
    rose = net.gradients.by_round(aquifer, conductivity=wanted["conductivity"], porosity=wanted["porosity"])
    made = [Made("gradients of all rounds", net.save_figure(rose.figure(), folder / "gradients.png"))]
    pairs = net.gradients.vertical()
    made.append(Made("vertical gradients", net.save_figure(pairs.figure(), folder / "vertical_gradients.png")))
    change = net.map.change(aquifer, date, wanted["since"], storage=wanted["storage"])
    made += [Made(f"change from {wanted['since']} to {date}", path) for path in change.write(folder)]
    beside = net.map.pair(aquifer, (wanted["beside"], date))
    made += [Made(f"maps of {wanted['beside']} and {date}", path) for path in beside.write(folder)]
    worth = net.map.data_worth(aquifer, wanted["beside"])
    made += [Made(f"worth of wells on {wanted['beside']}", path) for path in worth.write(folder)]
    return made


def load(address: str | Path) -> None:
    """Make a database; load the demo network's tables, its loggers and what was decided about them, its corrections.

    Parameters
    ----------
    address : str or pathlib.Path
        SQLAlchemy URL of an empty database, or path of an SQLite file to make.

    Raises
    ------
    StoreError
        If the database cannot be made or holds something else.
    """
    plan = _plan()
    network.init(address)
    with network.Network(address) as net:
        net.load(_tables(demo_folder()), by=plan["by"], now_utc=plan.get("recorded_at"))
        _load_loggers(net, plan)
        for one in plan.get("corrections", []):
            files = _tables(demo_folder() / one["folder"])
            net.load(files, by=plan["by"], now_utc=one.get("recorded_at"), correct=True, reason=one["reason"])


def _load_loggers(net: network.Network, plan: dict[str, Any]) -> None:
    """Load the exports of the loggers with their layouts, then apply what a person decided about them."""
    for one in plan.get("loggers", []):
        files = [demo_folder() / name for name in one["files"]]
        layout = demo_folder() / one["layout"]
        result = net.loggers.load(files, layout, by=plan["by"], now_utc=one.get("recorded_at"))
        for file in result.files:
            if file.error is not None:
                raise file.error
    for one in plan.get("correction", []):
        parameters = dict(one.get("parameters", {}))
        if "leave_out" in one:
            levels = net.levels([one["well"]])
            left_out = levels["measured_at"].str[:16].isin(one["leave_out"])
            parameters["leave_out"] = levels.loc[left_out, "event_id"].tolist()
        net.loggers.correct(
            one["instrument"],
            one["kind"],
            reason=one["reason"],
            by=plan["by"],
            start=one.get("start"),
            end=one.get("end"),
            now_utc=one.get("recorded_at"),
            **parameters,
        )


def _plan() -> dict[str, Any]:
    return tomllib.loads((demo_folder() / "demo.toml").read_text(encoding="utf-8"))


def _tables(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if path.suffix in _TABLES)
