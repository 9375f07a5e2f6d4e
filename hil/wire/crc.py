"""CRCs by their full parameters, and which well-known one would fit.

The same name stands for several start values, polynomials, reflections and final masks, so a
layout gives all parameters (Williams' model) and the check value over ASCII `123456789`.  The
arithmetic is the library's; this file only knows what to ask it.
"""

from binascii import crc_hqx
from collections.abc import Callable
from functools import lru_cache

import anycrc

from hil.wire.rack import Crc

_HQX = 16, 0x1021, False, False
"""What Python's own library computes, three times as fast for a short datagram."""

CHECK_TEXT = b"123456789"
"""The text that every published check value is over."""


def _known(width: int, *rows: str) -> dict[str, Crc]:
    """Read rows `name polynomial start in out xor check`, all numbers in hex."""
    table = {}
    for row in rows:
        name, polynomial, start, reflect_in, reflect_out, final_xor, check = row.split()
        table[name] = Crc(
            width=width,
            polynomial=int(polynomial, 16),
            start=int(start, 16),
            reflect_in=reflect_in == "r",
            reflect_out=reflect_out == "r",
            final_xor=int(final_xor, 16),
            check=int(check, 16),
        )
    return table


# Names, parameters and check values as in the public CRC catalogue (carried by PyPI crccheck).
KNOWN: dict[str, Crc] = {
    **_known(
        8,
        "CRC-8/SMBUS 07 00 - - 00 F4",
        "CRC-8/ROHC 07 FF r r 00 D0",
        "CRC-8/SAE-J1850 1D FF - - FF 4B",
        "CRC-8/AUTOSAR 2F FF - - FF DF",
        "CRC-8/NRSC-5 31 FF - - 00 F7",
        "CRC-8/MAXIM-DOW 31 00 r r 00 A1",
    ),
    **_known(
        16,
        "CRC-16/IBM-3740 1021 FFFF - - 0000 29B1",
        "CRC-16/XMODEM 1021 0000 - - 0000 31C3",
        "CRC-16/SPI-FUJITSU 1021 1D0F - - 0000 E5CC",
        "CRC-16/GENIBUS 1021 FFFF - - FFFF D64E",
        "CRC-16/IBM-SDLC 1021 FFFF r r FFFF 906E",
        "CRC-16/KERMIT 1021 0000 r r 0000 2189",
        "CRC-16/MCRF4XX 1021 FFFF r r 0000 6F91",
        "CRC-16/ARC 8005 0000 r r 0000 BB3D",
        "CRC-16/MODBUS 8005 FFFF r r 0000 4B37",
        "CRC-16/USB 8005 FFFF r r FFFF B4C8",
        "CRC-16/UMTS 8005 0000 - - 0000 FEE8",
        "CRC-16/DNP 3D65 0000 r r FFFF EA82",
    ),
    **_known(
        32,
        "CRC-32/ISO-HDLC 04C11DB7 FFFFFFFF r r FFFFFFFF CBF43926",
        "CRC-32/MPEG-2 04C11DB7 FFFFFFFF - - 00000000 0376E6E7",
        "CRC-32/BZIP2 04C11DB7 FFFFFFFF - - FFFFFFFF FC891918",
        "CRC-32/JAMCRC 04C11DB7 FFFFFFFF r r 00000000 340BC6D9",
        "CRC-32/ISCSI 1EDC6F41 FFFFFFFF r r FFFFFFFF E3069283",
        "CRC-32/AUTOSAR F4ACFB13 FFFFFFFF r r FFFFFFFF 1697D06A",
    ),
}


@lru_cache(maxsize=256)
def calculator(crc: Crc) -> Callable[[bytes], int]:
    """Return the function from octets to their CRC.  Raises ValueError for an impossible width."""
    if not 1 <= crc.width <= 64:
        raise ValueError(f"a CRC is 1 to 64 bits wide, not {crc.width}")
    limit = 1 << crc.width
    for word, number in (
        ("polynomial", crc.polynomial),
        ("start", crc.start),
        ("final xor", crc.final_xor),
        ("check", crc.check),
    ):
        if not 0 <= number < limit:
            raise ValueError(f"{word} {number:#x} does not fit into {crc.width} bits")
    if (crc.width, crc.polynomial, crc.reflect_in, crc.reflect_out) == _HQX:
        start, final = crc.start, crc.final_xor
        return lambda octets: crc_hqx(octets, start) ^ final
    engine = anycrc.CRC(
        width=crc.width,
        poly=crc.polynomial,
        init=crc.start,
        refin=crc.reflect_in,
        refout=crc.reflect_out,
        xorout=crc.final_xor,
    )
    calculate: Callable[[bytes], int] = engine.calc
    return calculate


def verify(crc: Crc) -> str:
    """Check the declared check value; return what is wrong in words, or an empty text."""
    try:
        got = calculator(crc)(CHECK_TEXT)
    except ValueError as error:
        return str(error)
    if got == crc.check:
        return ""
    digits = (crc.width + 3) // 4
    text = (
        f"check value over 123456789 is 0x{got:0{digits}X} with these parameters, "
        f"declared 0x{crc.check:0{digits}X}"
    )
    fitting = [name for name, known in KNOWN.items() if _same_check(known, crc)]
    return f"{text}; the declared one is that of {' or '.join(fitting)}" if fitting else text


def _same_check(known: Crc, crc: Crc) -> bool:
    return known.width == crc.width and known.check == crc.check


def name_of(crc: Crc) -> str:
    """Return the catalogue's name of these parameters, or an empty text."""
    return next((name for name, known in KNOWN.items() if known == crc), "")


def explain_mismatch(crc: Crc, covered: bytes, got: int) -> str:
    """Say what would make `got` the CRC of `covered`; an empty text where nothing known does.

    >>> from hil.wire.crc import KNOWN, explain_mismatch
    >>> explain_mismatch(KNOWN["CRC-16/IBM-3740"], b"123456789", 0x31C3)
    'fits start value 0000'
    """
    digits = (crc.width + 3) // 4
    octets = (crc.width + 7) // 8
    swapped = (
        int.from_bytes(got.to_bytes(octets, "big"), "little") if got >> 8 * octets == 0 else -1
    )
    if octets > 1 and calculator(crc)(covered) == swapped:
        return "fits with the octets of the CRC swapped"
    for start in _other_starts(crc):
        if calculator(_with_start(crc, start))(covered) == got:
            return f"fits start value {start:0{digits}X}"
    for name, known in KNOWN.items():
        if known.width != crc.width:
            continue
        value = calculator(known)(covered)
        if value == got:
            return f"fits {name}"
        if octets > 1 and value == swapped:
            return f"fits {name} with the octets of the CRC swapped"
    return ""


def _other_starts(crc: Crc) -> list[int]:
    ones = (1 << crc.width) - 1
    known = {item.start for item in KNOWN.values() if item.width == crc.width}
    return sorted((known | {0, ones}) - {crc.start})


def _with_start(crc: Crc, start: int) -> Crc:
    return Crc(
        width=crc.width,
        polynomial=crc.polynomial,
        start=start,
        reflect_in=crc.reflect_in,
        reflect_out=crc.reflect_out,
        final_xor=crc.final_xor,
        check=crc.check,
    )
