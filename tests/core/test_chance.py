"""Chance that repeats."""

from hil.core.chance import Chance


def test_the_generator_is_splitmix64():
    # Rosetta Code, "Pseudo-random numbers/Splitmix64": the first five numbers of seed 1234567
    # (the list from memory, agreeing with the computed one).
    published = [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]
    chance = Chance(1234567)

    assert published == [chance.word() for _ in published]


def test_streams_of_one_seed_differ():
    assert Chance(5).word() != Chance(5, 1).word() != Chance(5, 2).word()
    assert Chance(5, 1).word() == Chance(5, 1).word()


def test_numbers_below_a_limit_are_even():
    chance = Chance(1)
    drawn = [chance.below(8) for _ in range(8_000)]

    assert set(drawn) == set(range(8))
    assert all(900 < drawn.count(each) < 1_100 for each in range(8))
