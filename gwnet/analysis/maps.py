"""A potentiometric map from a same-day set: surface, contours, arrows, gradient, and what the reader must know."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.synoptic import Span, leave_out, span_of
from gwnet.constants import SURVEY_ACCURACY_M
from gwnet.errors import SettingsError
from gwnet.hydro import surface as surfaces
from gwnet.hydro.contours import (
    ContourLine,
    InferredRule,
    Unhonoured,
    contour_levels,
    contour_lines,
    inferred_rule,
    nice_interval,
    unhonoured,
)
from gwnet.hydro.gradient import NORMAL_95, FlowArrow, Gradient, flow_arrows, plane_gradient
from gwnet.hydro.hull import control_arrays, length_and_width
from gwnet.hydro.kriging import KrigedSurface
from gwnet.hydro.outliers import LEAST_SEARCHED, NeighbourTest, neighbour_test
from gwnet.hydro.surface import Grid, Surface
from gwnet.hydro.variogram import Covariance, fit_covariance
from gwnet.units import metres_per

Floats = NDArray[np.float64]

#: Fewer wells than this carry a map only with a warning; common practice, no source.
FEW_WELLS: Final = 5

#: Of more wells than this, grid lines run only through those that the contours would not honour otherwise.
_MOST_LINES: Final = 200

_ROUNDS: Final = 6


_STANDING_CAUTION: Final = (
    "Interpolated from levels at wells; between them it is an estimate. Interpretation and sign-off belong to a "
    "licensed professional; local rules govern."
)


@dataclass(frozen=True)
class MapFinding:
    """A well whose level does not fit its neighbours.

    Attributes
    ----------
    well : str
        Well or gauge.
    residual_m : float
        Level less what the sound levels suggest: positive where it stands above them [m].
    limit_m : float
        Size beyond which it counts [m].
    text : str
        The finding as a sentence, in the map's unit.
    """

    well: str
    residual_m: float
    limit_m: float
    text: str


@dataclass(frozen=True)
class HonourFailure:
    """A well that the contours put on the wrong side.

    Attributes
    ----------
    well : str
        Well or gauge.
    posted_m, drawn_m, contour_m : float
        Its water elevation, the surface there as drawn, and the contour between them [m].
    text : str
        The same as a sentence, in the map's unit.
    """

    well: str
    posted_m: float
    drawn_m: float
    contour_m: float
    text: str


@dataclass(frozen=True, eq=False)
class CrossValidation:
    """Leave-one-out errors of a map's surface over all used levels.

    Attributes
    ----------
    n : int
        Levels that the others give an estimate for.
    mean_error_m, rmse_m : float
        Mean and root mean square of level less estimate [m]; NaN when there is none.
    rmse_sound_m : float
        Root mean square without the wells that have a finding; equal to ``rmse_m`` when none has [m].
    residual_m : pandas.Series
        Level less estimate, by well; NaN where the others give none [m].
    """

    n: int
    mean_error_m: float
    rmse_m: float
    rmse_sound_m: float
    residual_m: pd.Series


@dataclass(frozen=True, eq=False)
class MapResult:
    """A potentiometric map: numbers only, nothing drawn. All lengths in metres, coordinates in the site's system.

    Attributes
    ----------
    aquifer : str
        Code of the aquifer.
    date : datetime.date
        Local date of the set.
    crs, vertical_datum : str
        Systems of coordinates and elevations; empty when not given.
    unit : str
        Unit that texts and interval are meant for, ``m`` or ``ft``; numbers stay in metres.
    control : pandas.DataFrame
        Control frame (`gwnet.analysis.synoptic.CONTROL_COLUMNS`), used and left out.
    method : str
        ``kriging`` or ``triangulation``.
    method_text : str
        How the surface was made, as one sentence.
    parameters : tuple of tuple of str
        Name and value of each parameter as printed, in the map's unit.
    surface : gwnet.hydro.surface.Surface
        The surface; gives heads and standard errors anywhere.
    grid : gwnet.hydro.surface.Grid
        Heads on lines; NaN beyond control.
    interval_m : float
        Contour interval [m].
    levels_m : numpy.ndarray
        Contour levels, rising [m].
    contours : tuple of ContourLine
        Contours; dashed where ``inferred``, closed lows are a ``depression``.
    arrows : tuple of FlowArrow
        Flow arrows; azimuth clockwise from grid north, down the gradient.
    boundary : numpy.ndarray, shape (k, 2)
        Corners of the control's convex hull, anticlockwise, first not repeated; nothing is drawn beyond it.
    gradient : Gradient
        Plane through all used levels.
    gradient_sound : Gradient or None
        Plane without the wells that have a finding; None when none has.
    cross_validation : CrossValidation
        Leave-one-out errors.
    against_triangulation_m : float
        Root mean square difference from linear interpolation on triangles, over the grid; 0 for triangulation [m].
    honour_failures : tuple of HonourFailure
        Wells whose level the contours do not honour; empty when all are.
    findings : tuple of MapFinding
        Wells that do not fit their neighbours, largest first.
    span : Span
        Hours and days that the levels took.
    cautions : tuple of str
        What a reader must know, each a sentence.
    """

    aquifer: str
    date: dt.date
    crs: str
    vertical_datum: str
    unit: str
    control: pd.DataFrame
    method: str
    method_text: str
    parameters: tuple[tuple[str, str], ...]
    surface: Surface
    grid: Grid
    interval_m: float
    levels_m: Floats
    contours: tuple[ContourLine, ...]
    arrows: tuple[FlowArrow, ...]
    boundary: Floats
    gradient: Gradient
    gradient_sound: Gradient | None
    cross_validation: CrossValidation
    against_triangulation_m: float
    honour_failures: tuple[HonourFailure, ...]
    findings: tuple[MapFinding, ...]
    span: Span
    cautions: tuple[str, ...]

    @property
    def hours_spanned(self) -> float:
        """Return the hours from the first to the last level with a known time; NaN for fewer than two."""
        return self.span.hours

    @property
    def used(self) -> pd.DataFrame:
        """Return the rows of the control frame that the surface is made from."""
        return self.control[self.control["used"].astype(bool)].reset_index(drop=True)

    @property
    def left_out(self) -> pd.DataFrame:
        """Return the rows of the control frame that are not used, each with its reason."""
        return self.control[~self.control["used"].astype(bool)].reset_index(drop=True)


@dataclass(frozen=True, eq=False)
class _Control:
    """The used levels as arrays."""

    names: list[str]
    x: Floats
    y: Floats
    z: Floats
    half_width: Floats
    assumed: int


def make_map(
    control: pd.DataFrame,
    *,
    aquifer: str,
    date: dt.date,
    method: str = "kriging",
    interval_m: float | None = None,
    drift: str = "linear",
    covariance: Covariance | None = None,
    exclude: Collection[str] = (),
    unit: str = "m",
    crs: str = "",
    vertical_datum: str = "",
    coordinate_unit_m: float = 1.0,
    grid_lines: int = surfaces.GRID_LINES,
) -> MapResult:
    """Make a potentiometric map from a same-day set.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame, as `gwnet.analysis.synoptic.same_day_set`.
    aquifer : str
        Code of the aquifer.
    date : datetime.date
        Local date of the set.
    method : str, optional
        ``kriging`` or ``triangulation``.
    interval_m : float, optional
        Contour interval; a step of 1, 2 or 5 that gives at most 12 contours unless given [m].
    drift : str, optional
        ``linear`` for universal kriging, ``none`` for ordinary kriging.
    covariance : gwnet.hydro.variogram.Covariance, optional
        Covariance; fitted to the wells without finding unless given.
    exclude : collection of str, optional
        Wells and gauges to leave out by request.
    unit : str, optional
        Unit of the texts and of the chosen interval, ``m`` or ``ft``.
    crs, vertical_datum : str, optional
        Systems of coordinates and elevations, passed through.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates, for a system in feet.
    grid_lines : int, optional
        Lines of the grid along its longer side.

    Returns
    -------
    MapResult
        The map.

    Raises
    ------
    TooFewLevelsError
        If fewer than three wells can be used.
    AnalysisError
        If the wells lie on one line.
    SettingsError
        If a method, drift, unit or interval is not known or cannot be used.
    NotFoundError
        If a well to be left out is not in the set.

    Notes
    -----
    Levels are kriged with their measurement variance, (half-width / 1.96)². A well that the contours would then put on
    the wrong side is met exactly instead, and the grid gets lines through it; what still fails is reported. Levels that
    do not fit their neighbours (`gwnet.hydro.outliers.neighbour_test`) stay in the map and become findings.
    """
    if unit not in ("m", "ft"):
        message = f"A map can be labelled in m or ft, not in {unit!r}."
        raise SettingsError(message)
    control = leave_out(control, exclude)
    unit_m = metres_per(unit)
    levels = _levels_of(control)
    control_arrays(levels.x, levels.y, levels.z, names=levels.names)
    test = neighbour_test(levels.x, levels.y, levels.z, levels.half_width)
    n_fitted = 0
    if covariance is None and method == "kriging":
        covariance, n_fitted = _covariance(levels, ~test.outlier, drift)
    lowest, highest = float(levels.z.min()), float(levels.z.max())
    least = 2.0 * float(np.median(levels.half_width))
    interval = nice_interval(lowest, highest, unit_m=unit_m, least_m=least) if interval_m is None else interval_m
    surface, grid, contour_m, failures, exact = _honouring(
        levels, method, covariance, drift, interval=interval, grid_lines=grid_lines
    )
    rule = inferred_rule(surface, interval, least_wells=FEW_WELLS)
    findings = _findings(levels, test, unit)
    gradient = _scaled(levels, np.ones(levels.z.shape, dtype=np.bool_), coordinate_unit_m)
    sound = _scaled(levels, ~test.outlier, coordinate_unit_m) if findings and _spans(levels, ~test.outlier) else None
    checked = _cross_validation(levels, surface, test)
    against = _against_triangulation(levels, grid, method)
    span = span_of(control)
    return MapResult(
        aquifer=aquifer,
        date=date,
        crs=crs,
        vertical_datum=vertical_datum,
        unit=unit,
        control=control,
        method=method,
        method_text=_method_text(surface, n_fitted, exact),
        parameters=_parameters(surface, rule, (unit, coordinate_unit_m), checked=checked, against=against, exact=exact),
        surface=surface,
        grid=grid,
        interval_m=interval,
        levels_m=contour_m,
        contours=contour_lines(grid, contour_m, rule),
        arrows=_arrows(surface, rule, levels, coordinate_unit_m),
        boundary=surface.hull,
        gradient=gradient,
        gradient_sound=sound,
        cross_validation=checked,
        against_triangulation_m=against,
        honour_failures=_failure_texts(levels, failures, unit),
        findings=findings,
        span=span,
        cautions=_cautions(levels, span, findings=findings, gradients=(gradient, sound)),
    )


def gradient_of(control: pd.DataFrame, *, coordinate_unit_m: float = 1.0) -> Gradient:
    """Return the gradient of the plane through the used levels of a control frame.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame, as `gwnet.analysis.synoptic.same_day_set`.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates.

    Returns
    -------
    Gradient
        Size, and direction of flow clockwise from grid north.

    Raises
    ------
    TooFewLevelsError
        If fewer than three wells are used.
    AnalysisError
        If the wells lie on one line.
    """
    levels = _levels_of(control)
    return _scaled(levels, np.ones(levels.z.shape, dtype=np.bool_), coordinate_unit_m)


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
    return f"{value_m / metres_per(unit):.{decimals}f} {unit}"


def _levels_of(control: pd.DataFrame) -> _Control:
    used = control[control["used"].astype(bool)]
    widths = used["uncertainty_m"].to_numpy(dtype=np.float64)
    unknown = np.isnan(widths)
    return _Control(
        names=used["well"].astype(str).tolist(),
        x=used["easting"].to_numpy(dtype=np.float64),
        y=used["northing"].to_numpy(dtype=np.float64),
        z=used["water_elevation_m"].to_numpy(dtype=np.float64),
        half_width=np.where(unknown, SURVEY_ACCURACY_M, widths),
        assumed=int(unknown.sum()),
    )


def _covariance(levels: _Control, sound: NDArray[np.bool_], drift: str) -> tuple[Covariance, int]:
    """Return the covariance of the sound levels, and how many they are."""
    if not _spans(levels, sound):
        sound = np.ones(sound.shape, dtype=np.bool_)
    found = fit_covariance(
        levels.x[sound],
        levels.y[sound],
        levels.z[sound],
        drift=drift,
        measurement_variance_m2=(levels.half_width[sound] / NORMAL_95) ** 2,
    )
    return found, int(np.count_nonzero(sound))


def _spans(levels: _Control, chosen: NDArray[np.bool_]) -> bool:
    """Return whether the chosen wells are enough for a plane and not on one line."""
    if chosen.sum() < 3:
        return False
    length, width = length_and_width(levels.x[chosen], levels.y[chosen])
    return width > 1e-3 * length


def _honouring(
    levels: _Control,
    method: str,
    covariance: Covariance | None,
    drift: str,
    *,
    interval: float,
    grid_lines: int,
) -> tuple[Surface, Grid, Floats, tuple[Unhonoured, ...], int]:
    """Return a surface whose contours honour the levels, as far as can be, and how many are met exactly for it."""
    noise = (levels.half_width / NORMAL_95) ** 2
    through = np.full(levels.z.shape, fill_value=levels.z.size <= _MOST_LINES)
    exact = np.zeros(levels.z.shape, dtype=np.bool_)
    for round_number in range(_ROUNDS):
        surface = surfaces.fit(
            method,
            levels.x,
            levels.y,
            levels.z,
            covariance=covariance,
            drift=drift,
            measurement_variance_m2=np.where(exact, 0.0, noise),
            names=levels.names,
        )
        grid = surfaces.make_grid(surface, lines=grid_lines, through=(levels.x[through], levels.y[through]))
        heads = np.concatenate([levels.z, grid.water_elevation_m[np.isfinite(grid.water_elevation_m)]])
        contour_m = contour_levels(float(heads.min()), float(heads.max()), interval)
        failures = unhonoured(grid, levels.x, levels.y, levels.z, contour_m)
        positions = [failure.position for failure in failures]
        if not positions or (exact[positions].all() and through[positions].all()) or round_number == _ROUNDS - 1:
            break
        exact[positions] = True
        through[positions] = True
    return surface, grid, contour_m, failures, int(exact.sum()) if method == "kriging" else 0


def _scaled(levels: _Control, chosen: NDArray[np.bool_], coordinate_unit_m: float) -> Gradient:
    """Return the gradient of the chosen levels, with coordinates turned into metres."""
    names = [name for name, keep in zip(levels.names, chosen, strict=True) if keep]
    return plane_gradient(
        levels.x[chosen] * coordinate_unit_m,
        levels.y[chosen] * coordinate_unit_m,
        levels.z[chosen],
        levels.half_width[chosen],
        names=names,
    )


def _arrows(surface: Surface, rule: InferredRule, levels: _Control, coordinate_unit_m: float) -> tuple[FlowArrow, ...]:
    """Return flow arrows where the surface falls by more than the levels' uncertainty from one to the next."""
    least = float(np.median(levels.half_width))
    found = flow_arrows(surface, rule, least_fall_m=least)
    return tuple(
        FlowArrow(a.x, a.y, a.azimuth_deg, a.gradient / coordinate_unit_m, a.inferred, a.length_m) for a in found
    )


