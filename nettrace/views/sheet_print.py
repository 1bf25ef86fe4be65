"""The sheet as PDF: the page printed by a browser of the Chromium family, without a window."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

from nettrace.errors import BadInput
from nettrace.views.drawing_browser import find_browser

__all__ = ["CannotPrint", "print_pdf"]

#: A page with a large photo takes a few seconds; one that takes this long never ends.
MOST_SECONDS: Final = 90.0
_HINT = "Write FILE.html and print it from any browser."


class CannotPrint(BadInput):
    """No browser that prints, or it failed (exit 4)."""


def print_pdf(html: str) -> bytes:
    """Return a page as PDF.

    Raises:
        CannotPrint: no browser, or it failed.
    """
    browser = find_browser()
    if browser is None:
        raise CannotPrint("no browser of the Chromium family to print with", hint=_HINT)
    with tempfile.TemporaryDirectory(prefix="nettrace-", ignore_cleanup_errors=True) as folder:
        page, printed = Path(folder) / "sheet.html", Path(folder) / "sheet.pdf"
        page.write_text(html, encoding="utf-8")
        _run(browser, page, printed, Path(folder) / "profile")
        return printed.read_bytes()


def _run(browser: str, page: Path, printed: Path, profile: Path) -> None:
    command = [
        browser,
        "--headless",
        "--disable-gpu",
        "--no-first-run",
        "--disable-extensions",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        "--no-pdf-header-footer",
        f"--user-data-dir={profile}",
        f"--print-to-pdf={printed}",
        page.as_uri(),
    ]
    if sys.platform == "linux" and os.geteuid() == 0:
        # the browser refuses root with its sandbox on; the page is ours and loads nothing
        command.insert(1, "--no-sandbox")
    try:
        done = subprocess.run(
            command,
            capture_output=True,
            timeout=MOST_SECONDS,
            check=False,
            stdin=subprocess.DEVNULL,
        )
    except subprocess.TimeoutExpired:
        raise CannotPrint(
            f"the browser did not finish in {MOST_SECONDS:.0f} s", hint=_HINT
        ) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise CannotPrint(f"cannot start {browser} ({reason})", hint=_HINT) from None
    if not printed.is_file() or not printed.stat().st_size:
        raise CannotPrint(f"the browser printed nothing (exit {done.returncode})", hint=_HINT)
