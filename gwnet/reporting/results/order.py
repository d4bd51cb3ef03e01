"""The results of a report in order of consequence."""

from __future__ import annotations

from gwnet.analysis.thresholds.states import NOT_CROSSED
from gwnet.reporting.results.changes import change_results
from gwnet.reporting.results.flow import flow_results
from gwnet.reporting.results.quality import correction_results, logger_results, quality_result
from gwnet.reporting.results.result import Result
from gwnet.reporting.results.statistics import season_results, trend_results
from gwnet.reporting.results.thresholds import threshold_results
from gwnet.reporting.results.visits import visit_result
from gwnet.reporting.view import ReportView


def list_results(view: ReportView) -> tuple[Result, ...]:
    """Return what a report found, that of most consequence first.

    Parameters as `gwnet.reporting`.

    Returns
    -------
    tuple of Result
        Thresholds crossed, beyond and not yet confirmed, and those that cannot be judged; changes beyond their
        uncertainty; flow; wells without a level; trends and seasons; loggers; data quality; corrections since the last
        issue; last the thresholds that are not crossed.
    """
    thresholds = threshold_results(view)
    crossed = [result for result in thresholds if NOT_CROSSED not in result.states]
    # That a threshold was not crossed is of the least consequence, and comes at the end.
    rest = [result for result in thresholds if NOT_CROSSED in result.states]
    return (
        *crossed,
        *change_results(view),
        *flow_results(view),
        visit_result(view),
        *trend_results(view),
        *season_results(view),
        *logger_results(view),
        quality_result(view),
        *correction_results(view),
        *rest,
    )
