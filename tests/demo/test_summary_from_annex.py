"""Every sentence of the summary of the demo's reports, worked out again with pandas from the data annex alone."""

import io
import re

import numpy as np
import pandas as pd
import pytest

import gwnet
from gwnet.products.collect import collect
from gwnet.reporting.annex.files import annex_files
from gwnet.reporting.definition.parse import load_definition
from gwnet.reporting.definition.period import parse_period
from gwnet.reporting.results.order import list_results
from gwnet.reporting.view import look
from gwnet.resources import reports_folder
from gwnet.store.session import open_store
from gwnet.store.snapshot import Snapshot

REPORTS = [("quarterly", "2026-Q1"), ("annual", "2025")]


class Annex:
    """The files of a report's annex as frames, and what its summary says."""

    def __init__(self, record, name, label):
        definition = load_definition(reports_folder() / f"{name}.toml")
        self.period = parse_period(label)
        data = collect(record, definition, self.period)
        view = look(definition, data, self.period)
        self.contents = annex_files(view)
        self.files = {
            file.removesuffix(".csv"): pd.read_csv(io.BytesIO(content), keep_default_na=False, na_values=[""])
            for file, content in self.contents.items()
        }
        self.results = list_results(view)
        self.rounds = {
            row["round"]: (str(row["starts_on"]), str(row["ends_on"])) for row in data.rounds.to_dict("records")
        }

    def of(self, subject):
        return [result for result in self.results if result.subject == subject]

    @property
    def levels(self):
        table = self.files["levels_to_date"]
        return table.assign(
            day=table["measured_at"].str[:10], time=pd.to_datetime(table["measured_at"].str[:16], format="ISO8601")
        )

    @property
    def in_period(self):
        levels = self.levels
        return levels[levels["day"].between(str(self.period.first), str(self.period.last))]

    @property
    def round(self):
        """Code of the newest round with a level in the period."""
        read = self.in_period[self.in_period["round"].fillna("") != ""]
        return read.sort_values("time")["round"].iloc[-1]


@pytest.fixture(scope="module")
def annexes(demo_record):
    store = open_store(demo_record)
    with store.reading() as connection:
        record = Snapshot(connection, None).of_site()
        yield {name: Annex(record, name, label) for name, label in REPORTS}
    store.close()


@pytest.fixture(params=[name for name, _ in REPORTS])
def annex(request, annexes):
    return annexes[request.param]


def best_of(rows):
    """Return of each well the level that is compared: one that serves, else a bound, else the newest."""
    rank = np.select([rows["usable"].astype(str).str.lower() == "true", rows["bound"].fillna("") != ""], [3, 2], 0)
    ordered = rows.assign(rank=rank).sort_values(["well", "rank", "time"])
    return ordered.drop_duplicates("well", keep="last").set_index("well")


def numbers(rows):
    return rows[(rows["rank"] == 3) & rows["water_elevation_m"].notna()]


@pytest.mark.slow
def test_states_of_thresholds(annex):
    held, stated = annex.files["threshold_levels"], annex.files["thresholds"]
    counts = {}
    for row in stated.to_dict("records"):
        own = held[
            (held["well"] == row["well"])
            & (held["threshold"] == row["threshold"])
            & (held["elevation_m"] == row["threshold_elevation_m"])
        ]
        lower = row["kind"] == "lower"
        beyond = (
            (own["value_m"] <= row["threshold_elevation_m"])
            if lower
            else (own["value_m"] >= row["threshold_elevation_m"])
        )
        plain = own["bound"].isna() & (own["state"] != "left out")
        assert (own.loc[plain & beyond, "state"] == "beyond").all()
        assert (own.loc[plain & ~beyond, "state"] == "not beyond").all()
        lanes = {source: part["state"] for source, part in own.groupby("source")}
        for source, name in (("manual", "readings"), ("logger", "logger_days")):
            states = lanes.get(source, pd.Series(dtype=object))
            assert row[f"{name}_beyond"] == (states == "beyond").sum()
            assert row[f"{name}_judged"] == states.isin(["beyond", "not beyond"]).sum()
        if row["state"] == "not crossed":
            assert not (own["state"] == "beyond").any()
        elif row["state"] == "cannot be judged":
            assert (own["state"] == "undetermined").any()
            assert not (own["state"] == "beyond").any()
        else:
            assert (own["state"] == "beyond").any()
            judged = own[own["state"].isin(["beyond", "not beyond"])]
            peak = judged.loc[judged["extreme_m"].idxmin() if lower else judged["extreme_m"].idxmax()]
            assert row["extreme_m"] == peak["extreme_m"]
            assert row["extreme_at"] == peak["extreme_at"]
        counts[row["state"]] = counts.get(row["state"], 0) + 1
    said = {result.states[0]: result for result in annex.of("thresholds")}
    assert set(said) == set(counts)
    for state, number in counts.items():
        lead = said[state].lead
        assert lead.startswith(f"{number} of {len(stated)} thresholds ")
        wells = stated.loc[stated["state"] == state, "well"]
        text = " ".join([said[state].text, *said[state].items])
        assert all(well in text for well in wells)


