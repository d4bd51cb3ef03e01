"""Mappings that looking at files proposes: what is recognised, what is in doubt, and that they can be used."""

import tomllib

import pytest

from gwnet.errors import LayoutError, UnknownTableError
from gwnet.ingest.headings import nearest_columns, read_meaning
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.mapping import draft, look, propose_levels, propose_places, propose_points, propose_states, survey
from gwnet.ingest.mapping.grids import read_source
from gwnet.ingest.mapping.propose import Known, open_checks, propose_mapping
from gwnet.ingest.mapping.relations import find_relation
from gwnet.ingest.mapping.status_words import quality_of, status_of
from gwnet.ingest.mapping.trial import try_files

from .mapped import KNOWN, NOW, imported, proposed, write


@pytest.mark.parametrize(
    ("heading", "quantity", "unit"),
    [
        ("Depth to Water (ft btoc)", "depth to water", "ft"),
        ("DTW_ft", "depth to water", "ft"),
        ("depth_below_land_surface_ft", "depth below ground", "ft"),
        ("Flurabstand [m]", "depth below ground", "m"),
        ("Abstich", "depth to water", ""),
        ("Wasserstand [m ü. NN]", "water elevation", "m"),
        ("Niveau piézométrique (m NGF)", "water elevation", "m"),
        ("Profondeur de la nappe (m)", "depth to water", "m"),
        ("Nivel del agua (m s.n.m.)", "water elevation", "m"),
        ("Cota del terreno", "ground elevation", ""),
        ("Geländeoberkante (GOK) (m ü. NHN)", "ground elevation", "m"),
        ("Top of Casing Elev. (ft)", "point elevation", "ft"),
        ("Reference Point Elevation", "point elevation", ""),
        ("stickup_ft", "height above ground", "ft"),
        ("Total Depth (m)", "total depth", "m"),
        ("Tape at MP", "tape at mark", ""),
        ("Cut", "tape at water", ""),
        ("Messstelle", "well", ""),
        ("Fecha", "date", ""),
        ("WaterLevelDate", "date", ""),
        ("No Measurement Reason", "status", ""),
        ("Rechtswert", "easting", ""),
        ("Latitude", "latitude", ""),
        ("Screen Top (ft bgs)", "screen top", "ft"),
        ("vertical_datum", "vertical datum", ""),
        ("colour", "", ""),
    ],
)
def test_headings_of_the_trade_are_understood(heading, quantity, unit):
    meaning = read_meaning(heading)
    assert (meaning.quantity, meaning.unit) == (quantity, unit)


@pytest.mark.parametrize(
    ("word", "status", "quality"),
    [
        ("Nearby pump operating", "nearby pumping", ""),
        ("gepumpt", "pumping", ""),
        ("Trocken", "dry", ""),
        ("seco", "dry", ""),
        ("à sec", "dry", ""),
        ("Unable to locate well", "not found", ""),
        ("Well has been destroyed", "destroyed", ""),
        ("gefroren", "frozen", ""),
        ("Questionable", "", "suspect"),
        ("geschätzt", "", "estimate"),
        ("P", "", ""),
        ("1", "", ""),
    ],
)
def test_words_of_sources_become_ours_and_code_letters_never(word, status, quality):
    assert (status_of(word), quality_of(word)) == (status, quality)


WELLS = "Site Code,Latitude,Longitude,Ground (ft),Depth (ft)\nA1,48.1,16.1,99,60\nB2,48.2,16.2,98,70\n"
SCREENS = "Site Code,Top screen (ft),Bottom screen (ft)\nA1,20,30\nA1,40,50\nB2,20,60\n"
READINGS = (
    "Id,Site Code,Date,RP (ft),Reading at RP,Reading at water,WSE (ft),RP to water (ft),Remark\n"
    "1,A1,2019-04-15T00:00:00Z,100.00,25,1.8,76.8,23.2,\n"
    "2,A1,2019-10-15T00:00:00Z,100.00,26,1.35,75.35,24.65,nearby pumping\n"
    "3,A1,2020-04-16T00:00:00Z,100.35,25,2.05,77.4,22.95,\n"
    "4,A1,2020-10-14T00:00:00Z,100.35,,,,,locked gate\n"
    "5,B2,2019-04-15T00:00:00Z,99.00,20,1,80,19,\n"
)


