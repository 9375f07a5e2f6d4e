"""Why a serial line cannot be opened, in a sentence with what to try."""

import errno
import os

import pytest

from hil.bench.line import _cannot
from hil.wire.console.description import Line

DEVICE = "/dev/null"  # its group is root's everywhere


@pytest.mark.parametrize(
    ("number", "told", "hint"),
    [
        (errno.ENOENT, "there is no /dev/null", "is it plugged in?"),
        (errno.ENODEV, "there is no /dev/null", "is it plugged in?"),
        (errno.EACCES, "no permission for /dev/null", "sudo usermod -aG root $USER"),
        (errno.EBUSY, "/dev/null is in use by another program", "fuser -v /dev/null"),
        (errno.EAGAIN, "/dev/null is in use by another program", "fuser -v /dev/null"),
        (errno.ENOTTY, "no serial port, or it cannot do 9600 bit/s 7E1", ""),
        (errno.EIO, "/dev/null: input/output error", ""),
    ],
)
def test_what_the_system_says_is_told_with_what_to_try(number, told, hint):
    error = OSError(number, os.strerror(number))
    text = _cannot("pump", DEVICE, error, Line(rate=9600, frame="7E1"))

    assert text.startswith("the console of pump cannot be opened: ")
    assert told in text
    assert (f"\n    try: {hint}" in text) if hint else ("try:" not in text)
