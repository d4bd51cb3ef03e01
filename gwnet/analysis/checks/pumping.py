"""Checks of pumping tests: what looks wrong in them, and static levels recorded while a test was under way."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from gwnet.analysis.checks.check import SERIOUS, WARNING, CheckList, Finding
from gwnet.analysis.checks.events import Events
from gwnet.analysis.pumping.findings import RULES, find_in_test
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
    # tests have heads of loggers, which are anchored to levels, of which checks keep some out
    from gwnet.analysis.pumping.gather import gather_test

    yield from _static_levels(record, events)
    noticed: dict[tuple[str, str], list[str]] = {}
    tests: dict[tuple[str, str], list[str]] = {}
    for code in record.pumping_tests["test"]:
        test = gather_test(record, str(code))
        for found in find_in_test(test):
            noticed.setdefault((found.well, found.rule), []).append(found.message)
            tests.setdefault((found.well, found.rule), []).append(test.test)
    # One finding for each well and rule, as verdicts are kept by them, not one for each test.
    for key, messages in noticed.items():
        well, rule = key
        limits = {"tests": sorted(set(tests[key]))}
        yield Finding(" ".join(messages), limits, rule=rule, severity=WARNING, well=well)


def _static_levels(record: Snapshot, events: Events) -> Iterator[Finding]:
    """Find static levels that were read while a test was under way in one of its wells."""
    from gwnet.analysis.pumping.readings import spans_of_tests

    measured = events.frame["measured_at_utc"]
    for span in spans_of_tests(record).itertuples():
        # With a date alone nothing says whether the level was read before or during the test.
        here = (events["well"] == span.well) & (events["status"] == "static") & events["time_known"].astype(bool)
        here &= np.asarray((measured > span.first_utc) & (measured <= span.last_utc))
        for row in np.flatnonzero(here).tolist():
            minutes = (measured[row] - span.first_utc).total_seconds() / 60
            message = (
                f"The level is recorded as static, {minutes:.0f} min after the start of test {span.test}; it enters "
                "maps and trends. Correct its status."
            )
            yield Finding(message, {"test": str(span.test)}, row=row, rule=STATIC_IN_TEST, severity=SERIOUS)