def test_days_of_each_crossing(annex):
    held, crossings = annex.files["threshold_levels"], annex.files["crossings"]
    said = " ".join(item for result in annex.of("thresholds") for item in result.items)
    assert len(crossings)
    for row in crossings.to_dict("records"):
        own = held[
            (held["well"] == row["well"]) & (held["threshold"] == row["threshold"]) & (held["source"] == row["source"])
        ]
        inside = own[own["day"].between(row["first"], row["last"])]
        assert (inside["state"] == "beyond").sum() == row["levels_in_period"]
        assert not (inside["state"] == "not beyond").any()
        after = own[(own["day"] > row["last"]) & (own["state"] == "not beyond")]
        assert (after["day"].min() if len(after) else "") == (
            row["ended_by"] if isinstance(row["ended_by"], str) else ""
        )
        peak = inside.loc[inside["extreme_m"].idxmin() if row["kind"] == "lower" else inside["extreme_m"].idxmax()]
        assert peak["extreme_m"] == row["peak_m"]
    for row in annex.files["thresholds"].to_dict("records"):
        if row["state"] == "crossed":
            assert f"{row['extreme_m']:.3f}" in said
            assert f"{abs(row['margin_m']):.3f}" in said


def changes(now, then):
    """Return change and half-width of the wells that have a number on both sides."""
    both = numbers(now).join(numbers(then).add_suffix("_then"), how="inner")
    change = both["water_elevation_m"] - both["water_elevation_m_then"]
    width = np.hypot(both["uncertainty_m"], both["uncertainty_m_then"])
    return change, width


def check_changes(result, change, width):
    clear = change[change.abs() > width]
    rose, fell = clear[clear > 0], clear[clear < 0]
    assert f"rose at {len(rose) or 'no'} well" in result.lead
    assert f"fell at {len(fell) or 'none'}" in result.lead
    same = len(change) - len(clear)
    assert (f"was unchanged within the uncertainty at {same}" in result.lead) == bool(same)
    for part, word in ((rose, "rise"), (fell, "fall")):
        if len(part):
            well = part.abs().idxmax()
            text = result.text.replace("\u00a0", " ")
            size, half = re.search(rf"The greatest {word} was ([\d.]+) ± ([\d.]+) m at {well}\.", text).groups()
            # the annex has a tenth of a millimetre, so that a half may be rounded the other way
            assert float(size) == pytest.approx(abs(part[well]), abs=6e-4)
            assert float(half) == pytest.approx(width[well], abs=6e-4)


def test_changes_since_the_round_before(annex):
    levels, code = annex.levels, annex.round
    earlier = levels[levels["round"].notna() & (levels["day"] < levels.loc[levels["round"] == code, "day"].min())]
    before = earlier.sort_values("time")["round"].iloc[-1]
    now, then = best_of(levels[levels["round"] == code]), best_of(levels[levels["round"] == before])
    result = annex.of("changes")[0]
    assert f"Since round {before}" in result.lead
    check_changes(result, *changes(now, then))


