"""What runs wrote down about ports of a test, taken away: another test may get the same ports."""

from collections.abc import Iterable

from hil.bench.mark import Mark
from hil.wire.rack import Address


def at(port: int | str) -> Address:
    """Return the address of a port on loopback."""
    return Address("127.0.0.1", int(port))


def forget(ports: Iterable[int | str]) -> None:
    """Remove the files of some ports on loopback."""
    for port in ports:
        mark = Mark(at(port))
        for file in (mark.holder_file, mark.unclean_file, mark.guard_file):
            file.unlink(missing_ok=True)
