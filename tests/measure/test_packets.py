"""Delay variation, jitter, loss and reordering against the RFCs' rules and examples."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hil.measure.delay import ipdv, jitter, jitter_whole, pdv, round_trip
from hil.measure.loss import find_loss, fraction_lost, missing_numbers
from hil.measure.reordering import find_reordering

TRANSIT = [100, 110, 95, 120, 120, 90, 150, 100]

# RFC 4737's own example (packet 4 late; the numbers from memory, confirmed by the rules), then
# cases computed by the rules of its sections 3 to 5.
REORDERING = [
    ([1, 2, 3, 5, 6, 7, 8, 4, 9, 10], {4: (4, 4)}, Fraction(1, 10)),
    ([1, 2, 3, 4, 7, 5, 6, 8, 9, 10], {5: (1, 1), 6: (2, 0)}, Fraction(1, 5)),
    ([1, 2, 3, 4, 7, 8, 9, 10, 5, 6, 11], {5: (4, 4), 6: (5, 0)}, Fraction(2, 11)),
    ([1, 2, 3, 4, 5], {}, Fraction(0)),
    ([2, 1, 3], {1: (1, 1)}, Fraction(1, 3)),
    ([3, 2, 1], {2: (1, 1), 1: (2, 2)}, Fraction(2, 3)),
]


def test_jitter_of_rfc_3550():
    # computed by the formulas of RFC 3550 6.4.1 and A.8
    floats = [0.625, 1.523438, 2.990723, 2.803802, 4.503565, 7.972092, 10.598836]
    whole = [10, 24, 47, 44, 71, 127, 169]

    assert jitter(TRANSIT) == pytest.approx(floats, abs=1e-6)
    assert jitter_whole(TRANSIT) == whole
    assert [state >> 4 for state in whole] == [0, 1, 2, 2, 4, 7, 10]


def test_jitter_of_a_constant_difference_has_a_closed_form():
    # |D| = 16: J(n) = 16 (1 - (15/16)^n)
    found = jitter([16 * (n % 2) for n in range(101)])
    expected = {1: 1.0, 2: 1.9375, 5: 4.412857, 10: 7.608632, 16: 10.302814, 50: 15.365131}

    assert {n: found[n - 1] for n in expected} == pytest.approx(expected, abs=1e-6)
    assert found[99] == pytest.approx(15.974809, abs=1e-6)


def test_round_trip_of_rfc_3550_figure_2():
    # A 0xb7108000, LSR 0xb7052000, DLSR 0x00054000: 6.125 s
    found = round_trip(0xB7108000, 0xB7052000, 0x00054000)

    assert (found, found / 65536) == (0x00062000, 6.125)


def test_round_trip_over_the_wrap():
    assert round_trip(0x00001000, 0xFFFFF000, 0x1000) == 0x1000


def test_delay_variation():
    # RFC 3393 (ipdv) and RFC 5481 (pdv); vector computed by their rules
    found = ipdv(TRANSIT)

    assert found == [10, -15, 25, 0, -30, 60, -50]
    assert sum(map(abs, found)) / len(found) == pytest.approx(27.142857, abs=1e-6)
    assert pdv(TRANSIT) == [10, 20, 5, 30, 30, 0, 60, 10]


def test_a_lost_packet_breaks_its_pairs():
    assert ipdv([100, None, 95, 120]) == [25]
    assert pdv([100, None, 95]) == [5, 0]
    assert pdv([None]) == [] == ipdv([])


@pytest.mark.parametrize(("arrived", "expected", "ratio"), REORDERING)
def test_reordering_of_rfc_4737(arrived, expected, ratio):
    found = find_reordering(arrived)

    assert {p.number: (p.extent, p.n) for p in found.packets} == expected
    assert found.ratio == ratio


def test_late_time_of_the_rfc_4737_example():
    # packets every 20 ms, 68 ms on the way, packet 4 takes 150 ms: it is 62 ms late
    delays = dict.fromkeys(range(1, 11), 68) | {4: 150}
    arrivals = sorted((20 * (n - 1) + delay, n) for n, delay in delays.items())

    found = find_reordering([n for _, n in arrivals], [at for at, _ in arrivals])

    assert [(p.number, p.late) for p in found.packets] == [(4, 62)]


def test_only_the_first_copy_counts():
    found = find_reordering([1, 2, 2, 4, 3, 3, 1, 5])

    assert [p.number for p in found.packets] == [3]
    assert (found.received, found.duplicates, found.ratio) == (5, 3, Fraction(1, 5))


def test_degree_counts_what_a_receiver_would_notice():
    # RFC 4737: three places are enough for a TCP sender to take a reordering for a loss
    found = find_reordering([1, 2, 3, 5, 6, 7, 8, 4, 10, 9])

    assert [found.degree(n) for n in (1, 3, 4, 5)] == [2, 1, 1, 0]


@given(st.lists(st.integers(0, 30), max_size=40))
def test_reordering_agrees_with_the_rules_word_for_word(numbers):
    arrived = list(dict.fromkeys(numbers))
    expected, next_expected = {}, min(arrived, default=0)
    for i, number in enumerate(arrived):
        if number >= next_expected:
            next_expected = number + 1
            continue
        j = next(k for k in range(i) if arrived[k] > number)
        n = 0
        while n < i and arrived[i - 1 - n] > number:
            n += 1
        expected[number] = (i - j, n)

    found = find_reordering(numbers)

    assert {p.number: (p.extent, p.n) for p in found.packets} == expected
    assert found.duplicates == len(numbers) - len(arrived)


def test_a_stamp_for_each_packet():
    with pytest.raises(ValueError):
        find_reordering([1, 2], [5])


def test_loss_within_a_waiting_time():
    sent = {n: 10 * n for n in range(6)}
    arrived = [(0, 5), (2, 22), (1, 12), (2, 23), (3, 131), (9, 90), (4, 140)]

    found = find_loss(sent, arrived, waiting_time=100)

    assert (found.lost, found.late) == ((3, 5), (3,))
    assert (found.duplicates, found.strays) == ((2,), (9,))
    assert found.ratio == Fraction(1, 3)


def test_a_late_first_copy_and_an_earlier_second_is_not_lost():
    assert find_loss({1: 0}, [(1, 300), (1, 50)], waiting_time=100).lost == ()


def test_nothing_sent_nothing_lost():
    assert find_loss({}, [], waiting_time=1).ratio == 0


def test_missing_numbers_of_a_stream():
    assert missing_numbers([7, 3, 4, 8, 3]) == (5, 6)
    assert missing_numbers([]) == ()


# RFC 3550 A.3: floor of 256 × lost / expected, 0 when negative.
@pytest.mark.parametrize(
    ("expected", "received", "fraction"), [(100, 90, 25), (4, 3, 64), (10, 12, 0), (0, 0, 0)]
)
def test_fraction_lost_of_rfc_3550(expected, received, fraction):
    assert fraction_lost(expected, received) == fraction
