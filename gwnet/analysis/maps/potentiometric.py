"""A potentiometric map from a same-day set: surface, contours, arrows, gradient, and what the reader must know."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from gwnet.analysis.maps.bounds import above_base, above_ground, against_bounds
from gwnet.analysis.maps.compartments import Compartment, compartments_of
from gwnet.analysis.maps.features import MapFeatures, with_rivers
from gwnet.analysis.maps.method_choice import AUTO, choose_method
from gwnet.analysis.maps.parts import Making, Part, joined, make_parts
from gwnet.analysis.maps.result import Control, CrossValidation, MapResult, MethodScore
from gwnet.analysis.maps.same_day import leave_out, span_of
from gwnet.analysis.maps.texts import (
    FEW_WELLS,
    cautions_of,
    failures_of,
    feature_cautions,
    findings_of,
    method_text,
    parameters_of,
    trend_caution,
)
from gwnet.constants import NORMAL_95, RIVER_KIND, SURVEY_ACCURACY_M
from gwnet.errors import SettingsError
from gwnet.hydro.gradients.horizontal import Departure, FlowArrow, Gradient, flow_arrows, plane_gradient
from gwnet.hydro.surfaces import surface as surfaces
from gwnet.hydro.surfaces.contours import nice_interval
from gwnet.hydro.surfaces.covariance_mixture import CovarianceMixture, fit_mixture
from gwnet.hydro.surfaces.hull import length_and_width
from gwnet.hydro.surfaces.outliers import NeighbourTest, neighbour_test
from gwnet.hydro.surfaces.surface import Grid, Surface
from gwnet.hydro.surfaces.variogram import Covariance
from gwnet.units import metres_per

Floats = NDArray[np.float64]


def make_map(
    control: pd.DataFrame,
    *,
    aquifer: str,
    date: dt.date,
    method: str = "kriging",
    interval_m: float | None = None,
    drift: str = "linear",
    covariance: Covariance | CovarianceMixture | None = None,
    exclude: Collection[str] = (),
    unit: str = "m",
    crs: str = "",
    vertical_datum: str = "",
    coordinate_unit_m: float = 1.0,
    grid_lines: int = surfaces.GRID_LINES,
    features: MapFeatures | None = None,
    check_ground: bool = False,
    departure: Departure | None = None,
) -> MapResult:
    """Make a potentiometric map from a same-day set.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame, as `gwnet.analysis.maps.same_day.same_day_set`.
    aquifer : str
        Code of the aquifer.
    date : datetime.date
        Local date of the set.
    method : str, optional
        ``kriging``, ``spline``, ``triangulation``, ``auto`` (the one of these that estimates left-out levels best), or
        ``quadratic``: a trend surface.
    interval_m : float, optional
        Contour interval; a step of 1, 2 or 5 that gives at most 12 contours unless given [m].
    drift : str, optional
        ``linear`` for universal kriging, ``none`` for ordinary kriging.
    covariance : Covariance or CovarianceMixture, optional
        Covariance as known, its range in the unit of the coordinates, or several with their shares; fitted to the wells
        without finding unless given.
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
    features : MapFeatures, optional
        Barriers, boundary, rivers, base of the unit and base layers.
    check_ground : bool, optional
        Whether to mark where heads are above the ground of the control's wells.
    departure : gwnet.hydro.gradients.horizontal.Departure, optional
        How far heads lie off a plane in a set with more wells, for the gradient of three.

    Returns
    -------
    MapResult
        The map.

    Raises
    ------
    TooFewLevelsError
        If fewer than three wells can be used, or seven for a trend surface.
    AnalysisError
        If the wells lie on one line.
    SettingsError
        If a method, drift, unit, interval or feature is not known or cannot be used.
    NotFoundError
        If a well to be left out is not in the set.

    Notes
    -----
    Levels are kriged with their measurement variance, (half-width / 1.96)². A well that the contours would then put on
    the wrong side is met exactly instead, and the grid gets lines through it; what still fails is reported. Levels that
    do not fit their neighbours (`gwnet.hydro.surfaces.outliers.neighbour_test`) stay in the map and become findings.

    The linear algebra runs in one thread: sums then come out alike whatever the number of processors, and small
    matrices are faster so.
    """
    if unit not in ("m", "ft"):
        message = f"A map can be labelled in m or ft, not in {unit!r}."
        raise SettingsError(message)
    features = MapFeatures() if features is None else features
    control = with_rivers(leave_out(control, exclude), features, coordinate_unit_m=coordinate_unit_m)
    control, levels, compartments = _divide(control, features)
    with threadpool_limits(limits=1, user_api="blas"):
        test = _test_neighbours(levels, compartments)
        counted = ~test.outlier & levels.measured
        main = compartments[0].positions
        n_fitted = 0
        if covariance is None and method in ("kriging", AUTO):
            covariance, n_fitted = _covariances(levels.of(main), ~test.outlier[main], drift, compartments[0])
        scores: tuple[MethodScore, ...] = ()
        if method == AUTO and covariance is not None:
            _refuse_auto(compartments)
            method, scores = choose_method(levels.of(main), counted[main], covariance, drift)
        # An interval within the usual uncertainty would draw contours of noise.
        least = 2.0 * float(np.median(levels.half_width[levels.measured]))
        lowest, highest = float(levels.z.min()), float(levels.z.max())
        chosen = (
            nice_interval(lowest, highest, unit_m=metres_per(unit), least_m=least) if interval_m is None else interval_m
        )
        making = Making(method, covariance, drift, float(chosen), grid_lines, FEW_WELLS)
        parts = make_parts(levels, compartments, making)
        surface, grid = joined(levels, parts, grid_lines)
        grid, contours, base_text = above_base(
            grid, tuple(line for part in parts for line in part.contours), features.base_m, unit
        )
        over, ground_text = above_ground(control, grid, unit) if check_ground else (None, "")
        control, against_text = against_bounds(control, surface, unit)
        findings = findings_of(levels, test, unit)
        gradient = _scaled(levels, levels.measured, coordinate_unit_m, departure)
        sound = None
        if findings and _spans(levels, counted):
            sound = _scaled(levels, counted, coordinate_unit_m, gradient.departure)
        checked = _cross_validation(levels, surface, counted)
        against = _against_triangulation(levels, grid, method)
        span = span_of(control[control["kind"] != RIVER_KIND])
        exact = sum(part.exact for part in parts)
        return MapResult(
            aquifer=aquifer,
            date=date,
            crs=crs,
            vertical_datum=vertical_datum,
            unit=unit,
            control=control,
            method=method,
            method_text=method_text(surface, n_fitted, exact, scores=scores, unit=unit),
            parameters=parameters_of(
                surface, parts[0].rule, (unit, coordinate_unit_m), checked=checked, against=against, exact=exact
            ),
            surface=surface,
            grid=grid,
            interval_m=making.interval_m,
            levels_m=np.unique(np.concatenate([part.contour_m for part in parts])),
            contours=contours,
            arrows=_arrows(parts, levels, coordinate_unit_m, features.base_m),
            boundary=surface.hull,
            gradient=gradient,
            gradient_sound=sound,
            cross_validation=checked,
            against_triangulation_m=against,
            honour_failures=failures_of(levels, [failure for part in parts for failure in part.failures], unit),
            findings=findings,
            span=span,
            cautions=cautions_of(
                levels,
                surface,
                span,
                findings=findings,
                gradients=(gradient, sound),
                unit=unit,
                screen_lengths_m=_screen_lengths(control),
                more=[
                    trend_caution(levels, surface, grid, interval_m=making.interval_m, unit=unit),
                    *feature_cautions(compartments, features, levels),
                    against_text,
                    base_text,
                    ground_text,
                ],
            ),
            scores=scores,
            region=None if len(parts) == 1 and parts[0].plain else _region(parts),
            above_ground=over,
            features=features,
        )


def _divide(control: pd.DataFrame, features: MapFeatures) -> tuple[pd.DataFrame, Control, tuple[Compartment, ...]]:
    """Return control, levels and compartments; levels of one with too few of them are left out with that reason."""
    # Levels left out change the hull, and with it the compartments: again until nothing is left out.
    while True:
        levels = _levels_of(control)
        compartments, alone = compartments_of(levels, features)
        if not alone:
            return control, levels, compartments
        reasons = {levels.names[position]: reason for position, reason in alone.items()}
        left = control["well"].isin(list(reasons)) & control["used"].astype(bool)
        control = control.copy()
        control.loc[left, "reason"] = control.loc[left, "well"].map(reasons)
        control.loc[left, "used"] = False


def _test_neighbours(levels: Control, compartments: tuple[Compartment, ...]) -> NeighbourTest:
    """Return the neighbour test of each compartment, put together; points of rivers are never outliers."""
    residual, limit = np.full(levels.z.shape, np.nan), np.full(levels.z.shape, np.nan)
    outlier = np.zeros(levels.z.shape, dtype=np.bool_)
    for compartment in compartments:
        own = levels.of(compartment.positions)
        test = neighbour_test(own.x, own.y, own.z, own.half_width)
        # Those of rivers are stated or interpolated; they may be off, but nobody can check a reading.
        residual[compartment.positions], limit[compartment.positions] = test.residual_m, test.limit_m
        outlier[compartment.positions] = test.outlier & own.measured
    return NeighbourTest(residual, limit, outlier)


def _refuse_auto(compartments: tuple[Compartment, ...]) -> None:
    if any(compartment.barriers is not None for compartment in compartments):
        message = (
            "A barrier ends inside the control; only kriging can go around its end, so there is nothing to choose."
        )
        raise SettingsError(message, fix="Ask for kriging.")


def _region(parts: tuple[Part, ...]) -> object:
    import shapely

    return shapely.unary_union([part.compartment.region for part in parts])


def gradient_of(
    control: pd.DataFrame, *, coordinate_unit_m: float = 1.0, departure: Departure | None = None
) -> Gradient:
    """Return the gradient of the plane through the used levels of a control frame.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame, as `gwnet.analysis.maps.same_day.same_day_set`.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates.
    departure : gwnet.hydro.gradients.horizontal.Departure, optional
        How far heads lie off a plane in a set with more wells; used for three wells alone.

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
    return _scaled(levels, np.ones(levels.z.shape, dtype=np.bool_), coordinate_unit_m, departure)


