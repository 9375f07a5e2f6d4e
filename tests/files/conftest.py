"""What the tests of the reader share."""

import pytest
from files.probes import bench


@pytest.fixture(scope="session")
def rack(tmp_path_factory):
    return bench(tmp_path_factory.mktemp("bench"))
