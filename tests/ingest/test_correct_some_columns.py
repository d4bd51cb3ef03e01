"""A correction touches only the columns that its file has: the others keep their values on record, to the last digit."""

import datetime as dt
import io

import openpyxl
import pytest
from sqlalchemy import select

from gwnet.errors import FileRejectedError, IngestError
from gwnet.store.fetch.history import ROW_KEYS
from gwnet.store.models.schema import METADATA

from .conftest import NOW, Loader

CORRECT = {"correct": True, "reason": "checked again", "now": NOW + dt.timedelta(days=1)}

#: Every table with every column filled; the site measures in feet, so that a value that is converted twice shows.
FULL = {
    "sites": "site,name,crs,vertical_datum,length_unit,time_zone,repeat_tolerance,same_day_window_days,self_review,"
    "check_limits,operator,notes\nS,Meadow,EPSG:25832,local,ft,Europe/Vienna,0.03,3,no,spike=0.1,Office,old\n",
    "aquifers": "aquifer,name,confinement,notes\nupper,Upper gravel,unconfined,old\n",
    "wells": "site,well,easting,northing,longitude,latitude,coordinate_accuracy,aquifer,cluster,purpose,role,"
    "ground_elevation,ground_accuracy,total_depth,drilled_on,decommissioned_on,replaced_by,access_notes,hazards,notes\n"
    "S,MW-1,500000,5300000,9.0,47.85,1.5,upper,C1,monitoring,upstream,328.1,0.07,65.7,2010-05-01,,,gate,ditch,old\n",
    "construction": "site,well,part,top_depth,bottom_depth,diameter,material,installed_on,removed_on,notes\n"
    "S,MW-1,screen,40.3,60.7,50,PVC,2010-05-01,2020-05-01,old\n",
    "measuring_points": "site,well,access,valid_from,valid_until,elevation,height_above_ground,vertical_datum,"
    "description,surveyed_on,surveyed_by,survey_method,accuracy,change,notes\n"
    "S,MW-1,main,2018-01-01,2030-01-01T00:30,330.33,2.23,local,rim,2018-01-01,Rea,levelling,0.017,installed,old\n",
    "instruments": "instrument,kind,serial,length_unit,length_below_sensing_point,resolution,accuracy,range,notes\n"
    "T1,electric tape,77,ft,0.37,0.01,0.03,330,old\nB1,barometer,78,m,,,,,old\n",
    "tape_checks": "instrument,checked_on,tape_reading,reference_reading,checked_by,notes\n"
    "T1,2020-01-01,100.1,100.07,Rea,old\n",
    "deployments": "site,well,instrument,installed_at,removed_at,hanging_depth,barometer,notes\n"
    "S,MW-1,T1,2020-06-01T10:00,2020-06-01T10:30,33.3,B1,old\n",
    "rounds": "site,round,starts_on,ends_on,purpose,wells,crew,notes\n"
    "S,R1,2024-03-12,2024-03-13,quarter,MW-1,Rea,old\n",
    "level_events": "site,well,date,time,round,status,depth_to_water [m],depth_to_water_2 [ft],depth_to_product,"
    "product_relative_density,sounded_depth [cm],instrument,method,observer,access,discharge,quality,event,"
    "chosen_reading,notes\n"
    "S,MW-1,2024-03-12,09:40,R1,pumping,3.310,10.90,10.70,0.8,1999.3,T1,dipped,Rea,main,0.5,good,7,1,old\n",
    "thresholds": "site,well,threshold,kind,depth_to_water,consecutive,valid_from,valid_until,basis,action\n"
    "S,MW-1,low,lower,33.37,3,2020-01-01,2029-01-01T00:30,permit,call\n",
    "stages": "site,gauge,measured_at,water_elevation,easting,northing,aquifer,notes\n"
    "S,G1,2024-03-12T09:00,325.13,500010,5300010,upper,old\n",
    "context": "site,series,quantity,unit,date,value,notes\nS,rain,rainfall,mm,2024-03-12,3.7,old\n",
    "register": "site,entry,kind,raised_on,raised_by,text,due_on,state,answer\n"
    "S,E1,promise,2024-01-01,Rea,what,2024-06-01,answered,that\n",
}

