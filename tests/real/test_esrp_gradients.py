"""Gradients of the eastern Snake River Plain aquifer day by day: reference planes, and what four bad wells do to them."""

import csv
import math

import pytest

from .convert_esrp import AQUIFER

pytestmark = pytest.mark.shared

BAD = ["USGS 42", "TRA A 13", "TRA A 77", "USGS 74"]


def reference_planes(folder):
    """Return the open data's least-squares planes (numpy) by day."""
    planes = {}
    with (folder / "reference_results.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["series"].startswith("ESRP same-day") and len(row["series"].split()) == 3:
                planes.setdefault(row["series"].split()[2], {})[row["statistic"]] = float(row["value"])
    return planes


@pytest.fixture(scope="module")
def found(esrp):
    days = sorted(reference_planes(esrp[1].parent))
    return esrp[0].gradients.by_round(AQUIFER, dates=days, window_days=0)


@pytest.mark.slow
def test_planes_equal_the_reference_planes(esrp, esrp_as_published):
    """The reference has every published level, so no level is kept out by a finding here."""
    planes = reference_planes(esrp[1].parent)
    found = esrp_as_published.gradients.by_round(AQUIFER, dates=sorted(planes), window_days=0)
    assert len(found.gradients) == len(planes) >= 5
    for one in found.gradients:
        plane = planes[one.date.isoformat()]
        assert one.count() == plane["n points"]
        assert one.gradient.magnitude * 1000 == pytest.approx(plane["hydraulic gradient magnitude"], rel=2e-4)
        direction = plane["flow direction (down gradient), degrees clockwise from +y"]
        assert one.gradient.azimuth_deg == pytest.approx(direction, abs=1e-3)
        assert one.gradient.residual_sd_m == pytest.approx(plane["residual standard deviation (n-3)"], rel=1e-4)


@pytest.mark.slow
def test_with_the_bad_wells_nothing_is_determined_and_the_table_leads_to_the_plane_without(found):
    """Open data: 8.2 m/km with the four bad or perched wells, 0.61 m/km without."""
    row = found.table.set_index("date").loc["1971-07-30"]
    # the plane with the bad wells falls 8.2 m/km, which nothing but an upper limit is stated of
    assert math.isnan(row["gradient"])
    assert row["gradient_upper_limit"] * 1000 > 8.2
    assert not row["determined"]
    assert set(row["finding"].split(", ")) == set(BAD)
    assert row["gradient_without_findings"] * 1000 == pytest.approx(0.61, abs=0.03)
    assert row["triangles_gradient"] * 1000 < 1.0


@pytest.mark.slow
def test_left_out_by_request_the_day_is_determined(esrp):
    row = esrp[0].gradients.by_round(AQUIFER, dates=["1971-07-30"], window_days=0, exclude=BAD).table.iloc[0]
    assert row["determined"]
    assert row["gradient"] * 1000 == pytest.approx(0.61, abs=0.03)
    assert row["triangles_gradient"] * 1000 < 1.0


def test_the_rose_lists_the_days_without_a_determined_gradient(found):
    from ..figures.measure import beyond_page, collisions, words_of

    figure = found.figure()
    text = " ".join(words_of(figure))
    assert "5 days with a gradient" in text
    assert "1971-07-30" in text
    assert collisions(figure) == []
    assert beyond_page(figure) == []
