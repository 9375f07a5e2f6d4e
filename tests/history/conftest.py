import pytest

from hil.history.shelf import Shelf


@pytest.fixture
def reading():
    """Open a history to ask it; closed at the end of the test."""
    opened = []

    def open_(place):
        shelf = Shelf(place)
        context = shelf.reading()
        opened.append((shelf, context))
        return context.__enter__()

    yield open_
    for shelf, context in reversed(opened):
        context.__exit__(None, None, None)
        shelf.close()
