"""Slug tests: the recovery of a level that was displaced at once.

Displacements are of the static level, of either sign; readings count from the displacement.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.pumping.fits import fit_readings, identified_note, serial_note
from gwnet.hydro.pumping.models import STORATIVITY, TRANSMISSIVITY, FittedParameter
from gwnet.hydro.pumping.results import PumpingFit, PumpingGeometry, WellDrawdown
from gwnet.hydro.pumping.storage import slug_recovery

Floats = NDArray[np.float64]

#: Ranges of the normalised head from which straight lines are taken: Butler (1996), Ground Water 34, 164–171 (from
#: memory), for Hvorslev's and for Bouwer and Rice's analysis.
HVORSLEV_HEADS: Final = (0.15, 0.25)
BOUWER_RICE_HEADS: Final = (0.20, 0.30)
#: Ln((H − Lw)/rw) is not taken beyond this: Bouwer and Rice (1976).
_LARGEST_LOGARITHM: Final = 6.0
#: Coefficients A, B and C of Bouwer and Rice as polynomials of Le/rw: Van Rooy (1988), as quoted by Butler (1998), The
#: Design, Performance and Analysis of Slug Tests (from memory), constant term first.
_A: Final = (1.4720, 3.537e-2, -8.148e-5, 1.028e-7, -6.484e-11, 1.573e-14)
_B: Final = (0.2372, 5.151e-3, -2.682e-6, -3.491e-10, 4.738e-13)
_C: Final = (0.7920, 3.993e-2, -5.743e-5, 3.858e-8, -9.659e-12)

_CONDUCTIVITY: Final = FittedParameter("hydraulic_conductivity", "m/d", 1e-9, 1e7)
_INTERCEPT: Final = FittedParameter("intercept", "", 1e-6, 1e6)


def bouwer_rice_logarithm(open_m: float, submerged_m: float, thickness_m: float, well_radius_m: float) -> float:
    """Return ln(Re/rw) of Bouwer and Rice.

    Parameters
    ----------
    open_m, submerged_m : float
        Length Le of the open interval, and depth Lw of its lower end below the static level [m].
    thickness_m : float
        Saturated thickness H; where it equals Lw the well reaches the base [m].
    well_radius_m : float
        Radius of screen or bore [m].

    Returns
    -------
    float
        Logarithm of the distance over which the displacement is spent over the radius.

    Notes
    -----
    Bouwer and Rice (1976), Water Resources Research 12, 423–428 (from memory).
    """
    slenderness = open_m / well_radius_m
    first = 1.1 / math.log(submerged_m / well_radius_m)
    if thickness_m - submerged_m <= 1e-9 * thickness_m:
        return 1.0 / (first + float(np.polynomial.polynomial.polyval(slenderness, _C)) / slenderness)
    logarithm = min(math.log((thickness_m - submerged_m) / well_radius_m), _LARGEST_LOGARITHM)
    a, b = (float(np.polynomial.polynomial.polyval(slenderness, terms)) for terms in (_A, _B))
    return 1.0 / (first + (a + b * logarithm) / slenderness)


def fit_slug(wells: Sequence[WellDrawdown], geometry: PumpingGeometry | None = None) -> PumpingFit:
    """Fit the recovery of a well of finite diameter in a confined aquifer to displacements.

    Parameters
    ----------
    wells : sequence of WellDrawdown
        Displacements of the tested well, and of observation wells at once if there are any; the tested well's distance
        is the radius of its screen.
    geometry : PumpingGeometry
        ``well_radius_m``, ``casing_radius_m`` and, unless the first reading is it, ``initial_m``.

    Returns
    -------
    PumpingFit
        Transmissivity and storativity.

    Raises
    ------
    AnalysisError
        If a dimension is missing or the displacement at the start is zero.

    Notes
    -----
    Cooper, Bredehoeft and Papadopulos (1967), Water Resources Research 3, 263–269 (from memory).
    """
    geometry = geometry or PumpingGeometry()
    bore_m = geometry.need("well_radius_m", "radius of the well's screen or bore")
    casing_m = geometry.need("casing_radius_m", "radius of the well's casing")
    used, initial = _displacements(wells, geometry)
    radii = [max(well.distance_m / bore_m, 1.0) for well in used]

    def predict(theta: Floats) -> Floats:
        transmissivity, storativity = np.exp(theta)
        # With a storativity of 0 there is no transform.
        alpha = max(float(storativity) * (bore_m / casing_m) ** 2, 1e-300)
        return np.concatenate(
            [
                initial * slug_recovery(transmissivity * well.days / casing_m**2, alpha, ratio)
                for well, ratio in zip(used, radii, strict=True)
            ]
        )

    time = float(np.median(used[0].days))
    starts = [
        np.log([number * casing_m**2 / time, storativity])
        for storativity in (1e-6, 1e-3)
        for number in (0.1, 1.0, 10.0)
    ]
    observed = np.concatenate([well.drawdown_m for well in used])
    starts.sort(key=lambda start: float(((predict(start) - observed) ** 2).sum()))
    kinds = (TRANSMISSIVITY, replace(STORATIVITY, low=1e-14, high=1e2))
    fit, solution = fit_readings("slug", kinds, predict, starts[:2], used, geometry)
    open_m = _open_length(geometry)
    if open_m is not None:
        found = fit.parameter("transmissivity")
        derived = replace(
            found,
            name="hydraulic_conductivity",
            unit="m/d",
            value=found.value / open_m,
            lower=found.lower / open_m,
            upper=found.upper / open_m,
        )
        fit = replace(fit, parameters=(*fit.parameters, derived))
    notes = [f"Displacement at the start {initial:.4g} m.", identified_note(fit.parameters), serial_note(solution)]
    return replace(fit, note=" ".join(note for note in notes if note))


def _open_length(geometry: PumpingGeometry) -> float | None:
    """Return the length of the open interval: of the screen, else the thickness of the aquifer."""
    if geometry.screen_top_m is not None and geometry.screen_bottom_m is not None:
        return geometry.screen_bottom_m - geometry.screen_top_m
    return geometry.thickness_m


def _displacements(wells: Sequence[WellDrawdown], geometry: PumpingGeometry) -> tuple[list[WellDrawdown], float]:
    """Return the readings after the displacement, and the displacement at the start; a fall is turned into a rise."""
    if not wells or not wells[0].days.size:
        raise TooFewLevelsError("A slug test needs readings of the tested well.", fix="Add displacements with times.")
    tested = wells[0]
    initial = geometry.initial_m
    if initial is None:
        # Nobody measured it: the earliest reading is the nearest to it.
        initial = float(tested.drawdown_m[int(np.argmin(tested.days))])
    # A slug pulled out lowers the level; all formulas are of a level that was raised.
    sign = math.copysign(1.0, float(tested.drawdown_m[int(np.argmax(np.abs(tested.drawdown_m)))]))
    initial = abs(initial)
    if initial <= 0.0:
        raise AnalysisError("The displacement at the start of the slug test is 0.", fix="Give it as a number above 0.")
    used = [
        WellDrawdown(well.well, well.distance_m, well.days, sign * well.drawdown_m, well.half_width_m).within(
            0.0, math.inf
        )
        for well in wells
    ]
    return [well for well in used if well.days.size], initial


def fit_hvorslev(
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry | None = None,
    *,
    heads: tuple[float, float] = HVORSLEV_HEADS,
) -> PumpingFit:
    """Fit Hvorslev's straight line to the logarithm of displacements.

    Parameters
    ----------
    wells : sequence of WellDrawdown
        Displacements of the tested well.
    geometry : PumpingGeometry
        ``well_radius_m``, ``casing_radius_m``, the screen's ends, and ``initial_m`` unless the first reading is it.
    heads : tuple of float, optional
        Lowest and highest normalised head that takes part.

    Returns
    -------
    PumpingFit
        Hydraulic conductivity, and the normalised head at which the line begins.

    Raises
    ------
    AnalysisError
        If a dimension is missing.
    TooFewLevelsError
        If fewer than two readings lie within the range.

    Notes
    -----
    K = rc² ln(Le/rw)/(2 Le T0), T0 the time in which the displacement falls by e; for Le/rw above 8. Hvorslev (1951),
    Waterways Experiment Station Bulletin 36 (from memory).
    """
    geometry = geometry or PumpingGeometry()
    bore_m = geometry.need("well_radius_m", "radius of the well's screen or bore")
    open_m = _needed_open_length(geometry)
    note = (
        "" if open_m > 8.0 * bore_m else "The screen is shorter than 8 radii, for which the shape factor is not made."
    )
    return _fit_logarithms("slug-hvorslev", wells, geometry, heads, math.log(open_m / bore_m), note)


def fit_bouwer_rice(
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry | None = None,
    *,
    heads: tuple[float, float] = BOUWER_RICE_HEADS,
) -> PumpingFit:
    """Fit Bouwer and Rice's straight line to the logarithm of displacements.

    Parameters
    ----------
    wells : sequence of WellDrawdown
        Displacements of the tested well.
    geometry : PumpingGeometry
        ``well_radius_m``, ``casing_radius_m``, the screen's ends, ``submerged_m``, ``thickness_m``, and ``initial_m``
        unless the first reading is it.
    heads : tuple of float, optional
        Lowest and highest normalised head that takes part.

    Returns
    -------
    PumpingFit
        Hydraulic conductivity, and the normalised head at which the line begins.

    Raises
    ------
    AnalysisError
        If a dimension is missing.
    TooFewLevelsError
        If fewer than two readings lie within the range.

    Notes
    -----
    K = rc² ln(Re/rw)/(2 Le) · ln(H0/H)/t: Bouwer and Rice (1976), Water Resources Research 12, 423–428 (from memory).
    """
    geometry = geometry or PumpingGeometry()
    bore_m = geometry.need("well_radius_m", "radius of the well's screen or bore")
    thickness_m = geometry.need("thickness_m", "saturated thickness of the aquifer")
    submerged_m = geometry.need("submerged_m", "depth of the screen's bottom below the static level")
    logarithm = bouwer_rice_logarithm(_needed_open_length(geometry), submerged_m, thickness_m, bore_m)
    return _fit_logarithms("slug-bouwer-rice", wells, geometry, heads, logarithm, f"ln(Re/rw) = {logarithm:.4g}.")


def _needed_open_length(geometry: PumpingGeometry) -> float:
    open_m = _open_length(geometry)
    if open_m is None or open_m <= 0.0:
        raise AnalysisError(
            "This analysis needs the length of the open interval; it is not on record.",
            fix="Give the depths of the screen's top and bottom.",
        )
    return open_m


def _fit_logarithms(
    name: str,
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry,
    heads: tuple[float, float],
    logarithm: float,
    remark: str,
) -> PumpingFit:
    """Fit a straight line to the logarithm of normalised heads within a range, by linear regression."""
    casing_m = geometry.need("casing_radius_m", "radius of the well's casing")
    used, initial = _displacements(wells[:1], geometry)
    normalised = used[0].drawdown_m / initial
    within = (normalised >= heads[0]) & (normalised <= heads[1])
    text = f"normalised heads from {heads[0]:.2f} to {heads[1]:.2f}"
    if int(within.sum()) < 2:
        message = f"{int(within.sum())} readings have {text}; a line needs two."
        raise TooFewLevelsError(message, fix="Give a wider range, or check the displacement at the start.")
    # No half-widths: those of heads are not those of their logarithms.
    line = WellDrawdown(used[0].well, used[0].distance_m, used[0].days[within], np.log(normalised[within]))
    factor = 2.0 * float(_needed_open_length(geometry)) / (casing_m**2 * logarithm)
    slope, start = np.polyfit(line.days, line.drawdown_m, 1)
    if slope >= 0.0:
        raise AnalysisError("The displacement does not fade.", fix="Check the static level and the signs.")
    fit, solution = fit_readings(
        name,
        (_CONDUCTIVITY, _INTERCEPT),
        _line(line.days, factor),
        [np.array([math.log(-slope / factor), start])],
        [line],
        geometry,
    )
    # Back in metres, as residuals of logarithms tell a reader nothing.
    scaled = initial * np.exp(fit.fitted_m)
    measured = initial * np.exp(fit.observed_m)
    fit = replace(
        fit,
        observed_m=measured,
        fitted_m=scaled,
        residuals=measured - scaled,
        rmse_m=float(np.sqrt(np.mean((measured - scaled) ** 2))),
    )
    notes = [f"{fit.n} readings of {text} took part.", remark, identified_note(fit.parameters), serial_note(solution)]
    return replace(fit, note=" ".join(note for note in notes if note))


def _line(days: Floats, factor: float) -> Callable[[Floats], Floats]:
    return lambda theta: np.asarray(theta[1] - factor * math.exp(theta[0]) * days, dtype=np.float64)
