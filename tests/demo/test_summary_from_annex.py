"""Every sentence of the summary of the demo's reports, worked out again with pandas from the data annex alone."""

import io
import re
from dataclasses import replace

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


#: Names of the aquifers, which the annex has by their codes.
AQUIFERS = {"lower": "Lower sand (lower)", "upper": "Upper sand and gravel (upper)"}
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


class Annex:
    """The files of a report's annex as frames, and what its summary says."""

    def __init__(self, record, name, label):
        definition = load_definition(reports_folder() / f"{name}.toml")
        self.period = parse_period(label)
        view = look(definition, collect(record, definition, self.period), self.period)
        self.contents = annex_files(view)
        self.files = {
            file.removesuffix(".csv"): pd.read_csv(io.BytesIO(content), keep_default_na=False, na_values=[""])
            for file, content in self.contents.items()
        }
        self.results = list_results(view)
        self.first, self.last = str(self.period.first), str(self.period.last)

    @property
    def levels(self):
        table = self.files["levels_to_date"]
        return table.assign(
            day=table["measured_at"].str[:10], time=pd.to_datetime(table["measured_at"].str[:16], format="ISO8601")
        )

    @property
    def in_period(self):
        levels = self.levels
        return levels[levels["day"].between(self.first, self.last)]

    @property
    def round(self):
        """Code of the newest round with a level in the period."""
        read = self.in_period[self.in_period["round"].fillna("") != ""]
        return read.sort_values("time")["round"].iloc[-1]

    def best_of_round(self, code):
        levels = self.levels
        return best_of(levels[levels["round"] == code])

    def days_of_round(self, code):
        levels = self.levels
        days = levels.loc[levels["round"] == code, "day"]
        return days.min(), days.max()


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


def said(results):
    """Return what results say by subject: each its clause, its text and its items."""
    spoken = {}
    for result in results:
        texts = (result.lead, result.text, *result.items)
        spoken.setdefault(result.subject, []).append(tuple(text.replace("\u00a0", " ") for text in texts))
    return spoken


def is_alike(one, other):
    """Return whether two texts are the same but for the last decimal of a number, as the annex has rounded values."""
    number = re.compile(r"\d+(?:\.\d+)?")
    if number.sub("#", one) != number.sub("#", other):
        return False
    for mine, theirs in zip(number.findall(one), number.findall(other), strict=True):
        decimals = len(mine.partition(".")[2])
        off = 1.01 * 10.0**-decimals if decimals else 0.0
        if len(theirs.partition(".")[2]) != decimals or abs(float(mine) - float(theirs)) > off:
            return False
    return True


def assert_restated(results, restated):
    """Fail unless every result says what was worked out, in that order, and nothing else was said."""
    spoken = said(results)
    assert set(spoken) == set(restated)
    for subject, expected in restated.items():
        found = spoken[subject]
        assert len(found) == len(expected), (subject, found, expected)
        for texts, own in zip(found, expected, strict=True):
            assert len(texts) == len(own), (texts, own)
            for text, mine in zip(texts, own, strict=True):
                assert is_alike(text, mine), f"said:   {text}\nworked: {mine}"


def is_true(column):
    return column.astype(str).str.lower() == "true"


def counted(number, noun):
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def in_words(names, most=6):
    names = sorted(set(names))
    if len(names) > most + 1:
        return f"{', '.join(names[:most])} and {len(names) - most} others"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def day_words(day):
    when = pd.Timestamp(str(day)[:10])
    return f"{when.day} {when.month_name()} {when.year}"


def span_words(first, last):
    return f"on {day_words(first)}" if first == last else f"from {day_words(first)} to {day_words(last)}"


def best_of(rows):
    """Return of each well the level that is compared: one that serves, else a bound, else the newest."""
    rank = np.select([is_true(rows["usable"]), rows["bound"].fillna("") != ""], [3, 2], 0)
    ordered = rows.assign(rank=rank).sort_values(["well", "rank", "time"])
    return ordered.drop_duplicates("well", keep="last").set_index("well")


def numbers(rows):
    return rows[(rows["rank"] == 3) & rows["water_elevation_m"].notna()]


