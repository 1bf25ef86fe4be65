"""Files that commands write: whole or not at all, never over another unasked."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from nettrace.errors import NettraceError, WrongUsage

__all__ = ["CannotWrite", "refuse_to_replace", "write_file"]


class CannotWrite(NettraceError):
    """A file cannot be written (exit 4)."""


def refuse_to_replace(path: Path, *, force: bool) -> None:
    """Complain where the file is there and `force` was not said.

    Raises:
        WrongUsage: it is there.
    """
    if path.exists() and not force:
        raise WrongUsage(f"{path} is there already", hint="Give another name, or --force.")


def write_file(path: Path, content: str | bytes, *, force: bool) -> None:
    """Write whole or not at all: a temporary file beside it, then a rename.

    Raises:
        WrongUsage: the file is there, and `force` was not said.
        CannotWrite: the system will not have it.
    """
    refuse_to_replace(path, force=force)
    data = content.encode("utf-8") if isinstance(content, str) else content
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        Path(temporary).chmod(0o666 & ~mask)
        Path(temporary).replace(path)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        reason = (error.strerror or str(error)).lower()
        raise CannotWrite(f"cannot write {path} ({reason})") from None
