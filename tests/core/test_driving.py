"""How far the first command of a run may go: a signal counts as commanded to where it was seen."""

from decimal import Decimal

import pytest
from core.paper import at, number

from hil.core.driving import Driving
from hil.core.signal import Drive, Sample, Validity

RATE = Decimal(2)  # bar per second
SHOWN = "feedline.shown"
READ_BACK = {
    "feedline.pressure": number(
        drive=Drive(safe=Decimal(0), rest=Decimal(0), rate=RATE, readback=SHOWN)
    ),
    SHOWN: number(SHOWN),
}
ITSELF = {
    "feedline.pressure": number(drive=Drive(safe=Decimal(0), rest=Decimal(0), rate=RATE)),
}


def seen(path, value, validity=Validity.VALID):
    return {path: Sample(path, Decimal(value), validity, at(0), at(0))}


@pytest.mark.parametrize(
    ("signals", "known", "ready"),
    [
        (READ_BACK, seen(SHOWN, 1), at(100 + 1500)),  # 3 bar at 2 bar/s
        (READ_BACK, seen(SHOWN, 5), at(100 + 500)),
        (READ_BACK, seen("feedline.pressure", 1), at(0)),  # what is echoed is not where it is
        (READ_BACK, seen(SHOWN, 1, Validity.STALE), at(0)),
        (READ_BACK, seen(SHOWN, 1, Validity.INVALID), at(0)),
        (ITSELF, seen("feedline.pressure", 1), at(100 + 1500)),
        (ITSELF, {}, at(0)),
    ],
)
def test_the_first_command_waits_as_if_the_signal_had_been_commanded_at_the_start(
    signals, known, ready
):
    driving = Driving(signals, at(0), at(100), known)

    assert driving.ready_at("feedline.pressure", Decimal(4)) == ready
