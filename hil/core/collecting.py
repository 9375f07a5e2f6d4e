"""The garbage collector, kept out where a tree of live objects grows: it would only walk it."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def no_collection() -> Iterator[None]:
    """Keep the collector out for as long as this lasts, and leave it as it was."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
