import pytest

from gwnet.network import Network, init

from .convert_esrp import convert


@pytest.fixture(scope="session")
def esrp(open_data, tmp_path_factory):
    """Give the open aquifer data as a loaded record: network and folder of its tables."""
    source = open_data / "esrp"
    if not source.is_dir():
        pytest.skip("no folder 'esrp' in the open data")
    folder = tmp_path_factory.mktemp("esrp")
    convert(source, folder / "tables")
    init(folder / "esrp.sqlite")
    with Network(folder / "esrp.sqlite") as network:
        result = network.load([folder / "tables"], by="test")
        assert result.rejections == ()
        yield network, source, folder
