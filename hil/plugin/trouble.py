"""How a case that did not pass becomes an outcome of pytest.

fail, unstable                          failed     CaseFailed, in the call
inconclusive, error, not run            error      BenchTrouble, in the setup
known                                   xfailed
skipped                                 skipped
"""


class CaseFailed(AssertionError):
    """The node is wrong; the text is every reason, one a line."""


class BenchTrouble(RuntimeError):
    """The bench could not judge, or broke; the node may be right."""
