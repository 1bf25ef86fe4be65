"""Job commands that prove: probe, read, check, sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nettrace.cli.completion import complete_places
from nettrace.cli.job_options import change_bench, job_options, open_bench
from nettrace.errors import BadInput, ExitCode, Place, WrongUsage
from nettrace.views.text import write_json, write_note

if TYPE_CHECKING:
    from nettrace.bench.job import Entry, Job
    from nettrace.job_loading import OpenJob

__all__ = ["check", "probe", "read"]


PROBE_EXAMPLES = """\
\b
  nettrace job probe wren.job
  nettrace job probe wren.job --next
"""


@click.command(epilog=PROBE_EXAMPLES)
@job_options
@click.option("--next", "only_next", is_flag=True, help="The one measurement that tells most now.")
def probe(path: str, as_json: bool, only_next: bool) -> None:
    """List the fewest measurements that would prove the repair, each with its expected figure."""
    from nettrace.bench.diagnosis import next_probe
    from nettrace.bench.probes import plan_probes
    from nettrace.views.encode import encode
    from nettrace.views.job import next_page, probe_page
    from nettrace.views.page import show

    opened = open_bench(path)
    circuit, state = opened.circuit, opened.state
    if only_next:
        found = next_probe(circuit, state)
        if as_json:
            write_json(circuit.board, "next", encode(found))
            return
        show(next_page(found))
        return
    probes = plan_probes(circuit, state)
    if as_json:
        write_json(circuit.board, "probes", encode(probes))
        return
    show(probe_page(probes, state))


READ_EPILOG = """\
SHOWN is a figure (2.19k, 5.02V, 0.31 with --as diode), OL, beep or none.

\b
  nettrace job read wren.job R12.1 R12.2 2.19k
  nettrace job read wren.job +1V8 GND 26.5k
  nettrace job read wren.job R15.1 R15.2 beep
  nettrace job read wren.job supply supply 0.05A --stage intake
  nettrace job read wren.job --csv readings.csv

The CSV has a heading row: at, to, shown, and if needed quantity, stage, note.
"""


@click.command(epilog=READ_EPILOG)
@job_options
@click.argument("at", required=False, shell_complete=complete_places)
@click.argument("to", required=False, shell_complete=complete_places)
@click.argument("shown", required=False)
@click.option("--as", "quantity", metavar="QUANTITY", help="ohms, farads, diode, volts, amperes.")
@click.option("--stage", default="", metavar="TEXT", help="intake, after refit...")
@click.option("--note", default="", metavar="TEXT", help="A remark on it.")
@click.option("--csv", "table", metavar="FILE", help="Readings from a file.")
def read(
    path: str,
    as_json: bool,
    at: str | None,
    to: str | None,
    shown: str | None,
    quantity: str | None,
    stage: str,
    note: str,
    table: str | None,
) -> None:
    """Enter a reading, from the keyboard or a CSV file, and say what it tells."""
    from nettrace.bench.entries import reading_entries

    if (table is None) == (at is None or to is None or shown is None):
        raise WrongUsage(
            "no reading" if table is None else "a reading and --csv",
            expected="AT TO SHOWN, or --csv FILE",
            hint="For instance R12.1 R12.2 2.19k.",
        )
    opened = open_bench(path)
    rows = _rows(Path(table)) if table is not None else []

    def add(job: Job) -> list[Entry]:
        if table is None:
            words = {"at": at or "", "to": to or "", "shown": shown or ""}
            return list(reading_entries(opened.circuit, job, [words], quantity, stage, note))
        return list(reading_entries(opened.circuit, job, rows, quantity, stage, note))

    changed = change_bench(opened, add, as_json)
    if not as_json:
        _say_what_it_tells(changed)


def _rows(path: Path) -> list[dict[str, str]]:
    import csv
    import io

    text = _text(path)
    delimiter = ";" if text.partition("\n")[0].count(";") > 1 else ","
    reader = csv.DictReader(io.StringIO(text), delimiter=delimiter)
    rows = []
    for row in reader:
        found = {
            str(key).strip().casefold(): (value or "").strip() for key, value in row.items() if key
        }
        lacking = [key for key in ("at", "to", "shown") if not found.get(key)]
        if lacking:
            raise BadInput(
                f"no {' and no '.join(lacking)} in this row",
                expected="at, to and shown",
                hint="The heading row names the columns: at,to,shown,quantity,stage,note.",
                place=Place(str(path), reader.line_num, 1),
            )
        rows.append(found)
    if not rows:
        raise BadInput("no readings", expected="a heading row and readings", place=Place(str(path)))
    return rows


def _say_what_it_tells(opened: OpenJob) -> None:
    from nettrace.bench.judging import judge_reading

    for reading in opened.state.readings[-1:]:
        judged = judge_reading(opened.circuit, opened.state, reading)
        write_note(f"{judged.state}: {judged.because}")


def _text(path: Path) -> str:
    from nettrace.readers.registry import decode_text

    try:
        raw = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BadInput(f"cannot open ({reason})", place=Place(str(path))) from None
    return decode_text(raw, str(path))


CHECK_EXAMPLES = """\
\b
  nettrace job check wren.job
  nettrace job check wren.job --known-good good.csv --json
"""


@click.command(epilog=CHECK_EXAMPLES)
@job_options
@click.option("--known-good", metavar="FILE", help="Readings from good boards, CSV.")
def check(path: str, as_json: bool, known_good: str | None) -> int:
    """Give the verdict: restored, not restored, or not proven; exit code 1 unless restored."""
    from nettrace.bench.diagnosis import check_job
    from nettrace.views.encode import encode
    from nettrace.views.job import check_page
    from nettrace.views.page import show

    opened = open_bench(path)
    good = None
    if known_good is not None:
        from nettrace.bench.judging import read_known_good

        good = read_known_good(_text(Path(known_good)), known_good)
    found = check_job(opened.circuit, opened.state, good)
    if as_json:
        write_json(opened.circuit.board, "check", encode(found, opened.circuit.board))
    else:
        show(check_page(opened.job.title, found))
    return int(ExitCode.DONE if found.verdict == "restored" else ExitCode.DIFFERENCES)