def of_threshold(table, row):
    """Return the rows of a table that belong to a threshold: one may be set anew under its old name."""
    return table[
        (table["well"] == row["well"]) & (table["threshold"] == row["threshold"]) & (table["limit_m"] == row["limit_m"])
    ]


@pytest.mark.slow
def test_states_of_thresholds(annex):
    held, stated = annex.files["threshold_levels"], annex.files["thresholds"]
    assert set(stated["form"]) == {"level", "change", "gradient"}
    for row in stated.to_dict("records"):
        own = of_threshold(held, row)
        lower = row["kind"] == "lower"
        beyond = own["value_m"] <= row["limit_m"] if lower else own["value_m"] >= row["limit_m"]
        plain = own["bound"].isna() & own["state"].isin(["beyond", "not beyond"])
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
        if isinstance(row["extreme_at"], str):
            judged = own[own["state"].isin(["beyond", "not beyond"])]
            peak = judged.loc[judged["extreme_m"].idxmin() if lower else judged["extreme_m"].idxmax()]
            assert (row["extreme_m"], row["extreme_at"]) == (peak["extreme_m"], peak["extreme_at"])
            turn = -1.0 if lower else 1.0
            assert row["margin_m"] == pytest.approx(turn * (row["extreme_m"] - row["limit_m"]), abs=2e-4)


def test_changes_within_days_and_differences_of_wells_are_those_of_the_levels(annex):
    held, stated, levels = annex.files["threshold_levels"], annex.files["thresholds"], annex.levels
    (change,) = stated[stated["form"] == "change"].to_dict("records")
    own = of_threshold(held, change)
    of_well = held[(held["well"] == change["well"]) & (held["form"] == "level") & (held["source"] == "logger")]
    head = of_well.set_index(pd.to_datetime(of_well["day"]))["value_m"]
    judged = own[own["state"].isin(["beyond", "not beyond"])]
    checked = 0
    for day, value in zip(pd.to_datetime(judged["day"]), judged["value_m"], strict=True):
        start = day - pd.Timedelta(days=change["days"])
        # The annex has the levels of the period alone, so that its first days lack those before.
        if start >= pd.Timestamp(annex.first):
            before = head[(head.index >= start) & (head.index < day)]
            assert value == pytest.approx(head[day] - before.min(), abs=2e-4)
            checked += 1
    assert checked > 20
    (gradient,) = stated[stated["form"] == "gradient"].to_dict("records")
    places = annex.files["wells"].set_index("well")[["easting", "northing"]]
    apart = np.hypot(*(places.loc[gradient["well"]] - places.loc[gradient["other_well"]]))
    assert gradient["distance_m"] == pytest.approx(apart, abs=1e-2)
    assert gradient["limit_m"] == pytest.approx(gradient["gradient"] * apart, abs=1e-4)
    good = levels[is_true(levels["usable"])].sort_values("time").groupby(["well", "day"])["water_elevation_m"].last()
    checked = 0
    for row in of_threshold(held, gradient).to_dict("records"):
        ends = [(gradient[name], row["day"]) for name in ("well", "other_well")]
        if row["state"] != "left out" and all(end in good.index for end in ends):
            assert row["value_m"] == pytest.approx(good[ends[0]] - good[ends[1]], abs=2e-4)
            checked += 1
    assert checked


def test_days_of_each_crossing(annex):
    held, crossings = annex.files["threshold_levels"], annex.files["crossings"]
    assert len(crossings)
    for row in crossings.to_dict("records"):
        own = of_threshold(held, row)
        own = own[own["source"] == row["source"]]
        inside = own[own["day"].between(row["first"], row["last"])]
        assert (inside["state"] == "beyond").sum() == row["levels_in_period"]
        assert not (inside["state"] == "not beyond").any()
        after = own[(own["day"] > row["last"]) & (own["state"] == "not beyond")]
        ended = row["ended_by"] if isinstance(row["ended_by"], str) else ""
        assert (after["day"].min() if len(after) else "") == ended
        beyond = inside[inside["state"] == "beyond"]
        peak = beyond.loc[beyond["extreme_m"].idxmin() if row["kind"] == "lower" else beyond["extreme_m"].idxmax()]
        assert peak["extreme_m"] == row["peak_m"]


