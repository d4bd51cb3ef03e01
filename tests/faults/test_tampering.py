"""What is changed behind the program's back is refused by the database, or found by ``gwnet doctor``."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED

from .figures import note_figures
from .scale import FULL, SCALE, seed
from .stages import run_here
from .tampering import GUARDED, WAYS, changes, is_refused

pytestmark = [pytest.mark.faults, pytest.mark.slow, pytest.mark.timeout(3600)]

#: Each way on each database.
WAYS_OF = [
    pytest.param(database, way, marks=[pytest.mark.postgres] if database == "postgresql" else [])
    for database, ways in WAYS.items()
    for way in ways
]
#: Not seen where no trigger looks: a record without a row is a new record, and nothing in it contradicts that.
UNSEEN = frozenset({"truncate all"})
#: Changes that the short version makes; without triggers each needs a look at the whole record.
SHORT_COUNT = {GUARDED: 60, "dropped": 20, "replica": 12, "disabled": 12}


def outcome(stages, url, change, way):
    """Return what became of a change: refused, found, none, or unseen."""
    refused = is_refused(url, change, way)
    if refused is not False:
        return "refused" if refused else "none"
    ran = run_here(["doctor", "--format", "json", "--db", url])
    if "Traceback" in ran.err or ran.code not in (DONE, DONE_WITH_FINDINGS, STOPPED):
        return f"exit code {ran.code}: {ran.err}"
    return "unseen" if ran.code == DONE else "found"


@pytest.mark.parametrize(("database", "way"), WAYS_OF)
def test_a_change_is_refused_or_found(database, way, stages):
    listed = changes(stages.stage("full"))
    if SCALE is not FULL:
        rng = random.Random(seed("tampering", database, way))
        listed = rng.sample(listed, min(SHORT_COUNT[way], len(listed)))
    outcomes = {}
    url = ""
    for change in listed:
        url = url or stages.copy("full")
        outcomes[str(change)] = outcome(stages, url, change, way)
        if outcomes[str(change)] not in ("refused", "none"):  # a change that was refused leaves the record as it was
            stages.drop(url)
            url = ""
    counts = Counter(outcomes.values())
    note_figures(
        f"tampering, {way}, {database}",
        changes=len(listed) - counts["none"],
        **{key: counts[key] for key in ("refused", "found", "unseen")},
    )
    unseen = UNSEEN if way != GUARDED else frozenset()
    wrong = {
        change: became
        for change, became in outcomes.items()
        if became not in ("refused", "found", "none") and change not in unseen
    }
    assert not wrong
    assert counts["refused" if way == GUARDED else "found"] > 0


def test_an_untouched_record_has_no_finding(sqlite_stages):
    ran = run_here(["doctor", "--format", "json", "--db", sqlite_stages.stage("full")])
    assert ran.code == DONE, ran.err
    assert ran.err.endswith("checks, 0 findings.\n")
