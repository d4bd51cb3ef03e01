"""Steps of levels: the most likely one, gaps, and moments on record; constructed."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.series.trend_moments import find_moments
from gwnet.analysis.series.trend_steps import COLUMNS, trend_steps
from gwnet.network import Network
from gwnet.store.snapshot import Snapshot

from .trend_rows import quarterly, record, wells_of, yearly

NOTHING = pd.DataFrame({"site": [], "well": [], "moment": [], "day": []})


def steps(frame, moments=NOTHING, **options):
    found = trend_steps(frame, wells_of(frame), moments, **options)
    assert tuple(found.columns) == COLUMNS
    return found


def moment(day, well="A", what="new measuring point"):
    return pd.DataFrame({"site": ["S"], "well": [well], "moment": [what], "day": [dt.date.fromisoformat(day)]})


def stepped(size=0.5, years=20):
    random = np.random.default_rng(2)
    level = 40 + np.where(np.arange(4 * years) < 2 * years, 0.0, size) + random.normal(0, 0.1, 4 * years)
    return record(*quarterly("A", level))


def test_the_most_likely_step_is_found_with_its_size():
    row = steps(stepped()).iloc[0]
    assert (row["moment"], row["at"]) == ("most likely", "2011-01-01")
    assert (row["years_before"], row["years_after"]) == (10, 10)
    assert row["p"] < 0.01
    assert row["shift_m"] == pytest.approx(0.5, abs=0.1)
    assert row["shift_lower_m"] < row["shift_m"] < row["shift_upper_m"]


def test_noise_has_no_step():
    row = steps(stepped(size=0.0)).iloc[0]
    assert row["p"] > 0.05


def test_a_moment_on_record_is_compared_without_its_year():
    found = steps(stepped(), moment("2011-06-01"))
    row = found[found["moment"] == "new measuring point"].iloc[0]
    assert (row["at"], row["years_before"], row["years_after"]) == ("2011-06-01", 10, 9)
    assert row["shift_m"] == pytest.approx(0.5, abs=0.1)
    assert row["p"] < 0.01


@pytest.mark.parametrize(("day", "before"), [("2011-01-05", 10), ("2010-12-20", 10), ("2010-06-01", 9)])
def test_a_year_wholly_on_one_side_takes_part(day, before):
    row = steps(stepped(), moment(day)).iloc[1]
    assert row["years_before"] == before
    assert row["years_after"] == 10


def test_a_long_gap_is_compared():
    found = steps(record(*yearly("A", [1, 2, 3, None, None, None, None, 4, 5, 6])), method="kendall")
    assert found["moment"].tolist() == ["most likely", "long gap"]
    row = found.iloc[1]
    assert (row["at"], row["statistic"], row["shift_m"]) == ("2008-06-15", 9, 3.0)


def test_too_few_years_have_their_rows():
    frame = record(*yearly("A", [1.0, 2.0, 3.0]))
    found = steps(frame, moment("2001-08-01"), method="kendall")
    assert found["p"].isna().all()
    assert "too few years: 3 with a value, 6 needed" in found["note"].iloc[0]
    assert "1 before and 2 after, 2 of each needed" in found["note"].iloc[1]
    wells = pd.DataFrame({"site": ["S"], "well": ["Z"]})
    assert trend_steps(frame, wells, NOTHING)["note"].tolist() == ["no level that can be used"]


def test_p_is_adjusted_for_all_rows():
    found = steps(stepped(), moment("2011-06-01"))
    assert (found["p_adjusted"] >= found["p"]).all()


@pytest.mark.slow
def test_the_demo_has_moments_of_new_measuring_points(demo_record):
    with Network(demo_record) as net:
        with net.store.reading() as connection:
            moments = find_moments(Snapshot(connection))
        found, feet = net.trends.steps(), net.trends.steps(["W-04"], unit="ft")
    assert (moments["moment"] == "new measuring point").any()
    day = moments.loc[(moments["well"] == "W-04") & (moments["moment"] == "new measuring point"), "day"].iloc[0]
    row = found[(found["well"] == "W-04") & (found["moment"] == "new measuring point")].iloc[0]
    assert row["at"] == day.isoformat()
    mine = feet[feet["moment"] == "new measuring point"].iloc[0]
    assert mine["shift_ft"] == pytest.approx(row["shift_m"] / 0.3048)