def test_changes_since_a_year_before(annex):
    levels, code = annex.levels, annex.round
    now = best_of(levels[levels["round"] == code])
    first, last = (
        str(day - pd.DateOffset(years=1))[:10] for day in map(pd.Timestamp, (annex.period.first, annex.period.last))
    )
    inside = levels[levels["day"].between(first, last) & (levels["usable"].astype(str).str.lower() == "true")]
    wanted = inside["well"].map(now["time"]) - pd.Timedelta(days=365.25)
    nearest = inside.assign(off=(inside["time"] - wanted).abs()).sort_values(["well", "off"]).drop_duplicates("well")
    then = nearest.assign(rank=3).set_index("well")
    check_changes(annex.of("changes")[1], *changes(now, then))


def test_wells_that_gave_a_level(annex):
    levels, code = annex.levels, annex.round
    best = best_of(levels[levels["round"] == code])
    wells = annex.files["wells"]
    start, end = annex.rounds[code]
    standing = wells[
        (wells["drilled_on"].isna() | (wells["drilled_on"] <= end))
        & (wells["decommissioned_on"].isna() | (wells["decommissioned_on"] > start))
    ]["well"]
    (result,) = annex.of("visits")
    good = set(numbers(best).index) & set(standing)
    assert result.lead == f"{len(good)} of {len(standing)} planned wells gave a level that can be compared and mapped."
    for well in set(standing) - good:
        assert well in result.text


def test_flow(annex):
    (result,) = annex.of("flow")
    said = dict(item.split(", ", 1) for item in result.items)
    controls = sorted(name for name in annex.files if name.startswith("map_control_"))
    newest = {name.split("_")[2]: name for name in controls}
    assert len(said) == len(newest)
    for aquifer, name in newest.items():
        control = annex.files[name]
        used = control[control["used"].astype(str).str.lower() == "true"]
        (text,) = [words for title, words in said.items() if f"({aquifer})" in title]
        kinds = used["source"].where(used["kind"] == "well", used["kind"]).value_counts()
        words = {"manual": "manual reading", "logger": "logger", "stage": "gauge", "gauge": "gauge"}
        for kind, number in kinds.items():
            assert re.search(rf"\b{number} {words[kind]}", text), (kind, number, text)
        size, half, azimuth, turn = map(
            float, re.search(r"gradient ([\d.]+) ± ([\d.]+), flow towards (\d+)° ± (\d+)°", text).groups()
        )
        east, north, head = (
            used[column].to_numpy(dtype=float) for column in ("easting", "northing", "water_elevation_m")
        )
        plane = np.column_stack([np.ones_like(east), east - east.mean(), north - north.mean()])
        (_, by_east, by_north), *_ = np.linalg.lstsq(plane, head, rcond=None)
        assert size == pytest.approx(np.hypot(by_east, by_north), abs=half)
        towards = np.degrees(np.arctan2(-by_east, -by_north)) % 360
        assert abs((towards - azimuth + 180) % 360 - 180) <= turn


def test_trends(annex):
    table = annex.files["trends"]
    tested = table[table["p"].notna()].sort_values("p", ascending=False)
    # Benjamini and Hochberg (1995, p. 293), step up
    scaled = tested["p"] * len(tested) / np.arange(len(tested), 0, -1)
    significant = tested[scaled.cummin() <= 0.05]
    (result,) = annex.of("trends")
    if significant.empty:
        assert result.lead == f"No trend is significant at any of {len(tested)} wells tested."
    else:
        assert result.lead.startswith(f"A trend is significant at {len(significant)} of {len(tested)} wells tested")
        assert all(well in result.lead for well in significant["well"])
    assert f"Levels of {tested['first'].str[:4].min()} to {tested['last'].str[:4].max()}." in result.text


def test_seasons(annex):
    (result,) = annex.of("seasons")
    levels = annex.levels[annex.levels["usable"].astype(str).str.lower() == "true"]
    newest = levels.sort_values("time").drop_duplicates("well", keep="last").set_index("well")["day"].str[5:7]
    own = levels[levels["day"].str[5:7] == levels["well"].map(newest)]
    years = own.groupby("well")["day"].apply(lambda days: days.str[:4].nunique())
    assert (years >= 10).any() == ("percentile of its month" in result.lead)


