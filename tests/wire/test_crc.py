"""CRCs against published check values, and against a second library."""

from dataclasses import replace

import pytest
from crccheck.crc import Crc as IndependentCrc
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.wire.crc import KNOWN, calculator, explain_mismatch, name_of, verify
from hil.wire.rack import Crc

# The public CRC catalogue, over ASCII 123456789, as carried by PyPI crccheck.
CATALOGUE = [
    ("CRC-8/SAE-J1850", 8, 0x1D, 0xFF, False, False, 0xFF, 0x4B),
    ("CRC-8/AUTOSAR", 8, 0x2F, 0xFF, False, False, 0xFF, 0xDF),
    ("CRC-8/SMBUS", 8, 0x07, 0x00, False, False, 0x00, 0xF4),
    ("CRC-8/NRSC-5", 8, 0x31, 0xFF, False, False, 0x00, 0xF7),
    ("CRC-8/MAXIM-DOW", 8, 0x31, 0x00, True, True, 0x00, 0xA1),
    ("CRC-16/IBM-3740", 16, 0x1021, 0xFFFF, False, False, 0x0000, 0x29B1),
    ("CRC-16/XMODEM", 16, 0x1021, 0x0000, False, False, 0x0000, 0x31C3),
    ("CRC-16/IBM-SDLC", 16, 0x1021, 0xFFFF, True, True, 0xFFFF, 0x906E),
    ("CRC-16/MODBUS", 16, 0x8005, 0xFFFF, True, True, 0x0000, 0x4B37),
    ("CRC-32/ISO-HDLC", 32, 0x04C11DB7, 0xFFFFFFFF, True, True, 0xFFFFFFFF, 0xCBF43926),
    ("CRC-32/ISCSI", 32, 0x1EDC6F41, 0xFFFFFFFF, True, True, 0xFFFFFFFF, 0xE3069283),
    ("CRC-32/AUTOSAR", 32, 0xF4ACFB13, 0xFFFFFFFF, True, True, 0xFFFFFFFF, 0x1697D06A),
]
H2F = KNOWN["CRC-8/AUTOSAR"]

# AUTOSAR Specification of CRC Routines (SWS CRC Library), tables of example values for
# CRC8 (SAE J1850), CRC8H2F, CRC16 (CCITT-FALSE), CRC32 (ISO-HDLC) and CRC32P4.
PATTERNS = [
    ("00000000", 0x59, 0x12, 0x84C0, 0x2144DF1C, 0x6FB32240),
    ("f20183", 0x37, 0xC2, 0xD374, 0x24AB9D77, 0x4F721A25),
    ("0faa0055", 0x79, 0xC6, 0x2023, 0xB6C9B287, 0x20662DF8),
    ("00ff5511", 0xB8, 0x77, 0xB8F9, 0x32A06212, 0x9BD7996E),
    ("332255aabbccddeeff", 0xCB, 0x11, 0xF53F, 0xB0AE863D, 0xA65A343D),
    ("926b55", 0x8C, 0x33, 0x0745, 0x9CDEA29B, 0xEE688A78),
    ("ffffffff", 0x74, 0x6C, 0x1D0F, 0xFFFFFFFF, 0xFFFFFFFF),
]
PATTERN_NAMES = (
    "CRC-8/SAE-J1850",
    "CRC-8/AUTOSAR",
    "CRC-16/IBM-3740",
    "CRC-32/ISO-HDLC",
    "CRC-32/AUTOSAR",
)


@pytest.mark.parametrize("row", CATALOGUE, ids=lambda row: row[0])
def test_crc_gives_the_published_check_value(row):
    name, width, polynomial, start, reflect_in, reflect_out, final_xor, check = row
    crc = Crc(
        width=width,
        polynomial=polynomial,
        start=start,
        reflect_in=reflect_in,
        reflect_out=reflect_out,
        final_xor=final_xor,
        check=check,
    )

    assert check == calculator(crc)(b"123456789")
    assert verify(crc) == ""
    assert name == name_of(crc)


@pytest.mark.parametrize("row", PATTERNS, ids=lambda row: row[0])
def test_crc_gives_the_published_pattern_values(row):
    octets, *wanted = row

    got = [calculator(KNOWN[name])(bytes.fromhex(octets)) for name in PATTERN_NAMES]

    assert wanted == got


@pytest.mark.parametrize("name", KNOWN)
def test_every_known_set_gives_its_own_check_value(name):
    assert verify(KNOWN[name]) == ""


@pytest.mark.parametrize("name", KNOWN)
def test_every_known_set_agrees_with_a_second_library(name):
    crc = KNOWN[name]

    assert crc.check == _independent(crc, b"123456789")


def _independent(crc, octets):
    engine = IndependentCrc(
        crc.width, crc.polynomial, crc.start, crc.reflect_in, crc.reflect_out, crc.final_xor
    )
    return engine.process(octets).final()


@settings(deadline=None)
@given(
    octets=st.binary(max_size=40),
    width=st.sampled_from((8, 12, 16, 24, 32, 64)),
    numbers=st.tuples(*[st.integers(0, 2**64 - 1)] * 3),
    reflect_in=st.booleans(),
    reflect_out=st.booleans(),
)
def test_crc_of_any_parameters_agrees_with_a_second_library(
    octets, width, numbers, reflect_in, reflect_out
):
    polynomial, start, final_xor = (number % (1 << width) for number in numbers)
    crc = Crc(
        width=width,
        polynomial=polynomial,
        start=start,
        reflect_in=reflect_in,
        reflect_out=reflect_out,
        final_xor=final_xor,
        check=0,
    )

    assert _independent(crc, octets) == calculator(crc)(octets)


# The three values that libraries give for "the" CRC-16 of this text: 29B1, 31C3, E5CC.
@given(start=st.integers(0, 0xFFFF), final=st.integers(0, 0xFFFF), octets=st.binary(max_size=64))
def test_crc_of_the_polynomial_that_python_knows_agrees_with_a_second_library(start, final, octets):
    crc = replace(KNOWN["CRC-16/IBM-3740"], start=start, final_xor=final, check=0)

    assert _independent(crc, octets) == calculator(crc)(octets)


def test_verify_refuses_a_check_value_of_another_start():
    declared = replace(KNOWN["CRC-16/IBM-3740"], start=0x1D0F)

    assert verify(declared) == (
        "check value over 123456789 is 0xE5CC with these parameters, declared 0x29B1; "
        "the declared one is that of CRC-16/IBM-3740"
    )


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        ({"width": 0}, "a CRC is 1 to 64 bits wide, not 0"),
        ({"width": 65}, "a CRC is 1 to 64 bits wide, not 65"),
        ({"start": 0x10000}, "start 0x10000 does not fit into 16 bits"),
        ({"polynomial": -1}, "polynomial -0x1 does not fit into 16 bits"),
    ],
)
def test_verify_refuses_impossible_parameters(change, problem):
    assert problem == verify(replace(KNOWN["CRC-16/IBM-3740"], **change))


@pytest.mark.parametrize(
    ("got", "why"),
    [
        (0x31C3, "fits start value 0000"),
        (0xE5CC, "fits start value 1D0F"),
        (0xB129, "fits with the octets of the CRC swapped"),
        (0x4B37, "fits CRC-16/MODBUS"),
        (0x374B, "fits CRC-16/MODBUS with the octets of the CRC swapped"),
        (0x0001, ""),
    ],
)
def test_mismatch_is_explained_by_what_fits(got, why):
    assert why == explain_mismatch(KNOWN["CRC-16/IBM-3740"], b"123456789", got)
