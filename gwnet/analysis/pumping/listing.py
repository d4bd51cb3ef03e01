"""The tests on record, one row each."""

from __future__ import annotations

from typing import Final

import pandas as pd

from gwnet.analysis.pumping.findings import find_in_test
from gwnet.analysis.pumping.gather import GatheredTest, gather_test
from gwnet.clock import zone_of
from gwnet.store.snapshot import Snapshot

#: Columns of the list of tests.
TEST_COLUMNS: Final = tuple(
    "site test well kind starts_at stops_at hours rates_l_s wells readings purpose crew findings".split()
)

#: Columns of the findings of tests.
FINDING_COLUMNS: Final = tuple("site test well rule message fix".split())


def list_tests(record: Snapshot) -> pd.DataFrame:
    """Return the tests on record.

    Parameters as `gwnet.analysis.pumping`.

    Returns
    -------
    pandas.DataFrame
        Columns of `TEST_COLUMNS`, by site and start; times are local, and findings is how many there are.
    """
    rows = [_row(test) for test in _gathered(record)]
    return pd.DataFrame(rows, columns=list(TEST_COLUMNS))


def list_findings(record: Snapshot, code: str | None = None) -> pd.DataFrame:
    """Return what looks wrong in tests, with what can be done.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    code : str, optional
        Code of a test; all tests unless given.

    Returns
    -------
    pandas.DataFrame
        Columns of `FINDING_COLUMNS`.
    """
    tests = _gathered(record) if code is None else [gather_test(record, code)]
    rows = [
        (test.site, test.test, found.well, found.rule, found.message, found.fix)
        for test in tests
        for found in find_in_test(test)
    ]
    return pd.DataFrame(rows, columns=list(FINDING_COLUMNS))


def remark_on(record: Snapshot, code: str, *, before_hours: float, is_air_removed: bool = True) -> list[str]:
    """Return how the levels of a test were corrected for air pressure and what looks wrong in it, in sentences.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    code : str
        Code of the test.
    before_hours : float
        Hours before the start in which levels count as levels before the test.
    is_air_removed : bool, optional
        Whether the effect of air pressure is taken out.
    """
    test = gather_test(record, code, before_hours=before_hours, is_air_removed=is_air_removed)
    said = [sentence for air in test.air for sentence in air.sentences()]
    return said + [f"{found.message} {found.fix}" for found in find_in_test(test)]


def _gathered(record: Snapshot) -> list[GatheredTest]:
    pairs = record.pumping_tests[["site", "test"]].itertuples(index=False)
    return [gather_test(record.of_site(str(site)), str(code)) for site, code in pairs]


def _row(test: GatheredTest) -> dict[str, object]:
    zone = zone_of(test.zone)
    stop = "" if pd.isna(test.stops_utc) else test.stops_utc.tz_convert(zone).isoformat(timespec="minutes")
    rates = test.rates.loc[test.rates["well"] == test.well, "rate_l_s"]
    manual = test.levels[test.levels["source"] == "manual"]
    return {
        "site": test.site,
        "test": test.test,
        "well": test.well,
        "kind": test.kind,
        "starts_at": test.starts_utc.tz_convert(zone).isoformat(timespec="minutes"),
        "stops_at": stop,
        "hours": float("nan") if pd.isna(test.stops_utc) else test.stop_min / 60.0,
        "rates_l_s": "; ".join(f"{rate:.4g}" for rate in rates),
        "wells": ",".join(test.read_wells),
        "readings": len(manual),
        "purpose": test.purpose,
        "crew": test.crew,
        "findings": len(find_in_test(test)),
    }
