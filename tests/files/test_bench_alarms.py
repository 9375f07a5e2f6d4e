"""`alarms` in a bench file: the alarm spec file beside it."""

from pathlib import Path

import pytest

from hil.core.error import DescriptionError
from hil.files.read import read_rack


@pytest.fixture
def bench(request, tmp_path):
    text = (request.config.rootpath / "fixtures" / "first-node.yaml").read_text()

    def write(line):
        (tmp_path / "bench.yaml").write_text(f"{line}\n{text}")
        return tmp_path / "bench.yaml"

    return write


def test_the_file_is_looked_for_beside_the_bench_file(bench, tmp_path):
    assert Path(read_rack(bench("alarms: specs/a.yaml")).alarms) == tmp_path / "specs" / "a.yaml"


def test_a_bench_need_not_have_one(bench):
    assert read_rack(bench("# nothing")).alarms == ""


def test_a_list_is_refused(bench):
    with pytest.raises(DescriptionError) as caught:
        read_rack(bench("alarms: [a.yaml]"))

    assert "alarms: expected a text" in str(caught.value)