def limit_words(row):
    side = "below" if row["kind"] == "lower" else "above"
    if row["form"] == "gradient":
        return f"gradient to {row['other_well']} {side} {row['gradient']:.5f}"
    if row["form"] == "change":
        assert row["limit_m"] * (1 if row["kind"] == "upper" else -1) > 0
        turn = "rise" if row["kind"] == "upper" else "fall"
        return f"{turn} of {abs(row['limit_m']):.3f} m within {row['days']:.0f} days"
    return f"{side} {row['limit_m']:.3f} m"


def lane_words(annex, row, source):
    states = of_threshold(annex.files["threshold_levels"], row)
    states = states.loc[states["source"] == source, "state"]
    known, bounds = states.isin(["beyond", "not beyond", "undetermined"]).sum(), (states == "undetermined").sum()
    if not known:
        return []
    text = f"{(states == 'beyond').sum()} of {counted(known, 'reading' if source == 'manual' else 'logger day')} beyond"
    own = of_threshold(annex.files["crossings"], row)
    own = own[own["source"] == source].to_dict("records")
    if not own:
        return [f"{text}, {bounds} only a bound." if bounds else f"{text}."]
    longest = max(own, key=lambda crossing: crossing["levels"])
    days = span_words(longest["first"], longest["last"])
    if longest["in_a_row"] > 1 and longest["first"] < annex.first:
        days += f" ({longest['in_a_row']} {'readings' if source == 'manual' else 'days'} in a row)"
    return [f"{text}, {days}." if len(own) == 1 else f"{text} in {len(own)} crossings, the longest {days}."]


def extreme_words(annex, row):
    held = of_threshold(annex.files["threshold_levels"], row)
    at_peak = (held["extreme_at"] == row["extreme_at"]) & (held["extreme_m"] == row["extreme_m"])
    width = held.loc[at_peak, "uncertainty_m"].iloc[0]
    end = "Lowest" if row["kind"] == "lower" else "Highest"
    value, margin = f"{row['extreme_m']:.3f} m", f"{abs(row['margin_m']):.3f} m"
    if row["form"] == "change":
        end, value = f"{end} change", f"{row['extreme_m']:+.3f} m".replace("-", "\N{MINUS SIGN}")
    if row["form"] == "gradient":
        end = f"{end} gradient"
        value, margin = (f"{abs(row[name]) / row['distance_m']:.5f}" for name in ("extreme_m", "margin_m"))
    day, _, clock = row["extreme_at"].partition("T")
    at = f" at {clock[:5]}" if clock else ""
    how = "beyond" if row["margin_m"] >= 0 else "to spare"
    near = ", less than its half-width" if abs(row["margin_m"]) <= width else ""
    return f"{end} {value} on {day_words(day)}{at}, {margin} {how}{near}."


def restate_thresholds(annex):
    stated = annex.files["thresholds"]
    results = []
    for state in ("crossed", "beyond, not yet confirmed", "cannot be judged", "not crossed"):
        rows = stated[stated["state"] == state].to_dict("records")
        if not rows:
            continue
        total = counted(len(stated), "threshold")
        of_all = total if len(rows) == len(stated) else f"{len(rows)} of {total}"
        be = "" if state == "cannot be judged" else "is " if len(rows) == 1 else "are "
        lead = f"{of_all} {be}{state.replace(', not', ' and not')}."
        names = [f"{row['well']} {row['threshold']} ({limit_words(row)})" for row in rows]
        if state == "not crossed":
            results.append((lead, f"{', '.join(names)}."))
            continue
        items = []
        for name, row in zip(names, rows, strict=True):
            parts = [*lane_words(annex, row, "manual"), *lane_words(annex, row, "logger")]
            if state == "cannot be judged":
                parts.append(f"{row['reason'][0].upper()}{row['reason'][1:]}.".replace("\u00a0", " "))
            else:
                parts.append(extreme_words(annex, row))
            items.append(f"{name}: {' '.join(parts)}")
        results.append((lead, "", *items))
    return results


