"""A line on stderr that says what takes long; nothing before a second, nothing off a terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from nettrace.views.text import printable

if TYPE_CHECKING:
    from rich.progress import Progress

__all__ = ["PATIENCE_SECONDS", "progress"]

#: What takes no longer than this is not worth a word.
PATIENCE_SECONDS = 1.0


@contextmanager
def progress(what: str) -> Iterator[None]:
    """Show `what` with a running bar and the time it has taken, until the block ends.

    The bar appears on stderr after `PATIENCE_SECONDS`, is wiped when the block ends, and never
    appears where stderr is no terminal. How much is left is not known, so no figure is shown.
    """
    if not sys.stderr.isatty():
        yield
        return
    bar = _Bar(what)
    bar.start()
    try:
        yield
    finally:
        bar.stop()


class _Bar:
    """The bar of one block; rich is loaded only if it comes to be shown."""

    def __init__(self, what: str) -> None:
        from threading import Lock, Timer

        self._what = printable(what)
        self._timer = Timer(PATIENCE_SECONDS, self._show)
        self._timer.daemon = True
        self._lock = Lock()
        self._ended = False
        self._shown: Progress | None = None

    def start(self) -> None:
        self._timer.start()

    def stop(self) -> None:
        self._timer.cancel()
        with self._lock:
            self._ended = True
            if self._shown is not None:
                self._shown.stop()

    def _show(self) -> None:
        from rich.console import Console
        from rich.markup import escape
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        with self._lock:
            if self._ended:
                return
            self._shown = Progress(
                TextColumn("{task.description}"),
                BarColumn(bar_width=24, pulse_style="default"),
                TimeElapsedColumn(),
                console=Console(file=sys.stderr),
                transient=True,
            )
            self._shown.add_task(escape(self._what), total=None)
            self._shown.start()