def _cross_validation(levels: _Control, surface: Surface, test: NeighbourTest) -> CrossValidation:
    left_out = surface.leave_one_out()
    residual = left_out.residual_m
    sound = residual[~test.outlier & ~np.isnan(residual)]
    return CrossValidation(
        n=int(np.count_nonzero(~np.isnan(residual))),
        mean_error_m=left_out.mean_error_m,
        rmse_m=left_out.rmse_m,
        rmse_sound_m=float(np.sqrt(np.mean(sound**2))) if sound.size else float("nan"),
        residual_m=pd.Series(residual, index=pd.Index(levels.names, name="well"), name="residual_m"),
    )


def _against_triangulation(levels: _Control, grid: Grid, method: str) -> float:
    if method == "triangulation":
        return 0.0
    plain = surfaces.fit("triangulation", levels.x, levels.y, levels.z)
    difference = grid.water_elevation_m - plain.predict(grid.x[None, :], grid.y[:, None], inside_control=True)
    return float(np.sqrt(np.nanmean(difference**2)))


def _findings(levels: _Control, test: NeighbourTest, unit: str) -> tuple[MapFinding, ...]:
    found = []
    for position in np.flatnonzero(test.outlier).tolist():
        residual, limit = float(test.residual_m[position]), float(test.limit_m[position])
        side = "above" if residual > 0 else "below"
        amount = length_text(abs(residual), unit, 1 if abs(residual) >= 10 else 2)
        text = (
            f"{levels.names[position]} stands {amount} {side} what its neighbours suggest (leave-one-out); check its "
            "surveyed elevation, its reading and its aquifer before using this map."
        )
        found.append(MapFinding(levels.names[position], residual, limit, text))
    return tuple(sorted(found, key=lambda finding: -abs(finding.residual_m)))


