"""A process that writes a history: kept runs are printed, and what went wrong.

history_writer.py PLACE FOLDER…          keep each run, one after the other
history_writer.py PLACE --hold FOLDER    write a run and stand still before the commit
history_writer.py PLACE --runs           print the names of the runs that are there
"""

import sys
from pathlib import Path

from hil.core.error import HilError
from hil.history.keep import keep, keep_run
from hil.history.place import place_of
from hil.history.record import record_of
from hil.history.runs import newest
from hil.history.shelf import Shelf


def main(place: str, *words: str) -> None:
    shelf = Shelf(place_of(place))
    try:
        if words[0] == "--hold":
            with shelf.writing() as connection:
                keep(connection, record_of(Path(words[1])))
                print("in the middle", flush=True)
                sys.stdin.read()
        elif words[0] == "--runs":
            with shelf.reading() as connection:
                print(*sorted(run.name for run in newest(connection, 999)))
        else:
            for folder in words:
                keep_run(place_of(place), Path(folder))
                print(f"kept {Path(folder).name}", flush=True)
    except HilError as error:
        print(f"{type(error).__name__}: {error}", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