def test_why_a_threshold_cannot_be_judged(annex):
    stated = annex.files["thresholds"]
    (row,) = stated[stated["state"] == "cannot be judged"].to_dict("records")
    short, lowest = map(float, re.search(r"lies ([\d.]+)\sm below .* \(([\d.]+)\sm\)", row["reason"]).groups())
    points = annex.files["measuring_points"]
    points = points[(points["well"] == row["well"]) & points["retired_at_utc"].isna()]
    point = points.sort_values("valid_from_utc").iloc[-1]
    bottom = annex.files["wells"].set_index("well").loc[row["well"], "screen_bottom_m"]
    assert lowest == pytest.approx(point["elevation_m"] - point["height_above_ground_m"] - bottom, abs=1e-3)
    assert short == pytest.approx(lowest - row["limit_m"], abs=1e-3)


def unchecked(annex, rows):
    """Return the levels that were read with a tape that had no check by then."""
    checked = annex.files["tape_checks"].groupby("instrument")["checked_on"].min()
    rows = rows[rows["method"].fillna("").str.contains("tape")]
    since = rows["instrument"].map(checked).fillna("9999")
    return rows[since > rows["day"]]


def tape_words(annex, rows):
    return [
        f"{counted(count, 'level')} of these {'was' if count == 1 else 'were'} read with tape {tape}, "
        "which had no check on record, so that ± is that of an unchecked tape."
        for tape, count in unchecked(annex, rows)["instrument"].value_counts().sort_index().items()
    ]


def restate_change(annex, since, now, then):
    one, other = numbers(now), numbers(then)
    both = one.join(other.add_suffix("_then"), how="inner")
    change = both["water_elevation_m"] - both["water_elevation_m_then"]
    # one survey moves both levels alike, by no more than the smaller of its two parts
    same = both["measuring_point"] == both["measuring_point_then"]
    shared = both[["survey_uncertainty_m", "survey_uncertainty_m_then"]].min(axis=1).where(same, 0.0)
    width = np.sqrt(both["uncertainty_m"] ** 2 + both["uncertainty_m_then"] ** 2 - 2 * shared**2)
    clear = change[change.abs() > width]
    rose, fell = clear[clear > 0], clear[clear < 0]
    counts = [f"the water rose at {counted(len(rose), 'well') if len(rose) else 'no well'}"]
    counts.append(f"fell at {len(fell) or 'none'}")
    if len(change) > len(clear):
        counts.append(f"was unchanged within the uncertainty at {len(change) - len(clear)}")
    text = [
        f"The greatest {word} was {part.abs().max():.3f} ± {width[part.abs().idxmax()]:.3f} m at {part.abs().idxmax()}."
        for part, word in ((rose, "rise"), (fell, "fall"))
        if len(part)
    ]
    if left := len({*planned_wells(annex), *now.index}) - len(change):
        text.append(f"{counted(left, 'well')} cannot be compared.")
    text += tape_words(annex, pd.concat([side.loc[change.index] for side in (one, other)]))
    return f"{since}, {', '.join(counts[:-1])} and {counts[-1]}.", " ".join(text)


def restate_changes(annex):
    levels, code = annex.levels, annex.round
    now = annex.best_of_round(code)
    earlier = levels[levels["round"].notna() & (levels["day"] < annex.days_of_round(code)[0])]
    before = earlier.sort_values("time")["round"].iloc[-1]
    since = span_words(*annex.days_of_round(before)).removeprefix("on ").removeprefix("from ")
    first, last = (str(pd.Timestamp(day) - pd.DateOffset(years=1))[:10] for day in (annex.first, annex.last))
    inside = levels[levels["day"].between(first, last) & is_true(levels["usable"])]
    wanted = inside["well"].map(now["time"]) - pd.Timedelta(days=365.25)
    nearest = inside.assign(off=(inside["time"] - wanted).abs()).sort_values(["well", "off"]).drop_duplicates("well")
    then = nearest.assign(rank=3).set_index("well")
    return [
        restate_change(annex, f"Since round {before} ({since})", now, annex.best_of_round(before)),
        restate_change(annex, "Since the same period a year before", now, then),
    ]


