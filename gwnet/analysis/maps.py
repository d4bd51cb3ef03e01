"""A potentiometric map from a same-day set: surface, contours, arrows, gradient, and what the reader must know."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from gwnet.analysis.map_result import Control, CrossValidation, MapResult
from gwnet.analysis.map_texts import (
    FEW_WELLS,
    cautions_of,
    failures_of,
    findings_of,
    method_text,
    parameters_of,
)
from gwnet.analysis.synoptic import leave_out, span_of
from gwnet.constants import SURVEY_ACCURACY_M
from gwnet.errors import SettingsError
from gwnet.hydro import surface as surfaces
from gwnet.hydro.contours import (
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
from gwnet.hydro.outliers import NeighbourTest, neighbour_test
from gwnet.hydro.surface import Grid, Surface
from gwnet.hydro.variogram import Covariance, fit_covariance
from gwnet.units import metres_per

Floats = NDArray[np.float64]

#: Of more wells than this, grid lines run only through those that the contours would not honour otherwise.
_MOST_LINES: Final = 200

_ROUNDS: Final = 6


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

    The linear algebra runs in one thread: sums then come out alike whatever the number of processors, and small
    matrices are faster so.
    """
    if unit not in ("m", "ft"):
        message = f"A map can be labelled in m or ft, not in {unit!r}."
        raise SettingsError(message)
    control = leave_out(control, exclude)
    unit_m = metres_per(unit)
    levels = _levels_of(control)
    control_arrays(levels.x, levels.y, levels.z, names=levels.names)
    with threadpool_limits(limits=1, user_api="blas"):
        test = neighbour_test(levels.x, levels.y, levels.z, levels.half_width)
        n_fitted = 0
        if covariance is None and method == "kriging":
            covariance, n_fitted = _covariance(levels, ~test.outlier, drift)
        lowest, highest = float(levels.z.min()), float(levels.z.max())
        least = 2.0 * float(np.median(levels.half_width))
        chosen = nice_interval(lowest, highest, unit_m=unit_m, least_m=least) if interval_m is None else interval_m
        interval = float(chosen)
        surface, grid, contour_m, failures, exact = _honouring(
            levels, method, covariance, drift, interval=interval, grid_lines=grid_lines
        )
        rule = inferred_rule(surface, interval, least_wells=FEW_WELLS)
        findings = findings_of(levels, test, unit)
        gradient = _scaled(levels, np.ones(levels.z.shape, dtype=np.bool_), coordinate_unit_m)
        sound = (
            _scaled(levels, ~test.outlier, coordinate_unit_m) if findings and _spans(levels, ~test.outlier) else None
        )
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
            method_text=method_text(surface, n_fitted, exact),
            parameters=parameters_of(
                surface, rule, (unit, coordinate_unit_m), checked=checked, against=against, exact=exact
            ),
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
            honour_failures=failures_of(levels, failures, unit),
            findings=findings,
            span=span,
            cautions=cautions_of(
                levels,
                span,
                findings=findings,
                gradients=(gradient, sound),
                unit=unit,
                screen_lengths_m=_screen_lengths(control),
            ),
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
        assumed=int(unknown.sum()),
    )


def _covariance(levels: Control, sound: NDArray[np.bool_], drift: str) -> tuple[Covariance, int]:
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


def _spans(levels: Control, chosen: NDArray[np.bool_]) -> bool:
    """Return whether the chosen wells are enough for a plane and not on one line."""
    if chosen.sum() < 3:
        return False
    length, width = length_and_width(levels.x[chosen], levels.y[chosen])
    return width > 1e-3 * length


def _honouring(
    levels: Control,
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


def _scaled(levels: Control, chosen: NDArray[np.bool_], coordinate_unit_m: float) -> Gradient:
    """Return the gradient of the chosen levels, with coordinates turned into metres."""
    names = [name for name, keep in zip(levels.names, chosen, strict=True) if keep]
    return plane_gradient(
        levels.x[chosen] * coordinate_unit_m,
        levels.y[chosen] * coordinate_unit_m,
        levels.z[chosen],
        levels.half_width[chosen],
        names=names,
    )


def _arrows(surface: Surface, rule: InferredRule, levels: Control, coordinate_unit_m: float) -> tuple[FlowArrow, ...]:
    """Return flow arrows where the surface falls by more than the levels' uncertainty from one to the next."""
    least = float(np.median(levels.half_width))
    found = flow_arrows(surface, rule, least_fall_m=least)
    return tuple(
        FlowArrow(a.x, a.y, a.azimuth_deg, a.gradient / coordinate_unit_m, a.inferred, a.length_m) for a in found
    )


def _cross_validation(levels: Control, surface: Surface, test: NeighbourTest) -> CrossValidation:
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


def _against_triangulation(levels: Control, grid: Grid, method: str) -> float:
    if method == "triangulation":
        return 0.0
    plain = surfaces.fit("triangulation", levels.x, levels.y, levels.z)
    difference = grid.water_elevation_m - plain.predict(grid.x[None, :], grid.y[:, None], inside_control=True)
    return float(np.sqrt(np.nanmean(difference**2)))
