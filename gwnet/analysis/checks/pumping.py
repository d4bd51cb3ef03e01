"""Checks of pumping tests: what looks wrong in them, and static levels recorded while a test was under way."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.checks.check import SERIOUS, WARNING, CheckList, Finding
from gwnet.analysis.checks.events import Events
from gwnet.analysis.pumping.findings import RULES, find_in_test
from gwnet.analysis.pumping.gather import GatheredTest, gather_test
from gwnet.store.snapshot import Snapshot

CHECKS: Final = CheckList()

STATIC_IN_TEST: Final = "static level during a pumping test"

for _name, (_looks_for, _) in RULES.items():
    CHECKS.add_rule(_name, WARNING, _looks_for)
CHECKS.add_rule(
    STATIC_IN_TEST, SERIOUS, "a level event of status static, read in a well of a test between its start and its end"
)


def find_in_tests(record: Snapshot, events: Events) -> Iterator[Finding]:
    """Find what looks wrong in the pumping tests of a site.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of the site.
    events : gwnet.analysis.checks.events.Events
        Its level events.

    Yields
    ------
    Finding
        Of each well and rule one, whatever the number of tests; and one a static level.
    """
    noticed: dict[tuple[str, str], list[str]] = {}
    tests: dict[tuple[str, str], list[str]] = {}
    for code in record.pumping_tests["test"]:
        test = gather_test(record, str(code))
        for found in find_in_test(test):
            noticed.setdefault((found.well, found.rule), []).append(found.message)
            tests.setdefault((found.well, found.rule), []).append(test.test)
        yield from _static_levels(test, events)
    for key, messages in noticed.items():
        well, rule = key
        limits = {"tests": sorted(set(tests[key]))}
        yield Finding(" ".join(messages), limits, rule=rule, severity=WARNING, well=well)


def _static_levels(test: GatheredTest, events: Events) -> Iterator[Finding]:
    """Find static levels that were read while a test was under way in the wells that it reads."""
    manual = test.levels[test.levels["source"] == "manual"]
    ends = manual.groupby("well")["measured_at_utc"].max().to_dict()
    ends.setdefault(test.well, test.starts_utc if pd.isna(test.stops_utc) else test.stops_utc)
    measured = events.frame["measured_at_utc"]
    for well, last in ends.items():
        end = last if pd.isna(test.stops_utc) else max(last, test.stops_utc)
        here = (events["well"] == well) & (events["status"] == "static") & events["time_known"].astype(bool)
        here &= np.asarray((measured > test.starts_utc) & (measured <= end))
        for row in np.flatnonzero(here).tolist():
            message = (
                f"The level is recorded as static, {(measured[row] - test.starts_utc).total_seconds() / 60:.0f} min "
                f"after the start of test {test.test} of {test.well}; it enters maps and trends. Correct its status."
            )
            yield Finding(message, {"test": test.test}, row=row, rule=STATIC_IN_TEST, severity=SERIOUS)
