import datetime as dt

import pytest

from gwnet.errors import FileRejectedError
from gwnet.network import Network, init

from ..helpers import follow

NOW = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)

TABLES = {
    "sites": "site,name,crs,vertical_datum,length_unit,time_zone\nS,Meadow,EPSG:25832,local,m,Europe/Vienna\n",
    "aquifers": "aquifer,confinement\nupper,unconfined\n",
    "wells": "site,well,easting,northing,aquifer,ground_elevation,total_depth\n"
    "S,MW-1,500000,5300000,upper,100.0,20\nS,MW-2,500100,5300000,upper,100.5,25\n",
    "measuring_points": "site,well,valid_from,elevation,height_above_ground,accuracy\n"
    "S,MW-1,2018-01-01,100.7,0.7,0.005\nS,MW-2,2018-01-01,101.2,0.7,0.005\n",
    "instruments": "instrument,kind,length_below_sensing_point\nT1,electric tape,0.11\n",
    "rounds": "site,round,starts_on,ends_on,wells\nS,2024-Q1,2024-03-12,2024-03-13,MW-1; MW-2\n",
}

EVENTS = "site,well,date,time,depth_to_water,depth_to_water_2\n"


class Loader:
    """A database with a site, two wells and a folder to write further tables to."""

    def __init__(self, url, folder):
        init(url)
        self.net = Network(url)
        self.folder = folder

    def write(self, name, text, encoding="utf-8"):
        """Write a file and return its path."""
        path = self.folder / name
        if isinstance(text, bytes):
            path.write_bytes(text)
        else:
            path.write_bytes(text.encode(encoding))
        return path

    def load(self, *paths, now=None, by="Ana", **options):
        """Load files."""
        return self.net.load(
            paths, by=by, now_utc=now or follow(self.net.store, NOW), rejected_dir=self.folder, **options
        )

    def text(self, text, name="level_events.csv", **options):
        """Write a file and load it."""
        return self.load(self.write(name, text), **options)

    def rejected(self, text, name="level_events.csv", **options):
        """Load a file that must be rejected and return its rejections; nothing may have been written."""
        before = self.counts()
        with pytest.raises(FileRejectedError) as caught:
            self.text(text, name, **options)
        assert self.counts() == before
        return caught.value.rejections

    def counts(self):
        """Return the number of rows of every table."""
        with self.net.store.reading() as connection:
            from gwnet.store.models.schema import METADATA

            return {
                name: connection.exec_driver_sql(f"SELECT count(*) FROM {name}").scalar_one()
                for name in sorted(METADATA.tables)
            }


@pytest.fixture
def empty(tmp_path):
    folder = tmp_path / "tables"
    folder.mkdir()
    loader = Loader(tmp_path / "record.sqlite", folder)
    yield loader
    loader.net.close()


@pytest.fixture
def loader(empty):
    first = empty.folder / "first"
    first.mkdir()
    for name, text in TABLES.items():
        (first / f"{name}.csv").write_text(text)
    empty.load(first)
    return empty


@pytest.fixture
def path(tmp_path):
    return tmp_path / "export.csv"
