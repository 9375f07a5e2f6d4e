"""Does an indicator show what it must?

| way of showing | shows a look when                                             |
|----------------|---------------------------------------------------------------|
| label, text    | the signal carries exactly that                               |
| RGB            | each channel is within the tolerance                          |
| chromaticity   | x, y lies in the named region (lamp off: nothing measurable)  |
| segments       | the lit ones are from the first to the second number          |
| reading        | the number is the rounded input within the tolerance; without |
|                | a reading: the stated text, or no valid value at all          |
| blink          | the rate is from the first to the second                      |

An indicator whose own value is invalid or stale shows nothing that can be judged: False.  During a
look that the spec does not judge it by, whatever it shows is right.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from hil.alarms.colour import within_tolerance
from hil.alarms.indicator import (
    Blink,
    Chromaticity,
    Indicator,
    Labels,
    Reading,
    Rgb,
    RgbCodes,
    Segments,
    Text,
)
from hil.alarms.spec import SPECIAL
from hil.alarms.standard import REGIONS
from hil.core.signal import EXACT, Sample, Validity, Value

_FULL = 0xFFFFFF


def shows(
    indicator: Indicator, look: str, samples: Sequence[Sample], input_value: Decimal | None = None
) -> bool:
    """Return whether the samples, one per signal of the indicator, show the look.

    `input_value` is the measured input, for indicators that show the number itself.
    """
    how = indicator.how
    if look in indicator.not_judged:
        return True
    if isinstance(how, Reading):
        return _shows_reading(how, look, samples[0], input_value)
    if isinstance(how, Chromaticity) and how.wanted.get(look, "") is None:
        return all(sample.validity is Validity.INVALID for sample in samples)
    if any(sample.validity is not Validity.VALID for sample in samples):
        return False
    values = [sample.value for sample in samples if sample.value is not None]
    if len(values) != len(indicator.signals) or look not in how.wanted:
        return False
    match how:
        case Labels(wanted=texts) | Text(wanted=texts):
            return values[0] == texts[look]
        case RgbCodes(wanted=colours, tolerance=tolerance):
            got = _rgb(values)
            return got is not None and within_tolerance(got, colours[look], tolerance)
        case Chromaticity(wanted=names):
            return _in_region(names[look], values)
        case Segments(wanted=spans):
            return _between(values[0], spans, look)
        case Blink(wanted=rates):
            return _between(values[0], rates, look)


def _shows_reading(how: Reading, look: str, sample: Sample, input_value: Decimal | None) -> bool:
    if look in how.wanted:
        return sample.validity is Validity.VALID and sample.value == how.wanted[look]
    if look in SPECIAL:
        return sample.validity is Validity.INVALID
    if sample.validity is not Validity.VALID or not isinstance(sample.value, Decimal):
        return False
    if input_value is None:
        return False
    wanted = how.display.round(input_value)
    return abs(EXACT.subtract(sample.value, wanted)) <= how.tolerance


def _rgb(values: Sequence[Value]) -> Rgb | None:
    numbers = [int(value) for value in values if isinstance(value, Decimal)]
    if len(numbers) == 1 and 0 <= numbers[0] <= _FULL:
        return numbers[0] >> 16, numbers[0] >> 8 & 0xFF, numbers[0] & 0xFF
    return (numbers[0], numbers[1], numbers[2]) if len(numbers) == 3 else None


def _in_region(name: str | None, values: Sequence[Value]) -> bool:
    if name is None or len(values) != 2:
        return False
    x, y = values
    region = REGIONS.get(name)
    return (
        region is not None
        and isinstance(x, Decimal)
        and isinstance(y, Decimal)
        and region.contains(x, y)
    )


def _between(
    value: Value,
    spans: Mapping[str, tuple[int, int]] | Mapping[str, tuple[Decimal, Decimal]],
    look: str,
) -> bool:
    first, last = spans[look]
    return isinstance(value, Decimal) and first <= value <= last