def test_readings_wells_and_screens_come_in_as_proposed(empty):
    made = proposed(empty.folder, readings=READINGS, stations=WELLS, screens=SCREENS)
    assert made.doubts == ()
    result = imported(empty.net, empty.folder, made.text, readings=READINGS, stations=WELLS, screens=SCREENS)
    assert [(file.table, file.added) for file in result.loaded.files] == [
        *(("sites", 1), ("wells", 2), ("construction", 3), ("measuring_points", 3), ("level_events", 5))
    ]
    levels = empty.net.levels(unit="ft").set_index(["well", "measured_at"])
    published = {
        ("A1", "2019-04-15"): 76.8,
        ("A1", "2019-10-15"): 75.35,
        ("A1", "2020-04-16"): 77.4,
        ("B2", "2019-04-15"): 80,
    }
    for key, elevation in published.items():
        assert levels.loc[key, "water_elevation_ft"] == pytest.approx(elevation, abs=1e-6)
    assert levels.loc[("A1", "2019-10-15"), "status"] == "nearby pumping"
    assert levels.loc[("A1", "2020-10-14"), ["status", "notes"]].tolist() == ["no access", "locked gate"]
    assert [(c.well, c.valid_from, c.was) for t in result.applied.tables for c in t.changes if c.was] == [
        ("A1", "2020-04-16", "100.00")
    ]


def test_each_inference_is_a_reason_and_the_z_of_days_without_a_time_says_nothing(tmp_path):
    reasons = "\n".join(proposed(tmp_path, readings=READINGS, stations=WELLS).reasons)
    assert "'Reading at RP' less 'Reading at water' is the depth to water" in reasons
    assert "'RP (ft)' less 'RP to water (ft)' is 'WSE (ft)' in 4 of 4 rows" in reasons
    assert "the Z or offset says nothing" in reasons
    assert "UTM zone 33" in "\n".join(proposed(tmp_path, Known("S", "UTC"), readings=READINGS, stations=WELLS).reasons)


def test_a_z_beside_midnights_that_stand_for_no_time_is_in_doubt_and_the_zone_is_put_there(tmp_path):
    rows = "".join(f"A,2020-01-{n:02d}T{'00:00' if n % 2 else '09:30'}:00Z,3.{n}\n" for n in range(10, 28))
    made = proposed(tmp_path, levels="Well,Date,DTW (m)\n" + rows)
    rule = next(plan for plan in made.mapping.plans if plan.table == "level_events").rules["measured_at"][0]
    assert (rule.zone, rule.time_unknown) == ("Europe/Vienna", ("00:00",))
    assert any("local times in this zone, or UTC?" in doubt for doubt in made.doubts)


def test_the_ground_of_stations_without_it_is_that_of_their_readings(empty):
    stations = "Station,Latitude,Longitude\nA,48.1,16.1\nB,48.2,16.2\n"
    readings = (
        "Station,Date,Ground (m),GS to water (m)\nA,2020-01-01,100,3\nA,2020-02-01,100.5,3.5\nB,2020-01-01,90,2\n"
    )
    made = proposed(empty.folder, readings=readings, stations=stations)
    assert made.doubts == ()
    imported(empty.net, empty.folder, made.text, readings=readings, stations=stations)
    assert empty.net.wells()["ground_elevation_m"].tolist() == [100.5, 90.0]


def test_what_files_do_not_say_is_marked_on_its_line(tmp_path):
    made = proposed(tmp_path, Known(), levels="Well,Date,Depth (m)\nA,2020-01-01,3\nA,2020-01-02,3.1\nB,2020-01-02,4\n")
    open_lines = "\n".join(made.doubts)
    for name in ("crs", "vertical_datum", "time_zone", 'well = "A", easting', "depth_below_ground"):
        assert name in open_lines
    assert len(open_checks(made.text)) == len(made.doubts) == 6


def test_code_letters_are_listed_with_empty_targets(tmp_path):
    rows = "".join(f"A,2020-01-{n:02d},3.{n},{'P' if n == 3 else 'S'}\n" for n in range(1, 10))
    made = proposed(tmp_path, levels="Well,Date,DTW (m),Status\n" + rows)
    words = next(t for t in tomllib.loads(made.text)["table"] if t["name"] == "level_events")["columns"]["status"][
        "words"
    ]
    assert words == {"S": "", "P": ""}
    assert sum('"P" = ""' in doubt or '"S" = ""' in doubt for doubt in made.doubts) == 2


def test_a_wide_table_with_its_quantity_above_it(tmp_path):
    rows = "".join(f"{n}/15/2020,1{n}.5,{'dry' if n == 2 else 12.25}\n" for n in range(1, 10))
    made = proposed(tmp_path, Known("S", "UTC"), wide="Depth to water in feet\n\nDate,MW-1,MW-2\n" + rows)
    source = made.mapping.sources["wide"]
    assert (source.heading_row, source.wide_first) == (3, 2)
    events = next(plan for plan in made.mapping.plans if plan.table == "level_events")
    assert "depth_to_water" in events.rules
    assert events.rules["status"][0].words == {"dry": "dry"}
    assert 'length_unit = { value = "ft" }' in made.text


