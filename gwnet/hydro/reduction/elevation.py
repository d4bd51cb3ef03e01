"""From readings to elevations: repeats, measuring point, product, sounded depth, dry bounds.

Depths are positive downward, elevations positive upward from a stated vertical datum. Every function takes and
returns plain arrays; a missing number is NaN and stays NaN.

Repeats agree when their spread is at most the site's tolerance, and are then averaged; among repeats that disagree a
person chooses. The bound of a dry well is the shallower of screen bottom and sounded depth (below ground): silt above
the bottom of the screen hides what is below, and an empty sump shows no more than an empty screen. A static level below
the bottom of the screen is a bound as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import ShapeError
from gwnet.hydro.arrays import broadcast

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Repeats:
    """Answer of `combine_repeats`.

    Attributes
    ----------
    depth_m : numpy.ndarray, shape (n,)
        Mean of the agreeing repeats, or the chosen one; NaN where there is none or they disagree [m].
    spread_m : numpy.ndarray, shape (n,)
        Largest less smallest repeat [m]; 0 for a single reading, NaN for none.
    count : numpy.ndarray of int64, shape (n,)
        Number of repeats.
    disagree : numpy.ndarray of bool, shape (n,)
        Whether they differ by more than the tolerance and nobody has chosen.
    """

    depth_m: Floats
    spread_m: Floats
    count: NDArray[np.int64]
    disagree: NDArray[np.bool_]


def combine_repeats(repeats_m: ArrayLike, tolerance_m: ArrayLike, *, chosen: ArrayLike | None = None) -> Repeats:
    """Combine the repeats of each visit into one depth, or refuse where they disagree.

    Parameters
    ----------
    repeats_m : array_like, shape (n, k)
        Depths as read, positive downward; NaN where a repeat was not taken [m].
    tolerance_m : array_like, shape (n,) or scalar
        Largest spread at which repeats agree [m].
    chosen : array_like of int, shape (n,), optional
        Which repeat a person chose, counted from 1; 0 where nobody chose.

    Returns
    -------
    Repeats
        Depth, spread, count and disagreement.

    Raises
    ------
    ShapeError
        If the repeats are not two-dimensional.

    Notes
    -----
    Repeat every manual reading until two agree within 0.02 ft; keep all, mark the chosen one: USGS TM 1-A1 (Cunningham
    and Schalk, 2011), GWPD 1 p. 6-8. That agreeing repeats are averaged is this project's rule. Spreads are compared
    with a margin of a tenth of a micrometre, so that 12.346 and 12.340 agree within 0.006.

    Examples
    --------
    >>> combine_repeats([[3.474, 3.476], [3.474, 3.574]], 0.006).depth_m.tolist()
    [3.475, nan]
    """
    table = np.asarray(repeats_m, dtype=np.float64)
    if table.ndim != 2:
        message = f"Repeats have shape {table.shape}; expected two dimensions, one row a visit."
        raise ShapeError(message)
    tolerance = np.broadcast_to(np.asarray(tolerance_m, dtype=np.float64), table.shape[:1])
    taken = ~np.isnan(table)
    count = taken.sum(axis=1)
    # Infinities rather than nanmax, which warns of a row without any repeat (a dry well).
    highest = np.where(taken, table, -np.inf).max(axis=1, initial=-np.inf)
    lowest = np.where(taken, table, np.inf).min(axis=1, initial=np.inf)
    spread = np.where(count > 0, highest - lowest, np.nan)
    mean = np.divide(np.where(taken, table, 0.0).sum(axis=1), count, out=np.full(count.shape, np.nan), where=count > 0)
    # Decimals are not exact in binary: 12.346 - 12.340 comes out a hair above 0.006.
    disagree = (count > 1) & (spread > tolerance + 1e-7)
    depth = np.where(disagree, np.nan, mean)
    if chosen is not None:
        picked = np.asarray(chosen, dtype=np.int64)
        has_choice = picked > 0
        column = np.maximum(picked - 1, 0)
        # A person's choice also replaces the mean of repeats that agree.
        depth = np.where(has_choice, table[np.arange(len(table)), column], depth)
        disagree &= ~has_choice
    return Repeats(depth, spread, count.astype(np.int64), disagree)


def depth_of_two_readings(tape_at_mark_m: ArrayLike, tape_at_water_m: ArrayLike) -> Floats:
    """Return the depth to water of a steel tape that is read twice: at the measuring point and where water wetted it.

    Parameters
    ----------
    tape_at_mark_m : array_like
        What the tape reads where it is held at the measuring point ("hold") [m].
    tape_at_water_m : array_like
        What it reads at the water line, where the chalk is wet ("cut") [m].

    Returns
    -------
    numpy.ndarray
        Depth below the measuring point, positive downward [m].

    Raises
    ------
    ShapeError
        If the arrays do not broadcast.

    Notes
    -----
    Depth = hold - cut: USGS TM 1-A1 (Cunningham and Schalk, 2011), GWPD 1 p. 6-8.

    Examples
    --------
    >>> float(depth_of_two_readings(12.0, 1.5))
    10.5
    """
    mark, water = broadcast(tape_at_mark_m=tape_at_mark_m, tape_at_water_m=tape_at_water_m)
    return mark - water


def water_elevation(
    depth_to_water_m: ArrayLike, measuring_point_elevation_m: ArrayLike, *, tape_correction_m: ArrayLike = 0.0
) -> Floats:
    """Return the water elevation from a depth below the measuring point.

    Parameters
    ----------
    depth_to_water_m : array_like
        Depth below the measuring point as read, positive downward; negative where water stands above it [m].
    measuring_point_elevation_m : array_like
        Elevation of the measuring point, positive upward from the vertical datum [m].
    tape_correction_m : array_like, optional
        What to add to the reading, zero unless given [m].

    Returns
    -------
    numpy.ndarray
        Water elevation, positive upward from the same datum, of the broadcast shape [m].

    Notes
    -----
    h = E - (d + c): USGS TM 1-A1 (Cunningham and Schalk, 2011), GWPD 3 p. 19-23 and GWPD 4 p. 33-37.

    Examples
    --------
    >>> float(water_elevation(3.475, 101.250))
    97.775
    """
    depth, elevation, correction = broadcast(
        depth_to_water_m=depth_to_water_m,
        measuring_point_elevation_m=measuring_point_elevation_m,
        tape_correction_m=tape_correction_m,
    )
    return elevation - (depth + correction)


def depth_below_ground(depth_below_measuring_point_m: ArrayLike, height_above_ground_m: ArrayLike) -> Floats:
    """Return a depth below ground from a depth below the measuring point.

    Parameters
    ----------
    depth_below_measuring_point_m : array_like
        Depth below the measuring point, positive downward [m].
    height_above_ground_m : array_like
        Height of the measuring point above ground, positive upward; negative in a vault [m].

    Returns
    -------
    numpy.ndarray
        Depth below ground, positive downward; negative above ground [m].

    Notes
    -----
    USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 20, figure 1: 5.5 - 1.5 = 4.0 and 5.2 - (-1.2) = 6.4. The procedure
    for flowing wells in the same book (p. 106) writes the opposite sign; only the height above ground is stored here,
    so no sign can be misread.

    Examples
    --------
    >>> float(depth_below_ground(5.5, 1.5))
    4.0
    """
    depth, height = broadcast(
        depth_below_measuring_point_m=depth_below_measuring_point_m, height_above_ground_m=height_above_ground_m
    )
    return depth - height


def product_corrected_elevation(
    water_elevation_m: ArrayLike, product_thickness_m: ArrayLike, relative_density: ArrayLike
) -> Floats:
    """Return the water elevation that would stand without floating product.

    Parameters
    ----------
    water_elevation_m : array_like
        Elevation of the interface of product and water, positive upward [m].
    product_thickness_m : array_like
        Depth to water less depth to product, not negative [m].
    relative_density : array_like
        Density of the product relative to water.

    Returns
    -------
    numpy.ndarray
        Corrected water elevation [m].

    Notes
    -----
    h = E - D_water + SG (D_water - D_product): San Joaquin County EHD documents 471143 p. 7 and 471029 p. 7 (quarterly
    reports of 2003).

    Examples
    --------
    >>> round(float(product_corrected_elevation(39.14, 0.33, 0.83)), 2)
    39.41
    """
    head, thickness, density = broadcast(
        water_elevation_m=water_elevation_m, product_thickness_m=product_thickness_m, relative_density=relative_density
    )
    # Without the product's weight the water would rise by the product's height times its density.
    return head + density * thickness


def sounded_depth(
    tape_reading_m: ArrayLike, length_below_sensing_point_m: ArrayLike, *, tape_correction_m: ArrayLike = 0.0
) -> Floats:
    """Return the depth of the bottom below the measuring point from a sounding.

    Parameters
    ----------
    tape_reading_m : array_like
        Tape reading at the measuring point when the probe stands on the bottom, positive downward [m].
    length_below_sensing_point_m : array_like
        Length of probe or weight below the point that the tape counts from [m].
    tape_correction_m : array_like, optional
        What to add to the reading, zero unless given [m].

    Returns
    -------
    numpy.ndarray
        Depth of the bottom below the measuring point, positive downward [m].

    Notes
    -----
    USGS TM 1-A1 (Cunningham and Schalk, 2011), GWPD 11 p. 96: 84.30 + 1.20 - 3.40 = 82.10 ft, the last term being the
    height above ground (see `depth_below_ground`).

    Examples
    --------
    >>> round(float(sounded_depth(84.30, 1.20)), 2)
    85.5
    """
    reading, length, correction = broadcast(
        tape_reading_m=tape_reading_m,
        length_below_sensing_point_m=length_below_sensing_point_m,
        tape_correction_m=tape_correction_m,
    )
    return reading + correction + length


def dry_bound_depth(screen_bottom_m: ArrayLike, sounded_depth_m: ArrayLike, total_depth_m: ArrayLike) -> Floats:
    """Return the depth below ground at or below which the head of a dry well stands.

    Parameters
    ----------
    screen_bottom_m : array_like
        Bottom of the screen below ground; NaN when not known [m].
    sounded_depth_m : array_like
        Sounded depth below ground on that visit; NaN when not sounded [m].
    total_depth_m : array_like
        Depth as built below ground, used only when neither of the others is known [m].

    Returns
    -------
    numpy.ndarray
        Depth below ground, positive downward; NaN when nothing is known [m].

    Notes
    -----
    The shallower of screen bottom and sounded depth: a tape that met silt above the screen's bottom says nothing of
    what is below, and an empty sump below the screen says no more than an empty screen. Common practice, no source.

    Examples
    --------
    >>> dry_bound_depth([12.0, 12.0], [12.9, 10.4], [13.0, 13.0]).tolist()
    [12.0, 10.4]
    """
    screen, sounded, built = broadcast(
        screen_bottom_m=screen_bottom_m, sounded_depth_m=sounded_depth_m, total_depth_m=total_depth_m
    )
    # fmin keeps the depth that is known where the other is missing.
    shallower = np.fmin(screen, sounded)
    # The depth as built may be that of a sump, so it is used only where nothing else is known.
    return np.where(np.isnan(shallower), built, shallower)
