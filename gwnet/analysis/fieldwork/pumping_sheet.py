"""What the sheet of a pumping test says: wells with what is known of them, when to read, cautions.

The content is worked out here, in metres; the PDF and the workbook only set it. Rows that nobody filled in are passed
over when the workbook is loaded.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.fieldwork.field_sheet import InSheetUnit
from gwnet.analysis.levels.places import located
from gwnet.analysis.levels.table import levels
from gwnet.analysis.maps.site_maps import unit_of_coordinates
from gwnet.analysis.pumping.gather import find_test
from gwnet.clock import zone_of
from gwnet.errors import SettingsError
from gwnet.records import RecordState, Selection
from gwnet.store.snapshot import Snapshot
from gwnet.units import MINUTES_PER_DAY

#: Cautions at a pumping test, in short sentences.
TEST_CAUTIONS: Final = (
    "Electricity near water: earthed supply with a residual-current breaker; dry hands, cables off the ground; only an "
    "electrician works on the pump's supply.",
    "Rotating and lifting gear: keep hands, hair and tapes clear of shafts, belts and the rising main; nobody stands "
    "under a load.",
    "Discharge: lead it so far away that it does not come back to the aquifer, floods nobody and washes nothing out; "
    "have the consent of whoever owns the drain or the water.",
    "Contaminated water: sample before the test; keep it in a tank and have it taken away or treated; gloves and "
    "goggles.",
    "Gas: open wells slowly, keep flames off; in pits and pump houses measure the air before you go in.",
    "Traffic: cone off wells, hoses and cables on roads; high-visibility clothing at night.",
)

#: When to read, in minutes after the start of pumping and again after each change of rate and the stop, by kind of
#: well: until a minute, every so many minutes. Common practice, no source; denser at first, since drawdown goes with
#: the logarithm of time.
SCHEDULES: Final[dict[str, tuple[tuple[float, float], ...]]] = {
    "pumped": ((5, 0.5), (10, 1), (30, 2), (60, 5), (120, 10), (300, 30), (1440, 60), (4320, 240)),
    "near": ((2, 0.5), (10, 1), (30, 2), (60, 5), (120, 10), (300, 30), (1440, 60), (4320, 240)),
    "far": ((10, 2), (60, 5), (120, 10), (300, 30), (1440, 60), (4320, 240)),
    "slug": ((0.5, 0.1), (2, 0.25), (5, 0.5), (10, 1), (30, 5), (60, 10)),
}

#: A well up to this distance from the pumped one is read as a near one [m] (project default).
NEAR_M: Final = 30.0

#: A test of which no end is planned is taken to last so long [min].
_USUAL_MIN: Final = MINUTES_PER_DAY

#: Minutes before the start at which levels are read.
_BEFORE: Final = (-60.0, -30.0, -10.0, -5.0, -1.0)


@dataclass(frozen=True, eq=False)
class PumpingSheet(InSheetUnit):
    """Content of the sheet of a test.

    Attributes
    ----------
    site, test, kind, well, purpose, crew, time_zone, unit : str
        What is on record of the test, and the unit of the site's lengths.
    starts_at : datetime.datetime
        Planned or actual start, local time.
    pumping_min : float
        How long the pump is to run [min].
    wells : pandas.DataFrame
        The wells, the pumped one first: well, kind (pumped, near, far, slug), distance_m, measuring_point, last_m (last
        static depth), last_on, hazards.
    schedule : dict of str to tuple of float
        Minutes by kind of well; negative ones before the start, those after the stop counted from the stop and given
        as pairs with `RECOVERY`.
    known_on : gwnet.records.RecordState
        State of the record.
    """

    site: str
    test: str
    kind: str
    well: str
    purpose: str
    crew: str
    time_zone: str
    unit: str
    starts_at: dt.datetime
    pumping_min: float
    wells: pd.DataFrame
    schedule: dict[str, tuple[tuple[str, float], ...]]
    known_on: RecordState


def plan_schedule(kind: str, pumping_min: float) -> tuple[tuple[str, float], ...]:
    """Return when to read a well: the phase, and minutes since its beginning.

    Parameters
    ----------
    kind : str
        Kind of the well, one of `SCHEDULES`.
    pumping_min : float
        How long the pump is to run [min].

    Returns
    -------
    tuple of tuple
        Phase (before, pumping, recovery) and minutes; negative before the start.
    """
    before = [("before", minute) for minute in (_BEFORE if kind != "slug" else (-5.0, -1.0))]
    minutes = _minutes(SCHEDULES[kind], pumping_min)
    pumping = [("pumping", minute) for minute in minutes]
    recovery = [] if kind == "slug" else [("recovery", minute) for minute in minutes]
    return (*before, *pumping, *recovery)


def _minutes(steps: Sequence[tuple[float, float]], last: float) -> list[float]:
    made: list[float] = []
    start = 0.0
    for until, every in steps:
        # Half a step more, so that the end itself is among the times in spite of rounding.
        made += np.arange(start + every, until + every / 2.0, every).round(3).tolist()
        start = until
    return [minute for minute in made if minute <= last]


def pumping_sheet(record: Snapshot, code: str, wells: Sequence[str] | None = None) -> PumpingSheet:
    """Return what the sheet of a test says.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    code : str
        Code of the test, which is on record.
    wells : sequence of str, optional
        Wells to read; the pumped one and those with readings of the test, or else those of its aquifer, unless given.

    Raises
    ------
    NotFoundError
        If the test or a well is not on record.
    SettingsError
        If a well has no coordinates.
    """
    row = find_test(record, code)
    record.require(wells=list(wells) if wells else None)
    pumped = str(row["well"])
    members = list(dict.fromkeys([pumped, *(wells or _usual_wells(record, row))]))
    settings = record.settings
    zone = str(settings["time_zone"])
    start, stop = row["starts_at_utc"], row["stops_at_utc"]
    # Without a planned end the schedule of one day serves.
    pumping_min = _USUAL_MIN if pd.isna(stop) else (stop - start) / pd.Timedelta(minutes=1)
    table = _describe_wells(record, row, members)
    state = record.state
    assert state is not None  # a test is on record
    return PumpingSheet(
        site=str(row["site"]),
        test=str(row["test"]),
        kind=str(row["kind"]),
        well=pumped,
        purpose=str(row["purpose"]),
        crew=str(row["crew"]),
        time_zone=zone,
        unit=str(settings["length_unit"]),
        # Nanoseconds, which no plan has, are dropped without a warning.
        starts_at=start.tz_convert(zone_of(zone)).to_pydatetime(warn=False),
        pumping_min=float(pumping_min),
        wells=table,
        schedule={kind: plan_schedule(kind, float(pumping_min)) for kind in sorted(set(table["kind"]))},
        known_on=state,
    )


def _usual_wells(record: Snapshot, test: pd.Series) -> list[str]:
    readings = record.pumping_readings
    read = sorted(set(readings.loc[readings["test"] == test["test"], "well"]))
    if read:
        return read
    aquifer = record.wells.set_index("well")["aquifer"]
    here = aquifer[aquifer == aquifer[test["well"]]]
    return sorted(str(well) for well in here.index)


def _describe_wells(record: Snapshot, test: pd.Series, members: list[str]) -> pd.DataFrame:
    settings = record.settings
    placed = located(record.wells, str(settings["crs"])).set_index("well", drop=False)
    centre = placed.loc[test["well"]]
    scale = unit_of_coordinates(str(settings["crs"]))
    table = levels(record, Selection.of(sorted(members)))
    read = table[(table["status"] == "static") & table["depth_to_water_m"].notna()]
    last = read.sort_values("measured_at_utc", kind="stable").groupby("well").last()
    points = record.measuring_points
    points = points[points["access"] == "main"].sort_values("valid_from_utc").groupby("well").last()
    rows = []
    for well in members:
        distance = scale * float(
            np.hypot(placed.loc[well, "easting"] - centre["easting"], placed.loc[well, "northing"] - centre["northing"])
        )
        if np.isnan(distance):
            message = f"{well} or {test['well']} has no coordinates, so their distance is not known."
            raise SettingsError(message, fix="Give both their coordinates, or leave the well out with --wells.")
        usual = "near" if distance <= NEAR_M else "far"
        kind = "slug" if test["kind"] == "slug" else "pumped" if well == test["well"] else usual
        rows.append(
            {
                "well": well,
                "kind": kind,
                "distance_m": distance,
                "measuring_point": str(points["description"].get(well, "")),
                "last_m": float(last["depth_to_water_m"].get(well, np.nan)),
                "last_on": str(last["measured_at"].get(well, ""))[:10],
                "hazards": str(placed.loc[well, "hazards"]),
            }
        )
    made = pd.DataFrame(rows)
    # The last key counts first: the pumped well, then the distance, then the name.
    order = np.lexsort((made["well"], made["distance_m"], made["well"] != test["well"]))
    return made.iloc[order].reset_index(drop=True)
