"""A long answer on a terminal goes through the user's pager; everywhere else nothing does."""

from __future__ import annotations

import contextlib
import os
import shlex
import shutil
import subprocess
import sys

__all__ = ["pager_for", "show_paged"]

#: `less` leaves at once where all fits, keeps colour, and leaves the text on the screen.
LESS_OPTIONS = "FRX"


def pager_for(lines: int) -> list[str] | None:
    """Return the pager's command line for that many lines, None where none is wanted.

    None is wanted unless both ends are a terminal and the answer is longer than the screen;
    `PAGER=cat` (or an empty one) turns it off.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return None
    if lines < shutil.get_terminal_size().lines:
        return None
    words = shlex.split(os.environ.get("PAGER", "less"))
    if not words or words[0] == "cat" or shutil.which(words[0]) is None:
        return None
    return words


def show_paged(text: str, command: list[str]) -> bool:
    """Show text through a pager; return False where it does not start."""
    environment = {**os.environ, "LESS": os.environ.get("LESS", LESS_OPTIONS)}
    try:
        pager = subprocess.Popen(command, stdin=subprocess.PIPE, env=environment)
    except OSError:
        return False
    if pager.stdin is not None:
        with contextlib.suppress(BrokenPipeError, KeyboardInterrupt), pager.stdin as pipe:
            pipe.write(text.encode(sys.stdout.encoding or "utf-8", "backslashreplace"))
    while pager.poll() is None:
        with contextlib.suppress(KeyboardInterrupt):  # Ctrl-C is the pager's to answer
            pager.wait()
    return True
