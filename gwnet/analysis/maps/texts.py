"""The sentences of a potentiometric map: findings, method, parameters and cautions, in the map's unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.maps.compartments import Compartment, main_surface
from gwnet.analysis.maps.features import MapFeatures
from gwnet.analysis.maps.result import Control, CrossValidation, HonourFailure, MapFinding, MethodScore
from gwnet.analysis.maps.same_day import Span
from gwnet.constants import NORMAL_95, SURVEY_ACCURACY_M
from gwnet.hydro.gradients.horizontal import Gradient
from gwnet.hydro.surfaces.contours import InferredRule, Unhonoured
from gwnet.hydro.surfaces.covariance_mixture import CovarianceMixture
from gwnet.hydro.surfaces.hull import hull_area
from gwnet.hydro.surfaces.kriging import KrigedSurface
from gwnet.hydro.surfaces.outliers import LEAST_SEARCHED, NeighbourTest
from gwnet.hydro.surfaces.quadratic import QuadraticSurface
from gwnet.hydro.surfaces.spline import SplinedSurface
from gwnet.hydro.surfaces.surface import Grid, Surface
from gwnet.hydro.surfaces.surface_sums import hull_nodes
from gwnet.units import metres_per

#: Fewer wells than this carry a map only with a warning; common practice, no source.
FEW_WELLS: Final = 5
#: Below this many levels a map says that they are a scattered few. Project default.
SCATTERED_WELLS: Final = 10

#: Screens differ when the longest is more than this many times the shortest (project default).
SIMILAR_SCREENS: Final = 3.0

#: Points over the control at which half-widths are looked at, roughly.
_WIDTH_POINTS: Final = 200

_STANDING_CAUTION: Final = (
    "Interpolated from levels at wells; between them it is an estimate. Interpretation and sign-off belong to a "
    "licensed professional; local rules govern."
)


def length_text(value_m: float, unit: str, decimals: int = 2) -> str:
    """Return a length with its unit.

    Parameters
    ----------
    value_m : float
        Length [m].
    unit : str
        ``m`` or ``ft``.
    decimals : int, optional
        Decimals.

    Returns
    -------
    str
        For example ``1.25 m``.

    Examples
    --------
    >>> length_text(0.3048, "ft")
    '1.00 ft'
    """
    # + 0.0 turns -0.0 into 0.0, which prints without a sign.
    return f"{round(value_m / metres_per(unit), decimals) + 0.0:.{decimals}f} {unit}"


def findings_of(levels: Control, test: NeighbourTest, unit: str) -> tuple[MapFinding, ...]:
    """Return the wells that do not fit their neighbours, largest difference first.

    Parameters
    ----------
    levels : Control
        Control of the map.
    test : gwnet.hydro.surfaces.outliers.NeighbourTest
        Leave-one-out test of the control.
    unit : str
        Unit of the text, ``m`` or ``ft``.
    """
    findings = []
    for position in np.flatnonzero(test.outlier).tolist():
        residual, limit = float(test.residual_m[position]), float(test.limit_m[position])
        where = "above" if residual > 0 else "below"
        amount = length_text(abs(residual), unit, 1 if abs(residual) >= 10 else 2)
        text = (
            f"{levels.names[position]} is {amount} {where} what its neighbours suggest (leave-one-out); check its "
            "surveyed elevation, its reading and its aquifer before using this map."
        )
        findings.append(MapFinding(levels.names[position], residual, limit, text))
    return tuple(sorted(findings, key=lambda finding: -abs(finding.residual_m)))


def failures_of(levels: Control, failures: Sequence[Unhonoured], unit: str) -> tuple[HonourFailure, ...]:
    """Return the wells that the contours do not honour.

    Parameters
    ----------
    levels : Control
        Control of the map.
    failures : sequence of gwnet.hydro.surfaces.contours.Unhonoured
        What the contours were found to miss.
    unit : str
        Unit of the text, ``m`` or ``ft``.
    """
    texts = []
    for failure in failures:
        name = levels.names[failure.position]
        where = "drawn at" if not failure.around_m else f"drawn {length_text(failure.around_m, unit, 0)} away at"
        text = (
            f"{name} is posted at {length_text(failure.posted_m, unit)} but {where} "
            f"{length_text(failure.drawn_m, unit)}, on the wrong side of the "
            f"{length_text(failure.contour_m, unit)} contour."
        )
        if failure.around_m:
            text = f"{text[:-1]}: the surface jumps to its level."
        texts.append(HonourFailure(name, failure.posted_m, failure.drawn_m, failure.contour_m, text))
    return tuple(texts)


def method_text(
    surface: Surface, n_fitted: int, exact: int, *, scores: Sequence[MethodScore] = (), unit: str = "m"
) -> str:
    """Return how the surface was made, in sentences.

    Parameters
    ----------
    surface : gwnet.hydro.surfaces.surface.Surface
        The surface.
    n_fitted : int
        Levels that the covariance was fitted to; 0 where it was given.
    exact : int
        Levels that were met exactly so that the contours honour them.
    scores : sequence of MethodScore, optional
        Scores of all methods where one was chosen by them.
    unit : str, optional
        Unit of the scores, ``m`` or ``ft``.
    """
    basis = _surface_text(main_surface(surface), n_fitted, exact)
    if not scores:
        return basis
    listed = ", ".join(f"{score.method} {length_text(score.rmse_m, unit, 3)}" for score in scores)
    return f"{basis} Chosen by leave-one-out error (rms over {scores[0].n} levels): {listed}."


def _surface_text(surface: Surface, n_fitted: int, exact: int) -> str:
    if isinstance(surface, SplinedSurface):
        return "Thin-plate spline; levels taken as exact."
    if isinstance(surface, QuadraticSurface):
        return "Quadratic trend surface by least squares, all levels alike; it does not pass through them."
    if not isinstance(surface, KrigedSurface):
        return "Linear interpolation on the triangles of Delaunay; levels taken as exact."
    kind = "Universal kriging with a linear drift" if surface.drift == "linear" else "Ordinary kriging"
    met = f" ({exact} met exactly so that the contours honour them)" if exact else ""
    error = f"the measurement error of each level is taken into account{met}."
    mixture = surface.mixture
    if len(mixture.covariances) == 1:
        fit = f"fitted to {n_fitted} levels" if n_fitted else "as given"
        return f"{kind} and {surface.covariance.model} covariance, {fit}; {error}"
    models = ", ".join(f"{model} {share:.0%}" for model, share in mixture.model_shares.items())
    return (
        f"{kind}, the mean over {len(mixture.covariances)} covariances ({models}), each with the share that "
        f"{n_fitted} levels give it; {error}"
    )


def parameters_of(
    surface: Surface,
    rule: InferredRule,
    units: tuple[str, float],
    *,
    checked: CrossValidation,
    against: float,
    exact: int,
) -> tuple[tuple[str, str], ...]:
    """Return the parameters of the map as printed.

    Parameters
    ----------
    surface : gwnet.hydro.surfaces.surface.Surface
        The surface.
    rule : gwnet.hydro.surfaces.contours.InferredRule
        Where contours are inferred.
    units : tuple of str and float
        Unit of the map, and metres in a unit of the coordinates.
    checked : CrossValidation
        Leave-one-out errors.
    against : float
        Difference from the triangulation, root mean square [m].
    exact : int
        Levels that were met exactly.
    """
    unit, coordinate_m = units
    surface = main_surface(surface)
    parameters: list[tuple[str, str]] = []
    if isinstance(surface, KrigedSurface):
        parameters += [
            ("drift", surface.drift),
            *_covariance_parameters(surface.mixture, unit, coordinate_m),
            ("half-width of the surface (95 %, median over the control)", half_width_text(surface, unit)),
            ("levels met exactly", str(exact)),
        ]
    if isinstance(surface, QuadraticSurface):
        parameters += [
            ("head in metres", _coefficients_text(surface, coordinate_m)),
            ("residual standard deviation", length_text(surface.residual_sd_m, unit)),
            ("degrees of freedom", str(surface.degrees_of_freedom)),
            ("share of the variance explained", f"{surface.r_squared:.1%}"),
            ("half-width of the surface (95 %, median over the control)", half_width_text(surface, unit)),
        ]
    if against > 0.0:
        parameters.append(("difference from triangulation (rms)", length_text(against, unit)))
    if checked.n:
        parameters += [
            ("leave-one-out error (rms)", f"{length_text(checked.rmse_m, unit)} at {checked.n} levels"),
            ("leave-one-out mean error", length_text(checked.mean_error_m, unit)),
        ]
    else:
        parameters.append(("leave-one-out error (rms)", "none: no level can be estimated from the others"))
    parameters += [
        ("inferred beyond", f"{length_text(rule.farthest_m * coordinate_m, unit, 0)} from the nearest well"),
    ]
    return tuple(parameters)


def _coefficients_text(surface: QuadraticSurface, coordinate_m: float) -> str:
    """Return a trend surface as a formula, in metres from a round place in the middle of the control."""
    x, y = (round(float(values.mean())) for values in (surface.x, surface.y))
    level, *rest = surface.expand(x, y) / coordinate_m ** np.array([0, 1, 1, 2, 2, 2])
    terms = " ".join(f"{value:+.3g} {name}" for value, name in zip(rest, ("x", "y", "x²", "xy", "y²"), strict=True))
    return f"{level:.3f} {terms}, x and y in metres from easting {x} and northing {y}"


def _covariance_parameters(mixture: CovarianceMixture, unit: str, coordinate_m: float) -> list[tuple[str, str]]:
    """Return the parameters of the covariances: of a single one, or lowest and highest."""
    ranges = [covariance.range_m * coordinate_m for covariance in mixture.covariances]
    parameters = [
        ("covariance", ", ".join(mixture.model_shares)),
        ("partial sill", _span_of([covariance.partial_sill_m2 for covariance in mixture.covariances], unit)),
        ("range", " to ".join(dict.fromkeys(length_text(end, unit, 0) for end in (min(ranges), max(ranges))))),
        ("nugget", _span_of([covariance.nugget_m2 for covariance in mixture.covariances], unit)),
    ]
    if np.isfinite(mixture.degrees_of_freedom):
        parameters.append(("degrees of freedom of the scale", f"{mixture.degrees_of_freedom:.0f}"))
    return parameters


def _span_of(variances_m2: Sequence[float], unit: str) -> str:
    ends = (f"{end / metres_per(unit) ** 2:.3g} {unit}²" for end in (min(variances_m2), max(variances_m2)))
    return " to ".join(dict.fromkeys(ends))


def median_half_width_m(surface: Surface) -> float:
    """Return the median of the 95 % half-width of a surface over its control.

    Parameters as `gwnet.analysis.maps`.

    Returns
    -------
    float
        Half-width; infinite where the levels say nothing of it, NaN where the method has none [m].
    """
    x, y, _ = hull_nodes(surface.hull, _WIDTH_POINTS)
    return NORMAL_95 * float(np.median(surface.standard_error(x, y)))


def half_width_text(surface: Surface, unit: str) -> str:
    """Return the median half-width of a surface in words.

    Parameters as `gwnet.analysis.maps`.

    Returns
    -------
    str
        For example ``0.42 m``; marked as very wide below five levels.
    """
    width_m = median_half_width_m(surface)
    words = length_text(width_m, unit) if np.isfinite(width_m) else "not known from three levels"
    return f"{words} (very wide: {surface.z.size} levels)" if has_wide_limits(surface) else words


def has_wide_limits(surface: Surface) -> bool:
    """Return whether the limits of a kriged surface hang on fewer than five levels.

    Parameters
    ----------
    surface : gwnet.hydro.surfaces.surface.Surface
        The surface; one whose covariance was given is as sure as that.
    """
    if not isinstance(surface, KrigedSurface):
        return False
    # a compartment with few levels may have the covariance of one with more
    return surface.mixture.degrees_of_freedom + (3 if surface.drift == "linear" else 1) < FEW_WELLS


def cautions_of(
    levels: Control,
    surface: Surface,
    span: Span,
    *,
    findings: tuple[MapFinding, ...],
    gradients: tuple[Gradient, Gradient | None],
    unit: str,
    screen_lengths_m: NDArray[np.float64],
    more: Sequence[str] = (),
) -> tuple[str, ...]:
    """Return what a reader of the map must know.

    Parameters as `gwnet.analysis.maps`.

    Parameters
    ----------
    levels : Control
        Control of the map.
    span : gwnet.analysis.maps.same_day.Span
        Time that the levels span.
    findings : tuple of MapFinding
        Wells that do not fit their neighbours.
    gradients : tuple of gwnet.hydro.gradients.horizontal.Gradient
        Gradient of all levels, and of the sound ones (None where all are).
    screen_lengths_m : numpy.ndarray
        Lengths of the used wells' screens, NaN where not known [m].
    more : sequence of str, optional
        Further sentences; empty ones are passed over.
    """
    count = int(levels.measured.sum())
    texts: list[str] = []
    if count < FEW_WELLS:
        wide = ", and the limits of the surface are very wide" if has_wide_limits(main_surface(surface)) else ""
        texts.append(f"Only {count} levels: contours are inferred throughout{wide}.")
    elif count < SCATTERED_WELLS:
        apart = math.sqrt(hull_area(surface.hull) / surface.z.size)
        texts.append(
            f"A scattered few: {count} levels, one in a square of {length_text(apart, unit, 0)} on the mean; another "
            "well may change the contours."
        )
    if count < LEAST_SEARCHED:
        texts.append(f"Too few levels to find one that does not fit its neighbours; {LEAST_SEARCHED} are needed.")
    if span.days > 1:
        texts.append(f"The levels were not taken on one day but over {span.days} days; heads may have moved meanwhile.")
    if span.untimed:
        texts.append(f"The time of day is not known for {span.untimed} of {count} levels.")
    if levels.assumed:
        taken = length_text(SURVEY_ACCURACY_M, unit)
        texts.append(f"No uncertainty is on record for {levels.assumed} of {count} levels; ± {taken} was taken.")
    texts.extend(_screens(screen_lengths_m, unit))
    if findings and gradients[1] is not None:
        texts.append(
            f"Gradient with {', '.join(finding.well for finding in findings)}: {gradients[0].text}. "
            f"Without: {gradients[1].text}."
        )
    return (*texts, *(text for text in more if text), _STANDING_CAUTION)


def trend_caution(levels: Control, surface: Surface, grid: Grid, *, interval_m: float, unit: str) -> str:
    """Return what a reader must know of a trend surface, which is off the levels.

    Parameters as `gwnet.analysis.maps`.

    Parameters
    ----------
    levels : Control
        Control of the map.
    grid : gwnet.hydro.surfaces.surface.Grid
        Its heads.
    interval_m : float
        Contour interval; the surface may pass beyond the levels by that much without a word [m].

    Returns
    -------
    str
        Sentences; empty for a surface that honours the levels.
    """
    if not isinstance(main_surface(surface), QuadraticSurface):
        return ""
    off = levels.z - surface.predict(levels.x, levels.y)
    most = int(np.argmax(np.abs(off)))
    where = "above" if off[most] > 0.0 else "below"
    text = (
        f"The trend surface does not pass through the levels: they are off it by "
        f"{length_text(float(np.sqrt(np.mean(off**2))), unit)} (root mean square), most at {levels.names[most]}, "
        f"{length_text(float(abs(off[most])), unit)} {where}."
    )
    lowest, highest = float(np.nanmin(grid.water_elevation_m)), float(np.nanmax(grid.water_elevation_m))
    if highest <= float(levels.z.max()) + interval_m and lowest >= float(levels.z.min()) - interval_m:
        return text
    return (
        f"{text} It runs from {length_text(lowest, unit)} to {length_text(highest, unit)}, beyond the levels "
        f"({length_text(float(levels.z.min()), unit)} to {length_text(float(levels.z.max()), unit)})."
    )


def feature_cautions(compartments: Sequence[Compartment], features: MapFeatures, levels: Control) -> list[str]:
    """Return what a reader must know of barriers, rivers and boundary.

    Parameters
    ----------
    compartments : sequence of Compartment
        Sides of the map.
    features : MapFeatures
        Features of the map.
    levels : Control
        Control of the map.
    """
    texts = []
    if len(compartments) > 1:
        counts = " and ".join(str(compartment.positions.size) for compartment in compartments)
        texts.append(
            f"Barriers divide the control into {len(compartments)} compartments with {counts} levels, each contoured "
            "by itself; the gradient is that of one plane over all of them."
        )
    if any(compartment.barriers is not None for compartment in compartments):
        texts.append("Where a barrier ends inside the control, distances go around its end.")
    points = int((~levels.measured).sum())
    if points:
        names = ", ".join(river.name for river in features.rivers)
        texts.append(f"Heads along {names} enter at {points} points as stated or interpolated, not as measured there.")
    if features.sources:
        texts.append(f"Features: {'; '.join(features.sources)}.")
    return texts


def _screens(lengths_m: NDArray[np.float64], unit: str) -> list[str]:
    """Return a caution where the wells do not have similar screens, as NR 716.15(4)(b)2 asks of a map."""
    known = lengths_m[np.isfinite(lengths_m) & (lengths_m > 0.0)]
    if known.size < 2 or known.max() <= SIMILAR_SCREENS * known.min():
        return []
    shortest, longest = length_text(float(known.min()), unit, 1), length_text(float(known.max()), unit, 1)
    return [f"The screens are {shortest} to {longest} long; long ones average the heads of what they are open to."]
