"""What the analyses of pumping tests take and return: rates, drawdowns of wells, geometry, fitted parameters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError, ShapeError

Floats = NDArray[np.float64]

#: Times that differ by no more than this are one time: round-off of elapsed times [d].
SAME_TIME_DAYS: Final = 1e-9


@dataclass(frozen=True, eq=False)
class PumpingRates:
    """History of the rate of a pumped well.

    Parameters
    ----------
    start_days : array_like, shape (k,)
        Times from which each rate holds, rising, counted from the start of pumping [d].
    rate_m3_d : array_like, shape (k,)
        Rates, positive for water taken out, 0 once the pump has stopped [m³/d].

    Raises
    ------
    ShapeError
        If they differ in length or are empty.
    AnalysisError
        If times do not rise, a number is missing, a rate is negative, or every rate is zero.
    """

    start_days: Floats
    rate_m3_d: Floats

    def __init__(self, start_days: ArrayLike, rate_m3_d: ArrayLike) -> None:
        start = np.atleast_1d(np.asarray(start_days, dtype=np.float64))
        rate = np.atleast_1d(np.asarray(rate_m3_d, dtype=np.float64))
        if start.ndim != 1 or start.shape != rate.shape or not start.size:
            message = f"Rates have times of shape {start.shape} and values of shape {rate.shape}; expected (k,)."
            raise ShapeError(message)
        if not (np.isfinite(start).all() and np.isfinite(rate).all()):
            raise AnalysisError("A rate or its time is missing.", fix="Give each rate with the time it began.")
        if (np.diff(start) <= 0.0).any():
            place = int(np.flatnonzero(np.diff(start) <= 0.0)[0])
            message = f"Rates go from {start[place]:g} d to {start[place + 1]:g} d; expected times that rise."
            raise AnalysisError(message, fix="Sort the rates by time and keep one of each time.")
        if (rate < 0.0).any():
            message = f"A rate is {rate.min():g} m³/d; expected zero or more."
            raise AnalysisError(message, fix="Give pumping as a positive rate and a stop as 0.")
        if not (rate > 0.0).any():
            raise AnalysisError(
                "Every rate is 0; a pumping test needs a rate above 0.", fix="Add the rate that was pumped."
            )
        object.__setattr__(self, "start_days", start)
        object.__setattr__(self, "rate_m3_d", rate)

    @property
    def changes_m3_d(self) -> Floats:
        """Return the change of rate at each time [m³/d]."""
        return np.diff(self.rate_m3_d, prepend=0.0)

    @property
    def began_days(self) -> float:
        """Return when pumping began: a history may start with a rate of 0 [d]."""
        return float(self.start_days[self.rate_m3_d > 0.0][0])

    @property
    def last_rate_m3_d(self) -> float:
        """Return the last rate above 0 [m³/d]."""
        return float(self.rate_m3_d[self.rate_m3_d > 0.0][-1])

    @property
    def stop_days(self) -> float:
        """Return when the pump stopped for good; infinite where the last rate is above 0 [d]."""
        return math.inf if self.rate_m3_d[-1] > 0.0 else float(self.start_days[-1])

    def rate_at(self, days: ArrayLike) -> Floats:
        """Return the rate at given times; 0 before the first [m³/d].

        Parameters as `gwnet.hydro.pumping`.
        """
        place = np.searchsorted(self.start_days, np.asarray(days, dtype=np.float64), side="right")
        return np.concatenate([[0.0], self.rate_m3_d])[place]


@dataclass(frozen=True)
class OtherPumping:
    """Pumping of another well whose drawdown is superposed on that of the test.

    Attributes
    ----------
    well : str
        The well that is pumped.
    distance_m : float
        Its distance from the well whose drawdowns are analysed; of itself its radius [m].
    rates : PumpingRates
        Its history of rates, counted from the start of the test; times before it are negative.
    top_m, bottom_m : float, optional
        Depths of its open interval below the top of the saturated thickness; the whole thickness unless given [m].
    """

    well: str
    distance_m: float
    rates: PumpingRates
    top_m: float | None = None
    bottom_m: float | None = None


@dataclass(frozen=True, eq=False)
class WellDrawdown:
    """Drawdowns of one well during a pumping test.

    Parameters
    ----------
    well : str
        Its name.
    distance_m : float
        Distance from the pumped well; for the pumped well itself the radius of its screen or bore [m].
    days : array_like, shape (n,)
        Times since the start of pumping [d]. What lies at or before the start of pumping takes no part in a fit.
    drawdown_m : array_like, shape (n,)
        Fall of the level below the level without pumping, positive down [m].
    half_width_m : array_like, optional
        95 % half-widths of the drawdowns, one number or shape (n,); readings weigh alike unless given [m].
    top_m, bottom_m : float, optional
        Depths of the open interval below the top of the saturated thickness; the whole thickness unless given [m].
    image_m : float, optional
        Distance from the image of the pumped well behind a straight boundary [m].
    others : tuple of OtherPumping, optional
        Other pumped wells whose drawdown is superposed.
    before_days : array_like, optional
        Times of the levels before the start that the drawdowns are counted from: what other wells draw down then is
        taken off theirs [d].
    background : str, optional
        ``mean`` or ``line`` of those levels.

    Raises
    ------
    ShapeError
        If the arrays differ in length.
    AnalysisError
        If the distance is not above 0, or a half-width is not above 0.
    """

    well: str
    distance_m: float
    days: Floats
    drawdown_m: Floats
    half_width_m: Floats | None
    top_m: float | None
    bottom_m: float | None
    image_m: float | None
    others: tuple[OtherPumping, ...]
    before_days: Floats
    background: str

    def __init__(
        self,
        well: str,
        distance_m: float,
        days: ArrayLike,
        drawdown_m: ArrayLike,
        half_width_m: ArrayLike | None = None,
        *,
        top_m: float | None = None,
        bottom_m: float | None = None,
        image_m: float | None = None,
        others: Sequence[OtherPumping] = (),
        before_days: ArrayLike = (),
        background: str = "mean",
    ) -> None:
        times = np.atleast_1d(np.asarray(days, dtype=np.float64))
        fall = np.atleast_1d(np.asarray(drawdown_m, dtype=np.float64))
        if times.ndim != 1 or times.shape != fall.shape:
            message = f"{well} has times of shape {times.shape} and drawdowns of shape {fall.shape}; expected (n,)."
            raise ShapeError(message)
        if not (math.isfinite(distance_m) and distance_m > 0.0):
            message = f"{well} has the distance {distance_m:g} m from the pumped well; expected a number above 0."
            raise AnalysisError(message, fix="Give the distance, and for the pumped well the radius of its bore.")
        widths = None
        if half_width_m is not None:
            widths = np.broadcast_to(np.asarray(half_width_m, dtype=np.float64), times.shape).copy()
            if not (widths > 0.0).all():
                message = f"{well} has a half-width of {np.nanmin(widths):g} m; expected numbers above 0."
                raise AnalysisError(message, fix="Give half-widths above 0, or none.")
        kept = np.isfinite(times) & np.isfinite(fall)
        object.__setattr__(self, "well", well)
        object.__setattr__(self, "distance_m", float(distance_m))
        object.__setattr__(self, "days", times[kept])
        object.__setattr__(self, "drawdown_m", fall[kept])
        object.__setattr__(self, "half_width_m", None if widths is None else widths[kept])
        object.__setattr__(self, "top_m", top_m)
        object.__setattr__(self, "bottom_m", bottom_m)
        object.__setattr__(self, "image_m", image_m)
        object.__setattr__(self, "others", tuple(others))
        object.__setattr__(self, "before_days", np.asarray(before_days, dtype=np.float64))
        object.__setattr__(self, "background", background)

    def within(self, first_days: float, last_days: float) -> WellDrawdown:
        """Return the readings later than one time and not later than another.

        Parameters as `gwnet.hydro.pumping`.
        """
        kept = (self.days > first_days + SAME_TIME_DAYS) & (self.days <= last_days + SAME_TIME_DAYS)
        return self.at(np.flatnonzero(kept))

    def at(self, places: NDArray[np.int64]) -> WellDrawdown:
        """Return the readings at some places.

        Parameters as `gwnet.hydro.pumping`.
        """
        widths = None if self.half_width_m is None else self.half_width_m[places]
        return self.with_readings(self.days[places], self.drawdown_m[places], widths)

    def with_readings(self, days: Floats, drawdown_m: Floats, half_width_m: Floats | None = None) -> WellDrawdown:
        """Return the well with other readings.

        Parameters as `gwnet.hydro.pumping`.
        """
        return WellDrawdown(
            self.well,
            self.distance_m,
            days,
            drawdown_m,
            half_width_m,
            top_m=self.top_m,
            bottom_m=self.bottom_m,
            image_m=self.image_m,
            others=self.others,
            before_days=self.before_days,
            background=self.background,
        )


@dataclass(frozen=True)
class PumpingGeometry:
    """Dimensions of pumped well and aquifer; each analysis says which of them it needs.

    Attributes
    ----------
    well_radius_m : float, optional
        Radius of the pumped well's screen or bore, of which the aquifer is drained [m].
    casing_radius_m : float, optional
        Radius of the casing in which the level moves [m].
    thickness_m : float, optional
        Saturated thickness of the aquifer [m].
    screen_top_m, screen_bottom_m : float, optional
        Depths of the pumped well's open interval below the top of that thickness; all of it unless given [m].
    submerged_m : float, optional
        Depth of the screen's bottom below the static level, for slug tests [m].
    initial_m : float, optional
        Displacement at the start of a slug test; the first reading unless given [m].
    boundary : str, optional
        ``barrier`` or ``recharge`` where a straight boundary is taken into account, empty where none is.
    """

    well_radius_m: float | None = None
    casing_radius_m: float | None = None
    thickness_m: float | None = None
    screen_top_m: float | None = None
    screen_bottom_m: float | None = None
    submerged_m: float | None = None
    initial_m: float | None = None
    boundary: str = ""

    def need(self, name: str, what: str) -> float:
        """Return a dimension that an analysis needs.

        Parameters as `gwnet.hydro.pumping`.

        Raises
        ------
        AnalysisError
            If it is not known or not above 0.
        """
        value = getattr(self, name)
        if value is None or not math.isfinite(value) or value <= 0.0:
            message = f"This analysis needs the {what}; it is {'not on record' if value is None else value}."
            raise AnalysisError(message, fix=f"Give the {what} in metres.")
        return float(value)


@dataclass(frozen=True)
class Parameter:
    """One parameter of an analysis with its 95 % limits.

    Attributes
    ----------
    name : str
        Such as ``transmissivity``.
    value : float
        Estimate in its unit; infinite or 0 where the best fit lies at the edge of what was searched.
    unit : str
        Unit; empty for a pure number.
    lower, upper : float
        95 % limits; 0 and infinite where the data set none, NaN where the analysis has none.
    identifiable : bool
        Whether both limits are finite and above 0, so that the data determine the parameter.
    """

    name: str
    value: float
    unit: str
    lower: float = math.nan
    upper: float = math.nan
    identifiable: bool = True


@dataclass(frozen=True, eq=False)
class PumpingFit:
    """An analysis of a pumping test.

    Attributes
    ----------
    model : str
        Name of the method, such as ``theis``.
    parameters : tuple of Parameter
        What was estimated or derived.
    wells : tuple of str
        Wells whose readings took part, in order.
    distances_m : tuple of float
        Their distances from the pumped well [m].
    n : int
        Readings that took part.
    rmse_m : float
        Root mean square of the residuals [m]; of normalised heads for slug tests.
    days, observed_m, fitted_m, residuals : numpy.ndarray, shape (n,)
        Time, drawdown as measured, as of the model, and measured minus model [d, m].
    well_index : numpy.ndarray of int, shape (n,)
        Place in ``wells`` of the well of each reading.
    correlation : numpy.ndarray, shape (k, k)
        Correlation of the logarithms of the k fitted parameters, which come first in ``parameters``.
    covariance : numpy.ndarray, shape (k, k)
        Their covariance, scaled by the residuals.
    degrees : int
        Degrees of freedom: readings less fitted parameters.
    aicc : float
        Akaike's criterion with the correction for few readings; of two models of the same readings the smaller is
        better supported; NaN where there are too few readings.
    note : str
        Sentences on what the data do and do not determine, validity and misfit; empty where there is nothing to say.
    geometry : PumpingGeometry
        Dimensions that were used.
    greatest_rate_m3_d : float
        Greatest rate of a step test, at which its well loss is stated; NaN elsewhere [m³/d].
    superposed : tuple of str
        Other wells whose pumping was superposed.
    """

    model: str
    parameters: tuple[Parameter, ...]
    wells: tuple[str, ...]
    distances_m: tuple[float, ...]
    n: int
    rmse_m: float
    days: Floats
    observed_m: Floats
    fitted_m: Floats
    residuals: Floats
    well_index: NDArray[np.int64]
    correlation: Floats
    covariance: Floats
    degrees: int
    aicc: float
    note: str = ""
    geometry: PumpingGeometry = field(default_factory=PumpingGeometry)
    greatest_rate_m3_d: float = math.nan
    superposed: tuple[str, ...] = ()

    def parameter(self, name: str) -> Parameter:
        """Return a parameter by its name.

        Parameters as `gwnet.hydro.pumping`.

        Raises
        ------
        AnalysisError
            If the analysis has none of that name.
        """
        for parameter in self.parameters:
            if parameter.name == name:
                return parameter
        names = ", ".join(parameter.name for parameter in self.parameters)
        message = f"The analysis {self.model} has no parameter {name!r}; it has {names}."
        raise AnalysisError(message)

    def value(self, name: str) -> float:
        """Return the estimate of a parameter.

        Parameters as `gwnet.hydro.pumping`.
        """
        return self.parameter(name).value


def used_readings(wells: Sequence[WellDrawdown], rates: PumpingRates) -> list[WellDrawdown]:
    """Return the readings after the start of pumping; a well without any is left out.

    Parameters as `gwnet.hydro.pumping`.

    Raises
    ------
    AnalysisError
        If no reading is left.
    """
    first = rates.began_days
    used = [well.within(first, math.inf) for well in wells]
    used = [well for well in used if well.days.size]
    if not used:
        message = f"No reading lies after the start of pumping, {first:g} d."
        raise AnalysisError(message, fix="Add readings of the test, or check its start.")
    return used
