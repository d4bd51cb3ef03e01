"""What a field sheet says: for each well of a round where to read, what was read before and what to expect.

The content is worked out here, in metres; the PDF and the workbook only set it, so that they cannot differ. A planned
row that nobody filled in is no level event: it is passed over and reported. The test of tapes at the start of a day is
on paper only: two depths are no calibration and would take the place of one.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.fieldwork.conditions import (
    CONFINED,
    NO_BASELINE,
    OBSTRUCTED,
    PRESSURE,
    SHORT,
    conditions_of,
    describe_condition,
)
from gwnet.analysis.fieldwork.planning import (
    CHECK,
    GAUGE,
    Programme,
    due_by,
    due_text,
    tapes_in_service,
)
from gwnet.constants import MAD_TO_SD, REPEAT_TOLERANCE_M
from gwnet.records import RecordState
from gwnet.store.fetch.round_values import RoundValues
from gwnet.units import METRES_PER_UNIT

#: A level of an earlier year counts for a season within so many days of the calendar day (project default).
SEASON_DAYS: Final = 45

#: Fewer levels than this in a season give no expectation (project default).
LEAST_IN_SEASON: Final = 5

#: The expected range reaches so many robust standard deviations (1.4826 times the median absolute deviation) to either
#: side of the season's median (project default) ...
DEVIATIONS: Final = 4.0

#: ... and at least this far [m] (project default).
LEAST_HALF_RANGE_M: Final = 0.1

#: A sounding that differs from the one before by more than this is looked at again [m] (project default; the length of
#: a probe below its sensing point is not in a reading).
SOUNDING_CHANGE_M: Final = 0.25

#: The usual cautions at a well, in short sentences.
CAUTIONS: Final = (
    "Traffic and open covers: cone off the place, never leave an open cover, close every one.",
    "Gas at the cap: open it slowly, face away, keep flames off; wait until gas has gone and the level has settled.",
    "Vaults, pits and manholes are confined spaces: read from above; no entry without a permit, a gas test and an "
    "attendant outside.",
    "Flowing wells and trapped pressure: loosen caps and valves slowly; stand aside.",
    "Obstructed wells: never force a tape; sound the bottom before a level counts again.",
    "Pumps: moving and live parts; never lower a tape beside a running pump.",
    "Contamination: gloves; least contaminated wells first; clean tape and probe after every well.",
    "Working alone: say where you go and when you will be back.",
)

#: What governs beyond them.
GOVERNS: Final = "These are reminders only. Local rules and the site's own safety plan govern."

#: How many earlier depths stand on a sheet.
EARLIER: Final = 3

#: Columns of the frame of wells of a sheet.
WELL_COLUMNS: Final = tuple(
    (
        "place site well access other_accesses measuring_point height_above_ground_m expected_from_m expected_to_m "
        "expected_levels bottom_m bottom_source screen_top_m screen_bottom_m due access_notes hazards contamination "
        "notes"
    ).split()
)

#: What is said of the contamination of a well, by its place in `gwnet.analysis.fieldwork.planning.CONTAMINATION`.
_CARE: Final = (
    "",
    "Contamination on record: clean tape and probe thoroughly afterwards.",
    "Floating product on record: read product and water, clean tape and probe thoroughly afterwards.",
)

#: Columns of the frame of earlier depths.
EARLIER_COLUMNS: Final = ("well", "measured_on", "status", "depth_to_water_m")


class InSheetUnit:
    """Lengths in the unit of a sheet."""

    unit: str

    @property
    def metres(self) -> float:
        """Return the metres in one unit of the sheet."""
        return METRES_PER_UNIT[self.unit]

    @property
    def decimals(self) -> int:
        """Return the decimals to which a tape is read in the unit of the sheet."""
        return {"m": 3, "cm": 1, "mm": 0}.get(self.unit, 2)

    def number(self, value_m: float) -> str:
        """Return a length in the unit of the sheet as text; empty where it is not known.

        Parameters
        ----------
        value_m : float
            Length [m].
        """
        return "" if math.isnan(value_m) else f"{value_m / self.metres:.{self.decimals}f}"


@dataclass(frozen=True)
class FieldSheet(InSheetUnit):
    """What the field sheets of a round say, on paper and in a workbook.

    Attributes
    ----------
    site, site_name : str
        Code and name.
    round : str
        Code of the gauging round.
    starts_on, ends_on : datetime.date
        Its first and last local day.
    purpose, crew, notes : str
        Texts of the round.
    time_zone : str
        Time zone of the site, in which the crew writes the time.
    unit : str
        Unit of the site, in which the crew reads and writes.
    tolerance_m : float
        Repeats must agree within this [m].
    wells : pandas.DataFrame
        One row a well in the order of the walk, columns of `WELL_COLUMNS`; depths below the measuring point, positive
        downward [m].
    earlier : pandas.DataFrame
        The last depths of each well, newest first, columns of `EARLIER_COLUMNS`; below the measuring point in force.
    tapes : tuple of str
        Tapes and probes on record.
    tapes_due : tuple of str
        Those whose check is due, in words.
    statuses : tuple of str
        Words for what can be met at a well.
    known_on : gwnet.records.RecordState
        State of the record that the sheet was programme from.
    """

    site: str
    site_name: str
    round: str
    starts_on: dt.date
    ends_on: dt.date
    purpose: str
    crew: str
    notes: str
    time_zone: str
    unit: str
    tolerance_m: float
    wells: pd.DataFrame
    earlier: pd.DataFrame
    tapes: tuple[str, ...]
    tapes_due: tuple[str, ...]
    statuses: tuple[str, ...]
    known_on: RecordState

    @property
    def days(self) -> tuple[dt.date, ...]:
        """Return the days of the round."""
        return tuple(self.starts_on + dt.timedelta(days=n) for n in range((self.ends_on - self.starts_on).days + 1))

    def expectation(self, well: Mapping[str, Any]) -> str:
        """Return the range expected at a well as a sentence, or that there is none and why.

        Parameters
        ----------
        well : mapping
            Row of `wells`.
        """
        low, high = self.number(well["expected_from_m"]), self.number(well["expected_to_m"])
        count = int(well["expected_levels"])
        if low and high:
            return f"Expected {low} to {high} ({count} levels of this season)."
        return f"No expectation: fewer than {LEAST_IN_SEASON} levels of this season ({count})."


def field_sheet(
    programme: Programme,
    code: str,
    planned: RoundValues,
    *,
    statuses: tuple[str, ...],
    known_on: RecordState,
) -> FieldSheet:
    """Put together what the sheets of a round say.

    Parameters
    ----------
    programme : gwnet.analysis.fieldwork.planning.Programme
        Site on the first day of the round.
    code : str
        Code of the round.
    planned : gwnet.store.fetch.round_values.RoundValues
        The round, its wells in the order of the walk.
    statuses : tuple of str
        Words for what can be met at a well.
    known_on : gwnet.records.RecordState
        State of the record.

    Returns
    -------
    FieldSheet
        The sheets' content.
    """
    ends_on = planned.ends_on or planned.starts_on
    waiting = due_by(programme.due, ends_on)
    conditions = conditions_of(programme)
    unit = str(programme.site["length_unit"])
    tolerance = programme.site["repeat_tolerance_m"]
    # Levels of the round itself are what the sheet is for.
    earlier = programme.levels[programme.levels["day"] < planned.starts_on]
    rows, depths = [], []
    for place, well in enumerate(planned.wells, start=1):
        own = earlier[earlier["well"] == well].sort_values("measured_at_utc", kind="stable")
        point = _point(programme, well, own)
        row = _well_row(programme, well, point, own, planned.starts_on, waiting)
        for column, kinds in _SAID_IN.items():
            said = conditions[(conditions["well"] == well) & conditions["kind"].isin(kinds)]
            row[column] = _joined(row[column], said, unit)
        rows.append({"place": place, **row, "contamination": _CARE[programme.contamination[well]]})
        depths += _earlier(well, own, point)
    tapes = waiting[waiting["what"] == CHECK].itertuples()
    return FieldSheet(
        site=str(programme.site["site"]),
        site_name=str(programme.site["name"]),
        round=code,
        starts_on=planned.starts_on,
        ends_on=ends_on,
        purpose=planned.purpose,
        crew=planned.crew,
        notes=planned.notes,
        time_zone=str(programme.site["time_zone"]),
        unit=unit,
        tolerance_m=REPEAT_TOLERANCE_M if pd.isna(tolerance) else float(tolerance),
        wells=pd.DataFrame(rows, columns=list(WELL_COLUMNS)),
        earlier=pd.DataFrame(depths, columns=list(EARLIER_COLUMNS)).astype({"depth_to_water_m": "float64"}),
        # Before the first round no tape has been used; then all on record are offered.
        tapes=tuple(tapes_in_service(programme) or programme.tapes["instrument"]),
        tapes_due=tuple(
            f"{item.instrument} ({'never checked' if item.due_on is None else f'check due {item.due_on}'})"
            for item in tapes
        ),
        statuses=statuses,
        known_on=known_on,
    )


#: Where conditions of a well are said on its sheet; floating product and surveys have words there already.
_SAID_IN: Final = {
    "hazards": (CONFINED, PRESSURE),
    "due": (OBSTRUCTED, SHORT),
    "notes": (NO_BASELINE,),
}
_TO_DO: Final = {OBSTRUCTED: "sound bottom", SHORT: "sound bottom again"}


def _joined(text: str, said: pd.DataFrame, unit: str) -> str:
    """Return a text of a sheet with conditions of the well behind it."""
    parts = [str(text)] if text else []
    for row in said.to_dict("records"):
        words = describe_condition(row, lambda metres: f"{metres / METRES_PER_UNIT[unit]:.2f} {unit}")
        parts.append(f"{_TO_DO[row['kind']]} ({words})" if row["kind"] in _TO_DO else f"{row['kind']}: {words}")
    return "; ".join(parts)


def _point(programme: Programme, code: str, own: pd.DataFrame) -> pd.Series | None:
    """Return the measuring point to read from: of the access read last, else ``main``, else the first by name."""
    points = programme.points[programme.points["well"] == code].set_index("access", drop=False)
    if points.empty:
        return None
    # The newest access that still has a point: crews read where they read last.
    used = [access for access in own["access"][::-1] if access in points.index]
    wanted = used[0] if used else "main"
    return points.loc[wanted if wanted in points.index else sorted(points.index)[0]]


def _well_row(
    programme: Programme,
    code: str,
    point: pd.Series | None,
    own: pd.DataFrame,
    on: dt.date,
    waiting: pd.DataFrame,
) -> dict[str, Any]:
    well = programme.wells.set_index("well").loc[code]
    access = "main" if point is None else str(point["access"])
    others = programme.points.loc[(programme.points["well"] == code) & (programme.points["access"] != access), "access"]
    elevation = math.nan if point is None else float(point["elevation_m"])
    height = _height(point, float(well["ground_elevation_m"]))
    expected = expected_range(own, on)
    bottom, source = _bottom(own, float(well["total_depth_m"]))
    return {
        "site": programme.site["site"],
        "well": code,
        "access": access,
        "other_accesses": ", ".join(others),
        "measuring_point": "no measuring point in force" if point is None else str(point["description"]),
        "height_above_ground_m": height,
        # The lowest water is the largest depth.
        "expected_from_m": elevation - expected.high_m,
        "expected_to_m": elevation - expected.low_m,
        "expected_levels": expected.levels,
        # From depths below ground to depths below the measuring point, at which the tape is held.
        "bottom_m": bottom + height,
        "bottom_source": source,
        "screen_top_m": float(well["screen_top_m"]) + height,
        "screen_bottom_m": float(well["screen_bottom_m"]) + height,
        # Without the gauging itself, for which the sheet is made.
        "due": due_text(waiting[(waiting["well"] == code) & (waiting["what"] != GAUGE)]),
        "access_notes": well["access_notes"],
        "hazards": well["hazards"],
        "notes": well["notes"],
    }


def _height(point: pd.Series | None, ground_m: float) -> float:
    """Return the height of a measuring point above ground, worked out where it is not on record; NaN if unknown."""
    if point is None:
        return math.nan
    height = float(point["height_above_ground_m"])
    return float(point["elevation_m"]) - ground_m if math.isnan(height) else height


def _bottom(own: pd.DataFrame, built_m: float) -> tuple[float, str]:
    """Return the depth of the bottom below ground and where it comes from: the last sounding, or as built."""
    sounded = own[own["sounded_depth_m"].notna()]
    if not sounded.empty:
        last = sounded.iloc[-1]
        return float(last["sounded_depth_m"]), f"sounded {last['day']}"
    return built_m, "" if math.isnan(built_m) else "as built, never sounded"


@dataclass(frozen=True)
class Expected:
    """Range in which a water elevation is expected.

    Attributes
    ----------
    low_m, high_m : float
        Limits; NaN where there are too few levels [m].
    levels : int
        Number of levels of the season that there are.
    """

    low_m: float
    high_m: float
    levels: int


def expected_range(own: pd.DataFrame, on: dt.date) -> Expected:
    """Return the range in which the next level of a well is expected, from its own record of the same season.

    Parameters
    ----------
    own : pandas.DataFrame
        Reduced levels of one well before the day, with their local date in ``day``.
    on : datetime.date
        Day of the next level.

    Returns
    -------
    Expected
        Median plus and minus `DEVIATIONS` times 1.4826 times the median absolute deviation of the levels within
        `SEASON_DAYS` of the calendar day, and at least `LEAST_HALF_RANGE_M`; NaN with fewer than `LEAST_IN_SEASON`.

    Notes
    -----
    Levels that may not enter maps and trends, and bounds, do not count. Where product floats, the range is that of the
    water below it, since that is what the tape meets.
    """
    # Uncorrected, as the probe meets the water: the correction for floating product is no part of a depth.
    counted = own[own["usable"].astype(bool) & (own["bound"] == "") & own["water_elevation_uncorrected_m"].notna()]
    days = np.array([day.timetuple().tm_yday for day in counted["day"]], dtype=np.float64)
    heads = counted["water_elevation_uncorrected_m"].to_numpy(dtype=np.float64)[_in_season(days, on)]
    if heads.size < LEAST_IN_SEASON:
        return Expected(math.nan, math.nan, int(heads.size))
    # Median and not mean: one wrong reading must not widen the range by which it would be noticed.
    middle = float(np.median(heads))
    spread = MAD_TO_SD * float(np.median(np.abs(heads - middle)))
    reach = max(DEVIATIONS * spread, LEAST_HALF_RANGE_M)
    return Expected(middle - reach, middle + reach, int(heads.size))


def _in_season(days: NDArray[np.float64], on: dt.date) -> NDArray[np.bool_]:
    """Return which days of the year lie within the season of a day, across the turn of the year as well."""
    apart = np.abs(days - on.timetuple().tm_yday)
    # 365.25 keeps leap years within a day.
    return np.minimum(apart, 365.25 - apart) <= SEASON_DAYS


def _earlier(code: str, own: pd.DataFrame, point: pd.Series | None) -> list[dict[str, Any]]:
    """Return the last depths of a well, newest first, referred to the measuring point that is in force now."""
    rows = []
    for level in own[::-1].head(EARLIER).itertuples():
        elevation = math.nan if point is None else float(point["elevation_m"])
        # Referred to the point in force now: earlier depths were read from another height perhaps.
        depth = elevation - float(level.water_elevation_uncorrected_m)
        rows.append(
            {
                "well": code,
                "measured_on": level.day,
                "status": level.status,
                "depth_to_water_m": math.nan if math.isnan(level.depth_to_water_m) else depth,
            }
        )
    return rows
