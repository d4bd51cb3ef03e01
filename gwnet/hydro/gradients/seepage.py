"""Seepage velocity and vertical flow: Darcy's law with the numbers that are put into it, each with its interval."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import SettingsError
from gwnet.hydro.gradients.horizontal import Gradient
from gwnet.units import SECONDS_PER_DAY, metres_per

Floats = NDArray[np.float64]

#: Seconds in the units of time that a conductivity may be given over.
_SECONDS: Final[dict[str, float]] = {
    **dict.fromkeys(("s", "sec"), 1.0),
    "min": 60.0,
    **dict.fromkeys(("h", "hr"), 3600.0),
    **dict.fromkeys(("d", "day"), 86_400.0),
    **dict.fromkeys(("y", "yr", "a", "year"), 365.25 * 86_400.0),
}

#: US gallons per day and square foot in metres per second: 231 cubic inches over a square foot in a day.
_GALLON_UNIT_M_S: Final = 231.0 * 0.0254**3 / (0.3048**2 * SECONDS_PER_DAY)

_NUMBER = r"[-+]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][-+]?\d+)?"
_RANGE = re.compile(rf"\s*({_NUMBER})\s*(?:\.\.\s*({_NUMBER}))?\s*([^\s\d].*)?\Z")


@dataclass(frozen=True)
class Interval:
    """A number that a person puts in, as one value or as lowest and highest.

    Attributes
    ----------
    lowest, highest : float
        Bounds; the same where one value was given.
    text : str
        As it was given.
    """

    lowest: float
    highest: float
    text: str

    @property
    def middle(self) -> float:
        """Return the geometric mean of the bounds, the value itself where they are one."""
        # Geometric: conductivities range over powers of ten, and the middle of 1 and 100 is 10.
        return self.lowest if self.lowest == self.highest else math.sqrt(self.lowest * self.highest)


def parse_conductivity(text: str) -> Interval:
    """Return a hydraulic conductivity from text with its unit.

    Parameters
    ----------
    text : str
        For example ``12 m/d``, ``1e-4 cm/s``, ``5..20 ft/d`` or ``300 gpd/ft2`` (US gallons per day and square foot).

    Returns
    -------
    Interval
        Bounds, greater than 0 [m/s].

    Raises
    ------
    SettingsError
        If the text is no number with a unit of length over time, or not greater than 0.

    Examples
    --------
    >>> round(parse_conductivity("86.4 m/d").lowest, 9)
    0.001
    """
    lowest, highest, unit = _bounds(text, "hydraulic conductivity", "12 m/d or 5..20 m/d")
    factor = _conductivity_unit(unit, text)
    if not lowest > 0.0:
        message = f"A hydraulic conductivity must be greater than 0, not {text.strip()!r}."
        raise SettingsError(message)
    return Interval(lowest * factor, highest * factor, text.strip())


def parse_share(text: str, what: str) -> Interval:
    """Return a number between 0 and 1, such as an effective porosity or a storage coefficient.

    Parameters
    ----------
    text : str
        For example ``0.22`` or ``0.15..0.25``.
    what : str
        What it is, for messages.

    Returns
    -------
    Interval
        Bounds, greater than 0 and less than 1.

    Raises
    ------
    SettingsError
        If the text is no such number.

    Examples
    --------
    >>> parse_share("0.15..0.25", "porosity").highest
    0.25
    """
    lowest, highest, unit = _bounds(text, what, "0.22 or 0.15..0.25")
    if unit or not 0.0 < lowest <= highest < 1.0:
        article = "An" if what[0] in "aeiou" else "A"
        message = f"{article} {what} is a number greater than 0 and less than 1, not {text.strip()!r}."
        raise SettingsError(message, fix="Write for example 0.22, or 0.15..0.25 for an interval; no per cent.")
    return Interval(lowest, highest, text.strip())


def _bounds(text: str, what: str, example: str) -> tuple[float, float, str]:
    match = _RANGE.match(text)
    if match is None:
        message = f"{text!r} is not a {what}."
        raise SettingsError(message, fix=f"Write for example {example}.")
    lowest = float(match[1])
    highest = float(match[2]) if match[2] else lowest
    # NaN and infinity pass no comparison or every one; both are no conductivity.
    if not (math.isfinite(lowest) and math.isfinite(highest) and lowest <= highest):
        message = f"The interval {text.strip()!r} does not run from lower to higher."
        raise SettingsError(message, fix=f"Write for example {example}.")
    return lowest, highest, (match[3] or "").strip()


def _conductivity_unit(unit: str, text: str) -> float:
    """Return how many metres per second one unit is."""
    # Units are written with superscripts, carets and spaces.
    plain = unit.lower().replace("²", "2").replace("^", "").replace(" ", "")
    if plain == "gpd/ft2":
        return _GALLON_UNIT_M_S
    length, _, time = plain.partition("/")
    if time not in _SECONDS or length not in ("m", "cm", "mm", "ft"):
        message = f"{text.strip()!r} has no unit of hydraulic conductivity that is known."
        raise SettingsError(message, fix="Write m/d, m/s, cm/s, ft/d or gpd/ft2, for example 12 m/d.")
    return metres_per(length) / _SECONDS[time]


@dataclass(frozen=True)
class SeepageVelocity:
    """Mean velocity of ground water along a gradient.

    Attributes
    ----------
    velocity_m_s : float
        Conductivity times gradient over porosity, at the middle of each interval [m/s].
    lowest_m_s, highest_m_s : float
        What the bounds of conductivity and porosity and the 95 % half-width of the gradient leave open, all taken at
        their worst together: a range, not a confidence interval [m/s].
    conductivity, porosity : Interval
        What was put in; conductivity in m/s.
    """

    velocity_m_s: float
    lowest_m_s: float
    highest_m_s: float
    conductivity: Interval
    porosity: Interval


def seepage_velocity(
    gradient: float, conductivity: Interval, porosity: Interval, *, gradient_half_width: float = 0.0
) -> SeepageVelocity:
    """Return the mean velocity at which ground water moves along a gradient.

    Parameters
    ----------
    gradient : float
        Fall of head along the direction of flow [m/m].
    conductivity : Interval
        Hydraulic conductivity [m/s].
    porosity : Interval
        Effective porosity.
    gradient_half_width : float, optional
        95 % half-width of the gradient; NaN counts as not known and leaves the range open to what the others give.

    Returns
    -------
    SeepageVelocity
        Velocity and its range; the lowest is not below 0.

    Notes
    -----
    v = K i / n: Darcy's law over the effective porosity, Heath (1983), USGS Water-Supply Paper 2220, p. 25 (from
    memory). It is the mean velocity of water in the pores of an aquifer that is alike everywhere and in all directions;
    single paths are faster and what is dissolved may be slower.

    Examples
    --------
    >>> found = seepage_velocity(0.001, parse_conductivity("60 m/d"), parse_share("0.20", "porosity"))
    >>> round(found.velocity_m_s * 86400, 6)
    0.3
    """
    width = 0.0 if math.isnan(gradient_half_width) else gradient_half_width
    return SeepageVelocity(
        velocity_m_s=conductivity.middle * gradient / porosity.middle,
        lowest_m_s=conductivity.lowest * max(gradient - width, 0.0) / porosity.highest,
        highest_m_s=conductivity.highest * (gradient + width) / porosity.lowest,
        conductivity=conductivity,
        porosity=porosity,
    )


def velocity_of(gradient: Gradient, conductivity: Interval, porosity: Interval) -> SeepageVelocity:
    """Return the seepage velocity along the gradient of a plane, with the uncertainty of its size.

    Parameters
    ----------
    gradient : gwnet.hydro.gradients.horizontal.Gradient
        Gradient of a plane.
    conductivity : Interval
        Hydraulic conductivity [m/s].
    porosity : Interval
        Effective porosity.

    Returns
    -------
    SeepageVelocity
        As `seepage_velocity`.
    """
    return seepage_velocity(
        gradient.magnitude, conductivity, porosity, gradient_half_width=gradient.magnitude_half_width
    )