def test_one_row_a_well_and_one_column_a_day(tmp_path):
    made = proposed(tmp_path, grid="Well,2020-01-01,2020-02-01,2020-03-01\nA,3,3.1,3.2\nB,4,4.1,4.2\n")
    assert made.mapping.sources["grid"].wide_heading == "date"


def test_depth_and_elevation_that_add_up_are_the_elevation_of_the_point(tmp_path):
    rows = "".join(f"A,2020-01-{n:02d},{3 + n / 100:.2f},{103 - (3 + n / 100):.2f}\n" for n in range(1, 20))
    made = proposed(tmp_path, levels="Well,Date,Abstich [m],Wasserstand [m NN]\n" + rows)
    points = next(plan for plan in made.mapping.plans if plan.table == "measuring_points")
    assert (points.changes, points.rules["elevation"][0].plus) == (True, "Abstich [m]")


def test_a_depth_is_below_what_its_numbers_say(tmp_path):
    rows = "".join(f"A,2020-01-{n:02d},{3 + n / 100:.2f},{97 - n / 100:.2f},100.00\n" for n in range(1, 20))
    made = proposed(tmp_path, levels="Well,Date,Depth (m),Level (m),Ground elevation (m)\n" + rows)
    events = next(plan for plan in made.mapping.plans if plan.table == "level_events")
    assert list(events.rules)[2:4] == ["measured_at", "depth_below_ground"]
    assert not any("below what" in doubt for doubt in made.doubts)


def test_a_depth_that_counts_upward_is_turned(tmp_path):
    rows = "".join(f"A,2020-01-{n:02d},{-3 - n / 100:.2f},{97 - n / 100:.2f},100.00\n" for n in range(1, 20))
    made = proposed(tmp_path, levels="Well,Date,Depth (m),Level (m),Ground elevation (m)\n" + rows)
    events = next(plan for plan in made.mapping.plans if plan.table == "level_events")
    assert events.rules["depth_below_ground"][0].positive == "up"


def test_relations_need_numbers_that_move():
    import numpy as np

    still = {0: np.full(20, 100.0), 1: np.full(20, 3.0), 2: np.full(20, 97.0)}
    assert find_relation(still, 0, 1, 2) is None
    moving = {0: still[0], 1: np.arange(20.0), 2: 100 - np.arange(20.0)}
    moving[2][3] += 5
    assert find_relation(moving, 0, 1, 2).held == 19
    assert find_relation(moving | {1: -np.arange(20.0)}, 0, 1, 2).sign == -1


def test_tables_with_the_same_headings_are_one_source(tmp_path):
    text = "Well,Date,DTW (m)\n{},2020-01-01,3\n{},2020-01-02,3.5\n"
    paths = [write(tmp_path, f"levels_{y}.csv", text.format(y, y)) for y in ("a", "b")]
    made = propose_mapping([read_source(path) for path in paths], KNOWN)
    assert [source.file for source in made.mapping.sources.values()] == ["levels_*.csv"]


def test_a_trial_shows_columns_with_first_values_what_is_unused_and_what_is_missing(tmp_path):
    path = write(tmp_path, "levels.csv", "Well,Date,DTW (m),Colour\nA,2020-01-01,3,red\nA,2020-01-02,3.5,blue\n")
    trial = try_files([path], known=Known("S", "UTC", "EPSG:25832", "local", "m"))
    row = trial.columns.set_index("target").loc["level_events.depth_to_water [m]"]
    assert row[["file", "source_column", "rows", "filled", "first_values"]].tolist() == [
        "levels.csv",
        "DTW (m)",
        2,
        2,
        "3, 3.5",
    ]
    assert trial.applied.unused == {"levels.csv": ["Colour"]}
    assert trial.missing == ["wells.easting and northing or longitude and latitude"]
    again = try_files([path], mapping=write(tmp_path, "m.toml", trial.mapping.text))
    assert again.columns.equals(trial.columns)


def test_a_file_without_wells_and_levels_is_said_to_be_none(tmp_path):
    with pytest.raises(LayoutError, match="Neither wells nor levels"):
        proposed(tmp_path, other="Colour,Taste\nred,sweet\nblue,sour\n")


def test_the_refusal_of_a_load_lists_headings_the_nearest_columns_and_the_way_to_a_mapping(loader):
    with pytest.raises(UnknownTableError) as caught:
        loader.text("Station,Datum,Abstich [m],Farbe\nMW-1,12.03.2024,3\n", "pegel.csv")
    said = str(caught.value)
    assert "'Abstich [m]' (nearest: level_events.depth_to_water)" in said
    assert "'Farbe'" in said
    assert "gwnet import try pegel.csv" in said
    assert nearest_columns(["Hochwert", " "]) == [("Hochwert", "wells.northing")]


