"""``gwnet thresholds`` on a small constructed record, from its files on."""

import json

import pandas as pd
import pytest
from pypdf import PdfReader

from gwnet.cli import DONE

TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nMM,EPSG:25832,local,m,UTC+01:00\n",
    "wells": "site,well,easting,northing\nMM,MW-1,451200,5400100\n",
    "measuring_points": "site,well,valid_from,elevation,height_above_ground\nMM,MW-1,2000-01-01,101.250,0.5\n",
    "thresholds": "site,well,threshold,kind,depth_to_water,consecutive,action\nMM,MW-1,warning,lower,4.00,2,Call\n",
    "level_events": "site,well,date,status,depth_to_water\n"
    "MM,MW-1,2024-03-15,static,4.10\nMM,MW-1,2024-06-15,static,4.20\nMM,MW-1,2024-09-15,static,3.00\n",
}


@pytest.fixture
def record(tmp_path, gwnet_here):
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    assert gwnet_here("init").code == DONE
    ran = gwnet_here("load", *(f"{name}.csv" for name in TABLES), "--by", "Ana")
    assert ran.code == DONE, ran.err
    return gwnet_here


def test_states_and_crossings_are_printed(record):
    ran = record("thresholds", "--from", "2024-06-01", "--format", "json")
    assert ran.code == DONE, ran.err
    row = json.loads(ran.out)[0]
    assert (row["state"], row["readings_beyond"], row["readings_judged"]) == ("crossed", 1, 2)
    assert (row["threshold_elevation_m"], row["action"]) == (97.25, "Call")
    (crossing,) = json.loads(record("thresholds", "--crossings", "--format", "json").out)
    assert (crossing["first"], crossing["ended_by"], crossing["confirmed_on"]) == (
        "2024-03-15",
        "2024-09-15",
        "2024-06-15",
    )
    assert "threshold_elevation_ft" in record("thresholds", "--unit", "ft", "--format", "csv").out


def test_a_period_without_a_crossing_says_so(record):
    assert "No threshold was crossed." in record("thresholds", "--crossings", "--from", "2024-09-01").err
    assert "not crossed" in record("thresholds", "--from", "2024-09-01").out


RATES = {
    "wells": "site,well,easting,northing\nMM,MW-2,451200,5400300\n",
    "measuring_points": "site,well,valid_from,elevation\nMM,MW-2,2000-01-01,101.000\n",
    "thresholds": "site,well,threshold,kind,change,days,gradient,other_well\n"
    "MM,MW-1,quick fall,lower,-0.50,100,,\nMM,MW-1,reversal,lower,,,0.0010,MW-2\n",
    "level_events": "site,well,date,status,depth_to_water\n"
    "MM,MW-1,2024-12-10,static,3.60\nMM,MW-2,2024-06-15,static,4.30\nMM,MW-2,2024-09-15,static,3.20\n",
}


@pytest.fixture
def rates(record, tmp_path):
    for name, text in RATES.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    ran = record("load", *(f"{name}.csv" for name in RATES), "--by", "Ana")
    assert ran.code == DONE, ran.err
    return record


@pytest.mark.slow
def test_changes_and_gradients_are_judged_over_the_period(rates):
    rows = {row["threshold"]: row for row in json.loads(rates("thresholds", "--format", "json").out)}
    fall, turn = rows["quick fall"], rows["reversal"]
    # 98.25 to 97.65 between 15 September and 10 December, 86 days
    assert (fall["state"], fall["form"], fall["days"], fall["limit_m"]) == ("crossed", "change", 100, -0.5)
    assert (fall["extreme_m"], fall["extreme_at"]) == (-0.6, "2024-12-10")
    # heads of 97.05 and 96.70 in June, 98.25 and 97.80 in September: 0.35 and 0.45 m over 200 m
    assert (turn["state"], turn["distance_m"], turn["gradient"], turn["limit_m"]) == ("not crossed", 200.0, 0.001, 0.2)
    assert (turn["readings_judged"], turn["extreme_m"]) == (2, 0.35)
    assert turn["threshold_elevation_m"] is None
    feet = json.loads(rates("thresholds", "--unit", "ft", "--format", "json").out)
    assert {row["threshold"]: row["limit_ft"] for row in feet}["quick fall"] == pytest.approx(-0.5 / 0.3048, abs=1e-4)
    assert "quick fall" in rates("thresholds", "--crossings").out
    listed = json.loads(rates("list", "thresholds", "--format", "json").out)
    assert [(row["days"], row["gradient"], row["other_well"]) for row in listed if row["threshold"] != "warning"] == [
        (100, None, ""),
        (None, 0.001, "MW-2"),
    ]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("MM,MW-1,a,lower,0.5,,,", "change is filled and days is empty"),
        ("MM,MW-1,a,lower,,30,0.001,MW-2", "days is filled and change is empty"),
        ("MM,MW-1,a,lower,,,0.001,", "gradient is filled and other_well is empty"),
        ("MM,MW-1,a,lower,,,0.001,MW-1", "from 'MW-1' to itself"),
        ("MM,MW-1,a,lower,,,0.001,MW-9", "There is no well 'MW-9'"),
        ("MM,MW-1,a,lower,0.5,30,0.001,MW-2", "2 of depth_to_water"),
    ],
)
def test_limits_that_lack_their_partner_are_refused(record, tmp_path, row, words):
    heading = "site,well,threshold,kind,change,days,gradient,other_well"
    (tmp_path / "thresholds.csv").write_text(f"{heading}\n{row}\n", encoding="utf-8")
    ran = record("load", "thresholds.csv", "--by", "Ana")
    assert words in ran.err
    assert len(json.loads(record("list", "thresholds", "--format", "json").out)) == 1


@pytest.mark.slow
def test_the_page_of_thresholds_is_true_of_the_annex(rates, tmp_path):
    """Change and gradient worked out again with pandas from the levels handed over, not with the program's rules."""
    (tmp_path / "short.toml").write_text(
        'title = "Thresholds"\nsections = ["thresholds"]\nweb_page = false\n', encoding="utf-8"
    )
    ran = rates("report", "short.toml", "--period", "2024", "--out", "made")
    assert ran.code == DONE, ran.err
    (path,) = (tmp_path / "made").glob("*_levels_to_date.csv")
    levels = pd.read_csv(path).assign(day=lambda rows: pd.to_datetime(rows["measured_at"].str[:10]))
    wide = levels.pivot(index="day", columns="well", values="water_elevation_m")
    (printed,) = (tmp_path / "made").glob("*.pdf")
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(printed).pages)
    own = wide["MW-1"].dropna()
    falls = {
        day: own[day] - before.max()
        for day in own.index
        if len(before := own[(own.index < day) & (own.index >= day - pd.Timedelta(days=100))])
    }
    beyond = sum(fall <= -0.5 + 1e-9 for fall in falls.values())
    assert f"{beyond} of {len(falls)} readings beyond" in text
    assert f"Lowest change −{abs(min(falls.values())):.2f} m" in text.replace("\u00a0", " ")
    gradients = ((wide["MW-1"] - wide["MW-2"]) / 200.0).dropna()
    assert f"{(gradients <= 0.001).sum()} of {len(gradients)} readings beyond" in text
    assert f"Lowest gradient {gradients.min():.5f} on {gradients.idxmin().day} {gradients.idxmin():%B %Y}" in text
