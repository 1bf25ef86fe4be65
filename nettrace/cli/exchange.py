"""Commands that set boards side by side or write them out: compare, convert."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nettrace.cli.files import write_file
from nettrace.cli.options import BoardInput, board_options
from nettrace.errors import ExitCode
from nettrace.views.text import write_json, write_note

if TYPE_CHECKING:
    from nettrace.model.board import Board

__all__ = ["compare", "convert"]


COMPARE_EXAMPLES = """\
\b
  nettrace compare samples/wren/wren.kicad_pcb samples/wren/wren.net
  nettrace compare as-drawn.net as-measured.sheet --json
"""


@click.command(epilog=COMPARE_EXAMPLES)
@board_options
@click.argument("other", metavar="OTHER")
@click.option("--other-format", metavar="NAME", help="Format of OTHER, if not by content.")
def compare(source: BoardInput, other: str, other_format: str | None) -> int:
    """Compare OTHER against BOARD as partitions of the same pins; net names do not count.

    Says what is open, shorted, missing or extra in OTHER. Exit code 1 where anything differs.
    """
    from nettrace.bench.compare import compare_boards
    from nettrace.loading import load_board
    from nettrace.views.comparison import comparison, show_comparison

    board = _board(source)
    against = load_board(other, format_name=other_format, hierarchy=source.hierarchy)
    found = compare_boards(board, against)
    if source.as_json:
        write_json(board, "comparison", comparison(board, found))
    else:
        from nettrace.views.tables import Sheet

        with Sheet() as sheet:
            show_comparison(board, against, found, sheet)
    return int(ExitCode.DONE if found.same else ExitCode.DIFFERENCES)


CONVERT_EXAMPLES = """\
\b
  nettrace convert samples/wren -o wren.edf
  nettrace convert board.d356 --to sheet -o -
"""


@click.command(epilog=CONVERT_EXAMPLES)
@board_options
@click.option(
    "-o", "--output", metavar="FILE", required=True, help="File to write; - is the terminal."
)
@click.option("--to", "target", metavar="FORMAT", help="Format to write; else by FILE's ending.")
@click.option("--force", is_flag=True, help="Replace FILE if it is there.")
def convert(source: BoardInput, output: str, target: str | None, force: bool) -> None:
    """Write BOARD in another open format, or as JSON.

    What a format cannot carry is left out and said on stderr.
    """
    from nettrace.writers.registry import format_for_path, left_out, write_board

    name = target or format_for_path(output)
    board = _board(source)
    text = write_board(board, name)
    lost = left_out(board, name)
    if lost:
        write_note(f"Left out, {name} has no form for it: {', '.join(lost)}.")
    if output == "-":
        from nettrace.views.text import write_text

        write_text(text)
        return
    write_file(Path(output), text, force=force)
    if source.as_json:
        written = {"path": output, "format": name, "bytes": len(text.encode())}
        write_json(board, "written", {**written, "left_out": list(lost)})
        return
    counts = board.counts()
    write_note(
        f"{output}: {name}, {counts.parts} parts, {counts.nets} nets, {counts.pins} pins written."
    )


def _board(source: BoardInput) -> Board:
    from nettrace.loading import load_board

    return load_board(
        source.path,
        source.with_files,
        format_name=source.format_name,
        hierarchy=source.hierarchy,
    )