def _failure_texts(levels: _Control, failures: Sequence[Unhonoured], unit: str) -> tuple[HonourFailure, ...]:
    made = []
    for failure in failures:
        name = levels.names[failure.position]
        text = (
            f"{name} is posted at {length_text(failure.posted_m, unit)} but drawn at "
            f"{length_text(failure.drawn_m, unit)}, on the wrong side of the "
            f"{length_text(failure.contour_m, unit)} contour."
        )
        made.append(HonourFailure(name, failure.posted_m, failure.drawn_m, failure.contour_m, text))
    return tuple(made)


def _method_text(surface: Surface, n_fitted: int, exact: int) -> str:
    if not isinstance(surface, KrigedSurface):
        return "Linear interpolation on the triangles of Delaunay; levels taken as exact."
    kind = "Universal kriging with a linear drift" if surface.drift == "linear" else "Ordinary kriging"
    basis = f"fitted to {n_fitted} levels" if n_fitted else "as given"
    met = f" ({exact} met exactly so that the contours honour them)" if exact else ""
    return (
        f"{kind} and {surface.covariance.model} covariance, {basis}; the measurement error of each level is taken into "
        f"account{met}."
    )


def _parameters(
    surface: Surface,
    rule: InferredRule,
    units: tuple[str, float],
    *,
    checked: CrossValidation,
    against: float,
    exact: int,
) -> tuple[tuple[str, str], ...]:
    """Return the parameters as printed; `units` is the map's unit and the metres in a unit of the coordinates."""
    unit, coordinate_m = units
    unit_m = metres_per(unit)
    found: list[tuple[str, str]] = []
    if isinstance(surface, KrigedSurface):
        covariance = surface.covariance
        found += [
            ("drift", surface.drift),
            ("covariance", covariance.model),
            ("partial sill", f"{covariance.partial_sill_m2 / unit_m**2:.3g} {unit}²"),
            ("range", length_text(covariance.range_m * coordinate_m, unit, 0)),
            ("nugget", f"{covariance.nugget_m2 / unit_m**2:.3g} {unit}²"),
            ("levels met exactly", str(exact)),
            ("difference from triangulation (rms)", length_text(against, unit)),
        ]
    found += [
        ("leave-one-out error (rms)", f"{length_text(checked.rmse_m, unit)} at {checked.n} wells"),
        ("leave-one-out mean error", length_text(checked.mean_error_m, unit)),
        ("inferred beyond", f"{length_text(rule.farthest_m * coordinate_m, unit, 0)} from the nearest well"),
    ]
    return tuple(found)


def _cautions(
    levels: _Control,
    span: Span,
    *,
    findings: tuple[MapFinding, ...],
    gradients: tuple[Gradient, Gradient | None],
) -> tuple[str, ...]:
    count = levels.z.size
    texts: list[str] = []
    if count < FEW_WELLS:
        texts.append(f"Only {count} wells: contours are inferred throughout.")
    if count < LEAST_SEARCHED:
        texts.append(
            f"Too few wells to tell whether one of them does not fit its neighbours; it takes {LEAST_SEARCHED}."
        )
    if span.days > 1:
        texts.append(f"The levels were not taken on one day but over {span.days} days; heads may have moved meanwhile.")
    if span.untimed:
        texts.append(f"The time of day is not known for {span.untimed} of {count} levels.")
    if levels.assumed:
        texts.append(
            f"No uncertainty is on record for {levels.assumed} of {count} levels; ± {SURVEY_ACCURACY_M:g} m was taken."
        )
    if findings and gradients[1] is not None:
        texts.append(
            f"Gradient with {', '.join(finding.well for finding in findings)}: {gradients[0].text}. "
            f"Without: {gradients[1].text}."
        )
    return (*texts, _STANDING_CAUTION)
