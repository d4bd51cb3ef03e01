"""Analyses of pumping tests by name: one door to all of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from gwnet.errors import AnalysisError
from gwnet.hydro.pumping.fits import fit_model
from gwnet.hydro.pumping.results import PumpingFit, PumpingGeometry, PumpingRates, WellDrawdown


@dataclass(frozen=True)
class Method:
    """An analysis.

    Attributes
    ----------
    name, title, source : str
        Its name, what it is in words, and who published it.
    needs : tuple of str
        Dimensions that it needs, attributes of `PumpingGeometry`.
    analyse : callable
        Takes rates, wells and geometry, returns a `PumpingFit`.
    """

    name: str
    title: str
    source: str
    needs: tuple[str, ...]
    analyse: Callable[[PumpingRates, Sequence[WellDrawdown], PumpingGeometry], PumpingFit]


def _model(name: str) -> Callable[[PumpingRates, Sequence[WellDrawdown], PumpingGeometry], PumpingFit]:
    return lambda rates, wells, geometry: fit_model(name, rates, wells, geometry)


#: Analyses by name.
METHODS: Final[dict[str, Method]] = {
    method.name: method
    for method in (
        Method("theis", "confined aquifer, any history of rates", "Theis 1935", (), _model("theis")),
        Method("leaky", "leaky confined aquifer", "Hantush and Jacob 1955", (), _model("leaky")),
    )
}


def fit_pumping_test(
    method: str,
    rates: PumpingRates,
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry | None = None,
) -> PumpingFit:
    """Analyse a pumping test.

    Parameters
    ----------
    method : str
        One of `METHODS`.
    rates : PumpingRates
        History of rates.
    wells : sequence of WellDrawdown
        Readings of one or more wells; use `WellDrawdown.within` for a part of the test.
    geometry : PumpingGeometry, optional
        Dimensions; the method's ``needs`` says which it cannot do without.

    Returns
    -------
    PumpingFit
        Parameters with 95 % limits, residuals, and what the data do and do not determine.

    Raises
    ------
    AnalysisError
        If there is no such method, a dimension is missing, or no reading can be used.
    """
    if method not in METHODS:
        message = f"There is no method {method!r} for pumping tests; there are {', '.join(METHODS)}."
        raise AnalysisError(message)
    return METHODS[method].analyse(rates, wells, geometry or PumpingGeometry())
