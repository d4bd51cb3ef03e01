"""Every number of the demo network's tables is as it was when the tables were last looked at (see demo_numbers)."""

import numpy as np
import pandas as pd
import pytest

import gwnet
from tests.analysis.demo_numbers import SPOILT, TABLES, as_text, read, spoil

#: Share by which a number may differ: other versions of the libraries add in another order.
_SHARE = 1e-5


@pytest.fixture(scope="module")
def net(demo_record):
    with gwnet.open(demo_record) as network:
        yield network


@pytest.fixture(scope="module")
def spoilt(tmp_path_factory):
    with gwnet.open(spoil(tmp_path_factory.mktemp("spoilt"))) as network:
        yield network


@pytest.mark.slow
@pytest.mark.parametrize("name", TABLES)
def test_no_number_of_the_demo_moved(net, name):
    hold(read(name), as_text(TABLES[name](net)))


@pytest.mark.slow
@pytest.mark.parametrize("name", SPOILT)
def test_no_number_of_the_spoilt_record_moved(spoilt, name):
    hold(read(name), as_text(SPOILT[name](spoilt)))


def hold(kept, now):
    """Fail where a table lacks a column or row that was kept, or holds another value."""
    assert set(kept) <= set(now), f"columns are missing: {sorted(set(kept) - set(now))}"
    assert len(kept) == len(now)
    moved = {column: changes(kept[column], now[column]) for column in kept}
    assert not {column: found for column, found in moved.items() if found}


def changes(kept, now):
    """Return what was and is, where text differs or numbers by more than the share."""
    before, after = (pd.to_numeric(column, errors="coerce").to_numpy(float) for column in (kept, now))
    are_numbers = np.isfinite(before) & np.isfinite(after)
    same = (kept == now).to_numpy() | (are_numbers & (np.abs(before - after) <= _SHARE * np.abs(before) + 1e-9))
    return [f"row {row}: {kept[row]} is now {now[row]}" for row in np.flatnonzero(~same)[:3]]
