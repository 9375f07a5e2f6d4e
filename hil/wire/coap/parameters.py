"""The times of CoAP's exchange of messages (RFC 7252 §4.8)."""

from dataclasses import dataclass
from fractions import Fraction

from hil.core.instant import SECOND, Duration

DEFAULT_MAX_AGE = 60
"""Seconds for which a representation may be used that does not say (RFC 7252 §5.10.5)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameters:
    """RFC 7252's table 2 with its defaults, and what follows from them (table 3).

    `seed` decides the chance in the back-off.  `renewal` is how long after its Max-Age a
    subscription registers again, from and to (RFC 7641 §3.3.1).  `block_exponent` is the largest
    block this side sends or asks for, 2 ** (4 + exponent) octets.  `early` makes a request say
    so at once (RFC 7959 §2.4).  Of a body no more than `largest_body` octets are taken in.

    PROBING_RATE is not enforced: the callers' deadlines bound what is sent to a silent node.
    """

    ack_timeout: Duration = Duration(2 * SECOND)
    ack_random_factor: Fraction = Fraction(3, 2)
    max_retransmit: int = 4
    nstart: int = 1
    default_leisure: Duration = Duration(5 * SECOND)
    max_latency: Duration = Duration(100 * SECOND)
    seed: int = 0
    token_length: int = 4
    renewal: tuple[Duration, Duration] = (Duration(5 * SECOND), Duration(15 * SECOND))
    block_exponent: int = 6
    early: bool = False
    largest_body: int = 1 << 20

    def __post_init__(self) -> None:
        if self.ack_timeout <= 0 or self.ack_random_factor < 1 or self.max_retransmit < 0:
            raise ValueError("ACK_TIMEOUT is above 0, ACK_RANDOM_FACTOR at least 1")
        if not 0 <= self.block_exponent <= 6 or not 1 <= self.token_length <= 8 or self.nstart < 1:
            raise ValueError(
                "block exponents go to 6, tokens have 1 to 8 octets, NSTART is above 0"
            )

    @property
    def longest_timeout(self) -> Duration:
        """The longest first timeout: ACK_TIMEOUT × ACK_RANDOM_FACTOR."""
        return Duration(int(self.ack_timeout * self.ack_random_factor))

    @property
    def max_transmit_span(self) -> Duration:
        """From the first transmission to the last, at most."""
        return Duration(self.longest_timeout * ((1 << self.max_retransmit) - 1))

    @property
    def max_transmit_wait(self) -> Duration:
        """From the first transmission until nobody waits any longer, at most."""
        return Duration(self.longest_timeout * ((2 << self.max_retransmit) - 1))

    @property
    def max_rtt(self) -> Duration:
        """There and back, with the node's PROCESSING_DELAY, which is ACK_TIMEOUT."""
        return Duration(2 * self.max_latency + self.ack_timeout)

    @property
    def exchange_lifetime(self) -> Duration:
        """How long a confirmable message's id may not be used again."""
        return Duration(self.max_transmit_span + self.max_rtt)

    @property
    def non_lifetime(self) -> Duration:
        """How long a non-confirmable message's id may not be used again."""
        return Duration(self.max_transmit_span + self.max_latency)
