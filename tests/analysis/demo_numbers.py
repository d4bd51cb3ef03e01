"""Tables of the demo network as they were when last looked at, to notice a change of any number that nobody meant.

They are asked of the record as it is, and of one whose readings and samples were spoilt by the same faults each time.
Whether the numbers are right is the matter of other tests, which hold them against published values and libraries. These
tables only say that nothing moved. After a change that is meant to move them, look at what `git diff` shows once
``python -m tests.analysis.demo_numbers`` has written them anew.
"""

from __future__ import annotations

import datetime as dt
import re
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from gwnet import demo, network
from gwnet.network import Network
from gwnet.resources import demo_folder

FOLDER = Path(__file__).with_name("demo_numbers")

#: Rows of a table that are kept, evenly spaced; of the others the sum of each column of numbers is.
MOST_ROWS = 120

_RECORDED = dt.datetime(2026, 3, 2, 9, tzinfo=dt.UTC)
_NUMBER = re.compile(rb"(?<=[;,\t])\d+[.,]\d+")
_LATEST, _BEFORE, _HIGH = "2026-02-18", "2025-08-19", "2024-02-21"


def _frame(result: Any) -> pd.DataFrame:
    if isinstance(result, list):
        return pd.concat([_frame(item) for item in result], ignore_index=True)
    if hasattr(result, "steps"):
        return pd.DataFrame([vars(step) if hasattr(step, "__dict__") else step for step in result.steps])
    return result if isinstance(result, pd.DataFrame) else result.table


def _surface(drawn: Any) -> pd.DataFrame:
    """Return the nodes of a map's grid, its contours, arrows and leave-one-out residuals, as one column of numbers."""
    grid, lines, arrows = drawn.result.grid, drawn.result.contours, drawn.result.arrows
    residuals = drawn.result.cross_validation
    parts = {
        "node": grid.water_elevation_m[::7, ::7].ravel(),
        "extended node": grid.extended_m[::7, ::7].ravel(),
        "contour": np.concatenate(
            [[line.level_m, line.x.size, line.x.sum(), line.y.sum(), line.inferred] for line in lines] or [[]]
        ),
        "arrow": np.concatenate([[arrow.x, arrow.y, arrow.azimuth_deg, arrow.gradient] for arrow in arrows] or [[]]),
        "residual": np.array([] if residuals is None else residuals.residual_m, dtype=float),
    }
    return pd.concat([pd.DataFrame({"of": name, "value": values}) for name, values in parts.items()], ignore_index=True)


def _summary(result: Any) -> pd.DataFrame:
    return result.summary()


