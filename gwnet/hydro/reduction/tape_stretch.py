"""What warmth and pull add to the length of a steel tape, and so to the depths that it reads.

A tape that is longer than at its standard temperature and tension reads too little, so the corrections are added to
the reading. They are physics of the steel and no substitute for a check against the reference tape, which holds them.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import SettingsError

Floats = NDArray[np.float64]

#: Linear expansion of a steel tape [1/°C]; usual figure of surveying textbooks (6.45e-6 per °F; from memory).
STEEL_EXPANSION: Final = 1.16e-5

#: Temperature at which tapes are graduated [°C]; 68 °F (from memory).
STANDARD_TEMPERATURE_C: Final = 20.0

#: Modulus of elasticity of steel [Pa]; 29 to 30 million psi (from memory).
STEEL_ELASTICITY_PA: Final = 2.0e11


def temperature_correction(
    length_m: ArrayLike,
    temperature_c: ArrayLike,
    *,
    standard_c: ArrayLike = STANDARD_TEMPERATURE_C,
    expansion_per_c: ArrayLike = STEEL_EXPANSION,
) -> Floats:
    """Return what warmth adds to a length read on a tape.

    Parameters
    ----------
    length_m : array_like
        Length as read [m].
    temperature_c : array_like
        Mean temperature of the tape [°C].
    standard_c : array_like, optional
        Temperature at which it is right [°C].
    expansion_per_c : array_like, optional
        Its linear expansion [1/°C].

    Returns
    -------
    numpy.ndarray
        Correction to be added, positive where the tape is warmer than its standard [m].

    Notes
    -----
    Expansion times length times difference of temperature: any textbook of surveying.

    Examples
    --------
    >>> round(318.0 + float(temperature_correction(318.0, 47.92)), 3)
    318.103
    """
    warmer = np.asarray(temperature_c, np.float64) - np.asarray(standard_c, np.float64)
    return np.asarray(np.asarray(expansion_per_c, np.float64) * np.asarray(length_m, np.float64) * warmer)


def axial_stiffness(section_mm2: float, elasticity_pa: float = STEEL_ELASTICITY_PA) -> float:
    """Return the pull that would double the length of a tape: its section times its modulus.

    Parameters
    ----------
    section_mm2 : float
        Cross section of its steel [mm²].
    elasticity_pa : float, optional
        Modulus of elasticity [Pa].

    Returns
    -------
    float
        Axial stiffness [N].

    Raises
    ------
    SettingsError
        If section or modulus are not greater than 0.

    Examples
    --------
    >>> axial_stiffness(2.0)
    400000.0
    """
    if not (section_mm2 > 0.0 and elasticity_pa > 0.0):
        message = f"Section and modulus must be greater than 0, not {section_mm2:g} mm² and {elasticity_pa:g} Pa."
        raise SettingsError(message)
    return section_mm2 * elasticity_pa / 1e6  # mm² to m²


def tension_correction(
    length_m: ArrayLike,
    tension_n: ArrayLike,
    *,
    standard_n: ArrayLike,
    stiffness_n: ArrayLike,
    weight_n_per_m: ArrayLike = 0.0,
) -> Floats:
    """Return what pull adds to a length read on a tape, that of its own weight hanging in the well included.

    Parameters
    ----------
    length_m : array_like
        Length as read [m].
    tension_n : array_like
        Pull at the lower end, such as the weight of what hangs there [N].
    standard_n : array_like
        Pull with which the tape is right [N].
    stiffness_n : array_like
        Its axial stiffness, greater than 0 [N].
    weight_n_per_m : array_like, optional
        Weight of a metre of tape that hangs free [N/m].

    Returns
    -------
    numpy.ndarray
        Correction to be added, positive where the pull is greater than the standard [m].

    Notes
    -----
    L (P − P0) / (A E) + w L² / (2 A E): Hooke's law, the weight below each metre pulling at it. For deep wells see
    Garber and Koopman (1968), USGS TWRI 8-A1 (from memory).

    Examples
    --------
    >>> round(float(tension_correction(100.0, 90.0, standard_n=50.0, stiffness_n=4e5)), 4)
    0.01
    """
    lengths = np.asarray(length_m, dtype=np.float64)
    pull = lengths * (np.asarray(tension_n, dtype=np.float64) - np.asarray(standard_n, dtype=np.float64))
    # Half, because each metre carries only the tape below it: all of it at the top, nothing at the end.
    own_weight = 0.5 * np.asarray(weight_n_per_m, dtype=np.float64) * lengths**2
    return np.asarray((pull + own_weight) / np.asarray(stiffness_n, dtype=np.float64))
