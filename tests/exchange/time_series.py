"""A small record for formats of time series: what a series has to carry is in it once or twice."""

import pytest

import gwnet
from gwnet.network.core import init

SITES = "site,name,crs,vertical_datum,length_unit,time_zone\nHOL,Holm & <co>,EPSG:25832,local datum,m,Europe/Berlin\n"
AQUIFERS = "aquifer,name\nU,upper sand\n"
WELLS = """site,well,aquifer,easting,northing,ground_elevation,total_depth,drilled_on
HOL,A <1>,U,500000,5600000,20.0,12.0,2019-05-02
HOL,B-2,U,500100,5600100,19.5,,
"""
CONSTRUCTION = """site,well,part,top_depth,bottom_depth,diameter,material
HOL,A <1>,casing,0,8,115,PVC
HOL,A <1>,screen,8,11,115,PVC
HOL,A <1>,filter pack,7,12,,gravel
HOL,A <1>,seal,5,7,,clay & bentonite
"""
POINTS = """site,well,access,valid_from,valid_until,elevation,surveyed_on,description
HOL,A <1>,main,2020-01-01,2022-01-01,20.6,2020-01-01,top of casing
HOL,A <1>,main,2022-01-01,,20.8,2022-01-03,"top of ""new"" casing"
HOL,B-2,main,2020-01-01,,20.1,,
"""
EVENTS = """site,well,date,time,event,status,depth_to_water,sounded_depth,quality,notes
HOL,A <1>,2020-03-01,10:00,,static,5.123,,good,
HOL,A <1>,2020-06-01,10:00,,static,5.5,,suspect,rain < & > snow
HOL,A <1>,2020-09-01,,,static,5.75,,good,
HOL,A <1>,2021-03-01,10:00,,no access,,,good,road closed
HOL,A <1>,2022-03-01,10:00,,static,5.9,,good,
HOL,A <1>,2022-03-01,10:00,2,static,5.95,,poor,
HOL,A <1>,2022-07-01,10:00,,dry,,12.4,good,
HOL,A <1>,2022-08-01,10:00,,flowing,,,good,
HOL,A <1>,2022-09-01,10:00,,static,11.9,,good,below the screen
HOL,B-2,2020-03-01,10:30,,static,4.2,,,
"""
TABLES = {
    "sites": SITES,
    "aquifers": AQUIFERS,
    "wells": WELLS,
    "construction": CONSTRUCTION,
    "measuring_points": POINTS,
    "level_events": EVENTS,
}


def load_record(folder, *, without=()):
    """Make a record of the tables in a folder; return the path of its database."""
    folder.mkdir(exist_ok=True)
    init(folder / "record.sqlite")
    paths = []
    for name, text in TABLES.items():
        if name not in without:
            paths.append(folder / f"{name}.csv")
            paths[-1].write_text(text, encoding="utf-8")
    with gwnet.open(folder / "record.sqlite") as net:
        net.load(paths, by="Ana")
    return folder / "record.sqlite"


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Give the open record."""
    with gwnet.open(load_record(tmp_path_factory.mktemp("small"))) as net:
        yield net
