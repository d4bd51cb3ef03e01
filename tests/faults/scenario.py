"""A small record that every test of faults starts from: its files, and the stages in which it is built.

Four invented wells with five gauging rounds, one decimal slip, a vented logger in one of them. A stage is the record
after a few commands; stages are built once, by the public route, and copied for each trial.
"""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

ROUNDS = ("2025-Q1", "2025-Q2", "2025-Q3", "2025-Q4", "2026-Q1")
_DAYS = ("2025-02-18", "2025-05-20", "2025-08-19", "2025-11-18", "2026-02-17")
WELLS = ("MW-1", "MW-2", "MW-3", "MW-4")

#: Depth to water that was booked with its point in the wrong place, and what it should be.
SLIPPED, RIGHT = "41.25", "4.125"

LAYOUT = """\
[table]
heading_pattern = "^Time"

[time]
column = "Time"
formats = ["%Y-%m-%d %H:%M"]
zone = "UTC+01:00"

[[columns]]
quantity = "water pressure"
column = "Pressure"
unit = "kPa"

[[columns]]
quantity = "water temperature"
column = "Temperature"
unit = "degC"

[serial]
pattern = 'Serial: (\\w+)'
"""

DEFINITION = """\
title = "Levels of the quarter"
sections = ["summary", "levels", "cautions"]
units = "m"
contents = false
web_page = false
"""


def _lines(*lines: str) -> str:
    return "".join(f"{line}\n" for line in lines)


def depth(well: int, day: int) -> float:
    """Return the depth to water of a well in a round, both counted from 0 [m]."""
    return round(4.0 + 0.35 * well + 0.4 * math.sin(day * 1.6 + 0.2 * well), 3)


def _level_rows() -> list[str]:
    rows = []
    for day, (code, date) in enumerate(zip(ROUNDS, _DAYS, strict=True)):
        for well, name in enumerate(WELLS):
            first = depth(well, day)
            written = SLIPPED if (well, day) == (0, 1) else f"{first:.3f}"
            second = "" if written == SLIPPED else f"{first + 0.002:.3f}"
            rows.append(f"SILVEN,{name},{date},{9 + well:02d}:15,{code},static,{written},{second},E-1,R. Olmar,good")
    return rows


LEVEL_HEADING = "site,well,date,time,round,status,depth_to_water,depth_to_water_2,instrument,observer,quality"

TABLES = {
    "sites": _lines(
        "site,name,crs,vertical_datum,length_unit,time_zone,notes",
        "SILVEN,Silven terrace (invented),EPSG:25832,local,m,Europe/Vienna,",
    ),
    "aquifers": _lines("aquifer,name,confinement", "upper,Upper gravel,unconfined"),
    "wells": _lines(
        "site,well,easting,northing,aquifer,purpose,ground_elevation,total_depth,drilled_on",
        *(
            f"SILVEN,{name},{400100 + 180 * at},{5300050 + 130 * (at % 2)},upper,observation,{312.4 + 0.3 * at:.2f},14.0,2019-04-0{at + 1}"
            for at, name in enumerate(WELLS)
        ),
    ),
    "construction": _lines(
        "site,well,part,top_depth,bottom_depth,diameter,material",
        *(
            f"SILVEN,{name},{part},{top},{bottom},115,PVC"
            for name in WELLS
            for part, top, bottom in (("casing", "0.00", "6.50"), ("screen", "6.50", "13.50"))
        ),
    ),
    "measuring_points": _lines(
        "site,well,valid_from,elevation,height_above_ground,accuracy",
        *(f"SILVEN,{name},2019-05-01,{313.2 + 0.3 * at:.3f},0.80,0.01" for at, name in enumerate(WELLS)),
    ),
    "tape_checks": _lines(
        "instrument,checked_on,tape_reading,reference_reading,checked_by",
        *(
            f"E-1,{day},{tape},{reference},R. Olmar"
            for day in ("2025-01-10", "2026-01-09")
            for tape, reference in (("2.000", "2.000"), ("50.005", "50.000"))
        ),
    ),
    "instruments": _lines("instrument,kind,serial", "E-1,electric tape,", "L-1,vented pressure logger,77"),
    "deployments": _lines("site,well,instrument,installed_at,hanging_depth", "SILVEN,MW-2,L-1,2025-11-18 11:00,8.20"),
    "rounds": _lines(
        "site,round,starts_on,ends_on", *(f"SILVEN,{code},{day},{day}" for code, day in zip(ROUNDS, _DAYS, strict=True))
    ),
    "stages": _lines(
        "site,gauge,measured_at,water_elevation,easting,northing,aquifer",
        *(f"SILVEN,G-1,{day}T08:00,{307.1 + 0.05 * at:.2f},400050,5299980,upper" for at, day in enumerate(_DAYS)),
    ),
    "level_events": _lines(LEVEL_HEADING, *_level_rows()),
}


