"""The data annex of a report: the numbers behind it as CSV files."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable
from dataclasses import asdict
from typing import Any, Final

import pandas as pd

from gwnet.analysis.fieldwork.conditions import describe_condition
from gwnet.analysis.thresholds.record import CROSSING_COLUMNS, STATE_COLUMNS, crossings_table, states_table
from gwnet.plain_text import file_value, neutralised
from gwnet.reporting.data import COLUMNS, CONTROL_COLUMNS
from gwnet.reporting.definition.parse import safe_name
from gwnet.reporting.measures import date_of
from gwnet.reporting.registry import frame_columns
from gwnet.reporting.view import ReportView
from gwnet.store.as_recorded import HEADINGS
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
#: Columns of level files that tell whether two levels rest on one survey, which falls away from their change.
SURVEY_COLUMNS: Final = ("measuring_point", "survey_uncertainty_m")
#: Columns of level files that say what was recorded, so that the files load again.
RECORDED_COLUMNS: Final = tuple(name for name in HEADINGS if name not in LEVEL_COLUMNS)
#: Columns of the levels of the period that thresholds are judged by.
THRESHOLD_LEVEL_COLUMNS: Final = tuple(
    "site well threshold elevation_m source day measured_at value_m uncertainty_m bound state reason review extreme_m "
    "extreme_at form limit_m".split()
)
#: Columns of the values of earlier issues that would be printed otherwise now.
CHANGE_COLUMNS: Final = tuple("site issue table row column unit was now why".split())
#: The one file that is too long to be carried inside the PDF.
LONG_FILE: Final = "levels_to_date.csv"

#: Frames of pumping tests that go into the annex where the report has some.
TEST_FRAMES: Final = ("pumping_tests", "pumping_rates", "pumping_static", "pumping_drawdowns", "pumping_fits")

_OTHER_NUMBERS: Final = {"longitude": 6, "latitude": 6, "gradient": 6, "days": 0}


def annex_files(view: ReportView) -> dict[str, bytes]:
    """Return the files of the annex.

    Parameters as `gwnet.reporting`.

    Returns
    -------
    dict of str to bytes
        Content by name: levels of the period, all levels to date, wells, construction, measuring points, thresholds
        with their states, crossings and levels, the control set of each map, the tables of pumping tests, and what
        else the sentences of the summary rest on.
    """
    unit = view.measures.unit
    wells = set(view.wells["well"])
    data = view.data
    events = [gauging.events for gauging in view.in_period]
    period = pd.concat(events) if events else view.levels.iloc[:0]
    more = (name for name in (*SURVEY_COLUMNS, *RECORDED_COLUMNS) if name in view.levels)
    level_columns = (*LEVEL_COLUMNS, *more)
    files = {
        "levels_of_period": frame_csv(period, level_columns, unit, site=data.site.code),
        "levels_to_date": frame_csv(view.levels, level_columns, unit, site=data.site.code),
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
        "thresholds": frame_csv(states_table(view.thresholds, data.site.code, unit), STATE_COLUMNS, unit, site=""),
        "crossings": frame_csv(crossings_table(view.thresholds, data.site.code), CROSSING_COLUMNS, unit, site=""),
        "threshold_levels": frame_csv(_lane_frame(view), THRESHOLD_LEVEL_COLUMNS, unit, site=data.site.code),
    }
    if changes := [asdict(change) | {"issue": issue.number} for issue in data.earlier for change in issue.changes]:
        files["changed_values"] = frame_csv(pd.DataFrame(changes), CHANGE_COLUMNS, unit, site=data.site.code)
    # Rows of no well, such as those of the site, concern every report.
    corrections = data.corrections[data.corrections["well"].fillna("").isin({*wells, ""})]
    files["corrections"] = frame_csv(corrections, ("site", *COLUMNS["corrections"]), unit, site=data.site.code)
    files |= {
        name: frame_csv(frame[frame["well"].isin({*wells, ""})], ("site", *columns), unit, site=data.site.code)
        for name, columns, frame in _worked_out(view)
        if len(frame)
    }
    for name in TEST_FRAMES:
        frame = data.extras.frame(name)
        if len(frame):
            files[name] = frame_csv(frame, ("site", *frame.columns), unit, site=data.site.code)
    for facts in view.maps():
        name = f"map_control_{safe_name(facts.aquifer)}_{facts.day}"
        while name in files:
            # Codes that differ only in signs that no file name takes come out alike.
            name += "_more"
        files[name] = frame_csv(facts.control, ("site", *CONTROL_COLUMNS), unit, site=data.site.code)
    return {f"{name}.csv": content for name, content in files.items()}


def _worked_out(view: ReportView) -> list[tuple[str, tuple[str, ...], pd.DataFrame]]:
    """Return name, columns and frame of what sentences of the report rest on beside the levels."""
    decided = ("finding_id", "decision", "decided_by", "decision_reason", "decided_together")
    findings = view.data.findings
    columns = (*COLUMNS["findings"], *(name for name in decided if name in findings))
    rounds, conditions = view.data.rounds, view.data.conditions
    begun = [(date_of(day) or dt.date.max) <= view.period.last for day in rounds["starts_on"]]
    described = [describe_condition(row, view.measures.text) for row in conditions.to_dict("records")]
    return [
        # With an empty well, as rows of no well pass the choice of wells.
        ("rounds", COLUMNS["rounds"], rounds[begun].assign(well="")),
        ("tape_checks", COLUMNS["tape_checks"], view.data.tape_checks.assign(well="")),
        ("conditions", COLUMNS["conditions"], conditions.assign(text=described)),
        ("findings", columns, findings),
        *((name, frame_columns()[name], view.data.extras.frame(name)) for name in ("trends", "seasons", "loggers")),
    ]


def _lane_frame(view: ReportView) -> pd.DataFrame:
    """Return the levels of the period held against thresholds, one row each."""
    parts = [
        state.levels[state.levels["day"] >= pd.Timestamp(state.first)].assign(
            well=state.well,
            threshold=state.threshold,
            elevation_m=state.elevation_m,
            form=state.form,
            limit_m=state.level_m,
        )
        for state in view.thresholds
        if len(state.levels)
    ]
    frame = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(THRESHOLD_LEVEL_COLUMNS))
    return frame.assign(day=[str(day)[:10] for day in frame["day"]])


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
    # As given: otherwise the line ends would be translated a second time.
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
        # A tenth of a millimetre, or less than that in feet: finer than any tape is read.
        return lambda value: "" if value is None or pd.isna(value) else f"{float(value) * scale:.4f}"
    if name in RECORDED_COLUMNS:
        return lambda value: _plain(file_value(value, is_exact=True), None)
    decimals = _OTHER_NUMBERS.get(name, 3)
    return lambda value: _plain(value, decimals)


def _plain(value: Any, decimals: int | None) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return neutralised(value)
    # Before the test for a missing value, which has an answer for each item of a list.
    if isinstance(value, list | tuple):
        return neutralised(";".join(str(item) for item in value))
    if isinstance(value, bool):
        return "true" if value else "false"
    if pd.isna(value):
        return ""
    # Before the date: in Python a time is a date as well.
    if isinstance(value, dt.datetime):
        return str(pd.Timestamp(value).isoformat()).replace("+00:00", "Z")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, float):
        return repr(value) if decimals is None else f"{value:.{decimals}f}"
    return str(value)
