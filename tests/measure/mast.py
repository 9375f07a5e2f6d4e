"""Real datagrams of the demo's mast, for what is measured on whole streams of them."""

from decimal import Decimal
from pathlib import Path

from core.paper import ms
from measure.meters import START

from hil.core.instant import Instant
from hil.core.observation import NodeNote, Samples
from hil.core.signal import Sample, Validity
from hil.files.read import read_rack
from hil.wire.layout import Codec

RACK = read_rack(Path(__file__).parents[2] / "fixtures" / "glasshouse.yaml")
MAST = next(node for node in RACK.nodes if node.name == "mast")
CODEC = Codec(next(one for one in MAST.layouts if one.name == "mast-reading"), MAST)
VALUES = {
    "light": Decimal(100),
    "temperature": Decimal(20),
    "humidity": Decimal(50),
    "dew-point": Decimal(9),
    "sun-angle": Decimal(0),
    "barometer": Decimal(1013),
    "fault": "none",
    "power": "run",
    "serial": "GH-0103",
    "firmware": "1.4.2",
}


def datagram(number, when, note=None, stamp=None, boots=1):
    """Return one reading that arrived `when` ms after the stimulus, stamped in ms."""
    uptime = ms(1000 + (when if stamp is None else stamp))
    raw = CODEC.encode(values=VALUES, node=3, sequence=number, uptime=uptime, boots=boots)
    at = Instant(START + ms(when))
    if note is not None:
        return at, NodeNote(node="mast", trouble=note, at=at, text="odd", raw=raw)
    sample = Sample("mast.light", Decimal(100), Validity.VALID, at, at, raw=raw)
    return at, Samples("mast", [sample])
