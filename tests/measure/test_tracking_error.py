"""The worst tracking error, at the samples and between them; each worked out by hand."""

from decimal import Decimal as D

import pytest

from hil.measure.tracking_error import worst_error

COMMANDS = [(0, D(0)), (100, D(10)), (200, D(4))]


def worst(samples, **more):
    times, values = zip(*samples, strict=True)
    given = {"commands": COMMANDS, "end": 300, "held": False} | more
    found = worst_error(times, [D(str(value)) for value in values], **given)
    return found.low, found.likely, found.high


@pytest.mark.parametrize(
    ("samples", "more", "figures"),
    [
        # at its samples it is right, and just behind 100 it can still have been at 0
        ([(50, 0), (150, 10), (250, 4)], {}, (0, 0, 10)),
        # the same with each change reported: at 0 until 150, while 10 was commanded
        ([(50, 0), (150, 10), (250, 4)], {"held": True}, (10, 10, 10)),
        # a command at the very end of the gap counts in it: 10 at 200 and 4 commanded
        ([(150, 10), (200, 10)], {}, (6, 6, 6)),
        # a look that began before the command: it may have been of then, and right
        ([(110, 0), (120, 10)], {}, (10, 10, 10)),
        ([(110, 0), (120, 10)], {"look": 20}, (0, 0, 10)),
        ([(110, 10), (120, 10)], {"look": 20}, (0, 0, 10)),
        # noise takes from what is certain and adds to what is possible
        ([(150, 7), (160, 7)], {"noise": D(1)}, (2, 3, 4)),
        ([(150, 10), (160, 10)], {"noise": D(1)}, (0, 0, 1)),
        # held to the end, and no sample before the first counts
        ([(150, 10)], {"held": True}, (6, 6, 6)),
        ([(150, 10)], {"held": True, "end": 190}, (0, 0, 0)),
        ([(150, 10)], {}, (0, 0, 0)),
        # before the first command it is the first that counts
        ([(-50, 1), (-40, 1)], {}, (1, 1, 1)),
    ],
)
def test_the_worst_error_is_certain_at_samples_and_possible_between(samples, more, figures):
    assert figures == pytest.approx(worst(samples, **more))
