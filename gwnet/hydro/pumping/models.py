"""Models of drawdown around a pumped well: what each is called, its parameters, and its drawdown per rate."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import AnalysisError
from gwnet.hydro.pumping import well_functions
from gwnet.hydro.pumping.results import PumpingGeometry, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.superposition import interpolated, superpose, with_image

Floats = NDArray[np.float64]
#: Takes parameters by name, a well, its distance [m], geometry and times [d]; returns drawdown per rate [d/m²].
Unit = Callable[[Mapping[str, float], WellDrawdown, float, PumpingGeometry, Floats], Floats]


@dataclass(frozen=True)
class FittedParameter:
    """A parameter of a model.

    Attributes
    ----------
    name, unit : str
        Name and unit.
    low, high : float
        Ends of the search; in units of the farthest well's distance where ``of_distance``.
    starts : tuple of float
        Values to start from, likewise.
    of_distance : bool
        Whether the ends and starts are multiples of the greatest distance.
    """

    name: str
    unit: str
    low: float
    high: float
    starts: tuple[float, ...]
    of_distance: bool = False


@dataclass(frozen=True)
class DrawdownModel:
    """A model whose drawdown is proportional to the rate.

    Attributes
    ----------
    name : str
        Name of the method.
    source : str
        Who worked it out.
    parameters : tuple of FittedParameter
        The first is the transmissivity, the second the storativity.
    unit : callable
        Drawdown per rate.
    is_slow : bool
        Whether many times are interpolated.
    simpler : str
        Model that this one becomes where its last parameters have no effect; empty for none.
    """

    name: str
    source: str
    parameters: tuple[FittedParameter, ...]
    unit: Unit
    is_slow: bool = False
    simpler: str = ""


_TRANSMISSIVITY: Final = FittedParameter("transmissivity", "m2/d", 1e-9, 1e9, (1.0,))
_STORATIVITY: Final = FittedParameter("storativity", "", 1e-15, 1e4, (1e-4,))


def _theis(p: Mapping[str, float], _: WellDrawdown, distance_m: float, __: PumpingGeometry, days: Floats) -> Floats:
    u = distance_m**2 * p["storativity"] / (4.0 * p["transmissivity"] * days)
    return well_functions.theis(u) / (4.0 * np.pi * p["transmissivity"])


def _leaky(p: Mapping[str, float], _: WellDrawdown, distance_m: float, __: PumpingGeometry, days: Floats) -> Floats:
    u = distance_m**2 * p["storativity"] / (4.0 * p["transmissivity"] * days)
    return well_functions.leaky(u, distance_m / p["leakage_factor"]) / (4.0 * np.pi * p["transmissivity"])


#: Models by name.
MODELS: Final[dict[str, DrawdownModel]] = {
    model.name: model
    for model in (
        DrawdownModel("theis", "Theis 1935", (_TRANSMISSIVITY, _STORATIVITY), _theis),
        DrawdownModel(
            "leaky",
            "Hantush and Jacob 1955",
            (
                _TRANSMISSIVITY,
                _STORATIVITY,
                FittedParameter("leakage_factor", "m", 1e-2, 1e4, (0.3, 2.0, 10.0), of_distance=True),
            ),
            _leaky,
            simpler="theis",
        ),
    )
}


def find_model(name: str) -> DrawdownModel:
    """Return a model by its name.

    Raises
    ------
    AnalysisError
        If there is none.
    """
    if name not in MODELS:
        message = f"There is no model {name!r}; there are {', '.join(MODELS)}."
        raise AnalysisError(message)
    return MODELS[name]


def model_drawdown(
    name: str, values: Mapping[str, float], rates: PumpingRates, well: WellDrawdown, geometry: PumpingGeometry
) -> Floats:
    """Return the drawdown of a model at the times of a well's readings.

    Parameters
    ----------
    name : str
        Name of the model.
    values : mapping of str to float
        Its parameters by name; ``image_distance`` where a boundary is taken into account and the well has none [m].
    rates : PumpingRates
        History of rates.
    well : WellDrawdown
        Well; its drawdowns are not used.
    geometry : PumpingGeometry
        Dimensions.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Drawdown [m].
    """
    model = find_model(name)

    def at(distance_m: float, days: Floats) -> Floats:
        return model.unit(values, well, distance_m, geometry, days)

    response: Callable[[Floats], Floats] = lambda days: at(well.distance_m, days)  # noqa: E731
    if geometry.boundary:
        image_m = values["image_distance"] if well.image_m is None else well.image_m
        response = with_image(at, well.distance_m, image_m, geometry.boundary)
    return superpose(interpolated(response) if model.is_slow else response, rates, well.days)
