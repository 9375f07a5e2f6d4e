"""Runs written into tables, and again."""

import pytest
from history.nights import about, folder_of, history, identified, night, of, record
from sqlalchemy import func, select, text

from hil.core.error import DescriptionError, StoreError
from hil.history.keep import keep, keep_run
from hil.history.passages import passages_of_run
from hil.history.place import place_of
from hil.history.runs import find_run, newest
from hil.history.schema import (
    CHECKS,
    FIGURES,
    NODES,
    OF_RUN,
    RESULTS,
    STEPS,
    TABLES,
    VERSION,
    TooNew,
    migrate,
    version_of,
)
from hil.history.shelf import Shelf


def count(connection, table):
    return connection.scalar(select(func.count()).select_from(table))


def test_a_run_kept_again_replaces_itself(tmp_path, reading):
    place = history(tmp_path, [of("pass", "fail"), of("pass", "pass")])
    again = folder_of(tmp_path, of("pass", "fail"), 0)
    before = {table.name: count(reading(place), table) for table in TABLES.sorted_tables}
    keep_run(place, again)

    assert before == {table.name: count(reading(place), table) for table in TABLES.sorted_tables}
    assert [run.name for run in newest(reading(place), 9)] == [about(1).run, about(0).run]


def test_a_run_that_was_half_written_is_completed(tmp_path, reading):
    place = history(tmp_path, [of("pass", "fail")[:4]])
    half = newest(reading(place), 1)[0]
    keep_run(place, folder_of(tmp_path, of("pass", "fail"), 0))
    (whole,) = newest(reading(place), 9)

    assert (half.ended, half.passed, half.left_out) == (False, 1, 1)
    assert (whole.ended, whole.passed, whole.failed, whole.left_out) == (True, 1, 1, 0)


def test_checks_keep_their_numbers_over_nights(tmp_path, reading):
    place = history(
        tmp_path,
        [
            night(("a", "pass", {"place": "p:9:3", "wanted": "45.00 deg ± 1.50 deg"})),
            night(("a", "pass", {"place": "p:70:3", "wanted": "45.00 deg ± 1.00 deg"})),
        ],
    )
    connection = reading(place)
    numbers = list(connection.scalars(select(RESULTS.c.check_id)))
    asked = list(connection.scalars(select(RESULTS.c.ask_id)))

    assert len(set(numbers)) == 1
    assert len(set(asked)) == 2
    assert count(connection, CHECKS) == 1


def test_identities_and_figures_are_kept(tmp_path, reading):
    figures = (("settle", 1.0, 2.0, None, "ns"),)
    events = night(("a", "pass", {"figures": figures}), extra=[identified()])
    connection = reading(history(tmp_path, [events]))
    node = connection.execute(select(NODES)).one()
    figure = connection.execute(select(FIGURES)).one()

    assert (node.node, node.serial, node.firmware, node.boots) == ("louvres", "GH-0104", "1.4.2", 1)
    assert (figure.name, figure.likely, figure.high, figure.unit) == ("settle", 2.0, None, "ns")


def test_a_text_that_no_database_takes_is_made_visible(tmp_path, reading):
    events = night(("a", "fail", {"got": "a\x00b\ud800", "text": "a\x00"}))
    connection = reading(history(tmp_path, [events]))

    assert connection.scalar(select(RESULTS.c.got)) == r"a\x00b\ud800"
    assert passages_of_run(connection, newest(connection, 1)[0])[0].reason == r"a\x00"


def test_what_fails_in_the_middle_leaves_nothing(tmp_path, reading):
    place = history(tmp_path, [of("pass")])
    shelf = Shelf(place)
    with pytest.raises(RuntimeError), shelf.writing() as connection:
        keep(connection, record(of("fail"), 1))
        raise RuntimeError("broken on purpose")
    shelf.close()

    assert [run.name for run in newest(reading(place), 9)] == [about(0).run]


def test_everything_of_a_run_goes_with_it():
    of_runs = {table.name for table in TABLES.sorted_tables if "run" in table.c}

    assert of_runs == {table.name for table in OF_RUN}


def test_a_history_of_a_later_version_is_refused(tmp_path, reading):
    place = history(tmp_path, [of("pass")])
    shelf = Shelf(place)
    with shelf.writing() as connection:
        connection.execute(VERSION.update().values(number=99))
    with pytest.raises(StoreError, match="later version of this tool"), shelf.writing():
        pass
    with pytest.raises(StoreError, match="later version of this tool"), shelf.reading():
        pass
    shelf.close()


def test_an_older_history_is_brought_up_to_date_step_by_step(tmp_path):
    shelf = Shelf(history(tmp_path, [of("pass")]))
    steps = (
        *STEPS,
        lambda connection: connection.execute(text("ALTER TABLE plans ADD COLUMN owner TEXT")),
        lambda connection: connection.execute(text("UPDATE plans SET owner = 'nobody'")),
    )
    with shelf.writing() as connection:
        migrate(connection, steps)
        migrate(connection, steps)

        assert version_of(connection) == len(STEPS) + 2
        assert connection.scalar(text("SELECT owner FROM plans")) == "nobody"
        with pytest.raises(TooNew):
            migrate(connection)
        connection.rollback()
    shelf.close()


@pytest.mark.parametrize(
    ("text", "url", "shown"),
    [
        ("reports/history.sqlite", "sqlite:///reports/history.sqlite", "reports/history.sqlite"),
        ("sqlite:////var/h.sqlite", "sqlite:////var/h.sqlite", "sqlite:////var/h.sqlite"),
        (
            "postgresql://rack:secret@db/history",
            "postgresql+psycopg://rack:secret@db/history",
            "postgresql://rack:***@db/history",
        ),
    ],
)
def test_a_place_is_a_file_or_a_server(text, url, shown):
    place = place_of(text)

    assert (place.url, place.shown) == (url, shown)


def test_a_place_of_another_kind_is_refused_without_its_password():
    with pytest.raises(DescriptionError) as refused:
        place_of("mysql://rack:secret@db/history")

    assert "secret" not in str(refused.value)


def test_a_run_is_found_by_name_beginning_folder_and_rack(tmp_path, reading):
    place = history(tmp_path, [of("pass"), of("pass")])
    connection = reading(place)
    first, last = about(0).run, about(1).run

    assert find_run(connection, first).name == first
    assert find_run(connection, first[:10]).name == first
    assert find_run(connection, str(tmp_path / first)).name == first
    assert find_run(connection, "glasshouse:virtual").name == last
    for wrong in ("glasshouse", "2026100", "nothing"):
        with pytest.raises(DescriptionError):
            find_run(connection, wrong)


def test_a_history_that_is_not_there_or_is_something_else_is_told(tmp_path):
    other = tmp_path / "other.sqlite"
    other.write_text("this is a letter, and no database at all, however long it is" * 40)
    nothing = Shelf(place_of(str(tmp_path / "none.sqlite")))
    with pytest.raises(DescriptionError, match="no history here"), nothing.reading():
        pass
    assert not (tmp_path / "none.sqlite").exists()
    letter = Shelf(place_of(str(other)))
    with pytest.raises(StoreError, match="is no history"), letter.reading():
        pass
    letter.close()
