"""Stopping on signals: a signal only sets a flag, and every wait of the launcher looks at it."""

import ctypes
import os
import signal
import sys
import time
from types import FrameType


class Stopped(BaseException):
    """A signal asked the launcher to stop."""


class StopFlag:
    """Counts the requests to stop: Ctrl-C, SIGTERM, and a closed terminal unless nohup asked for that to be ignored."""

    def __init__(self) -> None:
        self.count = 0
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._on_signal)
        if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:
            signal.signal(signal.SIGHUP, self._on_signal)
        if sys.platform == "linux" and "MAKELEVEL" in os.environ:
            # A make that is killed outright cannot pass that on; PR_SET_PDEATHSIG (linux/prctl.h) has the kernel do it.
            ctypes.CDLL(None).prctl(1, int(signal.SIGTERM), 0, 0, 0)

    def _on_signal(self, number: int, frame: FrameType | None) -> None:  # noqa: ARG002 - the shape of a signal handler
        self.count += 1

    def pause(self, seconds: float) -> None:
        """Wait; raise `Stopped` within a tenth of a second of a signal to stop."""
        until = time.monotonic() + seconds
        while True:
            if self.count:
                raise Stopped
            left = until - time.monotonic()
            if left <= 0:
                return
            time.sleep(min(left, 0.1))

    def wants_fast_stop(self) -> bool:
        """Whether more than one signal came: then the waits before the harder signals are short."""
        return self.count > 1
