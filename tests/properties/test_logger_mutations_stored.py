"""Exports that went wrong, loaded into a record: each lands right or not at all, and never half."""

from __future__ import annotations

import datetime as dt
import random

import pytest

import gwnet
from gwnet.errors import GwnetError
from gwnet.ingest.loggers.layout import parse_layout
from gwnet.network import Network, init
from gwnet.store.fetch import samples as fetch_samples

from .test_logger_mutations import EXPORTS, MUTATIONS

pytestmark = pytest.mark.slow

NOW = dt.datetime(2026, 4, 7, 9, 30, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """Give a record with an instrument for every mutation of every export."""
    folder = tmp_path_factory.mktemp("mutated")
    init(folder / "record.sqlite")
    with Network(folder / "record.sqlite") as net:
        (folder / "sites.csv").write_text(
            "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC+01:00\n"
        )
        codes = [f"{mutation.__name__}-{name}" for mutation in MUTATIONS for name in EXPORTS]
        rows = "".join(f"{code},absolute pressure logger\n" for code in codes)
        (folder / "instruments.csv").write_text(f"instrument,kind\n{rows}")
        net.load([folder / "sites.csv", folder / "instruments.csv"], by="Ana", now_utc=NOW)
        yield net


def stored(net, instrument):
    """Return the stored values of an instrument by time, of all its quantities."""
    found = {}
    with net.store.reading() as connection:
        series = fetch_samples.series(connection)
        for row in series[series["instrument"] == instrument].itertuples():
            times, values = fetch_samples.samples(connection, row.series_id)
            for time, value in zip(times.tolist(), values.tolist(), strict=True):
                found.setdefault(time, []).append(value)
    return found


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: one.__name__)
def test_a_mutated_export_lands_right_or_not_at_all(record, mutation, tmp_path):
    for number, (name, export) in enumerate(EXPORTS.items()):
        path = tmp_path / f"{mutation.__name__}-{name}.csv"
        path.write_bytes(mutation(export, random.Random(f"{mutation.__name__} {number} 0")))
        code = f"{mutation.__name__}-{name}"
        try:
            loaded = record.loggers.load([path], parse_layout(export.layout), instrument=code, by="Ana", now_utc=NOW)
            (made,) = loaded.files
            error = made.error
        except GwnetError as stopped:
            error = stopped
        found = stored(record, code)
        if error is not None:
            assert isinstance(error, gwnet.errors.GwnetError)
            assert str(error)
            assert found == {}, code
            continue
        truth = export.truth()
        for time, values in found.items():
            assert time in truth, code
            assert set(values) <= set(truth[time]), (code, time)
