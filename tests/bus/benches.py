"""Bench files of this project with changes."""

from pathlib import Path

from hil.files.read import read_rack_text
from hil.wire.rack import Rack

FIXTURES = Path(__file__).parents[2] / "fixtures"
GLASSHOUSE, PROPAGATOR = (
    (FIXTURES / f"{name}.yaml").read_text("utf-8") for name in ("glasshouse", "propagator")
)


def changed(text: str, *changes: tuple[str, str]) -> Rack:
    """Read a bench file in which each first text was replaced by the second."""
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return read_rack_text(text, "bench.yaml")
