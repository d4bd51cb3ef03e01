"""Horizontal gradients round by round over the years, and about each well on one day.

Rounds are never averaged. A reversal needs an angle above 90° less its half-width, by wells used on both days, so that
a missing well turns nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import Connection
from threadpoolctl import threadpool_limits

from gwnet.analysis.levels.table import levels
from gwnet.analysis.maps.potentiometric import gradient_of
from gwnet.analysis.maps.site_maps import control_of, placed_wells, unit_of_coordinates
from gwnet.constants import NORMAL_95, SURVEY_ACCURACY_M
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.hydro.gradients.directions import Turn, turn_between, turn_deg
from gwnet.hydro.gradients.horizontal import Gradient
from gwnet.hydro.gradients.local import (
    LocalGradient,
    TriangleGradient,
    local_gradients,
    surface_slopes,
    triangle_gradient,
)
from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.hull import control_arrays, hull_area, inside
from gwnet.hydro.surfaces.outliers import neighbour_test
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.store.snapshot import Snapshot

Floats = NDArray[np.float64]

#: Fewer levels than this left without the findings make no plane to set beside.
_LEAST_SOUND = 3


@dataclass(frozen=True, eq=False)
class RoundGradient:
    """The gradient of one round.

    Attributes
    ----------
    round : str
        Code of the round; empty for a day without one.
    date : datetime.date
        Local day of the same-day set.
    wells : int
        Levels used.
    gradient : Gradient or None
        Plane through all used levels; None where there is none.
    sound : Gradient or None
        Plane without the wells that do not fit their neighbours; None where all fit.
    suspects : tuple of str
        Those wells.
    triangles : TriangleGradient or None
        Median of the triangles between the wells.
    turn : Turn or None
        Turn of the direction from the last round whose direction can be told; None where there is none before.
    reason : str
        Why there is no gradient; empty where there is one.
    """

    round: str
    date: dt.date
    wells: int
    gradient: Gradient | None
    sound: Gradient | None
    suspects: tuple[str, ...]
    triangles: TriangleGradient | None
    turn: Turn | None
    reason: str

    @property
    def told(self) -> bool:
        """Return whether size and direction can be told."""
        return self.gradient is not None and self.gradient.determined

    @property
    def checked(self) -> str:
        """Return how plane and triangles compare: ``agree``, ``differ``, or empty where one of them says nothing."""
        if not self.told or self.gradient is None or self.triangles is None or not self.triangles.n:
            return ""
        angle = abs(float(turn_deg(self.gradient.azimuth_deg, self.triangles.azimuth_deg)))
        size = abs(self.gradient.magnitude - self.triangles.magnitude)
        near = angle <= max(self.gradient.azimuth_half_width_deg, 10.0)
        alike = size <= max(self.gradient.magnitude_half_width, 0.25 * self.gradient.magnitude)
        return "agree" if near and alike else "differ"


def days_of_rounds(
    connection: Connection,
    site: pd.Series,
    aquifer: str,
    table: pd.DataFrame,
    known_on: dt.datetime | None = None,
) -> list[tuple[str, dt.date]]:
    """Return the rounds of a site, each with the day on which most levels of an aquifer were taken that can be used.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : pandas.Series
        Row of `gwnet.store.fetch.registry.sites`.
    aquifer : str
        Code of the aquifer.
    table : pandas.DataFrame
        Reduced levels of the site.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    list of tuple
        Code and local date; the first day of the round where nothing of the aquifer was measured in it, the earlier
        of days with as many levels.
    """
    own = table[(table["aquifer"] == aquifer) & (table["round"] != "")]
    counted = own.assign(day=own["day"].dt.strftime("%Y-%m-%d")).groupby(["round", "day"])["usable"].sum()
    found = []
    for row in fetch_programme.rounds(connection, known_on, str(site["site"])).to_dict("records"):
        day = row["starts_on"]
        if row["round"] in counted.index.get_level_values(0):
            day = dt.date.fromisoformat(str(counted[row["round"]].idxmax()))
        found.append((str(row["round"]), day if type(day) is dt.date else pd.Timestamp(day).date()))
    return found


def gradients_by_round(
    connection: Connection,
    site: pd.Series,
    aquifer: str,
    *,
    wells: Collection[str] | None = None,
    dates: Sequence[dt.date] | None = None,
    start: dt.date | None = None,
    end: dt.date | None = None,
    window_days: float | None = None,
    exclude: Collection[str] = (),
    known_on: dt.datetime | None = None,
    table: pd.DataFrame | None = None,
) -> tuple[RoundGradient, ...]:
    """Return the gradient of an aquifer in each round.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : pandas.Series
        Row of `gwnet.store.fetch.registry.sites`.
    aquifer : str
        Code of the aquifer.
    wells : collection of str, optional
        Only these wells, and no gradient in rounds in which one of them cannot be used: the same plane every time.
    dates : sequence of datetime.date, optional
        These days instead of the rounds on record.
    start, end : datetime.date, optional
        First and last local day.
    window_days : float, optional
        Days before and after the day; the site's own unless given.
    exclude : collection of str, optional
        Wells and gauges to leave out.
    known_on : datetime.datetime, optional
        Record as known at this time.
    table : pandas.DataFrame, optional
        Reduced levels of the site, where the caller has them already.

    Returns
    -------
    tuple of RoundGradient
        In order of time; nothing is averaged over rounds.

    Raises
    ------
    NotFoundError
        If a well is not one of the aquifer's, or there is neither a round nor a date.
    """
    if table is None:
        table = levels(Snapshot(connection, known_on, str(site["site"])))
    _check_wells(connection, site, aquifer, wells, known_on)
    if dates is None:
        days = days_of_rounds(connection, site, aquifer, table, known_on)
        if not days:
            message = f"No gauging round of site {site['site']!r} is on record."
            raise NotFoundError(message, fix="Record rounds, or name the days.")
    else:
        days = [("", day) for day in sorted(set(dates))]
    given = {
        "table": table,
        "wells": placed_wells(connection, site, known_on),
        "stages": fetch_programme.stages(connection, known_on, str(site["site"])),
    }
    unit_m = unit_of_coordinates(site["crs"])
    found: list[RoundGradient] = []
    told: Gradient | None = None
    for code, day in days:
        if (start is not None and day < start) or (end is not None and day > end):
            continue
        control = control_of(connection, site, aquifer, day, window_days=window_days, known_on=known_on, **given)
        control["used"] &= ~control["well"].isin(list(exclude))
        with threadpool_limits(limits=1, user_api="blas"):  # small matrices are faster in one thread
            found.append(_of_round(code, day, control, unit_m, wells=wells, before=told))
        told = found[-1].gradient if found[-1].told else told
    return tuple(sorted(found, key=lambda one: one.date))


def _check_wells(
    connection: Connection,
    site: pd.Series,
    aquifer: str,
    wells: Collection[str] | None,
    known_on: dt.datetime | None,
) -> None:
    if wells is None:
        return
    known = fetch.wells(connection, known_on, str(site["site"]))
    of_aquifer = set(known.loc[known["aquifer"] == aquifer, "well"])
    missing = [well for well in wells if well not in of_aquifer]
    if missing:
        message = f"{', '.join(missing)}: no such well of aquifer {aquifer!r} at site {site['site']!r}."
        raise NotFoundError(message, fix="See 'gwnet wells' for the wells on record.")


def _of_round(
    code: str,
    day: dt.date,
    control: pd.DataFrame,
    unit_m: float,
    *,
    wells: Collection[str] | None,
    before: Gradient | None,
) -> RoundGradient:
    """Return the gradient of one same-day set, or why there is none."""
    if wells is not None:
        control = control[control["well"].isin(list(wells)) & (control["kind"] == "well")]
    used = control[control["used"].astype(bool)]
    reason = _missing(control, wells)
    try:
        gradient = None if reason else gradient_of(control, coordinate_unit_m=unit_m)
    except AnalysisError as error:
        gradient, reason = None, error.message
    if gradient is None:
        return RoundGradient(code, day, len(used), None, None, (), None, None, reason)
    x, y = (used[name].to_numpy(dtype=np.float64) * unit_m for name in ("easting", "northing"))
    heads = used["water_elevation_m"].to_numpy(dtype=np.float64)
    off = neighbour_test(x, y, heads, _half_widths(used)).outlier
    turn = None if before is None else turn_between(before, gradient)
    return RoundGradient(
        round=code,
        date=day,
        wells=len(used),
        gradient=gradient,
        sound=_without(used, off, unit_m),
        suspects=tuple(used["well"][off]),
        triangles=triangle_gradient(x, y, heads),
        turn=turn,
        reason="",
    )


def _missing(control: pd.DataFrame, wells: Collection[str] | None) -> str:
    """Return which of the named wells cannot be used, and why."""
    if wells is None:
        return ""
    reasons = control.set_index("well")["reason"]
    used = set(control.loc[control["used"].astype(bool), "well"])
    return "; ".join(f"{well}: {reasons.get(well, 'no level')}" for well in wells if well not in used)


def _without(used: pd.DataFrame, off: NDArray[np.bool_], unit_m: float) -> Gradient | None:
    """Return the plane without the wells that do not fit; None where all fit or too few are left."""
    if not off.any() or np.count_nonzero(~off) < _LEAST_SOUND:
        return None
    try:
        return gradient_of(used[~off], coordinate_unit_m=unit_m)
    except AnalysisError:
        return None


def _half_widths(used: pd.DataFrame) -> Floats:
    widths = used["uncertainty_m"].to_numpy(dtype=np.float64)
    return np.where(np.isnan(widths), SURVEY_ACCURACY_M, widths)


def gradients_by_well(
    control: pd.DataFrame, *, nearest: int, coordinate_unit_m: float = 1.0
) -> list[tuple[str, tuple[str, ...], LocalGradient]]:
    """Return the gradient about each well of a same-day set.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame, as `gwnet.analysis.maps.same_day.same_day_set`.
    nearest : int
        Nearest wells that make a plane with each.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates.

    Returns
    -------
    list of tuple
        Well or gauge, the neighbours of its plane, and the gradient, as `gwnet.hydro.gradients.local.local_gradients`.

    Raises
    ------
    TooFewLevelsError
        If fewer than three wells are used.
    AnalysisError
        If all lie on one line.
    """
    used = control[control["used"].astype(bool)]
    names = used["well"].astype(str).tolist()
    x, y, heads = control_arrays(
        used["easting"].to_numpy(dtype=np.float64) * coordinate_unit_m,
        used["northing"].to_numpy(dtype=np.float64) * coordinate_unit_m,
        used["water_elevation_m"],
        names=names,
    )
    found = local_gradients(x, y, heads, _half_widths(used), nearest=nearest)
    return [(names[one.position], tuple(names[other] for other in one.neighbours), one) for one in found]


def surface_by_well(control: pd.DataFrame, *, coordinate_unit_m: float = 1.0) -> pd.DataFrame:
    """Return the slope of the kriged surface of a same-day set at its wells.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame, as `gwnet.analysis.maps.same_day.same_day_set`.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates.

    Returns
    -------
    pandas.DataFrame
        One row a used well or gauge: well, surface_gradient, surface_gradient_uncertainty, surface_azimuth_degrees
        (NaN where it cannot be told) and surface_over_m, the distance that heads are differenced over: the mean
        spacing of the wells. NaN where that reaches beyond the control.

    Raises
    ------
    TooFewLevelsError
        If fewer than three wells are used.
    AnalysisError
        If all lie on one line.
    """
    used = control[control["used"].astype(bool)]
    x, y = (used[name].to_numpy(dtype=np.float64) * coordinate_unit_m for name in ("easting", "northing"))
    names = used["well"].astype(str).tolist()
    with threadpool_limits(limits=1, user_api="blas"):
        surface = kriging.fit(
            x,
            y,
            used["water_elevation_m"].to_numpy(dtype=np.float64),
            measurement_variance_m2=(_half_widths(used) / NORMAL_95) ** 2,
            names=names,
        )
        over = float(np.sqrt(hull_area(surface.hull) / x.size))
        found = surface_slopes(surface, x, y, over_m=over)
    half = 0.5 * over
    held = np.ones(x.shape, dtype=np.bool_)
    for east, north in ((half, 0.0), (-half, 0.0), (0.0, half), (0.0, -half)):
        held &= inside(surface.hull, x + east, y + north)
    return pd.DataFrame(
        {
            "well": names,
            "surface_gradient": np.where(held, found.magnitude, np.nan),
            "surface_gradient_uncertainty": np.where(held, found.magnitude_half_width, np.nan),
            "surface_azimuth_degrees": np.where(held & found.determined, found.azimuth_deg, np.nan),
            "surface_over_m": over,
        }
    )