def planned_wells(annex):
    asked = annex.files["rounds"].set_index("round").loc[annex.round]
    if isinstance(asked["wells"], str):
        return asked["wells"].split(";")
    wells = annex.files["wells"]
    drilled = wells["drilled_on"].isna() | (wells["drilled_on"] <= asked["ends_on"])
    stands = wells["decommissioned_on"].isna() | (wells["decommissioned_on"] > asked["starts_on"])
    return wells.loc[drilled & stands, "well"].tolist()


def restate_visits(annex):
    best, planned = annex.best_of_round(annex.round), planned_wells(annex)
    assert set(best.index) <= set(planned)
    good = set(numbers(best).index)
    words = {
        "no access": "could not be reached",
        "dry": "{} dry",
        "not measured": "{} not measured",
        "pumping": "{} pumping",
    }
    parts = []
    for status, rows in best[~best.index.isin(good)].groupby("status"):
        verb = words[status].format("was" if len(rows) == 1 else "were")
        parts.append(f"{len(rows)} {verb} ({in_words(rows.index)})")
    text = f"Round {annex.round} was measured {span_words(*annex.days_of_round(annex.round))}."
    text += f" {'; '.join(parts)}." if parts else ""
    if missing := set(planned) - set(best.index):
        text += f" {in_words(missing)} {'has' if len(missing) == 1 else 'have'} no reading and no reason on record."
    return [(f"{len(good)} of {len(planned)} planned wells gave a level that can be compared and mapped.", text)]


def restate_flow(annex):
    """Work out planes anew; the half-widths, which rest on covariances, are taken over once the planes lie in them."""
    controls = sorted((name.split("_")[3], name.split("_")[2], name) for name in annex.files if "map_control_" in name)
    newest = {aquifer: (day, name) for day, aquifer, name in controls}
    ((_, _, *items),) = said(annex.results)["flow"]
    restated = []
    for (aquifer, (day, name)), item in zip(newest.items(), items, strict=True):
        control = annex.files[name]
        used = control[is_true(control["used"])]
        kinds = used["source"].where(used["kind"] == "well", "gauge").value_counts()
        words = (("manual", "manual reading"), ("logger", "logger"), ("gauge", "gauge"))
        counts = [counted(kinds[kind], word) for kind, word in words if kind in kinds]
        of_kinds = counts[0] if len(counts) == 1 else f"{', '.join(counts[:-1])} and {counts[-1]}"
        pattern = r"gradient ([\d.]+) ± ([\d.]+), flow towards (\d+)° ± (\d+)°"
        size, half, azimuth, turn = re.search(pattern, item).groups()
        east, north, head = (
            used[column].to_numpy(dtype=float) for column in ("easting", "northing", "water_elevation_m")
        )
        plane = np.column_stack([np.ones_like(east), east - east.mean(), north - north.mean()])
        (_, by_east, by_north), *_ = np.linalg.lstsq(plane, head, rcond=None)
        assert float(size) == pytest.approx(np.hypot(by_east, by_north), abs=float(half))
        towards = np.degrees(np.arctan2(-by_east, -by_north)) % 360
        assert abs((towards - float(azimuth) + 180) % 360 - 180) <= float(turn)
        point = COMPASS[round(float(azimuth) / 45) % 8]
        restated.append(
            f"{AQUIFERS[aquifer]}, {day_words(day)}: gradient {size} ± {half}, flow towards {azimuth}° ± {turn}° "
            f"({point}), from {of_kinds}."
        )
    return [(f"The direction of flow is known in {len(newest)} of {len(newest)} mapped aquifers.", "", *restated)]


def restate_trends(annex):
    table = annex.files["trends"]
    tested = table[table["p"].notna()].sort_values("p", ascending=False)
    # Benjamini and Hochberg (1995, p. 293), step up
    scaled = tested["p"] * len(tested) / np.arange(len(tested), 0, -1)
    significant = tested[scaled.cummin() <= 0.05]
    of_tested = f"{counted(len(tested), 'well')} tested"
    lead = f"No trend is significant at any of {of_tested}."
    if len(significant):
        turns = ((significant["slope_m_per_year"] < 0, "falling"), (significant["slope_m_per_year"] > 0, "rising"))
        parts = [f"{word} at {in_words(significant.loc[turn, 'well'])}" for turn, word in turns if turn.any()]
        lead = f"A trend is significant at {len(significant)} of {of_tested}: {'; '.join(parts)}."
    text = f"Levels of {tested['first'].str[:4].min()} to {tested['last'].str[:4].max()}."
    if few := len(table) - len(tested):
        text += f" At {counted(few, 'well')} the levels are too few for a test."
    return [(lead, text)]


