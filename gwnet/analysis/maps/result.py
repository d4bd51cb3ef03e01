"""What a potentiometric map holds: numbers and sentences, nothing drawn."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.maps.features import MapFeatures
from gwnet.analysis.maps.same_day import Span
from gwnet.hydro.gradients.horizontal import FlowArrow, Gradient
from gwnet.hydro.surfaces.contours import ContourLine
from gwnet.hydro.surfaces.surface import Grid, Surface

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Control:
    """The used levels of a control frame as arrays of shape (n,).

    Attributes
    ----------
    names : list of str
        Wells and gauges.
    x, y : numpy.ndarray
        Coordinates.
    z : numpy.ndarray
        Water elevation, positive upward [m].
    half_width : numpy.ndarray
        95 % half-width [m].
    assumed : int
        How many half-widths are not on record and were taken from `gwnet.constants`.
    measured : numpy.ndarray of bool
        False for points of rivers, whose heads are interpolated.
    """

    names: list[str]
    x: Floats
    y: Floats
    z: Floats
    half_width: Floats
    assumed: int
    measured: NDArray[np.bool_]

    def of(self, positions: NDArray[np.int64]) -> Control:
        """Return some of the levels.

        Parameters
        ----------
        positions : numpy.ndarray of int
            Which, in this order.
        """
        return Control(
            names=[self.names[position] for position in positions.tolist()],
            x=self.x[positions],
            y=self.y[positions],
            z=self.z[positions],
            half_width=self.half_width[positions],
            assumed=self.assumed,
            measured=self.measured[positions],
        )


@dataclass(frozen=True)
class MapFinding:
    """A well whose level does not fit its neighbours.

    Attributes
    ----------
    well : str
        Well or gauge.
    residual_m : float
        Level less what the sound levels suggest: positive where it stands above them [m].
    limit_m : float
        Size beyond which it counts [m].
    text : str
        The finding as a sentence, in the map's unit.
    """

    well: str
    residual_m: float
    limit_m: float
    text: str


@dataclass(frozen=True)
class HonourFailure:
    """A well that the contours put on the wrong side.

    Attributes
    ----------
    well : str
        Well or gauge.
    posted_m, drawn_m, contour_m : float
        Its water elevation, the surface there as drawn, and the contour between them [m].
    text : str
        The same as a sentence, in the map's unit.
    """

    well: str
    posted_m: float
    drawn_m: float
    contour_m: float
    text: str


@dataclass(frozen=True)
class MethodScore:
    """How well a method does when levels are left out.

    Attributes
    ----------
    method : str
        ``kriging``, ``spline``, ``triangulation`` or ``quadratic``.
    rmse_m : float
        Root mean square of level less estimate [m].
    n : int
        Levels that it was taken over, the same for all methods.
    """

    method: str
    rmse_m: float
    n: int


@dataclass(frozen=True, eq=False)
class CrossValidation:
    """Leave-one-out errors of a map's surface over all used levels.

    Attributes
    ----------
    n : int
        Levels that the others give an estimate for.
    mean_error_m, rmse_m : float
        Mean and root mean square of level less estimate [m]; NaN when there is none.
    rmse_sound_m : float
        Root mean square without the wells that have a finding; equal to ``rmse_m`` when none has [m].
    residual_m : pandas.Series
        Level less estimate, by well; NaN where the others give none [m].
    """

    n: int
    mean_error_m: float
    rmse_m: float
    rmse_sound_m: float
    residual_m: pd.Series


@dataclass(frozen=True, eq=False)
class MapResult:
    """A potentiometric map: numbers only, nothing drawn. All lengths in metres, coordinates in the site's system.

    Attributes
    ----------
    aquifer : str
        Code of the aquifer.
    date : datetime.date
        Local date of the set.
    crs, vertical_datum : str
        Systems of coordinates and elevations; empty when not given.
    unit : str
        Unit that texts and interval are meant for, ``m`` or ``ft``; numbers stay in metres.
    control : pandas.DataFrame
        Control frame (`gwnet.analysis.maps.same_day.CONTROL_COLUMNS`), used and left out.
    method : str
        ``kriging``, ``spline``, ``triangulation`` or ``quadratic``.
    method_text : str
        How the surface was made, in sentences.
    parameters : tuple of tuple of str
        Name and value of each parameter as printed, in the map's unit.
    surface : gwnet.hydro.surfaces.surface.Surface
        The surface; gives heads and standard errors anywhere.
    grid : gwnet.hydro.surfaces.surface.Grid
        Heads on lines; NaN beyond control.
    interval_m : float
        Contour interval [m].
    levels_m : numpy.ndarray
        Contour levels, rising [m].
    contours : tuple of ContourLine
        Contours; dashed where ``inferred``, closed lows are a ``depression``.
    arrows : tuple of FlowArrow
        Flow arrows; azimuth clockwise from grid north, down the gradient.
    boundary : numpy.ndarray, shape (k, 2)
        Corners of the control's convex hull, anticlockwise, first not repeated; nothing is drawn beyond it.
    gradient : Gradient
        Plane through all used levels.
    gradient_sound : Gradient or None
        Plane without the wells that have a finding; None when none has.
    cross_validation : CrossValidation
        Leave-one-out errors.
    against_triangulation_m : float
        Root mean square difference from linear interpolation on triangles, over the grid; 0 for triangulation [m].
    honour_failures : tuple of HonourFailure
        Wells whose level the contours do not honour; empty when all are.
    findings : tuple of MapFinding
        Wells that do not fit their neighbours, largest first.
    span : Span
        Hours and days that the levels took.
    cautions : tuple of str
        What a reader must know, each a sentence.
    scores : tuple of MethodScore
        Scores of all methods where one was chosen by cross-validation, best first; else empty.
    region : shapely.Polygon or shapely.MultiPolygon or None
        Where the surface is drawn, when barriers or a boundary make it other than the hull of the control.
    above_ground : shapely.Polygon or shapely.MultiPolygon or None
        Where the surface stands above the ground as interpolated between wells; None where it nowhere does or the
        ground is not known.
    features : MapFeatures
        Barriers, boundary, rivers, base of the unit and base layers.
    set_text : str
        By which rule the levels were chosen; empty when the caller chose them.
    """

    aquifer: str
    date: dt.date
    crs: str
    vertical_datum: str
    unit: str
    control: pd.DataFrame
    method: str
    method_text: str
    parameters: tuple[tuple[str, str], ...]
    surface: Surface
    grid: Grid
    interval_m: float
    levels_m: Floats
    contours: tuple[ContourLine, ...]
    arrows: tuple[FlowArrow, ...]
    boundary: Floats
    gradient: Gradient
    gradient_sound: Gradient | None
    cross_validation: CrossValidation
    against_triangulation_m: float
    honour_failures: tuple[HonourFailure, ...]
    findings: tuple[MapFinding, ...]
    span: Span
    cautions: tuple[str, ...]
    scores: tuple[MethodScore, ...] = ()
    region: Any | None = None
    above_ground: Any | None = None
    features: MapFeatures = field(default_factory=MapFeatures)
    set_text: str = ""

    @property
    def used(self) -> pd.DataFrame:
        """Return the rows of the control frame that the surface is made from."""
        return self.control[self.control["used"].astype(bool)].reset_index(drop=True)

    @property
    def left_out(self) -> pd.DataFrame:
        """Return the rows of the control frame that are not used, each with its reason."""
        return self.control[~self.control["used"].astype(bool)].reset_index(drop=True)