MAPPING = """\
name = "silven"
site = "SILVEN"

[source.readings]
file = "readings*"
heading_row = 1
missing = ["-99"]

[source.stations]
file = "stations*"

[[table]]
name = "wells"
from = "stations"

[table.columns]
well = "Station"
easting = "East"
northing = "North"
aquifer = { value = "upper" }
ground_elevation = { column = "Ground (ft)", unit = "ft" }
total_depth = { column = "Depth (cm)", unit = "cm" }

[[table]]
name = "measuring_points"
from = "stations"

[table.columns]
well = "Station"
valid_from = { column = "Since", formats = ["%d/%m/%Y"] }
elevation = { column = "Rim (in)", factor = 0.0254 }

[[table]]
name = "level_events"
from = "readings"

[table.columns]
well = "Station"
date = { column = "Date", formats = ["%m/%d/%Y"] }
time = "Clock"
depth_to_water = { column = "Depth (ft)", unit = "ft" }
observer = "Who"

[table.columns.status]
column = "State"

[table.columns.status.words]
"S" = "static"
"D" = "dry"
"""


def foreign_tables() -> dict[str, str]:
    """Return tables as somebody else keeps them, which the mapping reads: stations and readings, by file name."""
    stations = [
        f"{name},{400100 + 180 * at},{5300050 + 130 * (at % 2)},{1025.0 + at:.2f},1400,01/05/2019,{12330 + 12 * at}"
        for at, name in enumerate(WELLS)
    ]
    readings = []
    for day, date in enumerate(_DAYS):
        for well, name in enumerate(WELLS):
            written, state = (f"{depth(well, day) / 0.3048:.2f}", "S") if (well, day) != (3, 2) else ("-99", "D")
            us_date = f"{date[5:7]}/{date[8:]}/{date[:4]}"
            readings.append(f"{name},{us_date},{9 + well:02d}:15,{written},{state},R. Olmar")
    return {
        "stations.csv": _lines("Station,East,North,Ground (ft),Depth (cm),Since,Rim (in)", *stations),
        "readings.csv": _lines("Station,Date,Clock,Depth (ft),State,Who", *readings),
    }


def logger_file(samples: int = 240) -> str:
    """Return an export of the logger with hourly samples."""
    start = dt.datetime(2025, 11, 18, 12, 0)  # noqa: DTZ001 (the layout says the zone)
    rows = [
        f"{start + dt.timedelta(hours=at):%Y-%m-%d %H:%M},{38.2 + 0.4 * math.sin(at / 30):.3f},{9.5 + 0.01 * (at % 7):.2f}"
        for at in range(samples)
    ]
    return _lines("Serial: 77", "Time,Pressure,Temperature", *rows)


def corrected_levels() -> str:
    """Return a table that corrects the slipped depth."""
    return _lines(LEVEL_HEADING, *(row.replace(SLIPPED, RIGHT) for row in _level_rows() if SLIPPED in row))


def write_files(folder: Path) -> None:
    """Write every file of the scenario into a folder: tables, corrections, logger's export, layout, definition, mapping."""
    (folder / "tables").mkdir(parents=True)
    (folder / "corrected").mkdir()
    for name, text in TABLES.items():
        (folder / "tables" / f"{name}.csv").write_text(text, encoding="utf-8")
    (folder / "corrected" / "level_events.csv").write_text(corrected_levels(), encoding="utf-8")
    (folder / "logger.csv").write_text(logger_file(), encoding="utf-8")
    (folder / "layout.toml").write_text(LAYOUT, encoding="utf-8")
    (folder / "levels.toml").write_text(DEFINITION, encoding="utf-8")
    (folder / "mapping.toml").write_text(MAPPING, encoding="utf-8")
    for name, text in foreign_tables().items():
        (folder / name).write_text(text, encoding="utf-8")
