"""Analyses of a test by name, and their rows: one a parameter, with limits and what the data do not determine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.places import located
from gwnet.analysis.maps.site_maps import unit_of_coordinates
from gwnet.analysis.pumping.drawdown import (
    Background,
    PumpingDrawdowns,
    dimensions_for_analysis,
    rates_for_analysis,
    thickness_for,
    wells_for_analysis,
    work_out_drawdowns,
)
from gwnet.analysis.pumping.gather import BEFORE_HOURS, GatheredTest, gather_test
from gwnet.errors import SettingsError
from gwnet.hydro.pumping import METHODS, PumpingFit, fit_pumping_test
from gwnet.store.snapshot import Snapshot

#: Columns of the rows of analyses.
FIT_COLUMNS: Final = tuple(
    "test wells method parameter value unit lower upper identifiable n rmse_m note aicc correlation superposed".split()
)

#: Asks for the pumping of all other wells of the aquifer.
ALL_OTHERS: Final = "all"

#: Correlation of two parameters from which it is said [-].
_SAID: Final = 0.9


@dataclass(frozen=True)
class FitRequest:
    """What an analysis is asked for.

    Attributes
    ----------
    wells : tuple of str
        Wells that take part; empty for the usual ones.
    background : {"mean", "line"}
        What the level would be without pumping.
    before_hours : float
        Hours before the start in which levels count as levels before the test.
    first_min, last_min : float, optional
        Only readings after and up to these minutes since the start.
    is_corrected : bool
        Whether drawdowns are corrected for the thickness of an unconfined aquifer (Jacob 1944).
    thickness_m : float, optional
        Saturated thickness, where not that on record [m].
    boundary : str
        ``barrier`` or ``recharge`` where a straight boundary is taken into account, empty where none is.
    image : tuple of float, optional
        Easting and northing of the image of the pumped well behind it.
    heads : tuple of float, optional
        Range of normalised heads that straight lines of slug tests take.
    is_trimmed : bool, optional
        Whether straight lines leave out the readings at which they do not hold yet; unless a span is asked for, they
        do.
    is_air_removed : bool
        Whether the effect of air pressure is taken out by the barometric efficiencies on record.
    superposed : tuple of str
        Other wells whose pumping on record is superposed, in this test and in others of the site; `ALL_OTHERS` for all
        that are pumped in the aquifer while the test is under way.
    """

    wells: tuple[str, ...] = ()
    background: Background = "mean"
    before_hours: float = BEFORE_HOURS
    first_min: float | None = None
    last_min: float | None = None
    is_corrected: bool = False
    thickness_m: float | None = None
    boundary: str = ""
    image: tuple[float, float] | None = None
    heads: tuple[float, float] | None = None
    is_trimmed: bool | None = None
    is_air_removed: bool = True
    superposed: tuple[str, ...] = ()

    def options_of(self, method: str) -> dict[str, Any]:
        """Return the options of a method that were asked for otherwise than it has them.

        Parameters
        ----------
        method : str
            One of `gwnet.hydro.pumping.METHODS`.
        """
        has_span = self.first_min is not None or self.last_min is not None
        # Whoever gives a span means its readings, so none is left out unless asked.
        is_trimmed = not has_span if self.is_trimmed is None else self.is_trimmed
        asked = {"heads": self.heads, "trim": None if is_trimmed else False}
        return {name: asked[name] for name in METHODS[method].options if asked.get(name) is not None}


@dataclass(frozen=True, eq=False)
class AnalysedTest:
    """A test with its drawdowns and analyses.

    Attributes
    ----------
    test : gwnet.analysis.pumping.gather.GatheredTest
        The test.
    drawdowns : gwnet.analysis.pumping.drawdown.PumpingDrawdowns
        Its drawdowns.
    fits : tuple of gwnet.hydro.pumping.PumpingFit
        Analyses, in the order asked for.
    """

    test: GatheredTest
    drawdowns: PumpingDrawdowns
    fits: tuple[PumpingFit, ...]

    @property
    def table(self) -> pd.DataFrame:
        """Return the rows of the analyses: columns of `FIT_COLUMNS`."""
        return tabulate_fits(self.test.test, self.fits)


def analyse_test(record: Snapshot, code: str, methods: Sequence[str], asked: FitRequest) -> AnalysedTest:
    """Analyse a test.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    code : str
        Code of the test.
    methods : sequence of str
        Methods, of `gwnet.hydro.pumping.METHODS`.
    asked : FitRequest
        Wells, span and dimensions.

    Returns
    -------
    AnalysedTest
        The test with its analyses, in the order of the methods.

    Raises
    ------
    NotFoundError
        If the test or a well is not on record.
    SettingsError
        If there is no such method.
    AnalysisError
        If something that a method needs is not on record, or the readings are too few.
    """
    for method in methods:
        if method not in METHODS:
            message = f"There is no method {method!r}."
            raise SettingsError(message, fix=f"Methods: {', '.join(METHODS)}.")
    test = gather_test(record, code, before_hours=asked.before_hours, is_air_removed=asked.is_air_removed)
    record.require(wells=list(asked.wells) or None)
    corrected = thickness_for(test, asked.thickness_m, is_corrected=asked.is_corrected)
    drawdowns = work_out_drawdowns(test, background=asked.background, thickness_m=corrected)
    fits = [_fit(record, test, drawdowns, method, asked) for method in methods]
    return AnalysedTest(test, drawdowns, tuple(fits))


def _fit(
    record: Snapshot, test: GatheredTest, drawdowns: PumpingDrawdowns, method: str, asked: FitRequest
) -> PumpingFit:
    wells = asked.wells or usual_wells(test, drawdowns, method)
    images = None if asked.image is None else _image_distances(record, test, asked.image)
    series = wells_for_analysis(
        test,
        drawdowns,
        wells,
        images_m=images,
        first_min=asked.first_min,
        last_min=asked.last_min,
        superposed=wells_to_superpose(test, asked.superposed),
    )
    geometry = dimensions_for_analysis(test, thickness_m=asked.thickness_m, boundary=asked.boundary)
    rates = None if "slug" in METHODS[method].kinds else rates_for_analysis(test)
    return fit_pumping_test(method, rates, series, geometry, **asked.options_of(method))


def usual_wells(test: GatheredTest, drawdowns: PumpingDrawdowns, method: str) -> tuple[str, ...]:
    """Return the wells that a method takes where none are named.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    drawdowns : gwnet.analysis.pumping.drawdown.PumpingDrawdowns
        Drawdowns of the test.
    method : str
        The method.

    Returns
    -------
    tuple of str
        The pumped well for step tests, slug tests, storage in the well, and recovery, in which well losses are gone;
        else `gwnet.analysis.pumping.gather.GatheredTest.observed_wells` but the pumped one, whose own losses are no
        drawdown of the aquifer; the pumped one where no other was read.
    """
    # Of the pumped well alone: losses, storage and displacement are its own.
    if method.partition("-")[0] in {"step", "slug", "storage", "recovery"}:
        return (test.well,)
    table = drawdowns.table
    drawn = set(table.loc[table["elapsed_min"] > 0, "well"])
    # Without an observation well the pumped one has to serve.
    return tuple(well for well in test.observed_wells if well in drawn) or (test.well,)


def wells_to_superpose(test: GatheredTest, asked: Sequence[str]) -> tuple[str, ...]:
    """Return the wells whose pumping is superposed.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    asked : sequence of str
        Wells, or `ALL_OTHERS`.
    """
    if ALL_OTHERS in asked:
        return tuple(dict.fromkeys(test.pumped_beside()["well"]))
    return tuple(dict.fromkeys(asked))


def _image_distances(record: Snapshot, test: GatheredTest, image: tuple[float, float]) -> dict[str, float]:
    """Return the distances of the wells of a test from the image of the pumped well [m]."""
    crs = str(record.settings["crs"])
    placed = located(record.wells, crs).set_index("well")
    scale = unit_of_coordinates(crs)
    easting, northing = image
    return {
        str(well): scale
        * float(np.hypot(placed.loc[well, "easting"] - easting, placed.loc[well, "northing"] - northing))
        for well in test.wells["well"]
    }


def tabulate_fits(code: str, fits: Sequence[PumpingFit]) -> pd.DataFrame:
    """Return analyses as rows, one a parameter.

    Parameters
    ----------
    code : str
        Code of the test.
    fits : sequence of gwnet.hydro.pumping.PumpingFit
        Analyses.

    Returns
    -------
    pandas.DataFrame
        Columns of `FIT_COLUMNS`. lower and upper are the 95 % limits; identifiable is false where the data set none.
        rmse_m is the root mean square of the residuals. aicc compares methods of the same readings: the smallest is
        best supported. superposed names the other wells whose pumping was superposed.
    """
    rows = [
        {
            "test": code,
            "wells": ",".join(fit.wells),
            "method": fit.model,
            "parameter": parameter.name,
            "value": parameter.value,
            "unit": parameter.unit,
            "lower": parameter.lower,
            "upper": parameter.upper,
            "identifiable": parameter.identifiable,
            "n": fit.n,
            "rmse_m": fit.rmse_m,
            "note": fit.note,
            "aicc": fit.aicc,
            "correlation": describe_correlation(fit),
            "superposed": ",".join(fit.superposed),
        }
        for fit in fits
        for parameter in fit.parameters
    ]
    return pd.DataFrame(rows, columns=list(FIT_COLUMNS))


def describe_correlation(fit: PumpingFit) -> str:
    """Return which parameters of an analysis go together, such as ``transmissivity and storativity: -0.93``.

    Parameters
    ----------
    fit : gwnet.hydro.pumping.PumpingFit
        The analysis.
    """
    size = fit.correlation.shape[0] if fit.correlation.ndim == 2 else 0
    names = [parameter.name for parameter in fit.parameters[:size]]
    said = [
        f"{names[one]} and {names[other]}: {fit.correlation[one, other]:.2f}"
        for one, other in combinations(range(size), 2)
        if abs(fit.correlation[one, other]) >= _SAID
    ]
    return "; ".join(said)


def describe_pumping_methods() -> str:
    """Return the methods as a Markdown table: name, what it is for, kinds of tests, what it needs, and its source."""
    names = {
        "well_radius_m": "radius of the pumped well",
        "casing_radius_m": "radius of its casing",
        "thickness_m": "thickness of the aquifer",
        "screen_top_m": "its screen",
        "submerged_m": "its depth below the static level",
    }
    lines = ["| method | for | kinds of tests | needs | source |", "|---|---|---|---|---|"]
    for method in METHODS.values():
        needs = ", ".join(names[need] for need in method.needs if need in names)
        lines.append(f"| `{method.name}` | {method.title} | {', '.join(method.kinds)} | {needs} | {method.source} |")
    return "\n".join(lines)
