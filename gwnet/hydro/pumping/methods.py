"""Analyses of pumping tests by name: one door to all of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from gwnet.errors import AnalysisError
from gwnet.hydro.pumping.distance import fit_distance
from gwnet.hydro.pumping.fits import fit_model
from gwnet.hydro.pumping.models import MODELS
from gwnet.hydro.pumping.results import PumpingFit, PumpingGeometry, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.slugs import fit_bouwer_rice, fit_hvorslev, fit_slug
from gwnet.hydro.pumping.steps import fit_steps, fit_steps_exponent, fit_steps_theis
from gwnet.hydro.pumping.straight_lines import fit_recovery, fit_recovery_equivalent, fit_straight_line


@dataclass(frozen=True)
class Method:
    """An analysis.

    Attributes
    ----------
    name, title, source : str
        Its name, what it is in words, and who published it.
    needs : tuple of str
        Dimensions that it needs, attributes of `PumpingGeometry`.
    kinds : tuple of str
        Kinds of tests that it is for.
    analyse : callable
        Takes rates, wells, geometry and options, returns a `PumpingFit`.
    superposes : bool
        Whether the drawdown of other pumped wells can be added.
    options : tuple of str
        Options that it takes: ``trim`` for straight lines, ``heads`` for those of slug tests.
    """

    name: str
    title: str
    source: str
    needs: tuple[str, ...]
    kinds: tuple[str, ...]
    analyse: Callable[..., PumpingFit]
    options: tuple[str, ...] = ()
    superposes: bool = False


def _model(name: str) -> Callable[..., PumpingFit]:
    return lambda rates, wells, geometry: fit_model(name, rates, wells, geometry)


def _slug(analyse: Callable[..., PumpingFit]) -> Callable[..., PumpingFit]:
    return lambda _, wells, geometry, **options: analyse(wells, geometry, **options)


_CONSTANT: Final = ("constant rate", "production")
_ANY_RATES: Final = (*_CONSTANT, "recovery", "step")
_TITLES: Final = {
    "theis": "confined aquifer",
    "leaky": "leaky confined aquifer",
    "storage": "confined aquifer with storage in the pumped well",
    "delayed-yield": "unconfined aquifer with delayed yield, three dimensions",
    "delayed-yield-boulton": "unconfined aquifer with delayed yield, delay index",
}
_NEEDS: Final = {"storage": ("well_radius_m", "casing_radius_m"), "delayed-yield": ("thickness_m",)}
_SLUG_DIMENSIONS: Final = ("well_radius_m", "casing_radius_m")

#: Analyses by name.
METHODS: Final[dict[str, Method]] = {
    method.name: method
    for method in (
        *(
            Method(
                *(name, _TITLES[name], model.source, _NEEDS.get(name, ()), _ANY_RATES, _model(name)),
                superposes=model.superposes,
            )
            for name, model in MODELS.items()
        ),
        Method(
            "straight-line",
            "straight line over the logarithm of time at a constant rate",
            "Cooper and Jacob 1946",
            (),
            _CONSTANT,
            fit_straight_line,
            ("trim",),
        ),
        Method(
            "recovery",
            "residual drawdown over the logarithm of t/t′",
            "Theis 1935",
            (),
            (*_CONSTANT, "recovery", "step"),
            fit_recovery,
        ),
        Method(
            "recovery-equivalent",
            "rise since the stop over the logarithm of equivalent time",
            "Agarwal 1980",
            (),
            (*_CONSTANT, "recovery", "step"),
            fit_recovery_equivalent,
        ),
        Method("distance", "drawdown over the logarithm of distance", "Thiem 1906", (), _CONSTANT, fit_distance),
        Method("step", "linear and well loss, exponent 2", "Jacob 1947", (), ("step",), fit_steps),
        Method(
            "step-rorabaugh",
            "linear and well loss with the exponent",
            "Rorabaugh 1953",
            (),
            ("step",),
            fit_steps_exponent,
        ),
        Method(
            "step-theis",
            "confined aquifer and well loss with the exponent, all readings",
            "Theis 1935, Rorabaugh 1953",
            (),
            ("step",),
            fit_steps_theis,
        ),
        Method(
            "slug",
            "slug test, well of finite diameter, confined",
            "Cooper, Bredehoeft and Papadopulos 1967",
            _SLUG_DIMENSIONS,
            ("slug",),
            _slug(fit_slug),
        ),
        Method(
            "slug-hvorslev",
            "slug test, straight line of logarithms",
            "Hvorslev 1951",
            (*_SLUG_DIMENSIONS, "screen_top_m", "screen_bottom_m"),
            ("slug",),
            _slug(fit_hvorslev),
            ("heads",),
        ),
        Method(
            "slug-bouwer-rice",
            "slug test, straight line of logarithms, unconfined",
            "Bouwer and Rice 1976",
            (*_SLUG_DIMENSIONS, "screen_top_m", "screen_bottom_m", "submerged_m", "thickness_m"),
            ("slug",),
            _slug(fit_bouwer_rice),
            ("heads",),
        ),
    )
}


def fit_pumping_test(
    method: str,
    rates: PumpingRates | None,
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry | None = None,
    **options: Any,
) -> PumpingFit:
    """Analyse a pumping test.

    Parameters
    ----------
    method : str
        One of `METHODS`.
    rates : PumpingRates or None
        History of rates; None for slug tests.
    wells : sequence of WellDrawdown
        Readings of one or more wells; use `WellDrawdown.within` for a part of the test.
    geometry : PumpingGeometry, optional
        Dimensions; the method's ``needs`` says which it cannot do without.
    **options : object
        Options of the method, those of its ``options``: ``trim=False`` keeps early readings in a straight line,
        ``heads=(0.2, 0.3)`` is the range of normalised heads of a slug test.

    Returns
    -------
    PumpingFit
        Parameters with 95 % limits, residuals, and what the data do and do not determine.

    Raises
    ------
    AnalysisError
        If there is no such method, it does not take an option, a dimension is missing, or no reading can be used.
    """
    if method not in METHODS:
        message = f"There is no method {method!r} for pumping tests; there are {', '.join(METHODS)}."
        raise AnalysisError(message)
    chosen = METHODS[method]
    unknown = sorted(set(options) - set(chosen.options))
    if unknown:
        message = f"The method {method} does not take {', '.join(unknown)}."
        raise AnalysisError(message, fix="Leave it out, or choose another method.")
    if rates is None and "slug" not in chosen.kinds:
        message = f"The method {method} needs the rates of the test."
        raise AnalysisError(message, fix="Add the rates, with 0 from the stop on.")
    if not chosen.superposes and any(well.others for well in wells):
        able = ", ".join(each.name for each in METHODS.values() if each.superposes)
        message = f"The method {method} cannot superpose the pumping of other wells."
        raise AnalysisError(message, fix=f"Use one of {able}, or leave the other wells out.")
    return chosen.analyse(rates, wells, geometry or PumpingGeometry(), **options)
