"""The collector of cyclic garbage, off for a while."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_off() -> Iterator[None]:
    """Leave the collector off while many small objects are made, none of them cyclic.

    It would walk all of them again and again for nothing. Where it was off, it stays off.
    """
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            gc.enable()
