"""What looks wrong in the series of loggers, and the correction that would fix it; a person decides.

Every finding is worked out from the series as the correction history on record leaves it, so that one that was acted
on is gone.

Findings are not stored. The name of one is a digest of rule, place, span and suggestion. The plainest rule reports
first (bottomed out before flat before out of water), and an interval that half overlaps one already reported is not
reported again. A step is left to the manual readings on both sides: without them it is reported as one that nobody can
judge. A spike is one to three samples that come back; water that comes back as fast looks the same, and a person must
say which it was.

What several wells of a site show at once is compared first (`gwnet.analysis.loggers.common_causes`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
import pandas as pd

from gwnet.analysis.checks.limits import limits_of
from gwnet.analysis.loggers.air_findings import air_of_deployment, find_missing_air
from gwnet.analysis.loggers.channels import LoggerRecord, deployments_in, loggers_of
from gwnet.analysis.loggers.clocks import compare_clock, find_clock_errors
from gwnet.analysis.loggers.common_causes import find_across_wells, look_at
from gwnet.analysis.loggers.correction_kinds import DISMISSED
from gwnet.analysis.loggers.finding_rules import find_in_deployment
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.analysis.loggers.suggestion import LoggerFinding, count_samples, findings_frame
from gwnet.clock import to_instant
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.snapshot import Snapshot


def list_findings(
    record: Snapshot, wells: Sequence[str] | None = None, *, other_serials: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return what looks wrong in the series of the loggers.

    Parameters as `gwnet.analysis.loggers`.

    Parameters
    ----------
    other_serials : pandas.DataFrame, optional
        As `findings_of`.

    Returns
    -------
    pandas.DataFrame
        Columns of `gwnet.analysis.loggers.suggestion.FINDING_COLUMNS`, by site, well, instrument and time. The
        suggestion is the command that would apply the correction; it wants a reason.
    """
    heads = iterate_heads(record, deployments_in(record, wells))
    return findings_frame(findings_of(record, heads, other_serials=other_serials))


def findings_of(
    record: Snapshot, deployments: Iterable[LoggerHeads], *, other_serials: pd.DataFrame | None = None
) -> list[LoggerFinding]:
    """Return the findings about deployments whose heads were worked out.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    deployments : iterable of LoggerHeads
        Heads over whole deployments; gone through once, none is kept.
    other_serials : pandas.DataFrame, optional
        Files that give another serial number than that of their instrument: instrument, quantity, file, given,
        recorded, first_utc and last_utc.

    Returns
    -------
    list of LoggerFinding
        By site, well, instrument and time.
    """
    loggers = loggers_of(record)
    findings: list[LoggerFinding] = []
    clocks, air, seen, places = [], [], [], {}
    for heads in deployments:
        air.append(air_of_deployment(loggers, heads))
        clocks.append(compare_clock(loggers, heads))
        findings += find_in_deployment(loggers, heads)
        seen.append(look_at(heads, limits_of(record.of_site(heads.site).settings)[0]))
        places[heads.instrument] = (heads.site, heads.well)
    # Before anything else, since what several wells share replaces what each shows alone.
    findings = find_across_wells(seen, findings)
    findings += find_clock_errors(each for each in clocks if each is not None)
    findings += find_missing_air(loggers, air)
    findings += _conflicts(record, places)
    findings += _other_serials(record, other_serials, places)
    findings = [each for each in findings if not _is_dismissed(loggers, each)]
    # A finding without a time sorts first instead of raising.
    never = np.datetime64("1900-01-01", "us")
    return sorted(
        findings,
        key=lambda each: (
            each.site,
            each.well,
            each.instrument,
            never if np.isnat(each.start_utc) else each.start_utc,
            each.rule,
        ),
    )


def _is_dismissed(loggers: LoggerRecord, finding: LoggerFinding) -> bool:
    """Return whether a person dismissed a finding by a correction ``keep``."""
    if finding.rule not in DISMISSED:
        return False
    history = loggers.correction_history(finding.instrument, finding.quantity)
    return history.is_dismissed(finding.rule, finding.start_utc, finding.end_utc)


def _other_serials(
    record: Snapshot, table: pd.DataFrame | None, places: Mapping[str, tuple[str, str]]
) -> Iterator[LoggerFinding]:
    """Yield, for each file, that its serial number is another than that of its instrument on record."""
    barometers = record.deployments
    # A barometer is no deployment in water, but its file may carry a wrong serial number as well.
    barometers = barometers[barometers["instrument"].isin(record.deployments["barometer"])]
    known = {str(row.instrument): (str(row.site), str(row.well)) for row in barometers.itertuples()} | dict(places)
    for row in () if table is None else table.itertuples():
        if row.instrument not in known:
            continue
        message = (
            f"{row.file} is of serial number {row.given}; {row.instrument} on record has {row.recorded}. Withdraw the "
            f"file if it is of another instrument, or correct the serial number of {row.instrument}."
        )
        edges = (to_instant(row.first_utc), to_instant(row.last_utc))
        yield LoggerFinding(*known[row.instrument], row.instrument, row.quantity, "serial number", *edges, message)


def _conflicts(record: Snapshot, places: Mapping[str, tuple[str, str]]) -> Iterator[LoggerFinding]:
    """Yield, for each file, that it differs from what is on record."""
    table = fetch_samples.conflicts(record.connection, record.known_on)
    table = table[table["instrument"].isin(places)]
    for (instrument, quantity, file), rows in table.groupby(["instrument", "quantity", "file"], sort=True):
        first, last = to_instant(rows["time_utc"].min()), to_instant(rows["time_utc"].max())
        message = (
            f"{count_samples(len(rows))} of {file} differ from those on record, which stay: another clock or unit?"
        )
        yield LoggerFinding(*places[str(instrument)], str(instrument), str(quantity), "conflict", first, last, message)