#: How each table is asked for. Kept small where a picture or a surface has to be worked out.
TABLES: dict[str, Callable[[Network], pd.DataFrame]] = {
    "levels": lambda net: net.levels(),
    "effects": lambda net: net.levels.effects(),
    "explain_W-11": lambda net: _frame(net.levels.explain("W-11", _LATEST)),
    "explain_product": lambda net: _frame(net.levels.explain("W-09", "2026-02-17")),
    "history": lambda net: net.wells.history("L-02"),
    "due": lambda net: net.rounds.due(on=dt.date(2026, 5, 20), everything=True),
    "checks": lambda net: net.checks(),
    "checks_round": lambda net: net.checks(round="2026-Q1"),
    "trends": lambda net: net.trends(),
    "trends_kendall": lambda net: net.trends(method="kendall", aquifer="upper"),
    "trends_all": lambda net: net.trends(method="all", aquifer="lower"),
    "trends_pooled": lambda net: net.trends.pooled(),
    "trends_left_out": lambda net: net.trends.left_out(),
    "threshold_dates": lambda net: net.trends.thresholds(),
    "steps": lambda net: net.trends.steps(),
    "seasons": lambda net: net.seasons(),
    "seasons_summary": lambda net: net.seasons.summary(),
    "seasons_daily": lambda net: net.seasons.daily(),
    "decomposition": lambda net: _frame(net.seasons.decomposition("W-01")),
    "map": lambda net: _frame(net.map("upper", _LATEST)),
    "map_summary": lambda net: _summary(net.map("upper", _HIGH)),
    "map_surface": lambda net: _surface(net.map("upper", _HIGH)),
    "map_surface_spline": lambda net: _surface(net.map("upper", _BEFORE, method="spline")),
    "map_surface_triangulation": lambda net: _surface(net.map("lower", _LATEST, method="triangulation")),
    "map_spline": lambda net: _summary(net.map("lower", _LATEST, method="spline")),
    "map_triangulation": lambda net: _summary(net.map("upper", _LATEST, method="triangulation")),
    "map_automatic": lambda net: _summary(net.map("lower", _BEFORE, method="auto")),
    "change": lambda net: _frame(net.map.change("upper", _LATEST, _BEFORE)),
    "change_summary": lambda net: _summary(net.map.change("lower", _LATEST, _BEFORE, storage="0.1")),
    "pair": lambda net: _frame(net.map.pair("lower", (_LATEST, _BEFORE))),
    "data_worth": lambda net: _frame(net.map.data_worth("lower", _LATEST)),
    "gradient": lambda net: net.gradients(
        ["W-01", "W-05", "W-09", "W-12"], _LATEST, conductivity="10 m/d", porosity="0.2"
    ).summary(),
    "gradients_by_round": lambda net: _frame(net.gradients.by_round("upper")),
    "gradients_local": lambda net: net.gradients.local("upper", _LATEST),
    "gradients_vertical": lambda net: _frame(net.gradients.vertical()),
    "heads": lambda net: net.loggers.heads(),
    "heads_daily": lambda net: net.loggers.daily(),
    "logger_status": lambda net: net.loggers.status(at_utc="2026-03-01T00:00Z"),
    "logger_findings": lambda net: net.loggers.findings(),
    "logger_explain": lambda net: _frame(net.loggers.explain("N1-U", "2025-06-01T12:00")),
    "efficiencies": lambda net: net.loggers.efficiencies(),
    "response": lambda net: net.loggers.barometric_response(),
    "coverage": lambda net: _frame(net.loggers.coverage()),
}

#: Tables asked of the record that was spoilt.
SPOILT: dict[str, Callable[[Network], pd.DataFrame]] = {
    "spoilt_levels": lambda net: net.levels(),
    "spoilt_checks": lambda net: net.checks(),
    "spoilt_trends": lambda net: net.trends(),
    "spoilt_map": lambda net: _frame(net.map("upper", _LATEST)),
    "spoilt_gradients": lambda net: _frame(net.gradients.by_round("lower")),
    "spoilt_heads": lambda net: net.loggers.heads(),
    "spoilt_logger_status": lambda net: net.loggers.status(at_utc="2026-03-01T00:00Z"),
    "spoilt_logger_findings": lambda net: net.loggers.findings(),
    "spoilt_seasons_daily": lambda net: net.seasons.daily(),
}


def spoil(folder: Path) -> Path:
    """Copy the files of the demo network, with the same faults each time, and return the database made of them."""
    source, random = demo_folder(), np.random.default_rng(20260301)
    shutil.copytree(source, folder / "files", ignore=shutil.ignore_patterns("making", "pictures", "*.py"))
    for file in sorted((folder / "files").glob("level_events_202[2-5].csv")):
        table = pd.read_csv(file, dtype=str, keep_default_na=False)
        read = np.flatnonzero((table["depth_to_water"] != "") & (table["status"] == "static"))
        for number, row in enumerate(random.choice(read, 6, replace=False)):
            _spoil_reading(table, row, number)
        table.to_csv(file, index=False)
    for file in sorted((folder / "files" / "loggers").glob("LG-*")):
        lines = file.read_bytes().split(b"\n")
        _spoil_samples(lines, random)
        file.write_bytes(b"\n".join(lines))
    path = folder / "spoilt.sqlite"
    network.init(path)
    with Network(path) as net:
        tables = sorted(file for file in (folder / "files").iterdir() if file.suffix in {".csv", ".xlsx"})
        net.load(tables, by="test", now_utc=_RECORDED, keep_good=True, rejected_dir=folder)
        for layout, names in {"semicolons": "*-[12]_*", "remarks": "LG-[345]_*", "wall_clock": "*.txt"}.items():
            files = sorted((folder / "files" / "loggers").glob(names))
            net.loggers.load(files, folder / "files" / "layouts" / f"{layout}.toml", by="test", now_utc=_RECORDED)
    return path


