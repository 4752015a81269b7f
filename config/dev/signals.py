"""Being told to stop: a signal only sets a flag, and every wait of the launcher looks at it."""

import ctypes
import os
import signal
import sys
import time
from types import FrameType


class Stopped(BaseException):
    """We were told to stop."""


class StopFlag:
    """Counts the requests to stop: Ctrl-C, SIGTERM, and a closed terminal unless nohup asked for that to be ignored."""

    def __init__(self) -> None:
        self.count = 0
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._told)
        if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:
            signal.signal(signal.SIGHUP, self._told)
        if sys.platform == "linux" and "MAKELEVEL" in os.environ:
            # A make that is killed outright cannot pass that on; PR_SET_PDEATHSIG (linux/prctl.h) has the kernel do it.
            ctypes.CDLL(None).prctl(1, int(signal.SIGTERM), 0, 0, 0)

    def _told(self, number: int, frame: FrameType | None) -> None:  # noqa: ARG002 - the shape of a signal handler
        self.count += 1

    def pause(self, seconds: float) -> None:
        """Wait; raise `Stopped` within a tenth of a second of being told to stop."""
        until = time.monotonic() + seconds
        while True:
            if self.count:
                raise Stopped
            left = until - time.monotonic()
            if left <= 0:
                return
            time.sleep(min(left, 0.1))

    def hurried(self) -> bool:
        """Whether we were told more than once: then the waiting before the hard signals is short."""
        return self.count > 1