def restate_seasons(annex):
    """No well of the demo has ten years of one calendar month, so that there is one sentence."""
    levels = annex.levels[is_true(annex.levels["usable"])]
    newest = levels.sort_values("time").drop_duplicates("well", keep="last").set_index("well")["day"].str[5:7]
    own = levels[levels["day"].str[5:7] == levels["well"].map(newest)]
    years = own.groupby("well")["day"].apply(lambda days: days.str[:4].nunique())
    assert (years < 10).all()
    return [("No well has enough years of levels in one calendar month for a percentile of its newest level.", "")]


def restate_loggers(annex):
    table = annex.files["loggers"]
    last = pd.to_datetime(table["last_utc"], utc=True).dt.tz_convert("Europe/Berlin").dt.strftime("%Y-%m-%d")
    last = last.where(last <= annex.last, annex.last).groupby(table["well"]).max()
    lead = f"Loggers of {counted(len(last), 'well')} are on record, with samples up to {day_words(last.max())}."
    ended, waiting = last.index[last < last.max()], table.loc[table["warnings"].notna(), "well"]
    parts = [f"{in_words(ended)} {'ends' if len(ended) == 1 else 'end'} earlier."] if len(ended) else []
    parts += [f"Findings wait for a decision at {in_words(waiting)}."] if len(waiting) else []
    return [(lead, " ".join(parts))]


def restate_quality(annex):
    read = annex.files["levels_of_period"]
    stated = read[(read["bound"].fillna("") != "") | read["water_elevation_m"].notna()]
    counts = stated["review"].value_counts()
    assert set(counts.index) <= {"approved", "provisional"}
    approved = f"{counts.get('approved', 0)} of {counted(len(stated), 'level')} approved"
    findings = annex.files["findings"]
    day = findings["measured_at"].str[:10]
    of_period = findings[day.between(annex.first, annex.last)]
    entries = set(of_period[["well", "measured_at", "rule"]].itertuples(index=False, name=None))
    noticed = annex.in_period[annex.in_period["finding"].notna()].to_dict("records")
    more = {(row["well"], row["measured_at"], rule) for row in noticed for rule in row["finding"].split("; ")} - entries
    wells = {*of_period["well"], *(well for well, *_ in more)}
    parts = [f"The checks noticed {counted(len(of_period) + len(more), 'finding')} of the period at {in_words(wells)}."]
    held = annex.levels[annex.levels["unusable_reason"].fillna("").str.startswith("serious finding open")]
    parts.append(
        f"{len(held)} levels of the whole record are left out of every result: a serious finding is open "
        f"({in_words(held['well'])})."
    )
    in_period = set(annex.in_period["round"].dropna())
    printed = (day <= annex.last) | (day.isna() & (findings["round"].isna() | findings["round"].isin(in_period)))
    waiting = findings[printed & (findings["decision"].fillna("open") == "open")]
    parts.append(f"{len(waiting)} findings of the levels printed are open.")
    if tapes := sorted(set(unchecked(annex, annex.in_period)["instrument"])):
        parts.append(f"No check is on record of {'tape' if len(tapes) == 1 else 'tapes'} {in_words(tapes)}.")
    conditions = [
        f"{kind} at {in_words(rows['well'])}" if rows["well"].notna().all() else f"{kind} ({len(rows)})"
        for kind, rows in annex.files["conditions"].groupby("kind", sort=False)
    ]
    parts.append(f"On record: {'; '.join(conditions)}.")
    return [(f"{approved}, {counts['provisional']} provisional.", " ".join(parts))]