def _screen_lengths(control: pd.DataFrame) -> Floats:
    """Return the lengths of the used wells' screens; a control frame made by hand need not tell them."""
    if "screen_length_m" not in control:
        return np.array([])
    return np.asarray(control.loc[control["used"].astype(bool), "screen_length_m"], dtype=np.float64)


def _levels_of(control: pd.DataFrame) -> Control:
    used = control[control["used"].astype(bool)]
    widths = used["uncertainty_m"].to_numpy(dtype=np.float64)
    unknown = np.isnan(widths)
    return Control(
        names=used["well"].astype(str).tolist(),
        x=used["easting"].to_numpy(dtype=np.float64),
        y=used["northing"].to_numpy(dtype=np.float64),
        z=used["water_elevation_m"].to_numpy(dtype=np.float64),
        half_width=np.where(unknown, SURVEY_ACCURACY_M, widths),
        assumed=int((unknown & (used["kind"] != RIVER_KIND).to_numpy()).sum()),
        measured=(used["kind"] != RIVER_KIND).to_numpy(dtype=np.bool_),
    )


def _covariances(
    levels: Control, sound: NDArray[np.bool_], drift: str, compartment: Compartment
) -> tuple[CovarianceMixture, int]:
    """Return the covariances of the sound levels, and how many these are."""
    if not _spans(levels, sound):
        # Without the suspects the others may lie on one line; then all are better than none.
        sound = np.ones(sound.shape, dtype=np.bool_)
    mixture = fit_mixture(
        levels.x[sound],
        levels.y[sound],
        levels.z[sound],
        drift=drift,
        measurement_variance_m2=(levels.half_width[sound] / NORMAL_95) ** 2,
        barriers=compartment.barriers,
    )
    return mixture, int(np.count_nonzero(sound))


