"""Processor time of this process and of those that it has started: other work on the machine disturbs it little."""

import os
from collections import defaultdict
from collections.abc import Callable, Collection
from pathlib import Path
from time import process_time

_PROC = Path("/proc")


def processor_s_of(work: Callable[[], object]) -> float:
    """Do some work; return how long it was on a processor, here and in the processes that this one had started.

    In seconds, by Linux's scheduler: ``/proc/*/task/*/schedstat``.
    """
    started = _descendants(os.getpid())
    before, own_before_s = _on_processor_s(started), process_time()
    work()
    own_s = process_time() - own_before_s
    return own_s + _on_processor_s(started) - before


def _descendants(process: int) -> list[int]:
    children = defaultdict[int, list[int]](list)
    for folder in _PROC.glob("[0-9]*"):
        if text := _read(folder / "stat"):
            children[int(text.rpartition(")")[2].split()[1])].append(int(folder.name))  # brackets enclose the name
    descendants, waiting = list[int](), [process]
    while waiting:
        own = children[waiting.pop()]
        descendants += own
        waiting += own
    return descendants


def _on_processor_s(processes: Collection[int]) -> float:
    files = (file for process in processes for file in (_PROC / str(process) / "task").glob("*/schedstat"))
    return sum(int((_read(file) or "0").split()[0]) for file in files) / 1e9


def _read(file: Path) -> str:
    try:
        return file.read_text()
    except OSError:
        return ""