def test_the_modules_are_those_that_are_meant(tmp_path):
    file = read_source(write(tmp_path, "a.csv", "Well,Date,DTW (m)\nA,2020-01-01,3\nB,2020-01-02,4\n"))
    one = look.look_at(file, file.grids[0], "a", Notes())
    places = survey.survey_places([one], KNOWN, Notes())
    [wells, site] = sorted(propose_places.propose_places(places, Notes()), key=lambda t: t.name)[::-1]
    assert (site.name, wells.name) == ("sites", "wells")
    [events] = propose_levels.propose_levels(one, places, Notes())
    assert propose_points.propose_points(one, places, events, Notes()) is None
    propose_states.propose_states(one, events, Notes())
    assert "status" not in events.columns
    assert draft.CHECK not in draft.write_mapping("a", "S", [one.source], [events], [], [])


def test_nines_below_zero_stand_for_no_value_and_numbers_with_other_signs_are_not_hidden(tmp_path):
    text = (
        "Well,Day,Depth below ground [ft]\nA,2024-03-12,-9999\nA,2024-03-13,3.1\nA,2024-03-14,3.4?\nA,2024-03-15,dry\n"
    )
    text += "".join(f"A,2023-03-{day},3.{day}\n" for day in range(10, 20))
    made = proposed(tmp_path, levels=text)
    assert 'missing = ["-9999"]' in made.text
    assert 'missing = ["dry"]' in made.text
    assert "-9999 stands for no value" in "\n".join(made.reasons)


def test_codes_of_which_no_status_is_known_are_kept_in_the_notes(tmp_path):
    text = "Well,Day,Depth below ground [ft],Status,Remarks\nA,2024-03-12,3.1,R,recently pumped\nA,2024-03-13,,D,Dry\n"
    text += "A,2024-03-14,3.2,,\n"
    made = proposed(tmp_path, levels=text)
    assert 'notes = { column = ["Remarks", "Status"], label = true }' in made.text


def test_a_trial_lists_rows_that_cannot_be_read(tmp_path):
    text = "Well,Day,Depth below ground [ft],Remarks\n" + "A,2024-03-12,3.1,x\n" * 3 + "A,B,C,2024-03-12,3.1\n"
    trial = try_files([write(tmp_path, "t.csv", text)], known=KNOWN)
    assert [(one.row, one.problem) for one in trial.rejections] == [(5, "row-too-long")]


def test_two_digit_years_that_have_not_come_are_of_the_last_century(tmp_path):
    text = "Well,Day,Depth below ground [ft]\nA,5/13/29,3.1\nA,5/13/68,3.1\nA,5/13/99,3.1\n"
    keys = tomllib.loads(proposed(tmp_path, levels=text).text)["table"][-1]["columns"]["measured_at"]
    assert keys["first_year"] == NOW.year - 99
    later = proposed(tmp_path, levels=text.replace("/29,", "/09,").replace("/68,", "/08,"))
    assert "first_year" not in later.text


def test_days_of_drilling_follow_the_order_of_the_other_dates_and_years_alone_are_kept_in_the_notes(tmp_path):
    levels = "Well,Day,Depth below ground [ft]\nA,3/25/1970,3.1\nB,4/26/1970,3.1\nA,5/27/1970,3.1\n"
    wells = "Well,Latitude,Longitude,Ground elevation [ft],Drilled\nA,48.1,16.1,90,1956\nB,48.2,16.2,91,3/12/1961\n"
    made = proposed(tmp_path, levels=levels, wells=wells)
    [rules] = [table["columns"] for table in tomllib.loads(made.text)["table"] if table["name"] == "wells"]
    assert rules["drilled_on"] == {"column": "Drilled", "missing": ["1956"], "formats": ["%m/%d/%Y"]}
    assert rules["notes"]["column"] == ["Drilled"]
    alone = proposed(
        tmp_path, wells=wells, levels=levels.replace("/25/", "/5/").replace("/26/", "/6/").replace("/27/", "/7/")
    )
    assert any("drilled_on" in doubt for doubt in alone.doubts)


def test_an_elevation_of_zero_far_from_all_others_is_none(tmp_path):
    text = "Well,Day,Depth to water [ft],MP elevation [ft]\nA,2024-03-12,3.1,200\nA,2024-03-13,3.1,0\nA,2024-03-14,3.2,201\n"
    made = proposed(tmp_path, levels=text)
    assert 'missing = ["0"]' in made.text
    near = proposed(tmp_path, levels=text.replace("200", "2.5").replace("201", "2.6"))
    assert 'missing = ["0"]' not in near.text
