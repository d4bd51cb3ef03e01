"""What the page of a report lets its reader explore: wells and their record, levels, logger lines and maps, as JSON."""

from __future__ import annotations

import json
import math
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.bounds import is_below_screen
from gwnet.hydro.loggers.dense_series import thin
from gwnet.reporting.changes import is_read_below_screen
from gwnet.reporting.data import MapFacts
from gwnet.reporting.measures import date_of, moment_text
from gwnet.reporting.sections.common import number_of, text_of
from gwnet.reporting.threshold_words import limit_words
from gwnet.reporting.view import ReportView

#: Samples of logger lines that a page carries in all; more would make it slow to open.
_MOST_SAMPLES: Final = 400_000
#: Pixel columns of a logger line at most, and at least.
_MOST_COLUMNS, _LEAST_COLUMNS = 3_000, 200
#: Samples that thinning keeps in a column.
_KEPT_A_COLUMN: Final = 4
#: Newest levels that the record of a well lists.
_NEWEST: Final = 8
_BOUNDS: Final = {"<=": -1, ">=": 1, "": 0}


def page_data(view: ReportView) -> str:
    """Return the data of a page as JSON that may stand inside HTML.

    Parameters as `gwnet.reporting`.

    Returns
    -------
    str
        JSON without the signs ``<``, ``>`` and ``&``, which stand as escapes: no text can end the element that it
        is in. Lengths are in the unit of the report, times milliseconds since 1970-01-01 UTC.
    """
    by_well = {str(well): events for well, events in view.levels.groupby("well", sort=False)}
    columns = _columns(view)
    content = {
        "unit": view.measures.unit,
        "decimals": view.measures.decimals,
        "datum": view.data.site.vertical_datum,
        "zone": view.data.site.time_zone,
        "wells": [_well(view, row, by_well.get(str(row["well"])), columns) for row in view.wells.to_dict("records")],
        "gauges": _gauges(view),
        "maps": [_map(view, facts) for facts in view.maps() if facts.result is not None],
    }
    # NaN is no JSON: no browser would read the page's data.
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    # A note with </script> in it would end the data and begin a page of its own.
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _columns(view: ReportView) -> int:
    lines = sum(1 for well in view.wells["well"] if str(well) in view.data.logger_lines)
    fitting = _MOST_SAMPLES // (_KEPT_A_COLUMN * max(lines, 1))
    return min(_MOST_COLUMNS, max(_LEAST_COLUMNS, fitting))


def _length(view: ReportView, metres: Any, decimals: int | None = None) -> float | None:
    value = number_of(metres)
    if not math.isfinite(value):
        return None
    return round(view.measures.length(value), view.measures.decimals if decimals is None else decimals)


def _place(value: Any) -> float | None:
    number = number_of(value)
    # Centimetres: further digits would only make the page larger.
    return round(number, 2) if math.isfinite(number) else None


def _well(view: ReportView, row: dict[str, Any], events: pd.DataFrame | None, columns: int) -> dict[str, Any]:
    code = str(row["well"])
    made: dict[str, Any] = {
        "well": code,
        "aquifer": view.aquifer_name(text_of(row["aquifer"])),
        "x": _place(row["easting"]),
        "y": _place(row["northing"]),
        "facts": _facts(view, row),
        "newest": _newest(view, events),
        "thresholds": _thresholds(view, code),
        "screen": _screen(view, row),
        "ground": _length(view, row["ground_elevation_m"]),
        "points": _points(view, code),
        "levels": _levels(view, events),
    }
    line = view.data.logger_lines.get(code)
    if line is not None:
        made["line"] = _line(view, line, columns)
    return made


def _facts(view: ReportView, row: dict[str, Any]) -> list[list[str]]:
    """Return name and value of what is on record of a well."""
    drilled, ended = date_of(row["drilled_on"]), date_of(row["decommissioned_on"])
    depth, ground = number_of(row["total_depth_m"]), number_of(row["ground_elevation_m"])
    top, bottom = number_of(row["screen_top_m"]), number_of(row["screen_bottom_m"])
    text = view.measures.text
    pairs = [
        ("Cluster", text_of(row["cluster"])),
        ("Purpose", ", ".join(dict.fromkeys(filter(None, (text_of(row["purpose"]), text_of(row["role"])))))),
        ("Ground elevation", text(ground) if math.isfinite(ground) else ""),
        ("Depth as built", text(depth) if math.isfinite(depth) else ""),
        (
            "Screen below ground",
            f"{text(top)} to {text(bottom)}" if math.isfinite(top) and math.isfinite(bottom) else "",
        ),
        ("Drilled", drilled.isoformat() if drilled else ""),
        ("Ended", ended.isoformat() if ended else ""),
        ("Notes", text_of(row["notes"])),
    ]
    return [[name, value] for name, value in pairs if value]


def _newest(view: ReportView, events: pd.DataFrame | None) -> list[list[str]]:
    if events is None:
        return []
    rows = events.sort_values("measured_at_utc", kind="stable").tail(_NEWEST).iloc[::-1]
    return [
        [
            moment_text(str(row["measured_at"])),
            str(row["status"]),
            _printed(view, row),
            str(row["review"]),
            text_of(row["unusable_reason"]) if not row["usable"] else "",
        ]
        for row in rows.to_dict("records")
    ]


