"""Shell completion: the script for a shell, and the names of the board as candidates."""

from __future__ import annotations

import os
import shlex
from collections.abc import Iterable
from pathlib import Path

import click
from click.shell_completion import CompletionItem, get_completion_class, split_arg_string

import nettrace
from nettrace.errors import NettraceError, WrongUsage

#: Candidates offered at most: more than a screen helps nobody, and big boards have thousands.
MOST_CANDIDATES = 200
#: The variable by which the shell's script asks; click derives it from the program's name.
VARIABLE = "_NETTRACE_COMPLETE"


def script(shell: str) -> str:
    """Return the script for a shell: bash, zsh or fish."""
    found = get_completion_class(shell)
    if found is None:
        raise click.UsageError(f"no completion for {shell}")
    whole = click.get_current_context().find_root().command
    return found(whole, {}, "nettrace", VARIABLE).source()


def candidates(kind: str, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return the names of a kind that go on from what is typed; none where no board can be read.

    `kind` is file (left to the shell, which knows its files), net, part, pad, place (a net or a
    part's pad), rail, bus or formula.
    """
    if kind == "file":
        return [CompletionItem(incomplete, type="file")]
    try:
        names = _names(ctx, kind, incomplete)
    except NettraceError:
        return []  # a half-typed line is no place for a complaint
    typed = incomplete.casefold()
    found = [name for name in dict.fromkeys(names) if name.casefold().startswith(typed)]
    if os.environ.get(VARIABLE) == "bash_complete":  # zsh and fish quote what they insert
        found = [shlex.quote(name) for name in found]
    return [CompletionItem(name) for name in found[:MOST_CANDIDATES]]


def _names(ctx: click.Context, kind: str, incomplete: str) -> Iterable[str]:
    if kind == "formula":
        return [item.name for item in nettrace.formulas()]
    if kind in {"rail", "bus"}:
        circuit = nettrace.load(_board_path(ctx))
        if kind == "rail":
            return circuit.rails
        return [*(bus.name for bus in circuit.buses), *(bus.protocol for bus in circuit.buses)]
    board = nettrace.load_board(_board_path(ctx))
    names: list[str] = []
    if kind in {"net", "place"}:
        names += [net.name for net in board.nets]
    if kind == "part":
        names += [part.refdes for part in board.parts]
    if kind in {"pad", "place"}:
        refdes = incomplete.rpartition(".")[0].casefold()
        # pads of one part once its name is there; before that, the parts alone are enough to read
        pins = [p for p in board.parts if p.refdes.casefold() == refdes]
        names += [f"{part.refdes}.{pin.number}" for part in pins for pin in part.pins]
        if not refdes:
            names += [part.refdes for part in board.parts]
    return names


def _board_path(ctx: click.Context) -> str:
    """Return BOARD as typed, or the board of the job file that was typed."""
    board, job = ctx.params.get("board"), ctx.params.get("path")
    if not board and not job:
        # an option that still lacks its value: click has not come to the arguments
        is_job = " job " in f" {ctx.command_path} "
        board, job = (None, _typed_path()) if is_job else (_typed_path(), None)
    if isinstance(board, str) and board:
        return board
    if isinstance(job, str) and job:
        from nettrace.bench.job import load_job

        return str(Path(job).resolve().parent / load_job(Path(job)).board.path)
    raise WrongUsage("no board yet")


def _typed_path() -> str | None:
    """Return the first word of the typed line that is a file or folder."""
    words = split_arg_string(os.environ.get("COMP_WORDS", ""))
    return next((word for word in words[2:] if Path(word).exists()), None)
