import datetime as dt

import pytest

from .field_record import field_network


@pytest.fixture
def network(tmp_path):
    """Give the constructed site with a round planned."""
    with field_network(tmp_path) as net:
        planned(net)
        yield net


def planned(net, name="2026-Q2", starts_on=dt.date(2026, 5, 12), **more):
    """Plan a round."""
    chosen = {"crew": "A. Walker", "purpose": "quarterly levels", "by": "Keeper", "now_utc": NOW, **more}
    return net.rounds.plan(name, starts_on=starts_on, **chosen)


NOW = dt.datetime(2026, 5, 4, 9, 0, tzinfo=dt.UTC)