#: Keys of each table and one column with a new value.
SOME = {
    "sites": "site,notes\nS,new\n",
    "aquifers": "aquifer,notes\nupper,new\n",
    "wells": "site,well,notes\nS,MW-1,new\n",
    "construction": "site,well,part,top_depth,notes\nS,MW-1,screen,40.3,new\n",
    "measuring_points": "site,well,valid_from,notes\nS,MW-1,2018-01-01,new\n",
    "instruments": "instrument,notes\nT1,new\n",
    "tape_checks": "instrument,checked_on,tape_reading,notes\nT1,2020-01-01,100.1,new\n",
    "deployments": "site,instrument,installed_at,notes\nS,T1,2020-06-01T10:00,new\n",
    "rounds": "site,round,notes\nS,R1,new\n",
    "level_events": "site,well,date,time,event,notes\nS,MW-1,2024-03-12,09:40,7,new\n",
    "thresholds": "site,well,threshold,valid_from,basis\nS,MW-1,low,2020-01-01,new\n",
    "stages": "site,gauge,measured_at,notes\nS,G1,2024-03-12T09:00,new\n",
    "context": "site,series,date,notes\nS,rain,2024-03-12,new\n",
    "register": "site,entry,answer\nS,E1,new\n",
}

_RECORD = {
    "sites": "site_record",
    "aquifers": "aquifer_record",
    "wells": "well_record",
    "construction": "construction_part",
    "measuring_points": "measuring_point",
    "instruments": "instrument_record",
    "tape_checks": "tape_check",
    "deployments": "deployment",
    "rounds": "round_record",
    "level_events": "level_record",
    "thresholds": "threshold",
    "stages": "stage_reading",
    "context": "context_value",
    "register": "register_entry",
}


@pytest.fixture
def stored(store_url, tmp_path):
    """Give a loader whose record holds one row of every table, on either database."""
    folder = tmp_path / "tables"
    (folder / "first").mkdir(parents=True)
    made = Loader(store_url, folder)
    for name, text in FULL.items():
        (folder / "first" / f"{name}.csv").write_text(text)
    made.load(folder / "first")
    yield made
    made.net.close()


def live(loader, table):
    """Return the live rows of a table of files by their key, without who recorded them and when."""
    name = _RECORD[table]
    recorded = METADATA.tables[name]
    aside = {"id", "recorded_at_utc", "recorded_by", "reason", "source_file_id", "source_row", "as_written"}
    with loader.net.store.reading() as connection:
        query = select(recorded).where(recorded.c.retired_at_utc.is_(None))
        rows = [dict(row) for row in connection.execute(query).mappings()]
        readings = METADATA.tables["level_reading"]
        for row in rows if table == "level_events" else ():
            found = connection.execute(select(readings).where(readings.c.level_record_id == row["id"]))
            row["readings"] = {tuple(one[1:]) for one in found}
    return {tuple(row[key] for key in ROW_KEYS[name]): {k: v for k, v in row.items() if k not in aside} for row in rows}


def only(loader, table):
    (row,) = live(loader, table).values()
    return row


def correct(loader, table, text, **options):
    return loader.text(text, f"{table}.csv", **CORRECT, **options)


@pytest.mark.slow
@pytest.mark.parametrize("table", FULL)
def test_one_new_value_leaves_all_others_of_its_row_exactly_as_they_were(stored, table):
    before = live(stored, table)
    result = correct(stored, table, SOME[table])
    assert [(done.corrected, done.added, done.rejected) for done in result.files] == [(1, 0, 0)]
    assert result.emptied == ()
    after = live(stored, table)
    assert after.keys() == before.keys()
    changed = {
        (name, after[key][name]) for key in after for name in after[key] if after[key][name] != before[key][name]
    }
    column = SOME[table].splitlines()[0].split(",")[-1]
    assert changed == {(column, "new")}


@pytest.mark.slow
@pytest.mark.parametrize("table", FULL)
def test_the_same_values_in_some_columns_are_passed_over(stored, table):
    header, old = (line.split(",") for line in FULL[table].splitlines()[:2])
    wanted = SOME[table].splitlines()[0].split(",")
    text = ",".join(wanted) + "\n" + ",".join(old[header.index(name)] for name in wanted) + "\n"
    result = correct(stored, table, text)
    assert [(done.unchanged, done.corrected) for done in result.files] == [(1, 0)]