def _spoil_reading(table: pd.DataFrame, row: int, kind: int) -> None:
    """Make a reading wrong: in feet, tenfold, 1 m or 0.3 m out, negative, or two digits exchanged."""
    value = float(table["depth_to_water"].iat[row])
    digits = f"{value:.3f}"
    wrong = (
        f"{value / 0.3048:.3f}",
        f"{value * 10:.3f}",
        f"{value + 1:.3f}",
        f"{value - 0.3:.3f}",
        f"-{value:.3f}",
        digits[:-3] + digits[-2] + digits[-3] + digits[-1],
    )[kind]
    for name in ("depth_to_water", "depth_to_water_2"):
        if table[name].iat[row]:
            table.iloc[row, table.columns.get_loc(name)] = wrong


def _spoil_samples(lines: list[bytes], random: np.random.Generator) -> None:
    """Put a spike, a run at one value, a step and a gap into an export; the level is the first number with a point."""
    rows = [number for number, line in enumerate(lines) if _NUMBER.search(line) and number > 8]
    spike, flat, step = sorted(random.choice(len(rows) - 200, 3, replace=False))
    steps = {rows[spike]: 8.0} | dict.fromkeys(rows[step:], 0.4)
    held = _NUMBER.search(lines[rows[flat]])
    for number in rows:
        value = _NUMBER.search(lines[number])
        if value is None or held is None:
            continue
        text = value.group()
        if number in rows[flat : flat + 60]:
            new = held.group()
        elif number in steps:
            by = steps[number] * (1.0 if len(text.split(b"." if b"." in text else b",")[1]) > 1 else 10.0)
            new = f"{float(text.replace(b',', b'.')) + by:.3f}".encode().replace(b".", b"," if b"," in text else b".")
        else:
            continue
        lines[number] = lines[number][: value.start()] + new + lines[number][value.end() :]
    del lines[rows[-150] : rows[-120]]


def as_text(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table of texts: rows evenly spaced, then the sums of the columns of numbers; 9 significant digits."""
    numbers = table.select_dtypes(include="number")
    sums = pd.DataFrame([{name: float(np.nansum(np.abs(numbers[name].astype(float)))) for name in numbers}])
    kept = table.iloc[np.unique(np.linspace(0, max(len(table) - 1, 0), MOST_ROWS).astype(int))] if len(table) else table
    columns = {}
    for name in table.columns:
        cells = [_cell(value) for value in kept[name]]
        columns[str(name)] = [*cells, _cell(sums[name].iloc[0]) if name in sums else ""]
    return pd.DataFrame(columns)


def _cell(value: Any) -> str:
    if isinstance(value, list | tuple | np.ndarray):
        return " ".join(_cell(part) for part in value)
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)) or value is pd.NA:
        return ""
    if isinstance(value, float | np.floating):
        return f"{float(value) + 0.0:.9g}"
    return str(value)


def read(name: str) -> pd.DataFrame:
    """Return a table as it was kept."""
    return pd.read_csv(FOLDER / f"{name}.csv", dtype=str, keep_default_na=False)


def main() -> None:
    """Write the tables of the demo network anew."""
    import tempfile

    FOLDER.mkdir(exist_ok=True)
    asked = sys.argv[1:] or [*TABLES, *SPOILT]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "demo.sqlite"
        demo.load(path)
        for tables, database in ((TABLES, path), (SPOILT, spoil(Path(folder)))):
            with Network(database) as net:
                for name in [name for name in tables if name in asked]:
                    text = as_text(tables[name](net))
                    text.to_csv(FOLDER / f"{name}.csv", index=False, lineterminator="\n")
                    print(f"{name}: {len(text)} rows")


if __name__ == "__main__":
    main()
