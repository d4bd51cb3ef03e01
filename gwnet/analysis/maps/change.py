"""Change of levels between two days: the wells measured on both, a surface of the differences, and its volume.

Kriging the differences means that a well missing on one day makes no change. The survey of a measuring point in force
on both days moves both levels alike and cancels from the half-width. The half-width of the mean is block kriging over
the control, over all covariances of the map. Bounds of volumes are worst cases together, not confidence
intervals, and are called lowest and highest.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.changes import change_half_width
from gwnet.analysis.levels.table import levels
from gwnet.analysis.levels.tape_doubts import describe_tape_doubts, find_tape_doubts
from gwnet.analysis.maps.potentiometric import make_map
from gwnet.analysis.maps.result import MapResult
from gwnet.analysis.maps.same_day import leave_out
from gwnet.analysis.maps.same_day_loggers import logger_text
from gwnet.analysis.maps.site_maps import USUAL_RULE, SetRule, controls_of, unit_of_coordinates
from gwnet.constants import ONE_WELL_A_PLACE, OTHER_AQUIFER, SURVEY_ACCURACY_M
from gwnet.errors import SettingsError
from gwnet.hydro.gradients.seepage import Interval
from gwnet.hydro.surfaces.surface_sums import ChangeSums, change_sums
from gwnet.store.snapshot import Snapshot
from gwnet.units import metres_per

Floats = NDArray[np.float64]

#: Columns of the table of changes, in order.
CHANGE_COLUMNS: Final = tuple(
    (
        "site well kind easting northing measured_before measured_after water_elevation_before_m "
        "water_elevation_after_m change_m uncertainty_m is_significant used reason"
    ).split()
)


@dataclass(frozen=True, eq=False)
class ChangeResult:
    """Change of levels between two days: numbers only, nothing drawn; rise is positive.

    Attributes
    ----------
    aquifer : str
        Code of the aquifer.
    date, since : datetime.date
        Local day of the later and of the earlier set.
    wells : pandas.DataFrame
        Columns of `CHANGE_COLUMNS`; one row a well or gauge of either set. ``is_significant`` where the change is
        greater than its 95 % half-width; ``reason`` where it is not used.
    surface_map : MapResult
        Surface of the differences, its contours and checks: everything that reads "level" there is a change.
    sums : ChangeSums
        Area, mean and volumes inside the control.
    storage : Interval or None
        Storage coefficient put in; None where none was.
    tapes : tuple of str
        Which changes rest on readings with a tape without a check, or with one that steps, in sentences.
    """

    aquifer: str
    date: dt.date
    since: dt.date
    wells: pd.DataFrame
    surface_map: MapResult
    sums: ChangeSums
    storage: Interval | None
    tapes: tuple[str, ...] = ()

    @property
    def water_m3(self) -> tuple[float, float, float] | None:
        """Return the change of stored water with its bounds [m³]; None without a storage coefficient.

        The middle is area times mean change times storage. The bounds are the worst of the interval of the storage
        coefficient and the 95 % half-width of the mean change together; NaN where that is not known.
        """
        if self.storage is None:
            return None
        area, mean, width = self.sums.area_m2, self.sums.mean_m, self.sums.mean_half_width_m
        # An infinite half-width stands for one that is not known; the volume then has no bounds.
        if np.isinf(width):
            return area * mean * self.storage.middle, np.nan, np.nan
        width = 0.0 if np.isnan(width) else width
        ends = [
            area * (mean + sign * width) * s for sign in (-1, 1) for s in (self.storage.lowest, self.storage.highest)
        ]
        return area * mean * self.storage.middle, min(ends), max(ends)


def change_of(
    record: Snapshot,
    aquifer: str,
    date: dt.date,
    since: dt.date,
    rule: SetRule = USUAL_RULE,
    *,
    storage: Interval | None = None,
    unit: str = "m",
    **how: Any,
) -> ChangeResult:
    """Return the change of the levels of an aquifer between two days.

    Parameters as `gwnet.analysis.maps`.

    Parameters
    ----------
    date, since : datetime.date
        Local day of the later and of the earlier set.
    rule : gwnet.analysis.maps.site_maps.SetRule, optional
        Which levels enter the sets of both days.
    storage : gwnet.hydro.gradients.seepage.Interval, optional
        Storage coefficient.
    unit : str, optional
        Unit of the texts, m or ft.
    **how : object
        Method, interval_m and features, as in `gwnet.analysis.maps.potentiometric.make_map`: of the surface of the
        differences, beyond whose boundary nothing is drawn nor summed.

    Raises
    ------
    SettingsError
        If the earlier day is not before the later one.
    TooFewLevelsError
        If fewer than three wells can be used on both days.
    NotFoundError
        If the aquifer has no well and no gauge, or a name to be left out is in neither set.

    Notes
    -----
    Differences are taken at wells measured on both days, and the surface is made from them: the difference of two
    surfaces of different wells would show where wells were missing. At a place with several wells the same one is
    taken on both days. The half-width of a difference is the root of the sum of squares of the two levels'; the part
    for the survey of the measuring point falls away where both levels refer to the same survey, since it moves both
    alike.
    """
    if since >= date:
        message = f"A change runs from an earlier to a later day, not from {since.isoformat()} to {date.isoformat()}."
        raise SettingsError(message)
    days, table = (since, date), levels(record)
    # Without exclusions first: a well left out on one day must be left out on both.
    sets = controls_of(record, aquifer, days, replace(rule, exclude=()), table)
    leave_out(pd.concat(sets), rule.exclude)  # refuses a name that is in neither set
    refused = _refused(sets, days, rule.exclude)
    before, after = (
        controls_of(record, aquifer, [day], replace(rule, exclude=tuple(set(refused) & set(control["well"]))), table)[0]
        for day, control in zip(days, sets, strict=True)
    )
    survey = table.set_index("event_id")[["measuring_point", "survey_uncertainty_m"]]
    wells = change_table(before, after, refused, survey)
    control = after.drop(columns=["used", "reason", "uncertainty_m", "water_elevation_m"]).merge(
        wells[["site", "well", "used", "reason", "uncertainty_m", "change_m"]], on=["site", "well"], how="inner"
    )
    crs = str(record.settings["crs"])
    drawn = make_map(
        control.rename(columns={"change_m": "water_elevation_m"})[after.columns.tolist()],
        aquifer=aquifer,
        date=date,
        unit=unit,
        crs=crs,
        vertical_datum=record.settings["vertical_datum"],
        coordinate_unit_m=unit_of_coordinates(crs),
        **how,
    )
    texts = (_assumed_text((before, after), wells, unit), *map(logger_text, (before, after)))
    read = pd.concat([control.set_index("event_id")["well"] for control in (before, after)])
    tapes = describe_tape_doubts(find_tape_doubts(record), read[read.isin(wells.loc[wells["used"], "well"])])
    drawn = replace(drawn, cautions=(*dict.fromkeys(filter(None, texts)), *drawn.cautions))
    sums = change_sums(drawn.surface, unit_m=unit_of_coordinates(crs), held=_held(drawn))
    return ChangeResult(aquifer, date, since, wells, drawn, sums, storage, tapes)


def _held(drawn: MapResult) -> Callable[[Floats, Floats], NDArray[np.bool_]] | None:
    """Return what tells whether points lie where a map is drawn; None where that is the whole control."""
    if drawn.region is None:
        return None
    import shapely

    return lambda x, y: np.asarray(shapely.contains_xy(drawn.region, x, y), dtype=np.bool_)


def _assumed_text(sets: Sequence[pd.DataFrame], wells: pd.DataFrame, unit: str) -> str:
    """Return a caution where the uncertainty of a level had to be taken from what is usual; empty for none."""
    used = set(wells.loc[wells["used"], "well"])
    missing = {well for control in sets for well in control.loc[control["uncertainty_m"].isna(), "well"]} & used
    if not missing:
        return ""
    taken = f"{SURVEY_ACCURACY_M / metres_per(unit):.2f} {unit}"
    return f"No uncertainty is on record for levels of {', '.join(sorted(missing))}; ± {taken} was taken for each."


def _refused(sets: Sequence[pd.DataFrame], days: Sequence[dt.date], exclude: Collection[str]) -> dict[str, str]:
    """Return the wells that cannot be used on both days, for other reasons than that another well of the place is."""
    by_day: list[dict[str, str]] = []
    for control, other in zip(sets, reversed(sets), strict=True):
        # Of several wells of a place another one may stand for it on each day; that is settled below.
        left = control[~control["used"].astype(bool) & ~control["reason"].str.startswith(ONE_WELL_A_PLACE)]
        absent = set(other["well"]) - set(control["well"])
        by_day.append(dict(zip(left["well"], left["reason"], strict=True)) | dict.fromkeys(absent, "no measurement"))
    reasons = {}
    for well in sorted(set(by_day[0]) | set(by_day[1])):
        first, second = (by_well.get(well, "") for by_well in by_day)
        # A well of another aquifer is none of this map on either day, so no day is named.
        elsewhere = next((why for why in (second, first) if why.startswith(OTHER_AQUIFER)), "")
        if elsewhere:
            reasons[well] = elsewhere
            continue
        words = (f"on {day.isoformat()}: {why}" for day, why in zip(days, (first, second), strict=True) if why)
        reasons[well] = first if first == second else "; ".join(words)
    return reasons | dict.fromkeys(exclude, "left out by request")


def change_table(
    before: pd.DataFrame, after: pd.DataFrame, refused: dict[str, str], survey: pd.DataFrame
) -> pd.DataFrame:
    """Return the change at each well of two same-day sets.

    Parameters
    ----------
    before, after : pandas.DataFrame
        Control frames of the earlier and of the later day.
    refused : dict of str to str
        Wells that are not used on both days, with the reason.
    survey : pandas.DataFrame
        By event_id: measuring_point and survey_uncertainty_m, as of `gwnet.analysis.levels.table.levels`.

    Returns
    -------
    pandas.DataFrame
        Columns of `CHANGE_COLUMNS`, by kind and name.
    """
    columns = ["site", "well", "kind", "easting", "northing", "measured_at", "water_elevation_m", "uncertainty_m"]
    columns += ["event_id", "used", "reason"]
    # By kind too: a gauge and a well may have the same name.
    both = before[columns].merge(
        after[columns], on=["site", "well", "kind"], how="outer", suffixes=("_before", "_after")
    )
    for name in ("easting", "northing"):
        both[name] = both[f"{name}_after"].fillna(both[f"{name}_before"])
    used = both["used_before"].eq(other=True) & both["used_after"].eq(other=True)
    change = both["water_elevation_m_after"] - both["water_elevation_m_before"]
    then, now = (
        survey.reindex(both[f"event_id_{side}"].fillna(-1).astype(np.int64)).assign(
            uncertainty_m=both[f"uncertainty_m_{side}"].fillna(SURVEY_ACCURACY_M).to_numpy()
        )
        for side in ("before", "after")
    )
    width = change_half_width(now, then)
    reason = both["reason_after"].fillna("").where(both["reason_after"].fillna("") != "", both["reason_before"])
    reason = reason.where(~both["well"].isin(list(refused)), both["well"].map(refused)).fillna("")
    table = both.assign(
        measured_before=both["measured_at_before"].fillna(""),
        measured_after=both["measured_at_after"].fillna(""),
        water_elevation_before_m=both["water_elevation_m_before"],
        water_elevation_after_m=both["water_elevation_m_after"],
        change_m=change.where(used),
        uncertainty_m=np.where(used, width, np.nan),
        is_significant=(used & (change.abs() > width)).astype(bool),
        used=used.astype(bool),
        reason=reason.where(~used, ""),
    )
    # Wells before gauges, as in every table of a set.
    order = table["kind"].map({"well": 0, "stage": 1})
    return table.assign(order=order).sort_values(["order", "well"], ignore_index=True)[list(CHANGE_COLUMNS)]
