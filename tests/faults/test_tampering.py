"""What is changed behind the program's back is refused by the database, or found by ``gwnet doctor``."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED

from .figures import note_figures
from .scale import FULL, SCALE, seed
from .stages import run_here
from .tampering import changes, is_refused

pytestmark = [pytest.mark.faults, pytest.mark.slow, pytest.mark.timeout(3600)]

DATABASES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]
#: Not seen, and no harm: a pack is a copy of samples for fast reading; without it the samples themselves are read.
HARMLESS = frozenset({"delete sample_pack"})
#: Changes with triggers away that the short version makes; each needs a look at the whole record.
SHORT_COUNT = 25


def outcome(stages, change, *, without_triggers):
    """Return what became of a change: refused, found, none, or unseen."""
    url = stages.copy("full")
    try:
        refused = is_refused(url, change, without_triggers=without_triggers)
        if refused is not False:
            return "refused" if refused else "none"
        ran = run_here(["doctor", "--format", "json", "--db", url])
        if "Traceback" in ran.err or ran.code not in (DONE, DONE_WITH_FINDINGS, STOPPED):
            return f"exit code {ran.code}: {ran.err}"
        return "unseen" if ran.code == DONE else "found"
    finally:
        stages.drop(url)


@pytest.mark.parametrize("without_triggers", [False, True], ids=["triggers", "no-triggers"])
@pytest.mark.parametrize("database", DATABASES)
def test_a_change_is_refused_or_found(database, without_triggers, stages):
    listed = changes(stages.stage("full"))
    if SCALE is not FULL:
        rng = random.Random(seed("tampering", database, without_triggers))
        listed = rng.sample(listed, SHORT_COUNT)
    outcomes = {str(change): outcome(stages, change, without_triggers=without_triggers) for change in listed}
    counts = Counter(outcomes.values())
    name = f"tampering, {'triggers away, ' if without_triggers else ''}{database}"
    note_figures(
        name, changes=len(listed) - counts["none"], **{key: counts[key] for key in ("refused", "found", "unseen")}
    )
    wrong = {
        change: became
        for change, became in outcomes.items()
        if became not in ("refused", "found", "none") and change not in HARMLESS
    }
    assert not wrong
    assert counts["found" if without_triggers else "refused"] > 0


def test_an_untouched_record_has_no_finding(sqlite_stages):
    ran = run_here(["doctor", "--format", "json", "--db", sqlite_stages.stage("full")])
    assert ran.code == DONE, ran.err
    assert ran.err.endswith("checks, 0 findings.\n")