def _printed(view: ReportView, row: dict[str, Any]) -> str:
    value = number_of(row["water_elevation_m"])
    if not math.isfinite(value):
        return "—"
    if is_read_below_screen(row):
        return f"{view.measures.text(value)}, below the screen"
    if row["bound"]:
        return f"{'≤' if row['bound'] == '<=' else '≥'} {view.measures.text(value)}"
    return view.measures.plus_minus(value, number_of(row["uncertainty_m"]))


def _thresholds(view: ReportView, code: str) -> list[dict[str, Any]]:
    return [
        {
            "name": status.threshold,
            "kind": status.kind,
            "level": _length(view, status.elevation_m),
            "limit": limit_words(status, view.measures),
            "state": status.state,
        }
        for status in view.thresholds
        if status.well == code
    ]


def _screen(view: ReportView, row: dict[str, Any]) -> list[float] | None:
    """Return the elevations of top and bottom of the screen."""
    ground = number_of(row["ground_elevation_m"])
    ends = [_length(view, ground - number_of(row[name])) for name in ("screen_top_m", "screen_bottom_m")]
    return None if None in ends else [float(end) for end in ends if end is not None]


def _points(view: ReportView, code: str) -> list[list[str]]:
    """Return from when, access, elevation and change of each measuring point in force or before."""
    points = view.data.measuring_points
    live = points[(points["well"] == code) & points["retired_at_utc"].isna()]
    rows = live.sort_values(["access", "valid_from_utc"], kind="stable").to_dict("records")
    return [
        [
            str(pd.Timestamp(row["valid_from_utc"]).date()),
            text_of(row["access"]),
            view.measures.text(number_of(row["elevation_m"])),
            text_of(row["change"]),
        ]
        for row in rows
    ]


def _milliseconds(times: Any) -> list[int]:
    # The clock of a browser counts milliseconds since 1970.
    return [int(value) for value in np.asarray(times, dtype="datetime64[ms]").astype(np.int64)]


def _levels(view: ReportView, events: pd.DataFrame | None) -> dict[str, list[Any]]:
    """Return the levels as columns: time, elevation, half-width, bound, status, review and whether usable."""
    if events is None:
        return {name: [] for name in ("t", "e", "u", "b", "s", "r", "ok")}
    numbered = events[events["water_elevation_m"].notna()].sort_values("measured_at_utc", kind="stable")
    return {
        "t": _milliseconds(numbered["measured_at_utc"].dt.tz_convert(None).to_numpy()),
        "e": [_length(view, value) for value in numbered["water_elevation_m"]],
        "u": [_length(view, value) for value in numbered["uncertainty_m"]],
        # Water below the screen was read as a number; as a bound its point would lose it.
        "b": [_BOUNDS[str(bound)] for bound in numbered["bound"].where(~is_below_screen(numbered), "")],
        "s": [str(status) for status in numbered["status"]],
        "r": [str(review) for review in numbered["review"]],
        "ok": [int(bool(usable)) for usable in numbered["usable"]],
    }


def _line(view: ReportView, line: Any, columns: int) -> dict[str, list[Any]]:
    """Return a logger line thinned so that every extreme stays; None breaks it.

    ``bounds`` has from when to when a sensor was out of water, and the elevation of the bound at either end.
    """
    times = np.asarray(line.time_utc, dtype="datetime64[us]")
    values = np.asarray(line.water_elevation_m, dtype=np.float64)
    if times.size > 1 and times[-1] > times[0]:
        kept = thin(times, values, start_utc=times[0], end_utc=times[-1], columns=columns)
        times, values = times[kept], values[kept]
    shown: dict[str, list[Any]] = {"t": _milliseconds(times), "e": [_length(view, value) for value in values]}
    if line.bounds:
        edges = [_milliseconds([bound[side] for bound in line.bounds]) for side in (0, 1)]
        lengths = [[_length(view, bound[side]) for bound in line.bounds] for side in (2, 3)]
        shown["bounds"] = [list(bound) for bound in zip(*edges, *lengths, strict=True)]
    return shown


def _gauges(view: ReportView) -> list[dict[str, Any]]:
    stages = view.data.stages.drop_duplicates("gauge", keep="last")
    return [
        {"gauge": str(row["gauge"]), "x": _place(row["easting"]), "y": _place(row["northing"])}
        for row in stages.to_dict("records")
    ]


def _map(view: ReportView, facts: MapFacts) -> dict[str, Any]:
    result = facts.result

    def line(x: Any, y: Any) -> list[list[float]]:
        # Decimetres: contours have thousands of corners, and the map is some hundred pixels wide.
        return [[round(float(a), 1), round(float(b), 1)] for a, b in zip(x, y, strict=True)]

    control = facts.control
    return {
        "title": f"{view.aquifer_name(facts.aquifer)}, {facts.day}",
        "contours": [
            {"z": _length(view, one.level_m), "inferred": one.inferred, "line": line(one.x, one.y)}
            for one in result.contours
        ],
        "arrows": [{"inferred": one.inferred, "line": line(*zip(*one.ends, strict=True))} for one in result.arrows],
        "boundary": line(result.boundary[:, 0], result.boundary[:, 1]),
        "control": {
            str(row["well"]): [_length(view, row["water_elevation_m"]), bool(row["used"]), text_of(row["reason"])]
            for row in control.to_dict("records")
        },
    }
