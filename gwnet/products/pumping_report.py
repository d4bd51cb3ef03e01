"""What the section on pumping tests of a report is made from: tests of the period, drawdowns, analyses."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, Final, cast

import pandas as pd

from gwnet.analysis.pumping.analyses import FIT_COLUMNS, FitRequest, analyse_test, wells_to_superpose
from gwnet.analysis.pumping.drawdown import DRAWDOWN_COLUMNS, STATIC_COLUMNS, work_out_drawdowns
from gwnet.analysis.pumping.findings import find_in_test
from gwnet.analysis.pumping.gather import GatheredTest, gather_test
from gwnet.analysis.pumping.listing import list_tests
from gwnet.errors import AnalysisError
from gwnet.figures.pumping.draw import REPORT_PANEL_MM
from gwnet.hydro.pumping import METHODS
from gwnet.products.pumping import FittedTest

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.reporting.definition.parse import Definition
    from gwnet.reporting.definition.period import Period
    from gwnet.reporting.sections.pumping import PumpingSettings
    from gwnet.store.snapshot import Snapshot

_CAPTIONS: Final = {
    "half-log": "drawdown over the logarithm of time",
    "recovery": "residual drawdown over the ratio of the times since start and stop",
    "steps": "drawdown in steps, and drawdown over rate",
    "distance": "drawdown over the logarithm of distance",
}
_RATE_COLUMNS: Final = ("test", "well", "elapsed_min", "rate_l_s", "method", "notes")
_REMARK_COLUMNS: Final = ("test", "what", "message")


@dataclass(frozen=True, eq=False)
class GatheredTests:
    """The pumping tests of a report.

    Attributes
    ----------
    frames : dict of str to pandas.DataFrame
        Frames of the section, by name; what could not be worked out is among the remarks, with the reason.
    figures : tuple of TestFigure
        Figures, in the order of tests and methods.
    """

    frames: dict[str, pd.DataFrame]
    figures: tuple[TestFigure, ...]


@dataclass(frozen=True, eq=False)
class TestFigure:
    """A figure of a test that was not drawn yet.

    Attributes
    ----------
    test, key, caption : str
        Its test, its key in the report and its caption.
    draw : callable
        Takes the unit, returns the figure.
    """

    # By its name pytest would take the class for tests.
    __test__ = False

    test: str
    key: str
    caption: str
    draw: Callable[[str], Figure]


def gather_pumping(record: Snapshot, definition: Definition, period: Period) -> GatheredTests:
    """Gather the pumping tests of a report.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    definition : gwnet.reporting.definition.parse.Definition
        What the report holds; its table ``pumping`` names tests and methods.
    period : gwnet.reporting.definition.period.Period
        Its period; tests that start in it.

    Returns
    -------
    GatheredTests
        Frames and figures.
    """
    chosen = cast("PumpingSettings", definition.settings["pumping"])
    tests = list_tests(record)
    # A test belongs to the period in which it began, or one over a turn of the quarter would be in two reports.
    days = [dt.date.fromisoformat(str(text)[:10]) for text in tests["starts_at"]]
    kept = pd.Series([period.contains(day) for day in days], index=tests.index, dtype=bool)
    if chosen.tests:
        kept &= tests["test"].isin(chosen.tests)
    tests = tests[kept].reset_index(drop=True)
    parts: dict[str, list[pd.DataFrame]] = {"static": [], "drawdowns": [], "fits": [], "rates": []}
    remarks: list[tuple[str, str, str]] = []
    figures: list[TestFigure] = []
    for code in tests["test"]:
        figures += _gather_one(record, str(code), chosen, parts, remarks)
    columns = {"static": STATIC_COLUMNS, "drawdowns": DRAWDOWN_COLUMNS, "fits": FIT_COLUMNS, "rates": _RATE_COLUMNS}
    frames = {
        f"pumping_{name}": pd.concat(made, ignore_index=True) if made else pd.DataFrame(columns=list(columns[name]))
        for name, made in parts.items()
    }
    said = pd.DataFrame(remarks, columns=list(_REMARK_COLUMNS))
    return GatheredTests({"pumping_tests": tests, **frames, "pumping_remarks": said}, tuple(figures))


def _gather_one(
    record: Snapshot,
    code: str,
    chosen: PumpingSettings,
    parts: dict[str, list[pd.DataFrame]],
    remarks: list[tuple[str, str, str]],
) -> list[TestFigure]:
    test = gather_test(record, code, before_hours=chosen.before_hours, is_air_removed=chosen.is_air_removed)
    remarks += [(code, "air pressure", sentence) for air in test.air for sentence in air.sentences()]
    remarks += [(code, "finding", f"{found.message} {found.fix}") for found in find_in_test(test)]
    parts["rates"].append(test.rates.assign(test=code)[list(_RATE_COLUMNS)])
    background: Any = chosen.background
    try:
        # Before the methods: without drawdowns each of them would fail with the same words.
        drawdowns = work_out_drawdowns(test, background=background)
    except AnalysisError as error:
        remarks.append((code, "not worked out", _words(error)))
        return []
    parts["static"].append(drawdowns.static)
    parts["drawdowns"].append(drawdowns.table)
    asked = FitRequest(background=background, before_hours=chosen.before_hours, is_air_removed=chosen.is_air_removed)
    beside = _superposed(test, chosen)
    figures = []
    for method in _methods(test, chosen):
        superposed = beside if method in METHODS and METHODS[method].superposes else ()
        try:
            analysed = analyse_test(record, code, [method], replace(asked, superposed=superposed))
        except AnalysisError as error:
            remarks.append((code, "not worked out", f"{method}: {_words(error)}"))
            continue
        parts["fits"].append(analysed.table)
        figures.append(_figure(FittedTest(analysed, str(record.settings["vertical_datum"])), code, method))
    return figures


def _figure(fitted: FittedTest, code: str, method: str) -> TestFigure:
    kind = {"recovery": "recovery", "step": "steps", "distance": "distance"}.get(method.partition("-")[0], "half-log")
    wells = ", ".join(fitted.analysed.fits[0].wells)
    draw = partial(_draw, fitted, kind)
    caption = f"Test {code}, {wells}: {_CAPTIONS[kind]}, with {method} and its residuals."
    return TestFigure(code, f"pumping-{code}-{method}", caption, draw)


def _draw(fitted: FittedTest, kind: str, unit: str) -> Figure:
    return fitted.figure(kind, unit=unit, panel_mm=REPORT_PANEL_MM)


def _superposed(test: GatheredTest, chosen: PumpingSettings) -> tuple[str, ...]:
    """Return the wells to superpose that were pumped beside a test."""
    pumped = set(test.others["well"])
    # The definition is for many tests; a well that stood still during one has nothing to superpose there.
    return tuple(well for well in wells_to_superpose(test, chosen.superpose) if well in pumped)


def _methods(test: GatheredTest, chosen: PumpingSettings) -> tuple[str, ...]:
    return chosen.step_methods if test.kind == "step" else chosen.methods


def _words(error: AnalysisError) -> str:
    return " ".join(filter(None, (error.message, error.fix)))
