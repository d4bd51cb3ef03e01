"""Horizontal gradients round by round over the years, and about each well on one day.

Rounds are never averaged. A reversal needs an angle above 90° less its half-width, by wells used on both days, so that
a missing well turns nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from gwnet.analysis.levels.proposed_rounds import is_proposed, levels_by_round, rounds_in_use
from gwnet.analysis.levels.table import levels
from gwnet.analysis.maps.potentiometric import gradient_of
from gwnet.analysis.maps.site_maps import (
    USUAL_RULE,
    SetRule,
    check_wells,
    controls_of,
    departure_of,
    known_departure,
    unit_of_coordinates,
)
from gwnet.constants import NORMAL_95, SURVEY_ACCURACY_M
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.hydro.gradients.directions import Turn, turn_between, turn_deg
from gwnet.hydro.gradients.horizontal import Departure, Gradient
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
    used : pandas.DataFrame
        Levels used: well, kind, source and used of the control frame.
    gradient : Gradient or None
        Plane through all used levels; None where there is none.
    sound : Gradient or None
        Plane without the wells that do not fit their neighbours; None where all fit.
    suspects : tuple of str
        Those wells.
    triangles : TriangleGradient or None
        Median of the triangles between the wells.
    turn : Turn or None
        Turn of the direction from the last round whose direction is determined; None where there is none before.
    reason : str
        Why there is no gradient; empty where there is one.
    """

    round: str
    date: dt.date
    used: pd.DataFrame
    gradient: Gradient | None
    sound: Gradient | None
    suspects: tuple[str, ...]
    triangles: TriangleGradient | None
    turn: Turn | None
    reason: str

    def count(self, source: str | None = None) -> int:
        """Return how many levels were used.

        Parameters
        ----------
        source : str, optional
            Only those of source manual, logger or stage.
        """
        return len(self.used) if source is None else int((self.used["source"] == source).sum())

    def without_findings(self) -> RoundGradient:
        """Return the gradient by the wells that fit their neighbours alone, as it is stated of a map."""
        if self.sound is None:
            return self
        return replace(self, gradient=self.sound, used=self.used[~self.used["well"].isin(self.suspects)])

    @property
    def is_determined(self) -> bool:
        """Return whether size and direction are distinguishable from none within their uncertainty."""
        return self.gradient is not None and self.gradient.determined

    @property
    def agreement(self) -> str:
        """Return how plane and triangles compare: ``agree``, ``differ``, or empty where one of them says nothing."""
        if not self.is_determined or self.gradient is None or self.triangles is None or not self.triangles.n:
            return ""
        angle = abs(float(turn_deg(self.gradient.azimuth_deg, self.triangles.azimuth_deg)))
        size = abs(self.gradient.magnitude - self.triangles.magnitude)
        # At least 10°: of a well determined direction the arc is narrower than what a triangle may turn.
        near = angle <= max(self.gradient.azimuth_half_width_deg, 10.0)
        alike = size <= max(self.gradient.magnitude_half_width, 0.25 * self.gradient.magnitude)
        return "agree" if near and alike else "differ"


def days_of_rounds(record: Snapshot, aquifer: str) -> list[tuple[str, dt.date]]:
    """Return the rounds in use, each with the day on which most levels of an aquifer were taken that can be used.

    Parameters as `gwnet.analysis.maps`.

    Returns
    -------
    list of tuple
        Code and local date; the first day of the round where nothing of the aquifer was measured in it, the earlier
        of days with as many levels. A day that stands for a round is its own day, where levels of it can be used.
    """
    table = levels_by_round(record)
    own = table[(table["aquifer"] == aquifer) & (table["round"] != "")]
    counted = own.groupby(["round", "day"])["usable"].sum()
    busiest = {code: counts.idxmax()[1].date() for code, counts in counted.groupby(level="round")}
    rounds = rounds_in_use(record)
    # Proposed rounds are their day, even where another day of the window has more levels.
    for code in rounds.loc[rounds["purpose"].map(is_proposed).astype(bool), "round"]:  # its code is its day
        if counted.get((code, pd.Timestamp(code)), 0) > 0:
            busiest[code] = dt.date.fromisoformat(code)
    return [(code, busiest.get(code, day)) for code, day in zip(rounds["round"], rounds["starts_on"], strict=True)]