def test_overdue_surveys_and_tape_checks_are_those_of_the_annex(annex):
    """A survey holds five years, a check of a tape one."""
    conditions = annex.files["conditions"].groupby("kind")
    points = annex.files["measuring_points"]
    points = points[points["retired_at_utc"].isna() & points["valid_until_utc"].isna()]
    wells = annex.files["wells"].set_index("well")
    standing = wells.index[wells["decommissioned_on"].isna() | (wells["decommissioned_on"] > annex.last)]
    old = points[points["surveyed_on"] < str(pd.Timestamp(annex.last) - pd.DateOffset(years=5))[:10]]
    assert set(conditions.get_group("survey overdue")["well"]) == set(old["well"]) & set(standing)
    checks = annex.files["tape_checks"]
    checked = checks[checks["checked_on"] <= annex.last].groupby("instrument")["checked_on"].max()
    for text in conditions.get_group("tape check overdue")["text"]:
        tape, how = re.match(r"tape (\S+) (never|last) checked", text).groups()
        last = checked.get(tape, "")
        assert (last == "") == (how == "never")
        assert last < str(pd.Timestamp(annex.last) - pd.Timedelta(days=365))[:10]


def restate_corrections(annex):
    rows = annex.files["corrections"].fillna("")
    acts = list(rows.groupby(["recorded_at_utc", "recorded_by", "subject", "well", "reason"], sort=False))
    lead = f"Since the period began, {counted(len(acts), 'correction')} {'was' if len(acts) == 1 else 'were'} recorded."
    items = []
    for (_, by, subject, well, reason), act in acts:
        # what moves a level is said, words and days are not
        values = [row for row in act.to_dict("records") if re.fullmatch(r"-?\d+\.\d+\s(m|ft)", row["now"])]
        assert all(row["was"] for row in values)
        what = "; ".join(f"{row['item'].partition(' (')[0]} from {row['was']} to {row['now']}" for row in values)
        items.append(f"{well}, {subject}: {what} (by {by}): {reason.rstrip('.')}.".replace("\u00a0", " "))
    return [(lead, "", *items)]


RESTATED = {
    "thresholds": restate_thresholds,
    "changes": restate_changes,
    "flow": restate_flow,
    "visits": restate_visits,
    "trends": restate_trends,
    "seasons": restate_seasons,
    "loggers": restate_loggers,
    "quality": restate_quality,
    "corrections": restate_corrections,
}


@pytest.fixture
def restated(annex):
    return {subject: restate(annex) for subject, restate in RESTATED.items()}


def test_every_sentence_of_the_summary_is_worked_out_again(annex, restated):
    assert_restated(annex.results, restated)


def test_a_sentence_that_nobody_worked_out_fails(annex, restated):
    """A result of a new kind, a sentence more in a text, an item more, a wrong count, and a result left out."""
    results = list(annex.results)
    place = next(number for number, result in enumerate(results) if result.subject == "changes")
    before, changed, after = results[:place], results[place], results[place + 1 :]
    spoilt = [
        [*results, replace(changed, subject="rainfall", lead="Rain was 12 mm.")],
        [*before, replace(changed, text=f"{changed.text} A new kind of sentence."), *after],
        [*before, replace(changed, items=("A new item.",)), *after],
        [*before, replace(changed, lead=changed.lead.replace("rose at ", "rose at 1")), *after],
        [*before, *after],
    ]
    for wrong in spoilt:
        with pytest.raises(AssertionError):
            assert_restated(wrong, restated)


def test_levels_held_back_enter_no_extreme(annex):
    """The readings in feet, a whole metre off, and of a neighbour are no lowest level of any record."""
    seasons = annex.files["seasons"].set_index("well")
    levels = annex.levels
    for well, day in (("W-11", "2022-05-17"), ("L-04", "2023-08-16"), ("W-14", "2020-08-18")):
        (row,) = levels[(levels["well"] == well) & (levels["day"] == day)].to_dict("records")
        assert str(row["usable"]).lower() == "false"
        assert row["unusable_reason"].startswith("serious finding open: ")
        assert seasons.loc[well, "lowest_m"] > row["water_elevation_m"]


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
        "rounds",
        "tape_checks",
    }
    assert unchanged["levels_to_date.csv"] == (annex.levels["level_from"] == "manual reading").sum() > 800