def test_loggers(annex):
    (result,) = annex.of("loggers")
    table = annex.files["loggers"]
    table = table[table["well"].notna()]
    last = pd.to_datetime(table["last_utc"], utc=True).dt.tz_convert("Europe/Berlin").dt.strftime("%Y-%m-%d")
    last = last.where(last <= str(annex.period.last), str(annex.period.last)).groupby(table["well"]).max()
    day = pd.Timestamp(last.max())
    assert result.lead == (
        f"Loggers of {len(last)} wells are on record, with samples up to {day.day} {day.month_name()} {day.year}."
    )
    for well in last.index[last < last.max()]:
        assert well in result.text
    for well in table.loc[table["warnings"].notna(), "well"]:
        assert well in result.text


def test_quality(annex):
    (result,) = annex.of("quality")
    read = annex.files["levels_of_period"]
    stated = read[(read["bound"].fillna("") != "") | read["water_elevation_m"].notna()]
    counts = stated["review"].value_counts()
    assert result.lead.startswith(f"{counts.get('approved', 0)} of {len(stated)} levels approved")
    assert f"{counts['provisional']} provisional" in result.lead
    held = annex.levels[annex.levels["unusable_reason"].fillna("").str.startswith("serious finding open")]
    assert f"{len(held)} levels of the whole record are left out of every result" in result.text
    assert all(well in result.text for well in held["well"])
    findings = annex.files["findings"]
    waiting = findings[findings["decision"].fillna("open") == "open"]
    printed = waiting[waiting["measured_at"].isna() | (waiting["measured_at"].str[:10] <= str(annex.period.last))]
    said = int(re.search(r"(\d+) findings of the levels printed are open", result.text)[1])
    assert len(waiting) >= said >= len(printed) - printed["measured_at"].isna().sum()


def test_levels_held_back_enter_no_extreme(annex):
    """The readings in feet, a whole metre off, and of a neighbour are no lowest level of any record."""
    seasons = annex.files["seasons"].set_index("well")
    levels = annex.levels
    for well, day in (("W-11", "2022-05-17"), ("L-04", "2023-08-16"), ("W-14", "2020-08-18")):
        (row,) = levels[(levels["well"] == well) & (levels["day"] == day)].to_dict("records")
        assert str(row["usable"]).lower() == "false"
        assert row["unusable_reason"].startswith("serious finding open: ")
        assert seasons.loc[well, "lowest_m"] > row["water_elevation_m"]


def test_corrections(annex):
    (result,) = annex.of("corrections")
    rows = annex.files["corrections"].fillna("")
    acts = rows.groupby(["recorded_at_utc", "recorded_by", "subject", "well", "reason"]).ngroups
    assert f"{acts} correction{' was' if acts == 1 else 's were'} recorded." in result.lead
    assert all(well in " ".join(result.items) for well in rows["well"])


def test_no_sentence_is_left_unchecked(annex):
    assert {result.subject for result in annex.results} == {
        "thresholds",
        "changes",
        "flow",
        "visits",
        "trends",
        "seasons",
        "loggers",
        "quality",
        "corrections",
    }


def test_the_annex_loads_into_its_record_and_changes_nothing(annex, demo_store, tmp_path):
    folder = tmp_path / "annex"
    folder.mkdir()
    for name, content in annex.contents.items():
        (folder / name).write_bytes(content)
    with gwnet.open(demo_store) as net:
        results = net.load([folder], by="A. Keeper").files
    assert sum(file.added + file.corrected + file.rejected for file in results) == 0
    unchanged = {file.file: file.unchanged for file in results if file.table}
    assert {name.removesuffix(".csv") for name in unchanged} == {
        "levels_of_period",
        "levels_to_date",
        "wells",
        "construction",
        "measuring_points",
    }
    assert unchanged["levels_to_date.csv"] == (annex.levels["level_from"] == "manual reading").sum() > 800