def gradients_by_round(
    record: Snapshot,
    aquifer: str,
    *,
    wells: Collection[str] | None = None,
    dates: Sequence[dt.date] | None = None,
    start: dt.date | None = None,
    end: dt.date | None = None,
    rule: SetRule = USUAL_RULE,
) -> tuple[RoundGradient, ...]:
    """Return the gradient of an aquifer in each round.

    Parameters
    ----------
    record, aquifer : object
        As in `gwnet.analysis.maps.site_maps.control_of`.
    wells : collection of str, optional
        Only these wells, and no gradient in rounds in which one of them cannot be used: the same plane every time.
    dates : sequence of datetime.date, optional
        These days instead of the rounds on record.
    start, end : datetime.date, optional
        First and last local day.
    rule : gwnet.analysis.maps.site_maps.SetRule, optional
        Which levels enter.

    Returns
    -------
    tuple of RoundGradient
        In order of time; nothing is averaged over rounds.

    Raises
    ------
    NotFoundError
        If a well is not one of the aquifer's, or there is neither a round nor a date.
    """
    if wells is not None:
        check_wells(record, wells, aquifer)
    days = days_of_rounds(record, aquifer) if dates is None else [("", day) for day in sorted(set(dates))]
    if not days:
        message = f"Neither a gauging round nor a day on which wells were read is on record of site {record.site!r}."
        raise NotFoundError(message, fix="Load levels first, or name the days.")
    days = [(code, day) for code, day in days if (start is None or day >= start) and (end is None or day <= end)]
    controls = controls_of(record, aquifer, [day for _, day in days], rule, levels(record))
    unit_m = unit_of_coordinates(record.settings["crs"])
    gradients: list[RoundGradient] = []
    before: Gradient | None = None
    # Only three wells borrow a scale, and finding one costs a pass over the record.
    few = any(int(control["used"].sum()) == _LEAST_SOUND for control in controls)
    fallback = known_departure(record, aquifer, rule) if few else None
    with threadpool_limits(limits=1, user_api="blas"):  # small matrices are faster in one thread
        for (code, day), control in zip(days, controls, strict=True):
            departure = departure_of(record, control, day.isoformat()) or fallback
            gradients.append(_of_round(code, day, control, unit_m, wells=wells, before=before, departure=departure))
            # Compared with the last round that has a direction: one without leaves nothing to turn from.
            before = gradients[-1].gradient if gradients[-1].is_determined else before
    return tuple(sorted(gradients, key=lambda gradient: gradient.date))


def _of_round(
    code: str,
    day: dt.date,
    control: pd.DataFrame,
    unit_m: float,
    *,
    wells: Collection[str] | None,
    before: Gradient | None,
    departure: Departure | None,
) -> RoundGradient:
    """Return the gradient of one same-day set, or why there is none."""
    if wells is not None:
        control = control[control["well"].isin(list(wells)) & (control["kind"] == "well")]
    used = control[control["used"].astype(bool)]
    reason = _missing(control, wells)
    kinds = used[["well", "kind", "source", "used"]]
    try:
        gradient = None if reason else gradient_of(control, coordinate_unit_m=unit_m, departure=departure)
    except AnalysisError as error:
        gradient, reason = None, error.message
    if gradient is None:
        return RoundGradient(code, day, kinds, None, None, (), None, None, reason)
    x, y = (used[name].to_numpy(dtype=np.float64) * unit_m for name in ("easting", "northing"))
    heads = used["water_elevation_m"].to_numpy(dtype=np.float64)
    off = neighbour_test(x, y, heads, _half_widths(used)).outlier
    turn = None if before is None else turn_between(before, gradient)
    sound, suspects = _without(used, off, unit_m, departure), tuple(used["well"][off])
    return RoundGradient(code, day, kinds, gradient, sound, suspects, triangle_gradient(x, y, heads), turn, "")


def _missing(control: pd.DataFrame, wells: Collection[str] | None) -> str:
    """Return which of the named wells cannot be used, and why."""
    if wells is None:
        return ""
    reasons = control.set_index("well")["reason"]
    used = set(control.loc[control["used"].astype(bool), "well"])
    return "; ".join(f"{well}: {reasons.get(well, 'no level')}" for well in wells if well not in used)


def _without(used: pd.DataFrame, off: NDArray[np.bool_], unit_m: float, departure: Departure | None) -> Gradient | None:
    """Return the plane without the wells that do not fit; None where all fit or too few are left."""
    if not off.any() or np.count_nonzero(~off) < _LEAST_SOUND:
        return None
    try:
        return gradient_of(used[~off], coordinate_unit_m=unit_m, departure=departure)
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
    return [
        (names[local.position], tuple(names[other] for other in local.neighbours), local)
        for local in local_gradients(x, y, heads, _half_widths(used), nearest=nearest)
    ]


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
        (NaN where it is not determined) and surface_over_m, the distance that heads are differenced over: the mean
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
        slopes = surface_slopes(surface, x, y, over_m=over)
    half = 0.5 * over
    held = np.ones(x.shape, dtype=np.bool_)
    # A slope over a distance needs estimates on both sides inside control.
    for east, north in ((half, 0.0), (-half, 0.0), (0.0, half), (0.0, -half)):
        held &= inside(surface.hull, x + east, y + north)
    return pd.DataFrame(
        {
            "well": names,
            "surface_gradient": np.where(held, slopes.magnitude, np.nan),
            "surface_gradient_uncertainty": np.where(held, slopes.magnitude_half_width, np.nan),
            "surface_azimuth_degrees": np.where(held & slopes.determined, slopes.azimuth_deg, np.nan),
            "surface_over_m": over,
        }
    )
