"""How often something may be asked for, per address, device or name. Kept in memory."""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict, deque

_KEYS_KEPT = 20_000


class Limiter:
    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._asked: OrderedDict[str, deque[float]] = OrderedDict()

    def wait(self, key: str, most: int, seconds: float) -> int:
        """Count one request. 0 when it is allowed, else the seconds until one will be."""
        now = time.monotonic()
        with self._guard:
            asked = self._asked.setdefault(key, deque())
            self._asked.move_to_end(key)
            while len(self._asked) > _KEYS_KEPT:
                self._asked.popitem(last=False)
            while asked and asked[0] <= now - seconds:
                asked.popleft()
            if len(asked) >= most:
                return max(1, math.ceil(asked[0] + seconds - now))
            asked.append(now)
            return 0
