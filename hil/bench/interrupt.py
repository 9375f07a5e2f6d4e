"""SIGINT, SIGTERM and SIGHUP, turned from blows into news.

A build server stops a run with SIGTERM, a person with Ctrl-C, a closed terminal with SIGHUP.
All three end the run in the same way: every actuator is driven safe first.  A second signal
shortens the wait, never the safe state.
"""

import os
import signal
import threading
from types import FrameType, TracebackType
from typing import Any

from hil.core.instant import Duration, Instant
from hil.core.observation import Abort

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
FIRST_PATIENCE = Duration(1_000_000_000)
NEXT_PATIENCE = Duration(200_000_000)


class Interrupts:
    """Catches the three signals while it is open; only a main thread can.

    `fd` becomes readable when one came; `number` is the first that came, for the exit code.
    Elsewhere than in a main thread nothing is caught and `fd` never becomes readable.
    """

    def __init__(self) -> None:
        self.number: int | None = None
        self._count = 0
        self._taken = 0
        self.fd, self._bell = os.pipe()
        os.set_blocking(self.fd, False)
        os.set_blocking(self._bell, False)
        self._before: dict[signal.Signals, Any] = {}
        self._bell_before = -1
        self._caught = threading.current_thread() is threading.main_thread()
        if self._caught:
            for number in SIGNALS:
                if signal.getsignal(number) is not signal.SIG_IGN:  # nohup and the like
                    self._before[number] = signal.signal(number, self._heard)
            self._bell_before = signal.set_wakeup_fd(self._bell, warn_on_full_buffer=False)

    def take(self, now: Instant) -> Abort | None:
        """Return why the run is to end, once for every signal that came; None for none."""
        if self._count == self._taken:
            return None
        first = self._taken == 0
        self._taken = self._count
        name = signal.Signals(self.number or signal.SIGTERM).name
        return Abort(
            reason=f"ended by {name}" if first else f"ended by {name}, and again",
            at=now,
            patience=FIRST_PATIENCE if first and self._count == 1 else NEXT_PATIENCE,
        )

    def silence(self) -> None:
        """Empty the bell, so that it can ring again."""
        try:
            while os.read(self.fd, 64):
                pass
        except BlockingIOError:
            pass

    def close(self) -> None:
        """Put everything back as it was."""
        if self._caught:
            self._caught = False
            signal.set_wakeup_fd(self._bell_before)
            for number, handler in self._before.items():
                signal.signal(number, handler)
            self._before.clear()
        for fd in (self.fd, self._bell):
            if fd >= 0:
                os.close(fd)
        self.fd = self._bell = -1

    def __enter__(self) -> "Interrupts":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _heard(self, number: int, frame: FrameType | None) -> None:
        if self.number is None:
            self.number = number
        self._count += 1
