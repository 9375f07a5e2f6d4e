"""Nodes at link-local IPv6 addresses, on a bench computer that has the same ones elsewhere, too."""

import json

import pytest
from wall.spaces import ROOT, Spaces, annexe, ip

pytestmark = pytest.mark.wall

SERVED = annexe(host="fe80::2%inside", nodes="fe80::2", interface="inside", served=True)
BENCH = annexe(host="fe80::1", nodes="fe80::2%rack0", interface="rack0", served=False)
PLAN = str(ROOT / "testplans" / "annexe.yaml")
GROUPS = (("239.255.20.20:", '"[ff02::20:20]:'), ("239.255.20.21:", '"[ff02::20:21]:'))


def grouped(text):
    """Return the text with link-local groups instead of the IPv4 ones."""
    for old, new in GROUPS:
        text = text.replace(f"{old}47920", f'{new}47920"')
    return text


@pytest.fixture(scope="module")
def made():
    spaces = Spaces("zones")
    spaces.make()
    try:
        # the same address at the office, where nobody of the rack is
        ip(f"ip -n {spaces.bench} address add fe80::1/64 dev office0 nodad")
        ip(f"ip -n {spaces.rack} address add fe80::2/64 dev outside nodad")
    except OSError as error:
        spaces.take_away()
        pytest.skip(f"no IPv6 here: {error}")
    yield spaces
    spaces.take_away()


@pytest.fixture
def spaces(made, tmp_path):
    made.folder = tmp_path
    (tmp_path / "bench.yaml").write_text(grouped(BENCH), "utf-8")
    yield made
    made.end_all()


def test_a_run_reaches_link_local_nodes_and_names_them_with_their_zone(spaces):
    spaces.serve(grouped(SERVED))
    before = spaces.octets("office0", "tx")
    code, out, err = spaces.hil("run", PLAN, "--bench", "bench.yaml")

    assert code == 0, out + err
    assert "READY: 4 of 4 cases passed" in out
    assert "interface rack0, fe80::1%rack0: link up" in err
    assert "interface rack0 listens to [ff02::20:21%rack0]:47920, [ff02::20:20%rack0]:47920" in err
    assert spaces.octets("office0", "tx") - before < 1_000

    code, out, err = spaces.hil("scan", "--bench", "bench.yaml")

    assert code == 0, out + err
    assert "[fe80::2%rack0]:47921" in out


def test_the_guard_makes_link_local_nodes_safe_when_the_runner_is_killed(spaces):
    spaces.serve(grouped(SERVED))
    plan = spaces.folder / "plan.yaml"
    plan.write_text(
        "plan: Long\ncases:\n  - case: the fan runs\n    steps:\n"
        "      - stimulus: {circulator.duty: 100 %}\n"
        "        expect: [{signal: circulator.duty, value: 100 %, during: 1 s to 20 s}]\n"
    )
    process = spaces.start(spaces.bench, "-m", "hil", "run", "plan.yaml", "--bench", "bench.yaml")
    journal = spaces.folder / "reports" / "latest" / "journal.jsonl"
    wait_for(process, journal, '"state":"accepted"')
    process.kill()
    process.communicate()
    code, out, err = spaces.hil("run", PLAN, "--only", "stack", "--bench", "bench.yaml")

    assert code == 0, out + err
    assert "its guard sent 8 safe commands, 8 were answered" in err
    lines = [json.loads(line) for line in journal.read_text().splitlines()]
    assert {line["trouble"] for line in lines if line["event"] == "host-note"} == {"unclean end"}


def wait_for(process, file, text):
    """Wait until a file says something; the kernel tells when the process is over."""
    import select
    import time

    end = time.monotonic() + 20
    while not (file.exists() and text in file.read_text()):
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < end
        select.select([], [], [], 0.02)


def test_the_number_of_an_interface_will_do_as_a_zone(spaces):
    index = ip(f"ip -n {spaces.bench} -o link show rack0").split(":")[0]
    text = grouped(BENCH).replace("fe80::2%rack0", f"fe80::2%{index}")
    (spaces.folder / "bench.yaml").write_text(text, "utf-8")
    spaces.serve(grouped(SERVED))
    code, out, err = spaces.hil("scan", "--bench", "bench.yaml")

    assert code == 0, out + err
    assert f"[fe80::2%{index}]:47925" in out


def test_the_number_of_another_interface_is_told_in_words(spaces):
    index = ip(f"ip -n {spaces.bench} -o link show office0").split(":")[0]
    text = grouped(BENCH).replace("fe80::2%rack0", f"fe80::2%{index}")
    (spaces.folder / "bench.yaml").write_text(text, "utf-8")
    code, _, err = spaces.hil("scan", "--bench", "bench.yaml")

    assert code == 3
    assert f"feedline: the zone of fe80::2%{index} is not rack0, which is number" in err
    assert "try: fe80::2%rack0" in err
