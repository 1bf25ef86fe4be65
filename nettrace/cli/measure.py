"""Commands about figures: value, formula, reading."""

from __future__ import annotations

import click

from nettrace.cli.completion import complete_parts, complete_places
from nettrace.cli.options import BoardInput, board_options, rail_notes
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.names import natural_key
from nettrace.views.text import write_json

__all__ = ["formula", "reading", "value"]


@click.command()
@click.argument("text", nargs=-1, required=True, metavar="TEXT")
@click.option("--series", metavar="E24", help="E series to combine parts from.")
@click.option("--tolerance", metavar="1%", help="How far a combination may be off.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
def value(
    text: tuple[str, ...],
    series: str | None,
    tolerance: str | None,
    as_json: bool,
    debug: bool,  # noqa: ARG001 - main() looks for it
) -> None:
    """Decode a marking or a value text: every meaning it may have, likeliest first.

    \b
      nettrace value 4R7
      nettrace value 01C
      nettrace value "22uF 6.3V 20% 0603"
      nettrace value yellow violet red gold
    """  # noqa: D301 - \b is click's mark for lines that stay as they are
    from nettrace.values.marking import explain_value
    from nettrace.values.series import SERIES

    if series is not None and series.upper() not in SERIES:
        raise WrongUsage(f"no series {series!r}", hint=f"There are {', '.join(SERIES)}.")
    answer = explain_value(" ".join(text), series.upper() if series else None, _fraction(tolerance))
    from nettrace.views.values import meanings, show_value

    if as_json:
        write_json(None, "meanings", meanings(answer))
        return
    from nettrace.views.tables import Sheet

    with Sheet() as sheet:
        show_value(answer, sheet)


def _fraction(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        percent = float(text.strip().removesuffix("%"))
    except ValueError:
        percent = -1.0
    if not 0 < percent < 100:
        raise WrongUsage(f"--tolerance {text!r}", expected="per cent", hint="Write it like 1%.")
    return percent / 100


def _formula_names(
    ctx: click.Context,  # noqa: ARG001 - click's signature
    param: click.Parameter,  # noqa: ARG001 - click's signature
    incomplete: str,
) -> list[str]:
    from nettrace.electrical.formulas import FORMULAS

    return [item.name for item in FORMULAS if item.name.startswith(incomplete.lower())]


@click.command()
@click.argument("name", required=False, shell_complete=_formula_names)
@click.argument("inputs", nargs=-1, metavar="[INPUT=VALUE]...")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
def formula(
    name: str | None,
    inputs: tuple[str, ...],
    as_json: bool,
    debug: bool,  # noqa: ARG001 - main() looks for it
) -> None:
    """Work out a formula of the bench by name; without a name, list them.

    \b
      nettrace formula pull-up-window volts=1.8 capacitance=100p
      nettrace formula thermistor ohms=5k
      nettrace formula supply volts=15 amperes=0.05
    """  # noqa: D301 - \b is click's mark for lines that stay as they are
    from nettrace.electrical.formulas import FORMULAS, find_formula, solve_formula
    from nettrace.views.values import answers, show_answers, show_formulas

    if name is None:
        if as_json:
            listed = [
                {"name": item.name, "help": item.help, "inputs": [p.name for p in item.parameters]}
                for item in FORMULAS
            ]
            write_json(None, "formulas", listed)
            return
        from nettrace.views.tables import Sheet

        with Sheet() as sheet:
            show_formulas(FORMULAS, sheet)
        return
    given = {}
    for word in inputs:
        key, equals, said = word.partition("=")
        if not equals:
            raise WrongUsage(f"{word!r}", expected="INPUT=VALUE", hint="For instance volts=1.8.")
        given[key.strip()] = said.strip()
    found = solve_formula(name, given)
    if as_json:
        write_json(None, "formula", answers(name, found))
        return
    from nettrace.views.tables import Sheet

    with Sheet() as sheet:
        show_answers(find_formula(name), found, sheet)


@click.command()
@board_options
@click.argument("pad", metavar="PAD", required=False, shell_complete=complete_places)
@click.option(
    "--to",
    "to",
    metavar="PAD|NET",
    help="The other probe; else ground, rail, part.",
    shell_complete=complete_places,
)
@click.option(
    "--without",
    "without",
    multiple=True,
    metavar="REFDES",
    help="A part that is missing.",
    shell_complete=complete_parts,
)
@click.option(
    "--change",
    "changes",
    multiple=True,
    metavar="REFDES=OHMS",
    help="A part of two nets that has another resistance: R5=4k7.",
)
@click.option(
    "--short",
    "shorts",
    multiple=True,
    metavar="REFDES",
    help="A part of two nets that is shorted.",
    shell_complete=complete_parts,
)
@click.option("--power", "power", is_flag=True, help="No PAD: the power in every resistor.")
def reading(
    source: BoardInput,
    pad: str | None,
    to: str | None,
    without: tuple[str, ...],
    changes: tuple[str, ...],
    shorts: tuple[str, ...],
    power: bool,
) -> None:
    """Say what a meter should show at PAD (REFDES.PIN or a net), and how sure that is.

    Power off: ohms, at most or exact, and farads. With the rails up: volts, a thermistor's line
    over temperature, and the power in the resistor against its rating; --rail NAME=V says which
    rails are on, else every rail of known voltage is.

    \b
      nettrace reading samples/wren R12.2
      nettrace reading samples/wren R12.2 --without R12 --without R13
      nettrace reading samples/wren BUCK_FB --change R23=12k
      nettrace reading samples/wren +3V3 --short C14
      nettrace reading samples/wren TS --to GND --rail VREF_1V8=1.8
      nettrace reading samples/wren --power
    """  # noqa: D301 - \b is click's mark for lines that stay as they are
    from nettrace.bench.metered import Lying, measure_pad, measure_power

    if (pad is None) != power:
        raise WrongUsage(
            "a pad and --power" if power else "no pad",
            expected="PAD or --power",
            hint="For instance R12.2, a net's name, or --power alone.",
        )
    if power and to is not None:
        raise WrongUsage("--to with --power", hint="It goes with a pad.")
    circuit = source.load()
    gone = [name.strip() for words in without for name in words.split(",")]
    changed = _changes(changes) | dict.fromkeys(shorts, 0.0)
    lying = Lying(gone, rail_notes(source.rails), changed)
    from nettrace.views import readings as view
    from nettrace.views.tables import Sheet

    if pad is None:
        heats = measure_power(circuit, lying)
        if source.as_json:
            write_json(circuit.board, "power", [view.power(heat) for heat in heats])
            return
        with Sheet() as sheet:
            view.show_power(circuit.board.name, heats, sheet)
        return
    found = measure_pad(circuit, pad, to, lying)
    if not found.now:
        raise NothingMatches(
            f"nothing to measure {pad} against",
            hint="It is on no net, or the board has no ground; give the other probe with --to.",
        )
    if source.as_json:
        answer = view.readings(found.now, found.fitted, found.without, found.changed)
        write_json(circuit.board, "reading", answer)
        return
    gone = sorted(found.without, key=natural_key)
    with Sheet() as sheet:
        view.show_readings(
            pad, circuit.board.name, found.now, found.fitted, gone, sheet, found.changed
        )


def _changes(words: tuple[str, ...]) -> dict[str, float]:
    """Return refdes -> ohms of the `REFDES=OHMS` words."""
    from nettrace.values.quantity import parse_quantity

    changed = {}
    for word in words:
        name, equals, ohms = word.rpartition("=")
        if not equals or not name.strip():
            raise WrongUsage(
                f"--change {word!r}", expected="REFDES=OHMS", hint="Write it like R5=4k7."
            )
        changed[name.strip()] = parse_quantity(ohms, "Ω")
    return changed
