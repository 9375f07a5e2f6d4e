"""Table and pictures in the folder of a run, made again from its journal."""

from report.alarm_paper import RESET, SPEC, TRIP
from report.runs import ABOUT, run

from hil.report.about import write_about
from hil.report.alarm_files import write_alarms
from hil.report.journal import JournalWriter
from hil.report.rebuild import rebuild
from hil.report.tally import fold


def kept(folder):
    return {
        path.name: path.read_bytes() for path in folder.iterdir() if path.name.startswith("alarm")
    }


def test_what_is_made_again_is_the_same(tmp_path):
    events = [SPEC, TRIP, RESET]
    journal = JournalWriter(tmp_path)
    for event in [*run("fail", "pass")[:-2], *events, *run()[-2:]]:
        journal.record(event)
    journal.close()
    write_about(tmp_path, ABOUT)
    write_alarms(tmp_path, fold(events).alarms)
    before = kept(tmp_path)
    for name in before:
        (tmp_path / name).unlink()
    rebuild(tmp_path)

    assert set(before) == {"alarms.csv", "alarm-feed-pressure.svg"}
    assert kept(tmp_path) == before


def test_a_run_without_points_has_neither(tmp_path):
    write_alarms(tmp_path, fold(run("pass")).alarms)

    assert kept(tmp_path) == {}


def test_points_of_an_unknown_spec_have_a_table_and_no_picture(tmp_path):
    write_alarms(tmp_path, fold([TRIP]).alarms)

    assert list(kept(tmp_path)) == ["alarms.csv"]
