import shutil

import pytest

from gwnet.analysis.checks.rules import DOUBTING_RULES
from gwnet.network import Network, init

from ..conftest import copy_sqlite
from ..made_once import made_once
from .convert_esrp import convert


@pytest.fixture(scope="session")
def esrp(open_data, tmp_path_factory):
    """Give the open aquifer data as a loaded record: network and folder of its tables."""
    source = open_data / "esrp"
    if not source.is_dir():
        pytest.skip("no folder 'esrp' in the open data")

    def make(folder):
        convert(source, folder / "tables")
        init(folder / "esrp.sqlite")
        with Network(folder / "esrp.sqlite") as network:
            assert network.load([folder / "tables"], by="test").rejections == ()

    made = made_once(tmp_path_factory, "esrp-record", make)
    folder = tmp_path_factory.mktemp("esrp")
    shutil.copytree(made / "tables", folder / "tables")
    with Network(copy_sqlite(made / "esrp.sqlite", folder / "esrp.sqlite")) as network:
        yield network, source, folder


@pytest.fixture(scope="session")
def esrp_as_published(esrp, tmp_path_factory):
    """Give a copy of the record in which every level serves that the source publishes as static.

    The checks doubt 57 of its 61,348 levels, and a level with an open serious finding serves no statistics. The published
    numbers take these levels as well, so the copy dismisses their findings.
    """

    def make(folder):
        with Network(copy_sqlite(esrp[2] / "esrp.sqlite", folder / "esrp.sqlite")) as network:
            network.checks.record(by="test")
            table = network.checks()
            doubted = table[(table["severity"] == "serious") & table["rule"].isin(DOUBTING_RULES)]
            numbers = doubted["finding_id"].astype(int).tolist()
            network.review.decide(numbers, "dismiss", by="reviewer", reason="As published", together=True)
            assert not (network.levels()["open_finding"] != "").any()

    made = made_once(tmp_path_factory, "esrp-as-published", make)
    with Network(copy_sqlite(made / "esrp.sqlite", tmp_path_factory.mktemp("published") / "esrp.sqlite")) as network:
        yield network
