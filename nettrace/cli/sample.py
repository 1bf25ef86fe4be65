"""`nettrace sample`: lay the sample board's files down, from the wheel or from the checkout."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import click

from nettrace.errors import NothingMatches
from nettrace.views.text import counted, write_json, write_note

__all__ = ["sample", "sample_folder"]

#: Sample name -> what is laid down of `samples/`: folders, and files.
SAMPLES = {"wren": ("wren", "formats", "README.md")}
_CHECKOUT = Path(__file__).resolve().parents[2] / "samples"


def sample_folder() -> Path:
    """Return the folder of samples, of the checkout or of the installed package."""
    if (_CHECKOUT / "wren").is_dir():
        return _CHECKOUT
    return Path(str(files("nettrace").joinpath("_samples")))


@click.command()
@click.argument("name")
@click.argument("folder", metavar="DIR")
@click.option("--force", is_flag=True, help="Replace files that are there.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
def sample(
    name: str,
    folder: str,
    force: bool,
    as_json: bool,
    debug: bool,  # noqa: ARG001 - main() looks for it
) -> None:
    """Lay a sample board down in DIR: NAME is wren.

    \b
      nettrace sample wren samples
      nettrace area samples/wren --around J3 --radius 4
    """  # noqa: D301 - \b is click's mark for lines that stay as they are
    from nettrace.cli.files import CannotWrite, refuse_to_replace, write_file

    wanted = SAMPLES.get(name.casefold())
    if wanted is None:
        raise NothingMatches(f"no sample {name!r}", hint=f"There is {', '.join(SAMPLES)}.")
    target = Path(folder)
    found = {target / path: sample_folder() / path for path in _files(wanted)}
    for path in found:
        refuse_to_replace(path, force=force)  # before anything is written
    for path, source in found.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise CannotWrite(f"cannot make the folder {path.parent} ({reason})") from None
        write_file(path, source.read_bytes(), force=force)
    if as_json:
        written = [path.as_posix() for path in found]
        write_json(None, "sample", {"name": name.casefold(), "files": written})
        return
    board = target / wanted[0]
    write_note(
        f"{counted(len(found), 'file')} written. Try: "
        f"nettrace area {board.as_posix()} --around J3 --radius 4"
    )


def _files(wanted: tuple[str, ...]) -> list[Path]:
    """Return the files of a sample, relative to the folder of samples, in a fixed order."""
    root = sample_folder()
    found: list[Path] = []
    for name in wanted:
        place = root / name
        inside = sorted(place.iterdir()) if place.is_dir() else [place]
        found += [path.relative_to(root) for path in inside if path.is_file()]
    return found
