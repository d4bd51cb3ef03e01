"""The eastern Snake River Plain aquifer, 1922 to 2024: U.S. Geological Survey, Idaho National Laboratory networks.

173 wells and 61,348 levels from the R data package inldata 1.2.5 (underlying data doi:10.5066/F7P55KJN; public domain).
The source has its own errors, which a reader must be led to: the land surface of well USGS 42 is about 470 ft too low,
and TRA A 13, TRA A 77 and USGS 74 are perched wells that stand 280 to 430 ft above their neighbours.
"""

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from .convert_esrp import AQUIFER

pytestmark = pytest.mark.shared

BAD_SURVEY = "USGS 42"
PERCHED = {"TRA A 13", "TRA A 77", "USGS 74"}


@pytest.fixture(scope="module")
def levels(esrp):
    return esrp[0].levels(unit="ft")


def source_levels(source):
    names = {}
    with (source / "wells.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            names[row["site_id"]] = row["local_name"]
    table = pd.read_csv(source / "levels.csv", dtype=str, keep_default_na=False)
    table["well"] = table["site_id"].map(names)
    return table


@pytest.mark.slow
def test_the_whole_set_loads(esrp, levels):
    network, source, _ = esrp
    assert len(network.wells()) == 173
    assert len(levels) == len(source_levels(source)) == 61_348


def test_every_elevation_equals_the_sources_own_to_a_hundredth_of_a_foot(esrp, levels):
    told = source_levels(esrp[1])
    known = told["time_of_day"] == "time given"
    told["key"] = told["measured_utc"].where(known, told["local_date"])
    mine = levels.assign(
        key=levels["measured_at_utc"].dt.strftime("%Y-%m-%dT%H:%MZ").where(levels["time_known"], levels["measured_at"])
    )
    both = told.merge(mine, on=["well", "key"], how="left", validate="one_to_one", suffixes=("_told", ""))
    assert both["water_elevation_ft"].notna().all()
    difference = (both["water_elevation_ft"] - both["water_elev_ft_navd88"].astype(float)).abs()
    assert difference.max() <= 0.01 + 1e-9


def test_local_dates_equal_the_sources_own(esrp, levels):
    told = source_levels(esrp[1])
    known = told[told["time_of_day"] == "time given"].sort_values(["well", "measured_utc"], kind="stable")
    mine = levels[levels["time_known"]].sort_values(["well", "measured_at_utc"], kind="stable")
    assert mine["measured_at"].str[:10].tolist() == known["local_date"].tolist()


def test_uncertainty_is_stated_for_every_level(levels):
    assert levels["uncertainty_ft"].notna().all()
    assert (levels["uncertainty_ft"] > 0).all()


@pytest.fixture(scope="module")
def map_of_2010(esrp):
    return esrp[0].map(AQUIFER, dt.date(2010, 10, 5), unit="ft")


@pytest.mark.slow
def test_the_map_of_5_october_2010_draws(esrp, map_of_2010):
    files = map_of_2010.write(esrp[2] / "map")
    assert [path.name for path in files] == ["map.pdf", "map.png", "map.gpkg"]
    assert all(path.stat().st_size > 10_000 for path in files)
    assert len(map_of_2010.result.used) == 33


def test_the_contours_of_2010_honour_every_posted_value(map_of_2010):
    assert map_of_2010.result.honour_failures == ()


def test_posted_values_stand_in_the_geopackage(esrp, map_of_2010):
    import pyogrio

    map_of_2010.write(esrp[2] / "map")
    control = pyogrio.read_dataframe(esrp[2] / "map" / "map.gpkg", layer="control")
    # the map was asked for in feet
    posted = control[control["used"]].set_index("well")["water_elevation_ft"] * 0.3048
    mine = map_of_2010.result.used.set_index("well")["water_elevation_m"]
    assert posted.to_dict() == pytest.approx(mine.to_dict(), abs=1e-5)


@pytest.fixture(scope="module")
def map_of_1971(esrp):
    return esrp[0].map(AQUIFER, dt.date(1971, 7, 30), unit="ft")


def test_the_wrong_survey_and_the_perched_wells_are_found(map_of_1971):
    """README of the open data: the set of 1971-07-30 holds 34 wells, four of them wrong or perched."""
    assert len(map_of_1971.result.used) == 34
    found = {finding.well: finding for finding in map_of_1971.result.findings}
    assert set(found) >= {BAD_SURVEY} | PERCHED
    off_ft = found[BAD_SURVEY].residual_m / 0.3048
    assert -500 < off_ft < -440
    for well in PERCHED:
        assert 250 < found[well].residual_m / 0.3048 < 460


def test_few_sound_wells_are_suspected(map_of_1971):
    assert len(map_of_1971.result.findings) <= 5


def test_gradient_with_and_without_the_findings(map_of_1971):
    """Reference planes of the open data: 8.2 m/km with the four wells, 0.61 m/km without."""
    assert map_of_1971.result.gradient.magnitude * 1000 == pytest.approx(8.2, abs=0.05)
    assert map_of_1971.result.gradient_sound.magnitude * 1000 == pytest.approx(0.61, abs=0.03)


@pytest.mark.slow
def test_the_findings_are_in_words_and_on_the_sheet(esrp, map_of_1971):
    from pypdf import PdfReader

    summary = map_of_1971.summary().iloc[0]
    assert BAD_SURVEY in summary["finding"]
    files = map_of_1971.write(esrp[2] / "map71")
    text = " ".join(page.extract_text() for page in PdfReader(files[0]).pages)
    text = " ".join(text.split())
    for well in (BAD_SURVEY, *PERCHED):
        assert f"{well} is" in text


def test_levels_at_a_glance_equal_reference_results(esrp, levels):
    """Percentiles worked out with numpy in the open data's reference results."""
    reference = pd.read_csv(esrp[1].parent / "reference_results.csv")
    wells = pd.read_csv(esrp[1] / "wells.csv").set_index("site_id")["local_name"]
    checked = 0
    rows = reference[
        reference["definition"].str.startswith("water_elev_ft_navd88 by local_date, status_code 1 or blank; all values")
        & reference["statistic"].str.endswith("(linear)")
        & reference["series"].isin(wells.index)
    ]
    for row in rows.itertuples():
        mine = levels[(levels["well"] == wells[row.series]) & (levels["status"] == "static")]
        mine = mine[mine["quality"] != "suspect"]["water_elevation_ft"]
        percent = float(row.statistic.split()[1])
        assert np.percentile(mine, percent) == pytest.approx(float(row.value), abs=0.011)
        checked += 1
    assert checked >= 20


@pytest.mark.slow
def test_the_report_runs(esrp, map_of_2010):
    """The report of the quarter with the same-day set, for the wells of the map's northern half and the odd ones."""
    from pypdf import PdfReader

    network, _, folder = esrp
    wells = sorted({*map_of_2010.result.used["well"].tolist()[:8], BAD_SURVEY, *PERCHED})
    standard = (Path(__file__).resolve().parents[2] / "reports" / "quarterly.toml").read_text(encoding="utf-8")
    own = folder / "some_wells.toml"
    own.write_text(standard.replace("wells = []", f"wells = {wells}").replace('page = "A4"', 'page = "Letter"'))
    files = network.report(own, "2010-Q4", folder / "report")
    assert files[0].suffix == ".pdf"
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(files[0]).pages)
    for well in wells:
        assert well in text
    assert "NAVD 88" in text
    assert "ft" in text
