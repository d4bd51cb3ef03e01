"""Corrections of readings for the temperature and the tension of the tape, where the record gives them.

What is missing is not made up: without the temperature or the tension of a reading nothing is added. A check against
the reference tape was made hanging, so that it holds the stretch by pull and own weight, which is not added again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.levels.inputs import Floats, LevelInputs
from gwnet.constants import STANDARD_GRAVITY_M_S2, TAPE_TEMPERATURE_HALF_WIDTH_DEGC, TENSION_CORRECTION_SHARE
from gwnet.hydro.reduction.tape_stretch import (
    STANDARD_TEMPERATURE_C,
    STEEL_EXPANSION,
    temperature_correction,
    tension_correction,
)
from gwnet.store.contract import TAPE_READINGS


@dataclass(frozen=True)
class StretchCorrection:
    """Corrections of n readings for temperature and tension of the tape, as arrays of shape (n,).

    Attributes
    ----------
    temperature_m, tension_m : numpy.ndarray
        What to add to the reading; 0 where the record does not give what the correction needs [m].
    half_width_m : numpy.ndarray
        95 % half-width of their sum, 0 where there is none [m].
    temperature_from, tension_from : numpy.ndarray of str
        What each was worked out from, or why there is none; empty where temperature or tension are not on record.
    """

    temperature_m: Floats
    tension_m: Floats
    half_width_m: Floats
    temperature_from: NDArray[np.object_]
    tension_from: NDArray[np.object_]

    def total_m(self) -> Floats:
        """Return the sum of both corrections [m]."""
        return self.temperature_m + self.tension_m


def correct_stretch(inputs: LevelInputs, reading_m: Floats, checked: NDArray[np.bool_]) -> StretchCorrection:
    """Return what temperature and tension of the tape add to readings.

    Parameters
    ----------
    inputs : gwnet.analysis.levels.inputs.LevelInputs
        The level events.
    reading_m : numpy.ndarray, shape (n,)
        Length as read on the tape [m].
    checked : numpy.ndarray of bool, shape (n,)
        Whether a check of the tape is on file at the reading.

    Returns
    -------
    StretchCorrection
        Corrections with what they rest on.

    Notes
    -----
    Without values on record a steel tape is right at 20 °C and lengthens by 11.6 ppm for each degree; other tapes are
    not corrected unless their expansion is on record.
    """
    # A missing reading is still missing afterwards: its correction of 0 is added to NaN.
    length = np.nan_to_num(reading_m)
    degrees = inputs.records["tape_temperature_degc"].to_numpy(dtype=np.float64)
    expansion = _expansion(inputs)
    standard = inputs.of_instrument("standard_temperature_degc")
    standard = np.where(np.isnan(standard), STANDARD_TEMPERATURE_C, standard)
    is_warmed = ~np.isnan(degrees) & ~np.isnan(expansion)
    by_temperature = temperature_correction(length, degrees, standard_c=standard, expansion_per_c=expansion)

    pull = inputs.records["tape_tension_n"].to_numpy(dtype=np.float64)
    standard_pull = inputs.of_instrument("standard_tension_n")
    stiffness = 1e3 * inputs.of_instrument("axial_stiffness_kn")  # kN to N
    # g/m to N/m
    weight = 1e-3 * STANDARD_GRAVITY_M_S2 * np.nan_to_num(inputs.of_instrument("mass_per_length_g_m"))
    is_known = ~np.isnan(standard_pull) & ~np.isnan(stiffness)
    # The check against the reference tape was made under the tape's own pull.
    is_pulled = ~np.isnan(pull) & is_known & ~checked
    by_tension = tension_correction(
        length, pull, standard_n=standard_pull, stiffness_n=stiffness, weight_n_per_m=weight
    )

    temperature_m, tension_m = np.where(is_warmed, by_temperature, 0.0), np.where(is_pulled, by_tension, 0.0)
    of_temperature = np.where(is_warmed, expansion * np.abs(length) * TAPE_TEMPERATURE_HALF_WIDTH_DEGC, 0.0)
    temperature_from, tension_from = (np.full(length.shape, "", dtype=object) for _ in range(2))
    for row in np.flatnonzero(~np.isnan(degrees)):
        temperature_from[row] = (
            f"{degrees[row]:g} degC, right at {standard[row]:g} degC, {1e6 * expansion[row]:g} ppm/degC"
            if is_warmed[row]
            else "no thermal_expansion of the tape on record"
        )
    for row in np.flatnonzero(~np.isnan(pull)):
        tension_from[row] = (
            f"{pull[row]:g} N, right with {standard_pull[row]:g} N, stiffness {stiffness[row] / 1e3:g} kN, own weight "
            f"{weight[row]:.3g} N/m"
            if is_pulled[row]
            else "the tape check holds it"
            if checked[row]
            else "no standard_tension and axial_stiffness of the tape on record"
        )
    return StretchCorrection(
        temperature_m=temperature_m,
        tension_m=tension_m,
        half_width_m=np.hypot(of_temperature, TENSION_CORRECTION_SHARE * tension_m),
        temperature_from=temperature_from,
        tension_from=tension_from,
    )


def _expansion(inputs: LevelInputs) -> Floats:
    """Return the thermal expansion of each event's tape [1/°C]: on record, of steel, or NaN."""
    stated = 1e-6 * inputs.of_instrument("thermal_expansion_ppm_degc")
    kinds = inputs.records["instrument_id"].map(inputs.instruments.set_index("instrument_id")["kind"])
    by_mark = set(inputs.readings.loc[inputs.readings["quantity"].isin(TAPE_READINGS), "record_id"])
    # A tape that is read twice, at the mark and at the water, is a chalked steel tape whatever the record calls it.
    is_steel = (kinds == "steel tape").to_numpy(dtype=bool) | inputs.records["record_id"].isin(by_mark).to_numpy()
    return np.where(np.isnan(stated) & is_steel, STEEL_EXPANSION, stated)
