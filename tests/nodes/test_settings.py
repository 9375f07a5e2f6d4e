"""Settings: read strictly, all mistakes at once."""

from decimal import Decimal

import pytest

from hil.core.error import DescriptionError
from hil.nodes.settings import DEFAULTS, Settings


def test_settings_have_defaults() -> None:
    settings = Settings({})

    assert Decimal("3.60") == settings.number("feed-amber")
    assert settings.duration("decision-time") == 3_000_000
    assert settings.text("firmware") == "1.4.2"


def test_settings_take_what_is_written() -> None:
    settings = Settings({"feed-amber": "4.00 bar", "boot-time": "0.5 ms"})

    assert Decimal("4.00") == settings.number("feed-amber")
    assert settings.duration("boot-time") == 500_000


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("feed-amber", "4.00", "expected a number and bar, got '4.00'"),
        ("feed-amber", "4.00 kPa", "expected a number and bar"),
        ("feed-amber", "four bar", "expected a number and bar"),
        ("feed-amber", "NaN bar", "no number a rack could work with"),
        ("feed-amber", "1e9 bar", "no number a rack could work with"),
        ("feed-amber", "-1 bar", "too small"),
        ("vane-slew", "0 deg/s", "too small"),
        ("feed-amber", "9 bar", "feed-amber must be below feed-red"),
        ("fastest-answer", "9 ms", "fastest-answer must not be above slowest-answer"),
        ("feed-ambre", "4 bar", "no setting is called 'feed-ambre'"),
    ],
)
def test_settings_refuse_what_makes_no_sense(name: str, text: str, words: str) -> None:
    with pytest.raises(DescriptionError, match=words):
        Settings({name: text}, "rack.yaml")


def test_settings_report_every_mistake_with_its_file() -> None:
    with pytest.raises(DescriptionError) as caught:
        Settings({"feed-amber": "4", "feed-ambre": "4 bar", "fan-lag": "1 s"}, "rack.yaml")

    assert len(caught.value.mistakes) == 3
    assert all(mistake.mark.file == "rack.yaml" for mistake in caught.value.mistakes)
    assert "feed-amber" in {mistake.hint for mistake in caught.value.mistakes}


def test_defaults_written_out_are_the_defaults() -> None:
    written, default = Settings(dict(DEFAULTS)), Settings({})
    numbers = [name for name, text in DEFAULTS.items() if " " in text]

    assert [default.number(name) for name in numbers] == [written.number(name) for name in numbers]