def _spans(levels: Control, chosen: NDArray[np.bool_]) -> bool:
    """Return whether the chosen wells are enough for a plane and not on one line."""
    if chosen.sum() < 3:
        return False
    length, width = length_and_width(levels.x[chosen], levels.y[chosen])
    return width > 1e-3 * length


def _scaled(
    levels: Control, chosen: NDArray[np.bool_], coordinate_unit_m: float, departure: Departure | None
) -> Gradient:
    """Return the gradient of the chosen levels, with coordinates turned into metres."""
    names = [name for name, keep in zip(levels.names, chosen, strict=True) if keep]
    return plane_gradient(
        levels.x[chosen] * coordinate_unit_m,
        levels.y[chosen] * coordinate_unit_m,
        levels.z[chosen],
        levels.half_width[chosen],
        names=names,
        departure=departure,
    )


def _arrows(parts: tuple[Part, ...], levels: Control, coordinate_unit_m: float, base_m: float) -> tuple[FlowArrow, ...]:
    """Return flow arrows where the surface falls by more than the levels' uncertainty from one to the next."""
    least = float(np.median(levels.half_width))
    arrows = [
        arrow
        for part in parts
        for arrow in flow_arrows(part.surface, part.rule, least_fall_m=least)
        # "Not at or below" also where no base is known: a comparison with NaN is False.
        if part.shows(arrow.ends) and not float(part.surface.predict(arrow.x, arrow.y)) <= base_m
    ]
    return tuple(replace(arrow, gradient=arrow.gradient / coordinate_unit_m) for arrow in arrows)


def _cross_validation(levels: Control, surface: Surface, counted: NDArray[np.bool_]) -> CrossValidation:
    """Return the leave-one-out errors at measured levels."""
    residual = np.where(levels.measured, surface.leave_one_out().residual_m, np.nan)
    # NaN where the others cannot estimate a level, as at corners of a triangulation.
    known = residual[~np.isnan(residual)]
    sound = residual[counted & ~np.isnan(residual)]
    named = pd.Series(residual, index=pd.Index(levels.names, name="well"), name="residual_m")
    return CrossValidation(
        n=int(known.size),
        mean_error_m=float(known.mean()) if known.size else float("nan"),
        rmse_m=float(np.sqrt(np.mean(known**2))) if known.size else float("nan"),
        rmse_sound_m=float(np.sqrt(np.mean(sound**2))) if sound.size else float("nan"),
        residual_m=named[levels.measured],
    )


def _against_triangulation(levels: Control, grid: Grid, method: str) -> float:
    if method == "triangulation":
        return 0.0
    plain = surfaces.fit("triangulation", levels.x, levels.y, levels.z)
    difference = grid.water_elevation_m - plain.predict(grid.x[None, :], grid.y[:, None], inside_control=True)
    return float(np.sqrt(np.nanmean(difference**2)))
