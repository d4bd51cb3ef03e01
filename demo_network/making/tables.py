"""The tables of the demo network, as rows by column."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path
from typing import Any

from making import story
from making.files import Style, write_csv, write_workbook
from making.logger_files import logger_rows
from making.physics import ZONE, abstraction_m3, days, grid, months, rainfall_mm
from making.record import Record, metres

Row = dict[str, Any]

WELL_COLUMNS = (
    "site", "well", "easting", "northing", "coordinate_accuracy", "aquifer", "cluster", "purpose", "role",
    "ground_elevation", "ground_accuracy", "total_depth", "drilled_on", "decommissioned_on", "replaced_by",
    "access_notes", "hazards", "notes",
)  # fmt: skip
POINT_COLUMNS = (
    "site", "well", "access", "valid_from", "valid_until", "elevation", "height_above_ground", "vertical_datum",
    "description", "surveyed_on", "surveyed_by", "survey_method", "accuracy", "change", "notes",
)  # fmt: skip
CONSTRUCTION_COLUMNS = (
    "site", "well", "part", "top_depth", "bottom_depth", "diameter", "material", "installed_on", "notes",
)  # fmt: skip
INSTRUMENT_COLUMNS = (
    "instrument", "kind", "serial", "length_unit", "length_below_sensing_point", "resolution", "accuracy", "range",
    "notes",
)  # fmt: skip
EVENT_COLUMNS = (
    "site", "well", "date", "time", "round", "status", "depth_to_water", "depth_to_water_2", "depth_to_water_3",
    "depth_below_ground", "water_elevation", "depth_to_product", "product_relative_density", "sounded_depth",
    "instrument", "method", "observer", "access", "discharge", "quality", "notes",
)  # fmt: skip
LENGTHS_READ = ("depth_to_water", "depth_to_water_2", "depth_to_water_3", "depth_to_product", "sounded_depth")

#: How the level events of a year are written: the rest are plain CSV in metres.
YEAR_STYLES = {
    2019: Style(delimiter=";", encoding="latin-1", decimal_comma=True, dotted_dates=True),
    2021: Style(centimetres=LENGTHS_READ),
}


def sites() -> list[Row]:
    """Return the site."""
    return [
        {
            "site": story.SITE,
            "name": "Orleva wellfield (invented)",
            "crs": "EPSG:25832",
            "vertical_datum": story.DATUM,
            "length_unit": "m",
            "time_zone": "Europe/Berlin",
            "repeat_tolerance": metres(0.006),
            "same_day_window_days": 1,
            "operator": "Orleva valley water board (invented)",
            "notes": "Invented valley for demonstration; its coordinates lie in open sea",
        }
    ]


def aquifers() -> list[Row]:
    """Return the two aquifers."""
    return [
        {
            "aquifer": "upper",
            "name": "Upper sand and gravel",
            "confinement": "unconfined",
            "notes": "Base 12 to 18 m below ground; in contact with the river",
        },
        {
            "aquifer": "lower",
            "name": "Lower sand",
            "confinement": "semi-confined",
            "notes": "Below 6 to 8 m of silty clay; head above ground near the river",
        },
    ]


def wells() -> list[Row]:
    """Return the wells."""
    made = []
    for well in story.WELLS:
        easting, northing = well.place
        made.append(
            {
                "site": story.SITE,
                "well": well.code,
                "easting": metres(easting, 2),
                "northing": metres(northing, 2),
                "coordinate_accuracy": metres(0.05, 2),
                "aquifer": well.aquifer,
                "cluster": well.cluster,
                "purpose": well.purpose,
                "role": well.role,
                "ground_elevation": metres(well.ground),
                "ground_accuracy": metres(0.02, 2),
                "total_depth": metres(well.total_depth, 2),
                "drilled_on": well.drilled_on,
                "decommissioned_on": well.decommissioned_on,
                "replaced_by": well.replaced_by,
                "access_notes": story.ACCESS_NOTES.get(well.code, ""),
                "hazards": story.HAZARDS.get(well.code, ""),
                "notes": well.notes,
            }
        )
    return made


def construction() -> list[Row]:
    """Return casing, screen, sump, filter pack, seal and backfill of every well."""
    made = []
    for well in story.WELLS:
        pack = max(well.screen_top - 0.5, 0.5)
        seal = max(pack - 3.0, 0.3)
        parts: list[tuple[str, float, float, int | None, str]] = [
            ("casing", 0.0, well.screen_top, well.diameter_mm, well.material),
            ("screen", well.screen_top, well.screen_bottom, well.diameter_mm, f"{well.material}, slot 0.5 mm"),
            ("sump", well.screen_bottom, well.total_depth, well.diameter_mm, well.material),
            ("filter pack", pack, well.total_depth, None, "gravel 1 to 2 mm"),
            ("seal", seal, pack, None, "bentonite pellets"),
        ]
        if seal > 0.5:
            parts.append(("backfill", 0.0, seal, None, "cement grout"))
        for part, top, bottom, diameter, material in parts:
            row: Row = {"site": story.SITE, "well": well.code, "part": part}
            row |= {"top_depth": metres(top, 2), "bottom_depth": metres(bottom, 2), "diameter": diameter}
            made.append(row | {"material": material, "installed_on": well.drilled_on})
    return made


def _point_row(point: story.Point, elevation: float) -> Row:
    return {
        "site": story.SITE,
        "well": point.well,
        "access": point.access,
        "valid_from": point.valid_from,
        "valid_until": point.valid_until,
        "elevation": metres(elevation),
        "height_above_ground": metres(point.height),
        "vertical_datum": story.DATUM,
        "description": point.description,
        "surveyed_on": point.surveyed_on,
        "surveyed_by": story.SURVEYOR,
        "survey_method": "levelling",
        "accuracy": metres(0.010),
        "change": point.change,
        "notes": point.notes,
    }


def measuring_points() -> list[Row]:
    """Return the measuring points as first recorded."""
    return [_point_row(point, point.recorded) for point in story.POINTS]


def corrected_points() -> list[Row]:
    """Return the measuring points whose survey was wrong, as corrected."""
    made = []
    for point in story.POINTS:
        if point.recorded != point.elevation:
            row = _point_row(point, point.elevation)
            notes = "Elevation of 2018 was booked 0.300 m too high"
            made.append(row | {"surveyed_on": story.CORRECTED_ON, "change": "corrected", "notes": notes})
    return made


def instruments() -> list[Row]:
    """Return the instruments; lengths in millimetres, range in metres."""
    return [
        {
            "instrument": item.code,
            "kind": item.kind,
            "serial": item.serial,
            "length_unit": "m",
            "length_below_sensing_point": item.length_mm,
            "resolution": item.resolution_mm,
            "accuracy": item.accuracy_mm,
            "range": item.range_m,
            "notes": item.notes,
        }
        for item in story.INSTRUMENTS
    ]


def tape_checks(record: Record) -> list[Row]:
    """Return the checks of the tapes against the reference tape."""
    made = []
    for code, checks in record.tape_errors.items():
        for day, (reference, tape) in checks:
            for at_reference, at_tape in zip(reference, tape, strict=True):
                made.append(
                    {
                        "instrument": code,
                        "checked_on": dt.date.fromisoformat(day),
                        "tape_reading": metres(at_tape),
                        "reference_reading": metres(at_reference),
                        "checked_by": story.CREW_A,
                        "notes": story.STRETCH_NOTES.get(day, "") if code == "E-2" and at_reference == 0.5 else "",
                    }
                )
    return made


def rounds() -> list[Row]:
    """Return the gauging rounds; the last one names its wells in order."""
    made = []
    for item in story.ROUNDS:
        named = ""
        if item == story.LAST_ROUND:
            route = [*story.ROUTE_A, *story.ROUTE_B]
            named = ";".join("W-06R" if code == "W-06" else code for code in route)
        notes = "High water: meadows by the river were flooded until 2026-02-20" if named else ""
        row: Row = {"site": story.SITE, "round": item.code, "starts_on": item.first, "ends_on": item.last}
        made.append(row | {"purpose": "quarterly levels", "wells": named, "notes": notes})
    return made


def stages(record: Record) -> list[Row]:
    """Return the readings of the two staff gauges, to a centimetre."""
    times: dict[str, set[dt.datetime]] = {"G-1": set(), "G-2": set()}
    for item in story.ROUNDS:
        for day in {item.first, item.last}:
            times["G-1"].add(dt.datetime(day.year, day.month, day.day, 7, 40, tzinfo=ZONE))
            times["G-2"].add(dt.datetime(day.year, day.month, day.day, 12, 15, tzinfo=ZONE))
    for year, month in months((2018, 1)):
        times["G-1"].add(dt.datetime(year, month, 1, 8, 0, tzinfo=ZONE))
    made = []
    for gauge, (s, d) in story.GAUGES.items():
        easting, northing = grid(s, d)
        for moment in sorted(times[gauge]):
            row: Row = {"site": story.SITE, "gauge": gauge, "measured_at": moment.strftime("%Y-%m-%dT%H:%M")}
            row["water_elevation"] = metres(record.valley.stage(s, days(moment)), 2)
            made.append(row | {"easting": metres(easting, 2), "northing": metres(northing, 2), "aquifer": "upper"})
    return made


def thresholds() -> list[Row]:
    """Return the thresholds."""
    made = []
    for well, name, kind, quantity, value, consecutive, since, until, basis, action in story.THRESHOLDS:
        row: Row = {"site": story.SITE, "well": well, "threshold": name, "kind": kind, quantity: metres(value, 2)}
        row |= {"consecutive": consecutive, "valid_from": since, "valid_until": until, "basis": basis}
        made.append(row | {"action": action})
    for well, name, kind, change, span, consecutive, since, basis, action in story.CHANGE_THRESHOLDS:
        row = {"site": story.SITE, "well": well, "threshold": name, "kind": kind, "change": metres(change, 2)}
        row |= {"days": span, "consecutive": consecutive, "valid_from": since, "basis": basis, "action": action}
        made.append(row)
    for well, name, kind, gradient, other, consecutive, since, basis, action in story.GRADIENT_THRESHOLDS:
        row = {"site": story.SITE, "well": well, "threshold": name, "kind": kind, "gradient": metres(gradient, 4)}
        row |= {"other_well": other, "consecutive": consecutive, "valid_from": since, "basis": basis, "action": action}
        made.append(row)
    return made


def context() -> list[Row]:
    """Return monthly rainfall and abstraction, dated on the first day of the month."""
    made = []
    for series, quantity, unit in (("rain gauge Orleva", "rainfall", "mm"), ("P-1", "abstraction", "m3")):
        for year, month in months((2017, 1)):
            value = Decimal(str(rainfall_mm(year, month))) if unit == "mm" else Decimal(abstraction_m3(year, month))
            row: Row = {"site": story.SITE, "series": series, "quantity": quantity, "unit": unit}
            made.append(row | {"date": dt.date(year, month, 1), "value": value, "notes": ""})
    return made


def level_events(record: Record, year: int) -> list[Row]:
    """Return the level events of a year; the default access is left empty."""
    events = [event for event in record.events if event.moment.year == year]
    return [event.row | {"access": "" if event.access == "main" else event.access} for event in events]


def write_tables(folder: Path, record: Record) -> None:
    """Write every table into a folder."""
    (folder / "corrections").mkdir(parents=True, exist_ok=True)
    metre = dict.fromkeys(("coordinate_accuracy", "ground_elevation", "ground_accuracy", "total_depth"), "m")
    write_csv(folder / "sites.csv", list(sites()[0]), sites())
    write_csv(folder / "aquifers.csv", list(aquifers()[0]), aquifers())
    write_csv(folder / "wells.csv", WELL_COLUMNS, wells(), metre)
    in_metres = {"top_depth": "m", "bottom_depth": "m", "diameter": "mm"}
    write_csv(folder / "construction.csv", CONSTRUCTION_COLUMNS, construction(), in_metres)
    write_csv(folder / "measuring_points.csv", POINT_COLUMNS, measuring_points())
    write_csv(folder / "corrections" / "measuring_points.csv", POINT_COLUMNS, corrected_points())
    checks = tape_checks(record)
    in_millimetres = {"length_below_sensing_point": "mm", "resolution": "mm", "accuracy": "mm", "range": "m"}
    book = {
        "instruments": (INSTRUMENT_COLUMNS, [*instruments(), *logger_rows()], in_millimetres),
        "tape_checks": (tuple(checks[0]), checks, {"tape_reading": "m", "reference_reading": "m"}),
    }
    write_workbook(folder / "instruments_and_tape_checks.xlsx", book)
    write_csv(folder / "rounds.csv", ("site", "round", "starts_on", "ends_on", "purpose", "wells", "notes"), rounds())
    quantities = ("water_elevation", "depth_to_water", "depth_below_ground")
    columns = (
        "site",
        "well",
        "threshold",
        "kind",
        *quantities,
        "change",
        "days",
        "gradient",
        "other_well",
        "consecutive",
        "valid_from",
        "valid_until",
        "basis",
        "action",
    )
    write_csv(folder / "thresholds.csv", columns, thresholds())
    write_csv(folder / "stages.csv", list(stages(record)[0]), stages(record), style=Style(encoding="utf-8-sig"))
    write_csv(folder / "context.csv", list(context()[0]), context(), style=Style(delimiter="\t"))
    for year in range(2018, 2027):
        rows = level_events(record, year)
        read = tuple(name for name in EVENT_COLUMNS if name in ("time", "notes") or any(row.get(name) for row in rows))
        style = YEAR_STYLES.get(year, Style())
        write_csv(folder / f"level_events_{year}.csv", read, rows, {"discharge": "L/s"}, style)
