"""Timing: what is compared is timed in turns within one run, and the median of the turns counts.

The processor time of this process is counted, which other work on the machine moves least.
"""

import gc
import statistics
import time
from collections.abc import Callable


def in_turns(work: dict[str, tuple[Callable[[], object], int]], repeats: int) -> dict[str, float]:
    """Seconds per item of each piece of work, the median of ``repeats`` turns.

    Args:
        work: name to (function, how many items one call works through).
        repeats: turns; in each turn every piece runs once, so that a slow moment hits neighbours alike.
    """
    seen: dict[str, list[float]] = {name: [] for name in work}
    for _ in range(repeats):
        for name, (function, items) in work.items():
            gc.collect()
            start = time.process_time()
            function()
            seen[name].append((time.process_time() - start) / items)
    return {name: statistics.median(times) for name, times in seen.items()}
