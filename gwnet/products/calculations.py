"""Corrections that are worked out before a table is loaded, as rows."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from gwnet.errors import SettingsError
from gwnet.hydro.reduction.datum_shift import datum_shift
from gwnet.hydro.reduction.tape_stretch import axial_stiffness, temperature_correction, tension_correction


def tape_row(
    length_m: float,
    *,
    temperature_c: float | None = None,
    tension_n: float | None = None,
    standard_n: float | None = None,
    section_mm2: float | None = None,
    weight_n_per_m: float = 0.0,
) -> pd.DataFrame:
    """Return a length read on a steel tape with what warmth and pull add to it.

    Parameters
    ----------
    length_m : float
        Length as read [m].
    temperature_c : float, optional
        Mean temperature of the tape [°C].
    tension_n, standard_n : float, optional
        Pull at its lower end, and pull with which it is right [N].
    section_mm2 : float, optional
        Cross section of its steel [mm²].
    weight_n_per_m : float, optional
        Weight of a metre of it [N/m].

    Returns
    -------
    pandas.DataFrame
        One row: length_m, temperature_correction_m, tension_correction_m and corrected_m; 0 for what is not given.

    Raises
    ------
    SettingsError
        If neither temperature nor tension is given, or a tension without its standard and the section.
    """
    pull = (tension_n, standard_n, section_mm2)
    if temperature_c is None and tension_n is None:
        raise SettingsError("Nothing to correct for.", fix="Give a temperature, or a tension with its standard.")
    # With a default for the standard tension or the section, a wrong correction would look like a right one.
    if any(value is not None for value in pull) and any(value is None for value in pull):
        raise SettingsError(
            "The tension correction needs the tension, the standard tension and the section of the tape.",
            fix="Give all three, or none.",
        )
    # Each correction is of the length as read: their product is a few micrometres at most.
    warmth = 0.0 if temperature_c is None else float(temperature_correction(length_m, temperature_c))
    stretch = 0.0
    if tension_n is not None and standard_n is not None and section_mm2 is not None:
        stretch = float(
            tension_correction(
                length_m,
                tension_n,
                standard_n=standard_n,
                stiffness_n=axial_stiffness(section_mm2),
                weight_n_per_m=weight_n_per_m,
            )
        )
    row = {"length_m": length_m, "temperature_correction_m": warmth, "tension_correction_m": stretch}
    return pd.DataFrame([{**row, "corrected_m": length_m + warmth + stretch}])


def datum_row(
    latitude: float, longitude: float, elevation_m: float, corners: Sequence[tuple[float, float, float]]
) -> pd.DataFrame:
    """Return an elevation in another vertical datum.

    Parameters
    ----------
    latitude, longitude : float
        The place [degrees].
    elevation_m : float
        Elevation in the first datum [m].
    corners : sequence of tuple of float
        Latitude, longitude [degrees] and offset [m] of the corners of the cell around the place.

    Returns
    -------
    pandas.DataFrame
        One row: elevation_m, shift_m and shifted_elevation_m.
    """
    shift_m = datum_shift(latitude, longitude, corners)
    return pd.DataFrame(
        [{"elevation_m": elevation_m, "shift_m": shift_m, "shifted_elevation_m": elevation_m + shift_m}]
    )
