"""Which levels of loggers stand at rounds, days and moments, each choice at its limit; constructed frames."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import levels as module
from gwnet.errors import SettingsError
from gwnet.records import Selection

from .heads_of_arrays import HOUR, NAN, START, heads_of, hours, out_of

DOUBT = "spike"


def stamp(text):
    return pd.Timestamp(text, tz="UTC")


def heads(
    values=None, *, start=START, count=72, level=50.0, bounds=(), doubtful=(), uncertainty=0.02, reason=DOUBT, **more
):
    """Return hourly heads that rise by a metre an hour; some are bounds, some kept out by an open finding."""
    values = level + np.arange(count) if values is None else np.asarray(values, dtype=float)
    names = [""] * values.size
    bound, doubted = np.full(values.size, NAN), np.full(values.size, NAN)
    for place in bounds:
        names[place], bound[place] = "out of water", values[place]
    for place in doubtful:
        names[place], doubted[place] = reason, values[place]
    out = out_of(*names)
    spread = np.full(values.size, uncertainty)
    return heads_of(
        values,
        when=hours(values.size) - START + start,
        out=out,
        uncertainty_m=np.where(out == 0, spread, NAN),
        bound_m=bound,
        bound_uncertainty_m=np.where(np.isnan(bound), NAN, spread),
        doubtful_m=doubted,
        doubtful_uncertainty_m=np.where(np.isnan(doubted), NAN, spread),
        **more,
    )


ROUNDS = pd.DataFrame(
    {
        "round": ["R1", "R2"],
        "starts_on": [dt.date(2024, 1, 1), dt.date(2024, 1, 2)],
        "ends_on": [None, dt.date(2024, 1, 5)],
    }
)


@pytest.fixture
def see(monkeypatch):
    """Give a function that returns a record of one site whose wells have these heads and events."""

    def record(*deployments, events=(), zone="UTC+01:00"):
        frame = pd.DataFrame(list(events), columns=["measured_at_utc", "round", "time_known"])
        frame["measured_at_utc"] = pd.to_datetime(frame["measured_at_utc"], utc=True, format="ISO8601").astype(
            "datetime64[us, UTC]"
        )
        asked = []

        def iterate(record, wells):
            asked.append(wells)
            return (one for one in deployments if wells is None or one.well in wells)

        monkeypatch.setattr(module, "iterate_heads", iterate)
        monkeypatch.setattr(module, "deployments_in", lambda record, wells: wells)
        monkeypatch.setattr(module, "level_rows", lambda record, levels, deployments: levels)
        monkeypatch.setattr(module, "with_bounds", lambda record, rows: rows)
        monkeypatch.setattr(module, "events_of", lambda record, selection: frame)
        installed = pd.DataFrame({"well": sorted({one.well for one in deployments})})
        return SimpleNamespace(settings={"time_zone": zone}, deployments=installed, asked=asked)

    return record


def rounds(record, table=ROUNDS, wells=("W",)):
    return module.logger_levels(record, list(wells), table)


def test_the_moment_of_a_round_is_the_median_of_its_timed_readings_or_noon_of_its_middle_day(see):
    """Readings outside of the days of a round count where there are no others; the site is an hour east of UTC.

    The middle day of 2 to 5 January is the third. The second medians of four is half way, cut to the second.
    """
    none = see(heads())
    table = rounds(none)
    assert table["round"].tolist() == ["R1", "R2"]
    assert table["measured_at_utc"].tolist() == [stamp("2024-01-01T11:00"), stamp("2024-01-03T11:00")]
    note = "logger L, at noon of the round's middle day, as no level of the round has a time"
    assert table["notes"].tolist() == [note, note]
    timed = [
        ("2024-01-01T10:00:00", "R1", True),
        ("2024-01-01T10:00:03", "R1", True),
        ("2024-01-02T08:00", "R1", True),
        ("2024-01-01T01:00", "R1", False),
        ("2024-01-01T01:00", "R2", True),
        ("2024-01-01T02:00", "", True),
    ]
    table = rounds(see(heads(), events=timed)).sort_values("round")
    assert table["measured_at_utc"].tolist() == [stamp("2024-01-01T10:00:01"), stamp("2024-01-01T01:00")]
    assert table["notes"].tolist() == ["logger L, at the median time of the round"] * 2
    np.testing.assert_allclose(table["water_elevation_m"], [60.0 + 1 / 3600, 51.0], rtol=1e-12)
    assert set(table["time_known"]) == {True}
    # local midnight is 23:00 UTC: the first and last minute of a day belong to it
    edges = [
        ("2023-12-31T23:00", "R1", True),
        ("2024-01-01T22:59", "R1", True),
        ("2024-01-01T23:00", "R1", True),
        ("2023-12-31T22:59", "R1", True),
    ]
    first = rounds(see(heads(), events=edges)).set_index("round").loc["R1", "measured_at_utc"]
    assert first == stamp("2024-01-01T10:59:30")


def test_without_a_head_at_the_moment_the_nearest_within_the_days_of_the_round_counts(see):
    """Noon of the first is 11:00 UTC; samples from 20:00 on, and of another sensor up to 05:00."""
    late = heads(start=START + 20 * HOUR, instrument="LATE", deployment_id=1)
    early = heads(count=6, instrument="EARLY", deployment_id=2)
    table = rounds(see(late), ROUNDS.iloc[:1])
    assert table[["measured_at_utc", "water_elevation_m", "notes", "round"]].to_numpy().tolist() == [
        [stamp("2024-01-01T20:00"), 50.0, "logger LATE, nearest to the round", "R1"]
    ]
    # of two the one with the smaller uncertainty, whichever comes first
    table = rounds(see(late, heads(count=6, instrument="EARLY", deployment_id=2, uncertainty=0.01)), ROUNDS.iloc[:1])
    assert table["instrument"].tolist() == ["EARLY"]
    assert table["measured_at_utc"].tolist() == [stamp("2024-01-01T05:00")]
    # the day at the site ends at 23:00 UTC and begins at 23:00 of the day before
    for at, is_within in (
        ("2024-01-01T22:59", True),
        ("2024-01-01T23:00", False),
        ("2023-12-31T23:00", True),
        ("2023-12-31T22:59", False),
    ):
        one = heads([5.0], start=np.datetime64(at, "us"))
        assert len(rounds(see(one), ROUNDS.iloc[:1])) == int(is_within)
    assert rounds(see(early), ROUNDS.iloc[1:]).empty
    assert rounds(see(early), ROUNDS.iloc[:0]).empty


def test_of_several_sensors_at_one_access_a_head_goes_before_a_bound(see):
    wet = heads(instrument="WET", deployment_id=1, uncertainty=0.5)
    dry = heads(instrument="DRY", deployment_id=2, uncertainty=0.01, bounds=range(72))
    other = heads(instrument="TUBE", deployment_id=3, access="tube", bounds=range(72))
    table = rounds(see(dry, wet, other))
    assert table[["access", "round", "instrument", "bound"]].sort_values(["access", "round"]).to_numpy().tolist() == [
        ["main", "R1", "WET", ""],
        ["main", "R2", "WET", ""],
        ["tube", "R1", "TUBE", "<="],
        ["tube", "R2", "TUBE", "<="],
    ]
    near = [
        heads(
            count=6, instrument=one.instrument, deployment_id=one.deployment_id, bounds=range(6) if one is dry else ()
        )
        for one in (dry, wet)
    ]
    table = rounds(see(*near), ROUNDS.iloc[:1])
    assert table[["instrument", "bound", "measured_at_utc"]].to_numpy().tolist() == [
        ["WET", "", stamp("2024-01-01T05:00")]
    ]


def test_two_rounds_of_one_moment_have_a_row_each(see):
    twice = pd.concat([ROUNDS.iloc[:1], ROUNDS.iloc[:1].assign(round="R0")], ignore_index=True)
    table = rounds(see(heads()), twice)
    assert sorted(table["round"]) == ["R0", "R1"]
    assert table["water_elevation_m"].tolist() == [61.0, 61.0]


def test_what_an_open_finding_keeps_out_stands_where_there_is_no_other(see):
    """At the moment of R1 the level is doubtful, at that of R2 it is not; the next deployment of the well is sound."""
    doubted = heads(doubtful=range(30), instrument="L1", deployment_id=1)
    table = rounds(see(doubted)).sort_values("round")
    # of R1 within its day the nearest sound head is none: all samples of that day are doubtful
    assert table[["round", "doubt", "water_elevation_m"]].to_numpy().tolist() == [
        ["R1", DOUBT, 61.0],
        ["R2", "", 109.0],
    ]
    sound = heads(instrument="L2", deployment_id=2, level=10.0)
    table = rounds(see(doubted, sound)).sort_values("round")
    assert table[["round", "doubt", "instrument"]].to_numpy().tolist()[0] == ["R1", "", "L2"]
    # a sound level of the round goes before a doubtful one at its moment, also where it is of another time
    near = heads(count=6, instrument="L2", deployment_id=2)
    table = rounds(see(doubted, near), ROUNDS.iloc[:1])
    assert table[["instrument", "doubt"]].to_numpy().tolist() == [["L2", ""]]
    # the reason is that of the sensor whose level is given
    first = heads(doubtful=range(72), instrument="L1", deployment_id=1, uncertainty=0.5)
    second = heads(doubtful=range(72), instrument="L2", deployment_id=2, uncertainty=0.01, reason="other")
    assert rounds(see(first, second))[["instrument", "doubt"]].to_numpy().tolist() == [["L2", "other"]] * 2
    only = rounds(see(heads(doubtful=range(72))))
    assert only["doubt"].tolist() == [DOUBT, DOUBT]
    beside = heads(instrument="T", deployment_id=4, access="tube")
    table = rounds(see(doubted, beside)).sort_values(["access", "round"])
    assert table[["access", "round", "doubt"]].to_numpy().tolist() == [
        ["main", "R1", DOUBT],
        ["main", "R2", ""],
        ["tube", "R1", ""],
        ["tube", "R2", ""],
    ]


def test_daily_levels_are_of_noon_and_say_what_they_are_means_of(see):
    """Days of the site begin at 23:00 UTC. The third day has bounds among its samples, the second is doubtful."""
    one = heads(start=START - HOUR, bounds=(50, 51), doubtful=range(24, 48))
    record = see(one)
    table = module.logger_days(record, ["W"]).sort_values("measured_at_utc")
    assert [str(day)[:10] for day in table["day"]] == ["2024-01-01", "2024-01-02", "2024-01-03"]
    assert table["measured_at_utc"].tolist() == [stamp(f"2024-01-0{day}T11:00") for day in (1, 2, 3)]
    assert table["water_elevation_m"].tolist() == [61.5, 85.5, 109.5]
    assert table["doubt"].tolist() == ["", DOUBT, ""]
    whole = "logger, mean of 24 samples of the day"
    assert table["notes"].tolist() == [whole, whole, f"{whole}, 2 of them without water above the sensor"]
    assert (set(table["time_known"]), set(table["round"]), set(table["instrument"])) == ({False}, {""}, {"L"})
    some = module.logger_days(record, ["W"], ROUNDS)
    assert sorted(str(day)[:10] for day in some["day"]) == ["2024-01-01", "2024-01-02", "2024-01-03"]
    assert [str(day)[:10] for day in module.logger_days(record, ["W"], ROUNDS.iloc[1:])["day"]] == [
        "2024-01-03",
        "2024-01-02",
    ]
    assert [str(day)[:10] for day in module.logger_days(record, ["W"], ROUNDS.iloc[:1])["day"]] == ["2024-01-01"]
    assert module.logger_days(see(), ["W"]).empty
    two = module.logger_days(
        see(heads(count=48, start=START - HOUR), heads(count=48, start=START - HOUR, well="X")), ["W", "X"]
    )
    assert two["well"].tolist() == ["W", "W", "X", "X"]
    assert two.index.tolist() == [0, 1, 2, 3]


# --- at one moment --------------------------------------------------------------------------------------------------------


def chosen(record, *, wells=("W",), moment="2024-01-01T11:00", first="2024-01-01T00:00", last="2024-01-02T00:00"):
    request = module.LevelRequest(tuple(wells), stamp(moment), stamp(first), stamp(last))
    (table,) = module.levels_for_sets(record, [request])
    return table


ORDER = [
    # the better one first: what makes it so
    (heads(instrument="Z"), heads(doubtful=range(72), instrument="A", uncertainty=0.001)),
    (heads(instrument="Z"), heads(count=6, instrument="A", uncertainty=0.001)),
    (heads(instrument="Z"), heads(bounds=range(72), instrument="A", uncertainty=0.001)),
    (heads(instrument="Z"), heads(instrument="A", uncertainty=NAN)),
    (heads(instrument="Z", uncertainty=0.01), heads(instrument="A", uncertainty=0.02)),
    (heads(instrument="A"), heads(instrument="Z")),
    (heads(deployment_id=3), heads(deployment_id=8)),
    (heads(count=6, instrument="Z"), heads(doubtful=range(72), instrument="A", uncertainty=0.001)),
    (heads(bounds=range(72), instrument="Z"), heads(count=6, instrument="A", uncertainty=0.001)),
    (heads(bounds=range(72), instrument="Z", uncertainty=NAN), heads(doubtful=range(72), instrument="A")),
]


@pytest.mark.parametrize(("better", "worse"), ORDER)
def test_of_several_sensors_the_soundest_is_taken(see, better, worse):
    for pair in ((better, worse), (worse, better)):
        table = chosen(see(*pair))
        assert len(table) == 1
        row = table.iloc[0]
        names = (row["instrument"], row["bound"], row["uncertainty_m"])
        expected = (better.instrument, "<=" if better.levels()[2].any() else "", better.levels()[1][0])
        np.testing.assert_equal(names, expected)
        assert row["doubt"] == ""


def test_a_level_at_the_moment_or_the_nearest_within_the_window_is_given(see):
    one = heads(well="W")
    table = chosen(see(one), moment="2024-01-01T11:30")
    assert table[
        ["site", "well", "access", "measured_at", "water_elevation_m", "bound", "instrument", "doubt"]
    ].to_numpy().tolist() == [["S", "W", "main", "2024-01-01T12:30+01:00", 61.5, "", "L", ""]]
    assert table["measured_at_utc"].tolist() == [stamp("2024-01-01T11:30")]
    # after the last sample the nearest one before the end of the window
    late = {"moment": "2024-01-05T00:00", "last": "2024-01-06"}
    table = chosen(see(one), **late)
    assert table[["measured_at_utc", "water_elevation_m"]].to_numpy().tolist() == [[stamp("2024-01-03T23:00"), 121.0]]
    for window, place in (
        (("2024-01-03T22:00", "2024-01-03T23:00"), 70),
        (("2024-01-03T23:00", "2024-01-06"), 71),
        (("2024-01-03T23:01", "2024-01-06"), None),
    ):
        table = chosen(see(one), moment="2024-01-05T00:00", first=window[0], last=window[1])
        assert table["water_elevation_m"].tolist() == ([] if place is None else [50.0 + place])
    # what is neither head nor bound is passed over
    gap = heads(bounds=(70,), doubtful=(71,))
    (sound, *_) = chosen(see(gap), **late).to_dict("records")
    assert (sound["measured_at_utc"], sound["bound"], sound["doubt"]) == (stamp("2024-01-03T22:00"), "<=", "")
    assert chosen(see(heads(access="tube"))).empty
    assert chosen(see(heads(well="V"))).empty
    lost = heads(doubtful=range(72))
    assert chosen(see(lost))["doubt"].tolist() == [DOUBT]


def test_each_request_has_its_own_wells_and_moment(see):
    record = see(heads(well="V", level=10.0), heads(well="W"), heads(well="U"))
    requests = [
        module.LevelRequest(("W", "V", "none"), stamp("2024-01-01T02:00"), stamp("2024-01-01"), stamp("2024-01-02")),
        module.LevelRequest(("V",), stamp("2024-01-01T05:00"), stamp("2024-01-01"), stamp("2024-01-02")),
        module.LevelRequest((), stamp("2024-01-01T05:00"), stamp("2024-01-01"), stamp("2024-01-02")),
    ]
    first, second, third = module.levels_for_sets(record, requests)
    assert record.asked == [["V", "W"]]
    assert first[["well", "water_elevation_m"]].to_numpy().tolist() == [["V", 12.0], ["W", 52.0]]
    assert second[["well", "water_elevation_m"]].to_numpy().tolist() == [["V", 15.0]]
    assert third.empty
    nobody = see(heads(well="V"))
    assert module.levels_for_sets(nobody, requests[2:])[0].empty
    assert nobody.asked == []


# --- among the levels read by hand -------------------------------------------------------------------------------------


def added(monkeypatch, selection, how, *, rows=True):
    """Return what was asked of each site, and the levels with those of loggers."""
    asked = []
    columns = ["site", "well", "measured_at_utc", "access", "event_id", "value"]
    table = pd.DataFrame(
        [("S", "W", stamp("2024-01-02"), "main", 5, 1.0), ("R", "Q", stamp("2024-01-02"), "main", 6, 2.0)],
        columns=columns,
    )

    def answer(record, members, rounds):
        asked.append((record.site, how, members, None if rounds is None else rounds["round"].tolist()))
        made = [("S", "W", stamp("2024-01-02"), "main", -1, 3), ("S", "A", stamp("2024-01-05"), "main", -1, 4)]
        return pd.DataFrame(made if rows and record.site == "S" else [], columns=columns).assign(more="x")

    monkeypatch.setattr(module, "logger_levels", answer)
    monkeypatch.setattr(module, "logger_days", answer)
    record = SimpleNamespace(
        wells=pd.DataFrame({"site": ["S", "S", "R"], "well": ["W", "A", "Q"], "aquifer": ["u", "l", "u"]}),
        sites=pd.DataFrame({"site": ["S", "R"]}),
        of_site=lambda site: SimpleNamespace(site=site, rounds=pd.DataFrame({"round": ["R1", "R2"]})),
    )
    return asked, module.add_loggers(record, table, selection, how), table


@pytest.mark.parametrize("how", ["round", "daily"])
@pytest.mark.parametrize(
    ("selection", "members", "rounds"),
    [
        (Selection(), (["W", "A"], ["Q"]), None),
        (Selection(aquifer="u"), (["W"], ["Q"]), None),
        (Selection.of(["A", "Q"]), (["A"], ["Q"]), None),
        (Selection(round="R2"), (["W", "A"], ["Q"]), ["R2"]),
    ],
)
def test_the_wells_and_rounds_chosen_are_asked_for_site_by_site(monkeypatch, how, selection, members, rounds):
    asked, _, _ = added(monkeypatch, selection, how)
    wanted = rounds if rounds else (["R1", "R2"] if how == "round" else None)
    assert asked == [(site, how, here, wanted) for site, here in zip("SR", members, strict=True)]


def test_levels_of_loggers_are_sorted_among_those_read_by_hand(monkeypatch):
    _, joined, table = added(monkeypatch, Selection(), "daily")
    assert joined[["site", "well", "event_id", "value"]].to_numpy().tolist() == [
        ["R", "Q", 6, 2.0],
        ["S", "A", -1, 4.0],
        ["S", "W", -1, 3.0],
        ["S", "W", 5, 1.0],
    ]
    assert joined.columns.tolist() == table.columns.tolist()
    assert joined.index.tolist() == [0, 1, 2, 3]
    _, unchanged, table = added(monkeypatch, Selection(), "daily", rows=False)
    assert unchanged is not None
    assert unchanged.equals(table)
    asked, unchanged, table = added(monkeypatch, Selection(), "none")
    assert asked == []
    assert unchanged.equals(table)
    with pytest.raises(SettingsError, match="Levels of loggers can be had as none, round, daily, not as 'weekly'"):
        added(monkeypatch, Selection(), "weekly")