def test_a_workbook_corrects_like_a_text_file(stored, tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "measuring_points"
    for line in SOME["measuring_points"].splitlines():
        book.active.append(line.split(","))
    content = io.BytesIO()
    book.save(content)
    before = only(stored, "measuring_points")
    stored.load(stored.write("points.xlsx", content.getvalue()), **CORRECT)
    assert only(stored, "measuring_points") == before | {"notes": "new"}


@pytest.mark.slow
def test_an_empty_cell_empties_and_is_counted(stored):
    text = "site,well,purpose,drilled_on,notes\nS,MW-1,,,new\n"
    dry = correct(stored, "wells", text, dry_run=True)
    assert [(one.column, one.was) for one in dry.emptied] == [("purpose", "monitoring"), ("drilled on", "2010-05-01")]
    before = only(stored, "wells")
    done = correct(stored, "wells", text)
    assert done.emptied == dry.emptied
    assert only(stored, "wells") == before | {"purpose": None, "drilled_on": None, "notes": "new"}


def test_an_unknown_column_empties_nothing(stored):
    before = only(stored, "measuring_points")
    result = correct(stored, "measuring_points", "site,well,valid_from,acuracy,notes\nS,MW-1,2018-01-01,,new\n")
    assert "column 'acuracy' is not known and was passed over; did you mean 'accuracy'?" in result.files[0].warnings
    assert result.emptied == ()
    assert only(stored, "measuring_points") == before | {"notes": "new"}


def test_columns_of_the_key_must_be_there(stored):
    with pytest.raises(IngestError, match="column 'well' is missing"):
        correct(stored, "wells", "site,notes\nS,new\n")
    with pytest.raises(IngestError, match="column measured_at or date is missing"):
        correct(stored, "level_events", "site,well,notes\nS,MW-1,new\n")


def test_without_a_correction_every_required_column_must_be_there(stored):
    with pytest.raises(IngestError, match="column 'elevation' is missing"):
        stored.text(SOME["measuring_points"], "measuring_points.csv")


@pytest.mark.parametrize(
    ("table", "text", "problem"),
    [
        ("measuring_points", "site,well,valid_from,notes\nS,MW-1,2019-01-01,new\n", "required"),
        ("wells", "site,well,notes\nS,MW-9,new\n", "no-coordinates"),
        ("thresholds", "site,well,threshold,kind,basis\nS,MW-1,other,lower,new\n", "one-quantity-wanted"),
        ("level_events", "site,well,date,time,notes\nS,MW-1,2024-03-12,11:00,new\n", "one-quantity-wanted"),
    ],
)
def test_a_row_that_is_not_on_record_needs_all_required_columns(stored, table, text, problem):
    before = stored.counts()
    with pytest.raises(FileRejectedError) as caught:
        correct(stored, table, text)
    assert [found.problem for found in caught.value.rejections] == [problem]
    assert stored.counts() == before


@pytest.mark.slow
def test_a_row_is_checked_as_it_would_stand_on_record(stored):
    with pytest.raises(FileRejectedError) as caught:
        correct(stored, "level_events", "site,well,date,time,event,status\nS,MW-1,2024-03-12,09:40,7,dry\n")
    assert [found.problem for found in caught.value.rejections] == ["number-not-allowed"]
    with pytest.raises(FileRejectedError) as caught:
        correct(stored, "rounds", "site,round,ends_on\nS,R1,2024-03-11\n")
    assert [found.problem for found in caught.value.rejections] == ["after-its-end"]


def test_a_position_given_another_way_takes_the_place_of_the_old_one(stored):
    text = "site,well,longitude,latitude\nS,MW-1,9.001,47.85\n"
    result = correct(stored, "wells", text)
    assert [one.column for one in result.emptied] == ["easting", "northing"]
    well = only(stored, "wells")
    assert (well["easting"], well["northing"], well["longitude"]) == (None, None, 9.001)
    correct(stored, "wells", "site,well,longitude,latitude,notes\nS,MW-1,9.001,47.85,new\n")
    assert only(stored, "wells") == well | {"notes": "new"}


def test_a_threshold_given_another_way_takes_the_place_of_the_old_one(stored):
    before = only(stored, "thresholds")
    text = "site,well,threshold,valid_from,water_elevation [m]\nS,MW-1,low,2020-01-01,90.5\n"
    assert correct(stored, "thresholds", text).emptied == ()
    assert only(stored, "thresholds") == before | {"quantity": "water_elevation", "value_m": 90.5}


def test_without_a_correction_an_absent_column_is_no_difference(stored):
    text = "site,well,longitude,latitude\nS,MW-1,9.0,47.85\n"
    assert [done.unchanged for done in stored.text(text, "wells.csv").files] == [1]
    text = "site,well,longitude,latitude,notes\nS,MW-1,9.0,47.85,new\n"
    with pytest.raises(FileRejectedError, match="1 of 1 rows") as caught:
        stored.text(text, "wells.csv")
    assert (
        caught.value.rejections[0].message == "The row is on record with other values: notes: old on record, new here."
    )
