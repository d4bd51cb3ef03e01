"""Models of drawdown around a pumped well: what each is called, its parameters, and its drawdown per rate."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import AnalysisError
from gwnet.hydro.pumping import well_functions
from gwnet.hydro.pumping.delayed_yield import boulton, neuman
from gwnet.hydro.pumping.results import PumpingGeometry, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.storage import wellbore_storage
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
        Values to start from, likewise; none where the start follows from the readings.
    of_distance : bool
        Whether the ends and starts are multiples of the greatest distance.
    of_storativity : bool
        Whether the starts are multiples of the storativity.
    is_limited : bool
        Whether the ends of the search are those of the parameter itself; elsewhere they stand for 0 and infinity.
    """

    name: str
    unit: str
    low: float
    high: float
    starts: tuple[float, ...] = ()
    of_distance: bool = False
    of_storativity: bool = False
    is_limited: bool = False


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
    is_proportional : bool
        Whether the drawdown at a given diffusivity is proportional to 1/T; starts are found by it.
    superposes : bool
        Whether the drawdown of other pumped wells can be added.
    simpler : str
        Model that this one becomes where its last parameters have no effect; empty for none.
    """

    name: str
    source: str
    parameters: tuple[FittedParameter, ...]
    unit: Unit
    is_slow: bool = False
    is_proportional: bool = True
    superposes: bool = True
    simpler: str = ""


#: The two parameters of every model.
TRANSMISSIVITY: Final = FittedParameter("transmissivity", "m2/d", 1e-9, 1e9)
STORATIVITY: Final = FittedParameter("storativity", "", 1e-15, 1e4)


def _theis(p: Mapping[str, float], _: WellDrawdown, distance_m: float, __: PumpingGeometry, days: Floats) -> Floats:
    u = distance_m**2 * p["storativity"] / (4.0 * p["transmissivity"] * days)
    return well_functions.theis(u) / (4.0 * np.pi * p["transmissivity"])


def _leaky(p: Mapping[str, float], _: WellDrawdown, distance_m: float, __: PumpingGeometry, days: Floats) -> Floats:
    u = distance_m**2 * p["storativity"] / (4.0 * p["transmissivity"] * days)
    return well_functions.leaky(u, distance_m / p["leakage_factor"]) / (4.0 * np.pi * p["transmissivity"])


def _storage(
    p: Mapping[str, float], _: WellDrawdown, distance_m: float, geometry: PumpingGeometry, days: Floats
) -> Floats:
    bore_m = geometry.need("well_radius_m", "radius of the pumped well's screen or bore")
    casing_m = geometry.need("casing_radius_m", "radius of the pumped well's casing")
    alpha = p["storativity"] * (bore_m / casing_m) ** 2
    time = p["transmissivity"] * days / (p["storativity"] * bore_m**2)
    # Inside the bore there is one water level: that at its wall.
    radii = max(distance_m / bore_m, 1.0)
    return wellbore_storage(time, alpha, radii) / (4.0 * np.pi * p["transmissivity"])


def _neuman(
    p: Mapping[str, float], well: WellDrawdown, distance_m: float, geometry: PumpingGeometry, days: Floats
) -> Floats:
    thickness_m = geometry.need("thickness_m", "saturated thickness of the aquifer")
    time = p["transmissivity"] * days / (p["storativity"] * distance_m**2)
    beta = p["anisotropy"] * (distance_m / thickness_m) ** 2
    pumped = _open_interval(geometry.screen_top_m, geometry.screen_bottom_m, thickness_m)
    observed = _open_interval(well.top_m, well.bottom_m, thickness_m)
    sigma = p["storativity"] / p["specific_yield"]
    shape = neuman(time, sigma, beta, pumped=pumped, observed=observed)
    return shape / (4.0 * np.pi * p["transmissivity"])


def _open_interval(top_m: float | None, bottom_m: float | None, thickness_m: float) -> tuple[float, float]:
    """Return an open interval as shares of the thickness above the base; the whole where it is not known."""
    # Depths count from the top of the aquifer, the solution from its base.
    top = 0.0 if top_m is None else min(max(top_m, 0.0), thickness_m)
    bottom = thickness_m if bottom_m is None else min(max(bottom_m, top), thickness_m)
    return 1.0 - bottom / thickness_m, 1.0 - top / thickness_m


def _boulton(p: Mapping[str, float], _: WellDrawdown, distance_m: float, __: PumpingGeometry, days: Floats) -> Floats:
    time = p["transmissivity"] * days / (p["storativity"] * distance_m**2)
    ratio = distance_m * np.sqrt(p["delay_rate"] * p["specific_yield"] / p["transmissivity"])
    shape = boulton(time, p["storativity"] / p["specific_yield"], ratio)
    return shape / (4.0 * np.pi * p["transmissivity"])


_SPECIFIC_YIELD: Final = FittedParameter("specific_yield", "", 1e-9, 1e3, (5.0, 50.0), of_storativity=True)

#: Models by name.
MODELS: Final[dict[str, DrawdownModel]] = {
    model.name: model
    for model in (
        DrawdownModel("theis", "Theis 1935", (TRANSMISSIVITY, STORATIVITY), _theis),
        DrawdownModel(
            "leaky",
            "Hantush and Jacob 1955",
            (
                TRANSMISSIVITY,
                STORATIVITY,
                FittedParameter("leakage_factor", "m", 1e-2, 1e4, (0.3, 2.0, 10.0), of_distance=True),
            ),
            _leaky,
            simpler="theis",
        ),
        DrawdownModel(
            "storage",
            "Papadopulos and Cooper 1967",
            (TRANSMISSIVITY, STORATIVITY),
            _storage,
            is_slow=True,
            is_proportional=False,
            superposes=False,
        ),
        DrawdownModel(
            "delayed-yield",
            "Neuman 1974",
            (
                TRANSMISSIVITY,
                STORATIVITY,
                _SPECIFIC_YIELD,
                FittedParameter("anisotropy", "", 1e-6, 1e4, (0.3,)),
            ),
            _neuman,
            is_slow=True,
            simpler="theis",
        ),
        DrawdownModel(
            "delayed-yield-boulton",
            "Boulton 1963",
            (
                TRANSMISSIVITY,
                STORATIVITY,
                _SPECIFIC_YIELD,
                FittedParameter("delay_rate", "1/d", 1e-6, 1e8, (1.0, 50.0)),
            ),
            _boulton,
            is_slow=True,
            simpler="theis",
        ),
    )
}


def find_model(name: str) -> DrawdownModel:
    """Return a model by its name.

    Parameters as `gwnet.hydro.pumping`.

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
        Well; its drawdowns are not used. What its ``others`` draw down is added, less what they drew down at the times
        of the levels before the start.
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
    total = superpose(interpolated(response) if model.is_slow else response, rates, well.days)
    return total + _of_others(model, values, well, geometry) if well.others else total


def _of_others(
    model: DrawdownModel, values: Mapping[str, float], well: WellDrawdown, geometry: PumpingGeometry
) -> Floats:
    """Return what other pumped wells draw down, less what they did before the start."""
    times = np.concatenate([well.days, well.before_days])
    total = np.zeros(times.size)
    for other in well.others:
        pumped = replace(geometry, screen_top_m=other.top_m, screen_bottom_m=other.bottom_m)
        response = _response_at(model, values, well, other.distance_m, pumped)
        total += superpose(interpolated(response) if model.is_slow else response, other.rates, times)
    during, before = total[: well.days.size], total[well.days.size :]
    if not before.size:
        return during
    # Taken off in the way in which the test's own static level was taken, which holds it as well.
    if well.background == "line" and np.unique(well.before_days).size > 1:
        slope, middle = np.polyfit(well.before_days, before, 1)
        return np.asarray(during - (middle + slope * well.days), dtype=np.float64)
    return np.asarray(during - before.mean(), dtype=np.float64)


def _response_at(
    model: DrawdownModel, values: Mapping[str, float], well: WellDrawdown, distance_m: float, geometry: PumpingGeometry
) -> Callable[[Floats], Floats]:
    return lambda days: model.unit(values, well, distance_m, geometry, days)
