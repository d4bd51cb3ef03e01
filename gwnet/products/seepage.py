"""Seepage velocities beside gradients, with what was put in stated."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gwnet.errors import SettingsError
from gwnet.hydro.gradients.seepage import (
    Interval,
    parse_conductivity,
    parse_share,
    seepage_velocity,
    velocity_of,
)
from gwnet.units import SECONDS_PER_DAY

if TYPE_CHECKING:
    from gwnet.hydro.gradients.horizontal import Gradient

_COLUMNS = ("velocity_m_per_day", "velocity_lowest_m_per_day", "velocity_highest_m_per_day")


@dataclass(frozen=True)
class Seepage:
    """What turns a gradient into a velocity.

    Attributes
    ----------
    conductivity : gwnet.hydro.gradients.seepage.Interval
        Hydraulic conductivity [m/s].
    porosity : gwnet.hydro.gradients.seepage.Interval
        Effective porosity.
    """

    conductivity: Interval
    porosity: Interval

    @property
    def text(self) -> str:
        """Return what was put in, in words."""
        return f"hydraulic conductivity {self.conductivity.text} and effective porosity {self.porosity.text} as put in"

    def row(self, gradient: Gradient | None) -> dict[str, float | str]:
        """Return the velocity along a gradient as named values.

        Parameters
        ----------
        gradient : gwnet.hydro.gradients.horizontal.Gradient or None
            The gradient.

        Returns
        -------
        dict of str to object
            velocity_m_per_day and its lowest and highest [m/d]; only the highest, from the upper limit of the
            gradient, where that is not determined;
            velocity_from, what was put in.
        """
        values = (math.nan, math.nan, math.nan)
        if gradient is not None and gradient.determined:
            found = velocity_of(gradient, self.conductivity, self.porosity)
            values = (found.velocity_m_s, found.lowest_m_s, found.highest_m_s)
        # A gradient that is not determined still bounds the velocity from above.
        elif gradient is not None and math.isfinite(gradient.upper_limit):
            fastest = seepage_velocity(gradient.upper_limit, self.conductivity, self.porosity)
            values = (math.nan, math.nan, fastest.highest_m_s)
        daily = {name: value * SECONDS_PER_DAY for name, value in zip(_COLUMNS, values, strict=True)}
        return {**daily, "velocity_from": self.text}


def seepage_of(conductivity: str | None, porosity: str | None) -> Seepage | None:
    """Return what turns gradients into velocities.

    Parameters
    ----------
    conductivity : str or None
        Hydraulic conductivity with its unit: ``12 m/d`` or ``5..20 m/d``.
    porosity : str or None
        Effective porosity: ``0.22`` or ``0.15..0.25``.

    Returns
    -------
    Seepage or None
        None where nothing is given.

    Raises
    ------
    SettingsError
        If only one of them is given, or one cannot be read.
    """
    if conductivity is None and porosity is None:
        return None
    if conductivity is None or porosity is None:
        message = "A seepage velocity takes a hydraulic conductivity and an effective porosity; only one was given."
        raise SettingsError(message, fix="Give both, or neither.")
    return Seepage(parse_conductivity(conductivity), parse_share(porosity, "effective porosity"))
