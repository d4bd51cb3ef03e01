"""Constructed records for the report's tests: an invented wellfield whose numbers follow a simple rule."""

from __future__ import annotations

import datetime as dt
import io
import math
from dataclasses import replace

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from gwnet.analysis.maps.same_day_loggers import count_text
from gwnet.records import RecordState
from gwnet.reporting.compose import compose_view
from gwnet.reporting.data import COLUMNS, GradientFacts, MapFacts, ReportData, SiteFacts
from gwnet.reporting.definition.period import parse_period
from gwnet.reporting.view import look

KNOWN_ON = dt.datetime(2026, 4, 10, 12, 0, tzinfo=dt.UTC)
ZONE = "UTC+01:00"
OFFSET = dt.timezone(dt.timedelta(hours=1))
NAN = float("nan")


def site(unit="m"):
    return SiteFacts(
        code="HOL",
        name="Holm wellfield",
        crs="EPSG:25832",
        vertical_datum="local datum 1990",
        length_unit=unit,
        time_zone=ZONE,
        repeat_tolerance_m=0.006,
        same_day_window_days=1.0,
        operator="Holm water works",
    )


def well_code(index):
    return f"HW-{index + 1:03d}"


def wells(count):
    rows = []
    for index in range(count):
        lower = index % 3 == 2
        top = 18.0 if lower else 6.0
        rows.append(
            {
                "site": "HOL",
                "well": well_code(index),
                "aquifer": "L" if lower else "U",
                "cluster": f"C{index // 3 + 1:02d}" if index % 3 else "",
                "purpose": "observation" if index % 7 else "supply",
                "role": ("up-gradient", "down-gradient", "")[index % 3],
                "easting": 500_000.0 + 83.25 * (index % 15),
                "northing": 6_100_000.0 + 61.5 * (index // 15) + 17.0 * (index % 4),
                "longitude": NAN,
                "latitude": NAN,
                "coordinate_accuracy_m": 0.05 if index % 5 else NAN,
                "ground_elevation_m": ground(index),
                "ground_accuracy_m": 0.02,
                "total_depth_m": top + 6.5,
                "screen_top_m": top,
                "screen_bottom_m": top + 6.0,
                "drilled_on": dt.date(2017, 5, 2 + index % 20) if index % 4 else None,
                "decommissioned_on": dt.date(2025, 9, 1) if index == 9 else None,
                "replaced_by": well_code(10) if index == 9 else "",
                "notes": "",
            }
        )
    return pd.DataFrame(rows)


def ground(index):
    return 42.0 - 0.13 * (index % 15) - 0.05 * (index // 15)


def head(index, year):
    base = ground(index) - (5.4 if index % 3 == 2 else 2.6)
    return base + 0.45 * math.sin(2 * math.pi * (year - 0.1)) - 0.03 * (year - 2018) + 0.07 * math.sin(index)


def construction(count):
    rows = []
    for index in range(count):
        top = 18.0 if index % 3 == 2 else 6.0
        for part, start, end, diameter, material in (
            ("casing", 0.0, top, 50.0, "PVC"),
            ("screen", top, top + 6.0, 50.0, "PVC"),
            ("seal", top - 2.0, top - 1.0, NAN, "bentonite"),
            ("filter pack", top - 1.0, top + 6.5, NAN, "gravel 2-3 mm"),
        ):
            if part == "seal" and index % 6 == 1:
                continue
            rows.append(("HOL", well_code(index), part, start, end, diameter, material, dt.date(2017, 5, 2), None, ""))
    return pd.DataFrame(rows, columns=["site", *COLUMNS["construction"]])


def measuring_points(count):
    rows = []
    for index in range(count):
        start, recorded = pd.Timestamp("2017-06-01", tz="UTC"), pd.Timestamp("2017-07-01 10:00", tz="UTC")
        changed = pd.Timestamp("2022-03-14 09:00", tz="UTC")
        high = ground(index) + 0.6
        altered = index % 8 == 3
        rows.append(point(index, start, changed if altered else pd.NaT, high, 0.6, "installed", recorded, pd.NaT))
        if altered:
            rows.append(point(index, changed, pd.NaT, high - 0.25, 0.35, "altered", changed, pd.NaT))
        if index == 4:
            wrong = pd.Timestamp("2026-02-20 08:00", tz="UTC")
            rows[-1]["recorded_at_utc"] = wrong
            rows.append(point(index, start, pd.NaT, high + 0.1, 0.6, "installed", recorded, wrong))
    return pd.DataFrame(rows)


def point(index, start, end, elevation, height, change, recorded, retired):
    return {
        "site": "HOL",
        "well": well_code(index),
        "access": "main",
        "valid_from_utc": start,
        "valid_until_utc": end,
        "elevation_m": elevation,
        "height_above_ground_m": height,
        "vertical_datum": "local datum 1990",
        "description": "notch in the rim, north side",
        "surveyed_on": start.date(),
        "surveyed_by": "survey office",
        "survey_method": "levelled",
        "accuracy_m": 0.01,
        "change": change,
        "notes": "",
        "recorded_at_utc": recorded,
        "recorded_by": "registrar",
        "retired_at_utc": retired,
    }


def round_code(year, quarter):
    return f"{year}-Q{quarter}"


def round_day(year, quarter):
    return dt.date(year, 3 * quarter - 1, 10)


def rounds(first_year=2018):
    rows = []
    for year in range(first_year, 2027):
        for quarter in range(1, 5):
            if (year, quarter) > (2026, 2):
                continue
            day = round_day(year, quarter)
            rows.append(("HOL", round_code(year, quarter), day, day + dt.timedelta(days=1), "quarterly round", [], ""))
    return pd.DataFrame(rows, columns=["site", *COLUMNS["rounds"]])


def levels(count, first_year=2018):
    rows = []
    for number, gauging in enumerate(rounds(first_year).to_dict("records")):
        for index in range(count):
            row = level(number, gauging, index)
            if row is not None:
                rows.append(row)
    frame = pd.DataFrame(rows)
    frame["measured_at_utc"] = frame["measured_at_utc"].astype("datetime64[us, UTC]")
    return frame.sort_values(["site", "well", "measured_at_utc"], ignore_index=True)


def status_of(number, index, newest):
    if index == 6:
        return "dry" if number % 4 in (2, 3) or newest else "static"
    if index == 7 and newest:
        return "pumping"
    if index == 12 and newest:
        return "no access"
    return "static"


def level(number, gauging, index):
    """One event; the last but one round is 2026-Q1, the round of the tests."""
    newest = gauging["round"] == "2026-Q1"
    if (index == 13 and newest) or ((index + number) % 41 == 40 and not newest):
        return None
    day = gauging["starts_on"] + dt.timedelta(days=1 if index > 90 else 0)
    moment = dt.datetime.combine(day, dt.time(8, 5), tzinfo=OFFSET) + dt.timedelta(minutes=5 * (index % 90))
    status = status_of(number, index, newest)
    high = ground(index) + (0.35 if index % 8 == 3 and day >= dt.date(2022, 3, 14) else 0.6)
    value = head(index, day.year + (day.month - 1) / 12)
    bound = ""
    depth = high - value
    if status == "dry":
        bound, value, depth = "<=", ground(index) - 12.0, NAN
    if status == "no access":
        value, depth = NAN, NAN
    if status == "pumping":
        value, depth = value - 1.8, depth + 1.8
    usable = status == "static"
    product = 0.12 if index == 8 and newest else NAN
    approved = gauging["round"] < "2026-Q1" or index % 4 == 0
    return {
        "site": "HOL",
        "well": well_code(index),
        "measured_at": moment.isoformat(timespec="minutes") if (index + number) % 29 else day.isoformat(),
        "day": pd.Timestamp(day),
        "round": gauging["round"],
        "status": status,
        "bound": bound,
        "depth_to_water_m": depth,
        "depth_below_ground_m": depth - (high - ground(index)),
        "measuring_point_elevation_m": high,
        "water_elevation_m": value,
        "uncertainty_m": 0.014 if usable or status == "pumping" else NAN,
        "quality": "good" if index % 3 else "unchecked",
        "review": "approved" if approved else "provisional",
        "finding": "step of 0.310 m against the last three rounds" if index == 5 and newest else "",
        "event_id": number * 1000 + index + 1,
        "access": "main",
        "aquifer": "L" if index % 3 == 2 else "U",
        "measured_at_utc": moment.astimezone(dt.UTC),
        "time_known": bool((index + number) % 29),
        "usable": usable,
        "unusable_reason": "" if usable else status,
        "bound_elevation_m": value if bound else NAN,
        "accuracy_from": "survey: stated; reading: stated",
        "water_elevation_uncorrected_m": value - (0.1 if product == product else 0.0),
        "product_thickness_m": product,
        "sounded_depth_m": (24.5 if index % 3 == 2 else 12.5) - (2.1 if index == 2 else 0.0)
        if gauging["round"].endswith("Q1")
        else NAN,
        "method": "electric tape",
        "instrument": "ET-1" if index % 2 else "ET-2",
        "observer": "field crew",
        "notes": "gate locked, owner away" if status == "no access" else "",
    }


def thresholds(count):
    rows = []
    for index in range(0, count, 4):
        now = head(index, 2026 + 1 / 12)
        lower = [("warning", now + 0.4, 1), ("action", now - 0.3, 2)]
        if index == 0:
            lower = [("warning", now + 0.4, 2), ("action", now + 0.005, 1)]
        for name, elevation, consecutive in lower:
            rows.append(("HOL", well_code(index), name, "lower", "water_elevation", elevation, consecutive,
                         pd.Timestamp("2019-01-01", tz="UTC"), pd.NaT, "permit, condition 4",
                         "reduce abstraction" if name == "action" else ""))  # fmt: skip
    if count > 6:
        elevation = ground(6) - 13.0
        rows.append(("HOL", well_code(6), "base", "lower", "water_elevation", elevation, 1,
                     pd.Timestamp("2019-01-01", tz="UTC"), pd.NaT, "", ""))  # fmt: skip
    return pd.DataFrame(rows, columns=["site", *COLUMNS["thresholds"]])


def tape_checks():
    rows = [
        ("ET-1", dt.date(2025, 10, 2), depth, depth + 0.0006 * depth, "office", "") for depth in (5.0, 10.0, 20.0)
    ] + [("ET-2", dt.date(2024, 9, 20), depth, depth, "office", "") for depth in (5.0, 20.0)]
    rows.append(("ET-1", dt.date(2023, 10, 2), 5.0, 5.001, "office", ""))
    return pd.DataFrame(rows, columns=COLUMNS["tape_checks"])


def corrections():
    rows = [
        (pd.Timestamp("2026-02-20 08:00", tz="UTC"), "registrar", "measuring point", well_code(4), "elevation",
         "42.180 m", "42.080 m", "level run closed on the wrong benchmark"),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS["corrections"])


def findings():
    rows = [
        (well_code(0), "2026-02-10T08:05+01:00", "2026-Q1", "tape-check-old", "note",
         "the tape was last checked more than a year before the reading"),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS["findings"])


def map_facts(frame, wells_frame, aquifer, determined=True):
    now = frame[(frame["round"] == "2026-Q1") & (frame["aquifer"] == aquifer)].merge(
        wells_frame[["well", "easting", "northing"]], on="well"
    )
    control = pd.DataFrame(
        {
            "site": "HOL",
            "well": now["well"],
            "kind": "well",
            "easting": now["easting"],
            "northing": now["northing"],
            "measured_at": now["measured_at"],
            "measured_at_utc": now["measured_at_utc"],
            "water_elevation_m": now["water_elevation_m"],
            "uncertainty_m": now["uncertainty_m"],
            "status": now["status"],
            "used": now["usable"],
            "reason": now["unusable_reason"],
            "source": "manual",
            "event_id": now["event_id"],
            "time_known": now["time_known"],
            "cluster": "",
        }
    )
    gradient = GradientFacts(
        0.00182, 0.00021, 84.0, 7.0, determined, int(control["used"].sum()), count_text(control.assign(source="manual"))
    )
    return MapFacts(
        aquifer=aquifer,
        day=dt.date(2026, 2, 10),
        control=control,
        interval_m=0.25,
        cross_validation_m=0.043,
        gradient=gradient,
    )


def record(count=24, unit="m", first_year=2018, **changes):
    """A constructed record with the given number of wells, the round 2026-Q1 being the newest but one."""
    wells_frame, levels_frame = wells(count), levels(count, first_year)
    parts = {
        "site": site(unit),
        "known_on": RecordState(24, KNOWN_ON),
        "wells": wells_frame,
        "levels": levels_frame,
        "aquifers": pd.DataFrame(
            [("U", "Upper sand", "unconfined"), ("L", "Lower gravel", "confined")], columns=COLUMNS["aquifers"]
        ),
        "construction": construction(count),
        "measuring_points": measuring_points(count),
        "rounds": rounds(first_year),
        "thresholds": thresholds(count),
        "findings": findings(),
        "corrections": corrections(),
        "tape_checks": tape_checks(),
        "maps": tuple(
            map_facts(levels_frame, wells_frame, aquifer, aquifer == "U")
            for aquifer in ("L", "U")
            if (wells_frame["aquifer"] == aquifer).any()
        ),
        "sources": pd.DataFrame(
            [("levels_2026q1.csv", "ab" * 32, "level_events", 24, pd.Timestamp("2026-02-12", tz="UTC"))],
            columns=COLUMNS["sources"],
        ),
    }
    parts.update(changes)
    return ReportData(**parts)


class PlainDrawing:
    """Draws simple stand-ins with the right data, so that the report can be tested apart from the real figures."""

    def network_map(self, view, frame, wells=None):
        figure, axes = self._figure(frame)
        drawn = view.wells if wells is None else wells
        axes.plot(drawn["easting"], drawn["northing"], "k^")
        return self._pdf(figure)

    def potentiometric_map(self, view, facts, frame):
        figure, axes = self._figure(frame)
        used = facts.control[facts.control["used"].astype(bool)]
        axes.scatter(used["easting"], used["northing"], c=used["water_elevation_m"], cmap="Greys")
        return self._pdf(figure)

    def aquifer_page(self, view, facts, frame):
        return self.potentiometric_map(view, facts, frame)

    def key_map(self, view, frame):
        return self.network_map(view, frame)

    def key_height_mm(self, view):
        return 30.0

    def thresholds(self, view, rows, charts, frame):
        figure, axes = self._figure(replace(frame, height_mm=20.0 * len(rows) + 20.0))
        for place, row in enumerate(rows):
            axes.plot(row.readings, np.full(row.readings.size, place), "k.")
        return self._pdf(figure)

    def high_low(self, view, pair, named, frame):
        return self.potentiometric_map(view, pair[0], frame)

    def year_strips(self, view, wells, frame):
        return self.hydrographs(view, wells, wells, frame)

    def strip_scale(self, view, group, frame):
        return 0.7

    def hydrographs(self, view, wells, group, frame):
        # the frame is the room that there is; a strip takes 27 mm, and what lies under them 40
        figure, axes = self._figure(replace(frame, height_mm=min(frame.height_mm, 27.0 * len(wells) + 40.0)))
        for well in wells:
            rows = view.levels[view.levels["well"] == well]
            axes.plot(np.arange(len(rows)), rows["water_elevation_m"].to_numpy(dtype=float), "k.-")
        return self._pdf(figure)

    @staticmethod
    def _figure(frame):
        figure = Figure(figsize=(frame.width_mm / 25.4, frame.height_mm / 25.4))
        return figure, figure.add_subplot()

    @staticmethod
    def _pdf(figure):
        target = io.BytesIO()
        # Both types, as in the real figures: with one alone the minus sign gets glyph 0, which PDF/A forbids.
        with matplotlib.rc_context({"pdf.fonttype": 42, "ps.fonttype": 42}):
            figure.savefig(target, format="pdf", metadata={"CreationDate": None})
        return target.getvalue()


def compose(definition, data, *, period, drawing):
    """Compose the report of a definition and a record in one step."""
    when = parse_period(period) if isinstance(period, str) else period
    return compose_view(look(definition, data, when), drawing)
