"""The `checks` of a bench file: CRCs by all their parameters."""

from hil.files.bench_shape import CHECK
from hil.files.leaf import FLAG, WHOLE
from hil.files.mistake import Page
from hil.files.tree import Node
from hil.wire.crc import verify
from hil.wire.rack import Crc


def read_check(node: Node, page: Page) -> Crc | None:
    """Return a CRC; its parameters must give its check value."""
    fields = CHECK.open(node, page)
    if fields is None:
        return None
    numbers = [
        WHOLE.at(fields, key, page)
        for key in ("width", "polynomial", "start", "final-xor", "check")
    ]
    flags = [FLAG.at(fields, key, page) for key in ("reflect-in", "reflect-out")]
    width, polynomial, start, final_xor, check = numbers
    if width is None or polynomial is None or start is None or final_xor is None or check is None:
        return None
    reflect_in, reflect_out = flags
    if reflect_in is None or reflect_out is None:
        return None
    crc = Crc(
        width=width,
        polynomial=polynomial,
        start=start,
        reflect_in=reflect_in,
        reflect_out=reflect_out,
        final_xor=final_xor,
        check=check,
    )
    wrong = verify(crc)
    if wrong:
        page.wrong(fields["check"], wrong)
        return None
    return crc
