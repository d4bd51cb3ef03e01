"""The data annex of a report: the numbers behind it as CSV files."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable
from typing import Any, Final

import pandas as pd

from gwnet.hydro.reduction.thresholds import NO_READING
from gwnet.plain_text import neutralised
from gwnet.reporting.data import COLUMNS, CONTROL_COLUMNS
from gwnet.reporting.definition.parse import safe_name
from gwnet.reporting.view import ReportView
from gwnet.units import metres_per

#: Columns of the level files, in order; lengths carry the unit of the report.
LEVEL_COLUMNS: Final = (
    "site",
    *COLUMNS["levels"][: COLUMNS["levels"].index("event_id")],
    "access",
    "aquifer",
    "usable",
    "unusable_reason",
    "water_elevation_uncorrected_m",
    "product_thickness_m",
    "sounded_depth_m",
    "method",
    "instrument",
    "observer",
    "notes",
)
#: The one file that is too long to be carried inside the PDF.
LONG_FILE: Final = "levels_to_date.csv"

#: Frames of pumping tests that go into the annex where the report has some.
TEST_FRAMES: Final = ("pumping_tests", "pumping_rates", "pumping_static", "pumping_drawdowns", "pumping_fits")

_OTHER_NUMBERS: Final = {"longitude": 6, "latitude": 6}


def annex_files(view: ReportView) -> dict[str, bytes]:
    """Return the files of the annex.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.

    Returns
    -------
    dict of str to bytes
        Content by name: levels of the period, all levels to date, wells, construction, measuring points, thresholds
        with their standing, the control set of each map, and the tables of pumping tests.
    """
    unit = view.measures.unit
    wells = set(view.wells["well"])
    data = view.data
    events = [gauging.events for gauging in view.in_period]
    period = pd.concat(events) if events else view.levels.iloc[:0]
    files = {
        "levels_of_period": frame_csv(period, LEVEL_COLUMNS, unit, site=data.site.code),
        "levels_to_date": frame_csv(view.levels, LEVEL_COLUMNS, unit, site=data.site.code),
        "wells": frame_csv(view.wells, ("site", *COLUMNS["wells"]), unit, site=data.site.code),
        "construction": frame_csv(
            data.construction[data.construction["well"].isin(wells)],
            ("site", *COLUMNS["construction"]),
            unit,
            site=data.site.code,
        ),
        "measuring_points": frame_csv(
            data.measuring_points[data.measuring_points["well"].isin(wells)],
            ("site", *COLUMNS["measuring_points"]),
            unit,
            site=data.site.code,
        ),
        "thresholds": _threshold_csv(view),
    }
    for name in TEST_FRAMES:
        frame = data.extras.frame(name)
        if len(frame):
            files[name] = frame_csv(frame, ("site", *frame.columns), unit, site=data.site.code)
    for facts in view.maps():
        name = f"map_control_{safe_name(facts.aquifer)}_{facts.day}"
        while name in files:
            name += "_more"
        files[name] = frame_csv(facts.control, ("site", *CONTROL_COLUMNS), unit, site=data.site.code)
    return {f"{name}.csv": content for name, content in files.items()}


def _threshold_csv(view: ReportView) -> bytes:
    rows = [
        {
            "well": status.well,
            "threshold": status.threshold,
            "kind": status.kind,
            "elevation_m": status.level_m,
            "consecutive": status.consecutive,
            "state": status.words(),
            "crossings_in_a_row": status.run,
            "crossed_since": status.since,
            "measured_at": "" if status.newest is None else status.newest["measured_at"],
            "bound": "" if status.newest is None else status.newest["bound"],
            "water_elevation_m": float("nan") if status.newest is None else status.newest["water_elevation_m"],
            "review": "" if status.newest is None else status.newest["review"],
            "provisional": status.state != NO_READING and status.provisional,
            "basis": status.basis,
            "action": status.action,
        }
        for status in view.thresholds
    ]
    columns = (
        "site",
        "well",
        "threshold",
        "kind",
        "elevation_m",
        "consecutive",
        "state",
        "crossings_in_a_row",
        "crossed_since",
        "measured_at",
        "bound",
        "water_elevation_m",
        "review",
        "provisional",
        "basis",
        "action",
    )
    frame = pd.DataFrame(rows, columns=[name for name in columns if name != "site"])
    return frame_csv(frame, columns, view.measures.unit, site=view.data.site.code)


def frame_csv(frame: pd.DataFrame, columns: tuple[str, ...], unit: str, *, site: str) -> bytes:
    """Return a frame as CSV: UTF-8, comma, decimal point, CRLF.

    Parameters
    ----------
    frame : DataFrame
        Rows.
    columns : tuple of str
        Columns to write, in order. One ending in ``_m`` is a length in metres: it is written in the unit of the
        report, with the unit in its name.
    unit : {"m", "ft"}
        Unit of the report.
    site : str
        Code of the site, for a frame without that column.

    Returns
    -------
    bytes
        Content of the file. Text that a spreadsheet program would run as a formula starts with an apostrophe;
        numbers are never touched.
    """
    headings = [f"{name.removesuffix('_m')}_{unit}" if name.endswith("_m") else name for name in columns]
    written = [
        _column(frame[name].tolist() if name in frame else [site] * len(frame), _writer(name, unit)) for name in columns
    ]
    target = io.StringIO(newline="")
    writer = csv.writer(target, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows(zip(*written, strict=True))
    return target.getvalue().encode("utf-8", errors="backslashreplace")


def _column(values: list[Any], write: Callable[[Any], str]) -> list[str]:
    return [write(value) for value in values]


def _writer(name: str, unit: str) -> Callable[[Any], str]:
    if name.endswith("_m"):
        scale = 1.0 / metres_per(unit)
        return lambda value: "" if value is None or pd.isna(value) else f"{float(value) * scale:.4f}"
    decimals = _OTHER_NUMBERS.get(name, 3)
    return lambda value: _plain(value, decimals)


def _plain(value: Any, decimals: int) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return neutralised(value)
    if isinstance(value, list | tuple):
        return neutralised(";".join(str(item) for item in value))
    if isinstance(value, bool):
        return "true" if value else "false"
    if pd.isna(value):
        return ""
    if isinstance(value, dt.datetime):
        return str(pd.Timestamp(value).isoformat()).replace("+00:00", "Z")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.{decimals}f}"
    return str(value)
