"""Tables of the demo network as they were when last looked at, to notice a change of any number that nobody meant.

Whether the numbers are right is the matter of other tests, which hold them against published values and libraries. These
tables only say that nothing moved. After a change that is meant to move them, look at what `git diff` shows once
``python -m tests.analysis.demo_numbers`` has written them anew.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from gwnet.network import Network

FOLDER = Path(__file__).with_name("demo_numbers")

#: Rows of a table that are kept, evenly spaced; of the others the sum of each column of numbers is.
MOST_ROWS = 120

_LATEST, _BEFORE, _HIGH = "2026-02-18", "2025-08-19", "2024-02-21"


def _frame(result: Any) -> pd.DataFrame:
    if isinstance(result, list):
        return pd.concat([_frame(item) for item in result], ignore_index=True)
    if hasattr(result, "steps"):
        return pd.DataFrame([vars(step) if hasattr(step, "__dict__") else step for step in result.steps])
    return result if isinstance(result, pd.DataFrame) else result.table


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

    import gwnet
    from gwnet import demo

    FOLDER.mkdir(exist_ok=True)
    asked = sys.argv[1:] or list(TABLES)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "demo.sqlite"
        demo.load(path)
        with gwnet.open(path) as net:
            for name in asked:
                text = as_text(TABLES[name](net))
                text.to_csv(FOLDER / f"{name}.csv", index=False, lineterminator="\n")
                print(f"{name}: {len(text)} rows")


if __name__ == "__main__":
    main()
