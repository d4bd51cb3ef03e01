"""What figures of pumping tests show, as plain numbers: panels with points and lines, posted values, notes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import AnalysisError
from gwnet.figures.base.text import number_text
from gwnet.hydro.pumping import PumpingFit, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.derivative import bourdet_derivative
from gwnet.hydro.pumping.models import MODELS, model_drawdown
from gwnet.hydro.pumping.steps import step_ends
from gwnet.hydro.pumping.straight_lines import recovery_ratio
from gwnet.units import metres_per

Floats = NDArray[np.float64]
Kind = Literal["half-log", "log-log", "recovery", "steps", "distance"]
Scale = Literal["linear", "log"]

#: Kinds of figures.
KINDS: Final[tuple[Kind, ...]] = ("half-log", "log-log", "recovery", "steps", "distance")
#: Least distance of the points of a derivative, in the natural logarithm of time (project default); Bourdet and others
#: (1989) use 0.1 to 0.5.
DERIVATIVE_SPAN: Final = 0.3
#: Points of a curve of a model.
_CURVE_POINTS: Final = 160
#: Parameters are written with so many figures.
_FIGURES: Final = 3
_MINUTES: Final = 1440.0
_UNITS: Final = {
    "m2/d": "m²/d",
    "d/m2": "d/m²",
    "d2/m5": "d²/m⁵",
}


@dataclass(frozen=True, eq=False)
class PointSeries:
    """Points of one well: filled where they took part in the analysis, hollow where not, small for a derivative."""

    well: int
    x: Floats
    y: Floats
    taken: NDArray[np.bool_]
    is_derivative: bool = False


@dataclass(frozen=True, eq=False)
class CurveSeries:
    """A line of one well: of the model, or of its derivative."""

    well: int
    x: Floats
    y: Floats
    is_derivative: bool = False


@dataclass(frozen=True, eq=False)
class PlotPanel:
    """A panel: labels and scales of its axes, points, lines; ``down`` where the vertical axis points down."""

    x_label: str
    y_label: str
    x_scale: Scale
    y_scale: Scale
    points: tuple[PointSeries, ...]
    curves: tuple[CurveSeries, ...]
    down: bool = False
    zero_line: bool = False


@dataclass(frozen=True, eq=False)
class PumpingPlotData:
    """A figure of a pumping test: title, what is posted below it, names of wells, panel and the one beside it."""

    title: str
    posted: tuple[str, ...]
    wells: tuple[str, ...]
    panel: PlotPanel
    beside: PlotPanel | None
    parameters: tuple[str, ...]
    notes: tuple[str, ...]


def pumping_plot_data(
    kind: Kind,
    rates: PumpingRates,
    wells: Sequence[WellDrawdown],
    fit: PumpingFit | None = None,
    *,
    title: str,
    posted: Sequence[str] = (),
    unit: str = "m",
    span: float = DERIVATIVE_SPAN,
    notes: Sequence[str] = (),
) -> PumpingPlotData:
    """Return what a figure of a pumping test shows.

    Parameters
    ----------
    kind : {"half-log", "log-log", "recovery", "steps", "distance"}
        Drawdown over the logarithm of time, both logarithmic with the derivative, residual drawdown over t/t′, steps
        with their specific drawdown, or drawdown over the logarithm of distance.
    rates : PumpingRates
        History of rates.
    wells : sequence of WellDrawdown
        All readings that are to be seen, at least one after the start of pumping.
    fit : PumpingFit, optional
        Analysis whose line and residuals are drawn; its readings are filled, the others hollow.
    title : str
        Title.
    posted : sequence of str, optional
        What is posted below the title: well, datum, rate, span, method.
    unit : str, optional
        Unit of drawdown and distance, ``m`` or ``ft``.
    span : float, optional
        Least distance of the points of the derivative, in the natural logarithm of time.
    notes : sequence of str, optional
        Sentences below the panels; the fit's own note follows.

    Returns
    -------
    PumpingPlotData
        What `gwnet.figures.pumping.draw.draw_pumping` takes.

    Raises
    ------
    AnalysisError
        If nothing can be shown in this kind of figure.
    """
    if kind not in KINDS:
        message = f"There is no kind of figure {kind!r}; there are {', '.join(KINDS)}."
        raise AnalysisError(message)
    shown = [well for well in wells if well.days.size]
    view = _View(rates, shown, fit, metres_per(unit), unit)
    panel = {
        "half-log": view.half_log,
        "log-log": lambda: view.log_log(span),
        "recovery": view.recovery,
        "steps": view.steps,
        "distance": view.distance,
    }[kind]()
    if not any(points.x.size for points in panel.points):
        message = f"No reading can be shown in a figure of the kind {kind}."
        raise AnalysisError(message, fix="Check the window, the stop of the pump and the wells.")
    own = () if fit is None or not fit.note else (fit.note,)
    return PumpingPlotData(
        title=title,
        posted=tuple(posted),
        wells=tuple(well.well for well in shown),
        panel=panel,
        beside=view.specific() if kind == "steps" else view.residuals(kind),
        parameters=() if fit is None else parameter_lines(fit),
        notes=(*notes, *own),
    )


def parameter_lines(fit: PumpingFit) -> tuple[str, ...]:
    """Return the parameters of an analysis as they are posted, one a line, with their 95 % limits.

    Parameters
    ----------
    fit : PumpingFit
        Analysis.

    Returns
    -------
    tuple of str
        Such as ``transmissivity 480 m²/d (403 to 584)``; ``(not determined: above 437)`` where the data set no other.
    """
    lines = []
    for parameter in fit.parameters:
        name = parameter.name.replace("_", " ")
        unit = f" {_UNITS.get(parameter.unit, parameter.unit)}" if parameter.unit else ""
        text = f"{name} {short_figure(parameter.value)}{unit}"
        if not parameter.identifiable:
            bounds = [
                f"above {short_figure(parameter.lower)}" if parameter.lower > 0.0 else "",
                f"below {short_figure(parameter.upper)}" if math.isfinite(parameter.upper) else "",
            ]
            known = " and ".join(bound for bound in bounds if bound) or "no limits"
            text += f" (not determined: {known})"
        elif math.isfinite(parameter.lower):
            text += f" ({short_figure(parameter.lower)} to {short_figure(parameter.upper)})"
        lines.append(text)
    return tuple(lines)


def short_figure(value: float) -> str:
    """Return a number with three figures, as a power of ten where it is small or great.

    Examples
    --------
    >>> short_figure(480.47), short_figure(0.000112507), short_figure(23456.0)
    ('480', '1.13 × 10⁻⁴', '23 500')
    """
    if not math.isfinite(value):
        return "∞" if value > 0.0 else "−∞" if value < 0.0 else "?"
    if value == 0.0:
        return "0"
    power = math.floor(math.log10(abs(value)))
    if -3 <= power < 6:
        rounded = round(value, _FIGURES - 1 - power)
        text = number_text(rounded, max(_FIGURES - 1 - power, 0))
        if power >= 4:
            # A comma is a decimal sign to many readers.
            text = f"{rounded:,.0f}".replace(",", " ").replace("-", "−")
        return text
    raised = str(power).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"{number_text(value / 10.0**power, _FIGURES - 1)} × 10{raised}"


@dataclass(frozen=True, eq=False)
class _View:
    """What all kinds of figures are made from."""

    rates: PumpingRates
    wells: list[WellDrawdown]
    fit: PumpingFit | None
    metres: float
    unit: str

    @property
    def began(self) -> float:
        """Return when pumping began [d]."""
        return self.rates.began_days

    def half_log(self) -> PlotPanel:
        """Return drawdown over the logarithm of time."""
        points = tuple(self._points(place, self._minutes, after=self.began) for place in range(len(self.wells)))
        curves = tuple(self._curve(place, self._minutes) for place in self._fitted_wells())
        label = f"drawdown ({self.unit})"
        return PlotPanel("time since pumping began (min)", label, "log", "linear", points, curves, down=True)

    def log_log(self, span: float) -> PlotPanel:
        """Return drawdown and its derivative, both axes logarithmic."""
        points, curves = [], []
        for place, well in enumerate(self.wells):
            seen = self._points(place, self._minutes, after=self.began, until=self.rates.stop_days)
            # A logarithmic axis has no place for zero and less.
            kept = seen.y > 0.0
            points.append(PointSeries(place, seen.x[kept], seen.y[kept], seen.taken[kept]))
            pumped = well.within(self.began, self.rates.stop_days)
            days, slope = bourdet_derivative(pumped.days - self.began, pumped.drawdown_m, span=span)
            good = np.isfinite(slope) & (slope > 0.0)
            derivative = slope[good] / self.metres
            points.append(
                PointSeries(place, days[good] * _MINUTES, derivative, np.ones(derivative.size, dtype=bool), True)
            )
        for place in self._fitted_wells():
            curve = self._curve(place, self._minutes, until=self.rates.stop_days)
            kept = curve.y > 0.0
            curves.append(CurveSeries(place, curve.x[kept], curve.y[kept]))
            if kept.sum() > 2:
                slope = np.gradient(curve.y[kept], np.log(curve.x[kept]))
                # Where the curve is flat its slope is the dust of numbers, which a logarithmic axis would draw over
                # many decades.
                rises = slope > 1e-6 * slope.max()
                curves.append(CurveSeries(place, curve.x[kept][rises], slope[rises], True))
        label = f"drawdown and derivative ({self.unit})"
        return PlotPanel("time since pumping began (min)", label, "log", "log", tuple(points), tuple(curves))

    def recovery(self) -> PlotPanel:
        """Return residual drawdown over t/t′."""
        if not math.isfinite(self.rates.stop_days):
            raise AnalysisError("The rates have no stop, so there is no recovery.", fix="Add the rate 0 from the stop.")

        def ratio(days: Floats) -> Floats:
            return recovery_ratio(self.rates, days)

        stop = self.rates.stop_days
        points = tuple(self._points(place, ratio, after=stop) for place in range(len(self.wells)))
        curves = tuple(self._curve(place, ratio, after=stop) for place in self._fitted_wells())
        return PlotPanel("t/t′", f"residual drawdown ({self.unit})", "log", "linear", points, curves, down=True)

    def steps(self) -> PlotPanel:
        """Return drawdown over time, not logarithmic."""
        points = tuple(self._points(place, self._minutes, after=self.began) for place in range(len(self.wells)))
        fit = self.fit
        # These are fitted to the ends of the steps alone, and say nothing of the time between.
        is_of_ends = fit is not None and fit.model in {"step", "step-rorabaugh"}
        curves = () if is_of_ends else tuple(self._curve(place, self._minutes) for place in self._fitted_wells())
        label = f"drawdown ({self.unit})"
        return PlotPanel("time since pumping began (min)", label, "linear", "linear", points, curves, down=True)

    def specific(self) -> PlotPanel:
        """Return specific drawdown over the rate, at the ends of steps."""
        points, curves = [], []
        for place, well in enumerate(self.wells):
            ends = step_ends(self.rates, well)
            y = ends.drawdown_m / ends.rate_m3_d / self.metres
            points.append(PointSeries(place, ends.rate_m3_d, y, np.ones(y.size, dtype=bool)))
            curves.extend(self._specific_curve(place, float(ends.rate_m3_d.max())))
        label = f"drawdown over rate ({self.unit} per m³/d)"
        return PlotPanel("rate (m³/d)", label, "linear", "linear", tuple(points), tuple(curves))

    def _specific_curve(self, place: int, greatest: float) -> list[CurveSeries]:
        fit = self.fit
        if fit is None or fit.model not in {"step", "step-rorabaugh", "step-theis"}:
            return []
        exponent = 2.0 if fit.model == "step" else fit.value("exponent")
        rate = np.linspace(0.02, 1.05, 60) * greatest
        specific = fit.value("linear_loss") + fit.value("well_loss") * rate ** (exponent - 1.0)
        return [CurveSeries(place, rate, specific / self.metres)]

    def distance(self) -> PlotPanel:
        """Return the last drawdown of each well over the logarithm of distance."""
        points = []
        for place, well in enumerate(self.wells):
            pumped = well.within(self.began, self.rates.stop_days)
            last = int(np.argmax(pumped.days)) if pumped.days.size else 0
            x = np.full(min(pumped.days.size, 1), well.distance_m / self.metres)
            y = pumped.drawdown_m[last : last + x.size] / self.metres
            taken = np.full(x.size, self.fit is None or well.well in self.fit.wells)
            points.append(PointSeries(place, x, y, taken))
        curves: tuple[CurveSeries, ...] = ()
        if self.fit is not None and self.fit.model == "distance":
            radius, transmissivity = self.fit.value("radius_of_influence"), self.fit.value("transmissivity")
            near = min(well.distance_m for well in self.wells)
            # Not to the radius itself, which may be kilometres beyond the last well.
            far = min(radius, 3.0 * max(well.distance_m for well in self.wells))
            x = np.geomspace(near, far, _CURVE_POINTS)
            rate = self.rates.last_rate_m3_d
            y = rate / (2.0 * np.pi * transmissivity) * np.log(radius / x)
            curves = (CurveSeries(0, x / self.metres, y / self.metres),)
        x_label = f"distance from the pumped well ({self.unit})"
        return PlotPanel(x_label, f"drawdown ({self.unit})", "log", "linear", tuple(points), curves, down=True)

    def residuals(self, kind: Kind) -> PlotPanel | None:
        """Return measured less modelled drawdown over time or distance; None where there are no residuals."""
        fit = self.fit
        if fit is None or fit.degrees <= 0:
            return None
        points = []
        for place, well in enumerate(self.wells):
            if well.well not in fit.wells:
                continue
            of_well = np.flatnonzero(fit.well_index == fit.wells.index(well.well))
            days = fit.days[of_well]
            x = self._minutes(days)
            # By Agarwal's equivalent time that analysis has an axis of times already.
            if kind == "recovery" and fit.model != "recovery-equivalent":
                x = recovery_ratio(self.rates, days)
            if kind == "distance":
                x = np.full(days.size, well.distance_m / self.metres)
            good = np.isfinite(x) & (x > 0.0)
            y = fit.residuals[of_well][good] / self.metres
            points.append(PointSeries(place, x[good], y, np.ones(y.size, dtype=bool)))
        label = {"recovery": "t/t′", "distance": f"distance ({self.unit})"}.get(kind, "time (min)")
        y_label = f"measured − model ({self.unit})"
        return PlotPanel(label, y_label, "log", "linear", tuple(points), (), down=False, zero_line=True)

    def _minutes(self, days: Floats) -> Floats:
        return (days - self.began) * _MINUTES

    def _points(
        self, place: int, across: Callable[[Floats], Floats], *, after: float, until: float = math.inf
    ) -> PointSeries:
        well = self.wells[place].within(after, until)
        x = across(well.days)
        taken = np.ones(x.size, dtype=bool)
        if self.fit is not None:
            taken = np.zeros(x.size, dtype=bool)
            if well.well in self.fit.wells:
                used = self.fit.days[self.fit.well_index == self.fit.wells.index(well.well)]
                # To a ten-thousandth of a second: the same times went through different sums.
                taken = np.isin(np.round(well.days, 9), np.round(used, 9))
        return PointSeries(place, x, well.drawdown_m / self.metres, taken)

    def _fitted_wells(self) -> list[int]:
        if self.fit is None:
            return []
        return [place for place, well in enumerate(self.wells) if well.well in self.fit.wells]

    def _curve(
        self, place: int, across: Callable[[Floats], Floats], *, after: float = -math.inf, until: float = math.inf
    ) -> CurveSeries:
        fit, well = self.fit, self.wells[place]
        if fit is None:
            return CurveSeries(place, np.empty(0), np.empty(0))
        of_well = np.flatnonzero(fit.well_index == fit.wells.index(well.well))
        seen = well.within(max(after, self.began), until).days
        k = fit.covariance.shape[0]
        is_finite = all(0.0 < parameter.value < math.inf for parameter in fit.parameters[:k])
        # A parameter at the end of its range gives no curve; then the fitted values are joined.
        if fit.model in MODELS and seen.size and is_finite:
            days = self._dense(float(seen.min()), float(seen.max()))
            values = {parameter.name: parameter.value for parameter in fit.parameters[:k]}
            at = well.with_readings(days, 0.0 * days)
            y = model_drawdown(fit.model, values, self.rates, at, fit.geometry)
        else:
            order = np.argsort(fit.days[of_well], kind="stable")
            days, y = fit.days[of_well][order], fit.fitted_m[of_well][order]
            within = (days > after) & (days <= until)
            days, y = days[within], y[within]
        x = across(days)
        good = np.isfinite(x) & (x > 0.0)
        return CurveSeries(place, x[good], y[good] / self.metres)

    def _dense(self, first: float, last: float) -> Floats:
        """Return times for a curve: even in the logarithm after the start and after each change of rate."""
        parts = []
        edges = [*self.rates.start_days[self.rates.start_days < last], last]
        for start, end in pairwise(edges):
            if end > max(first, start):
                # Dense after each change of rate, where drawdown bends most.
                least = min(max(first - start, (end - start) * 1e-4), end - start)
                parts.append(start + np.geomspace(least, end - start, _CURVE_POINTS // max(len(edges) - 1, 1) + 8))
        return np.unique(np.concatenate(parts)) if parts else np.array([first, last])
