"""What a report is made from: plain frames and facts, gathered beforehand; nothing here knows a database."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from gwnet.errors import ReportError
from gwnet.records import RecordState
from gwnet.reporting.errata import EarlierIssue
from gwnet.reporting.extras import Extras

if TYPE_CHECKING:
    from gwnet.analysis.levels.tape_doubts import TapeDoubt
    from gwnet.figures.hydrograph.logger_line import LoggerSeries

#: Columns that each frame must have, separated by blanks. More are welcome.
_COLUMN_NAMES: Final = {
    "wells": (
        "well aquifer cluster purpose role easting northing coordinate_accuracy_m ground_elevation_m "
        "ground_accuracy_m total_depth_m screen_top_m screen_bottom_m drilled_on decommissioned_on "
        "replaced_by notes"
    ),
    "aquifers": "aquifer name confinement",
    "construction": "well part top_depth_m bottom_depth_m diameter_mm material installed_on removed_on notes",
    "measuring_points": (
        "well access valid_from_utc valid_until_utc elevation_m height_above_ground_m vertical_datum "
        "description surveyed_on surveyed_by survey_method accuracy_m change notes recorded_at_utc "
        "recorded_by retired_at_utc"
    ),
    "levels": (
        "well measured_at round status bound depth_to_water_m depth_below_ground_m "
        "measuring_point_elevation_m water_elevation_m uncertainty_m quality review finding "
        "bound_elevation_m accuracy_from event_id access "
        "aquifer measured_at_utc time_known usable unusable_reason water_elevation_uncorrected_m "
        "product_thickness_m sounded_depth_m method instrument observer notes"
    ),
    "rounds": "round starts_on ends_on purpose wells notes",
    "thresholds": "well threshold kind quantity elevation_m consecutive valid_from_utc valid_until_utc basis action",
    "conditions": "kind well text day length_m",
    "stages": "gauge measured_at_utc water_elevation_m easting northing aquifer",
    "findings": "well measured_at round rule severity message",
    "corrections": "recorded_at_utc recorded_by subject well item was now reason",
    "deployments": "well instrument kind installed_at_utc removed_at_utc hanging_depth_m barometer",
    "tape_checks": "instrument checked_on tape_reading_m reference_reading_m checked_by notes",
    "sources": "name sha256 layout rows recorded_at_utc",
    "context": "series quantity unit date value",
    "register": "entry kind raised_on raised_by text due_on state answer",
}

COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {name: tuple(text.split()) for name, text in _COLUMN_NAMES.items()}

#: Columns of the control frame of a map.
_CONTROL: Final = "well kind easting northing measured_at water_elevation_m uncertainty_m status used reason source"
CONTROL_COLUMNS: Final = tuple(_CONTROL.split())


def empty_frame(name: str) -> pd.DataFrame:
    """Return a frame without rows that has the columns which `ReportData` wants under this name."""
    return pd.DataFrame({column: pd.Series(dtype=object) for column in COLUMNS[name]})


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """The site of the report.

    Parameters
    ----------
    code, name : str
        Code on record and name in words.
    crs, vertical_datum : str
        Systems of the coordinates and of the elevations.
    length_unit : str
        Unit of length that the site works in: ``m``, ``ft`` or another of `gwnet.units`.
    time_zone : str
        Zone of the site's clock.
    repeat_tolerance_m : float
        Most that repeats of a reading may differ [m].
    same_day_window_days : float
        Window of a same-day set.
    operator, notes : str
        Who answers for the record, and remarks.
    """

    code: str
    name: str
    crs: str
    vertical_datum: str
    length_unit: str
    time_zone: str
    repeat_tolerance_m: float = float("nan")
    same_day_window_days: float = float("nan")
    operator: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class GradientFacts:
    """The horizontal gradient of one aquifer on one day.

    Parameters
    ----------
    magnitude, magnitude_uncertainty : float
        Fall of head per horizontal distance, and its 95 % half-width [m/m].
    azimuth_deg, azimuth_uncertainty_deg : float
        Direction of flow clockwise from grid north, and the larger reach of its 95 % arc [degrees].
    determined : bool
        False when the gradient is not distinguishable from zero.
    n_levels : int
        Levels in the fit.
    levels_text : str
        The same by kind: ``13 manual readings, 2 loggers and 2 gauges``.
    without : tuple of str
        Wells left out of the fit because they do not fit their neighbours.
    note : str
        Anything a reader must know, empty when nothing.
    """

    magnitude: float
    magnitude_uncertainty: float
    azimuth_deg: float
    azimuth_uncertainty_deg: float
    determined: bool
    n_levels: int
    levels_text: str
    without: tuple[str, ...] = ()
    note: str = ""

    @property
    def upper_limit(self) -> float:
        """Return the 95 % upper limit of the magnitude, all that is known where it is not determined [m/m]."""
        return self.magnitude + self.magnitude_uncertainty


@dataclass(frozen=True, slots=True, eq=False)
class MapFacts:
    """A potentiometric map of the period, or the reason why there is none.

    Parameters
    ----------
    aquifer : str
        Code of the aquifer.
    day : date
        Day that the levels were taken on.
    control : DataFrame
        Wells and gauges of the same-day set, used or not, with `CONTROL_COLUMNS`; with ``event_id`` bounds are
        printed with their sign.
    interval_m : float
        Contour interval [m].
    cross_validation_m : float
        Root mean square of the leave-one-out errors [m]; NaN when it was not worked out.
    gradient : GradientFacts, optional
        Gradient of the same set.
    findings : tuple of str
        Wells that do not fit their neighbours or that the contours do not honour, each as a sentence.
    refused : str
        Why no map could be drawn; empty when one was.
    result : object
        Whatever the drawing needs; passed on as it is.
    """

    aquifer: str
    day: dt.date
    control: pd.DataFrame
    interval_m: float = float("nan")
    cross_validation_m: float = float("nan")
    gradient: GradientFacts | None = None
    findings: tuple[str, ...] = ()
    refused: str = ""
    result: Any = None

    def __post_init__(self) -> None:
        _require(self.control, CONTROL_COLUMNS, f"control set of aquifer {self.aquifer!r}")


@dataclass(frozen=True, slots=True)
class IssueFacts:
    """The issue that a report is made as.

    Parameters
    ----------
    revision : int
        How many issues of this definition and period there are with it.
    by, remark : str
        Who issues it, and with what remark.
    """

    revision: int
    by: str
    remark: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class ReportData:
    """Everything a report is made from.

    Lengths are in metres, times in UTC, depths positive downward, elevations positive upward.

    Parameters
    ----------
    site : SiteFacts
        The site.
    known_on : RecordState
        State of the record from which the report is made.
    wells, aquifers, construction, measuring_points, levels, rounds, thresholds, stages : DataFrame
        The record of the site, with the columns of `COLUMNS`. ``levels`` holds every event to date, and
        the levels of wells with loggers alone at each round;
        ``measuring_points`` also retired rows, so that the history can be printed.
    findings : DataFrame
        What the checks noticed.
    corrections : DataFrame
        What was recorded anew or retired since the report before: ``was`` and ``now`` as printed text.
    deployments : DataFrame
        What was installed where, and when.
    tape_checks : DataFrame
        Checks of the tapes that were used.
    tape_doubts : mapping of int to gwnet.analysis.levels.tape_doubts.TapeDoubt
        Level events that were read with a tape without a check, or with one that steps against others, as
        `gwnet.analysis.levels.tape_doubts.find_tape_doubts`.
    sources : DataFrame
        Files that the record came from.
    register : DataFrame
        Comments received and promises made.
    maps : tuple of MapFacts
        One for each aquifer and round to be mapped.
    earlier : tuple of EarlierIssue
        Reports issued before from an earlier state of the record, with what has changed since.
    corrected_since_utc : datetime, optional
        From when corrections were gathered; None when from the start of the period.
    extras : Extras
        What further sections are made from.
    issue : IssueFacts, optional
        The issue that it is made as; None for a draft.
    logger_lines : mapping of str to LoggerSeries
        Continuous heads by well, for the hydrographs.
    context : DataFrame
        Rainfall, abstraction and the like: series, quantity, unit, date, value.
    logger_days : DataFrame
        Daily levels of loggers in wells with thresholds, with the columns of ``levels``.
    conditions : DataFrame
        What stands on record of the state of the wells at the end of the period, as
        `gwnet.analysis.fieldwork.conditions.conditions_of`.
    """

    site: SiteFacts
    known_on: RecordState
    wells: pd.DataFrame
    levels: pd.DataFrame
    aquifers: pd.DataFrame = field(default_factory=lambda: empty_frame("aquifers"))
    construction: pd.DataFrame = field(default_factory=lambda: empty_frame("construction"))
    measuring_points: pd.DataFrame = field(default_factory=lambda: empty_frame("measuring_points"))
    rounds: pd.DataFrame = field(default_factory=lambda: empty_frame("rounds"))
    thresholds: pd.DataFrame = field(default_factory=lambda: empty_frame("thresholds"))
    stages: pd.DataFrame = field(default_factory=lambda: empty_frame("stages"))
    findings: pd.DataFrame = field(default_factory=lambda: empty_frame("findings"))
    corrections: pd.DataFrame = field(default_factory=lambda: empty_frame("corrections"))
    deployments: pd.DataFrame = field(default_factory=lambda: empty_frame("deployments"))
    tape_checks: pd.DataFrame = field(default_factory=lambda: empty_frame("tape_checks"))
    tape_doubts: Mapping[int, TapeDoubt] = field(default_factory=dict)
    sources: pd.DataFrame = field(default_factory=lambda: empty_frame("sources"))
    register: pd.DataFrame = field(default_factory=lambda: empty_frame("register"))
    maps: tuple[MapFacts, ...] = ()
    earlier: tuple[EarlierIssue, ...] = ()
    corrected_since_utc: dt.datetime | None = None
    extras: Extras = field(default_factory=Extras)
    issue: IssueFacts | None = None
    logger_lines: Mapping[str, LoggerSeries] = field(default_factory=dict)
    logger_days: pd.DataFrame = field(default_factory=lambda: empty_frame("levels"))
    context: pd.DataFrame = field(default_factory=lambda: empty_frame("context"))
    conditions: pd.DataFrame = field(default_factory=lambda: empty_frame("conditions"))

    def __post_init__(self) -> None:
        if self.known_on.recorded_at_utc.tzinfo is None:
            raise ReportError("The data cut-off has no time zone.", fix="Give it in UTC.")
        # Here and not in the section that needs the column, so that the message can name the frame.
        for name, columns in COLUMNS.items():
            _require(getattr(self, name), columns, f"frame {name!r}")


def _require(frame: pd.DataFrame, columns: tuple[str, ...], where: str) -> None:
    missing = [column for column in columns if column not in frame.columns]
    if missing:
        message = f"Columns are missing: {', '.join(missing)}."
        raise ReportError(message, where=where)
