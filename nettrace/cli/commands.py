"""The one table of commands: name, words, library call, view, help, examples.

`main` makes the command line of it, docs/make_reference.py the reference, `calls` has what each
command asks of the library. Nothing is imported here: `--help` must cost next to nothing.
"""

from __future__ import annotations

from typing import NamedTuple


class Word(NamedTuple):
    """An argument (its name), or an option (its flags).

    `name` is what the call knows it by, where that is not the option's own; `kind` is text, flag,
    float, int or the choices there are; `names` says what completes it.
    """

    flags: str
    metavar: str = ""
    help: str = ""
    name: str = ""
    kind: str | tuple[str, ...] = "text"
    many: bool = False
    required: bool = True
    default: str | None = None
    names: str = ""

    @property
    def is_option(self) -> bool:
        """Whether it begins with a dash."""
        return self.flags.startswith("-")


class Command(NamedTuple):
    """A command: a line of help, its section in a list, its words, its help and examples.

    `call` is the function of `calls` that asks the library; `examples` are command lines.
    """

    name: str
    section: str
    brief: str
    words: tuple[Word, ...]
    call: str
    text: str
    epilog: str = ""
    examples: tuple[str, ...] = ()


def _option(flags: str, metavar: str, help: str, name: str = "", names: str = "") -> Word:  # noqa: A002 - click's word
    return Word(flags, metavar, help, name, required=False, names=names)


def _flag(flags: str, help: str, name: str = "") -> Word:  # noqa: A002 - click's word
    return Word(flags, "", help, name, kind="flag", required=False)


JSON = _flag("--json", "One JSON object on stdout.", "as_json")
DEBUG = _flag("--debug", "Show where in the program an error arose.")
FORCE = _flag("--force", "Replace FILE if it is there.")
NOTE = _option("--note", "TEXT", "A remark on it.")._replace(default="")
KNOWN_GOOD = _option("--known-good", "FILE", "Readings from good boards, CSV.")
SIDE = Word("--side", help="One side of the board only.", kind=("top", "bottom"), required=False)
BOARD = (
    Word("board", "BOARD", names="file"),
    Word("--with", "FILE", "Add a source.", "with_files", many=True, required=False, names="file"),
    _option("--format", "NAME", "Format of BOARD, if not by content.", "format_name"),
    Word("--hierarchy", help="Expand sheets and subcircuits, or keep each as one part.",
         kind=("flatten", "keep"), required=False),
    Word("--rail", "NAME=V", "A rail's voltage, as you know it.", "rails", many=True,
         required=False, names="net"),
    JSON,
    _flag("--no-cache", "Read the sources anew."),
    DEBUG,
)  # fmt: skip
PLACE = (
    _option("--around", "REFDES[.PIN]", "Around a part or a pad.", names="pad"),
    _option("--at", "X,Y", "Around a point: mm, y up, the file's own origin."),
    Word("--radius", "MM", "How far around; 5 if not given.", kind="float", required=False),
    _option("--box", "X1,Y1,X2,Y2", "Inside a rectangle."),
    _option("--outline", '"X,Y X,Y ..."', "Inside a polygon."),
    SIDE,
)
JOB = (Word("path", "JOB", names="file"), JSON, DEBUG)
WITHOUT_BOARD = (JSON, DEBUG)

LOOK, REPAIR, FIGURES, FILES, START = (
    "Read the board", "Repair", "Figures", "Files", "To begin with",
)  # fmt: skip
BEGIN, WORK, PROVE = "Take in", "Plan and work", "Prove"

COMMANDS: tuple[Command, ...] = (
    Command(
        "summary", LOOK, "What was read: sources, counts, conflicts.",
        BOARD, "summary",
        "Say what was read from which source: counts, rails, buses, warnings, conflicts.",
        examples=("summary samples/wren", "summary board.d356 --with parts.csv"),
    ),
    Command(
        "area", LOOK, "A damaged area: what every bare pad was.",
        (*PLACE, *BOARD), "area",
        """\
Say what was in a damaged area: every pad, net, rail and part, the worst loss first.

A pad counts when its middle is in the area.""",
        """\
Name the place in one of four ways:

\b
  --around J3 --radius 4      around a part or a pad
  --at 12.5,-3 --radius 4     around a point
  --box 0,0,10,5              in a rectangle
  --outline "0,0 9,0 9,4"     in a polygon""",
        ("area samples/wren --around J3 --radius 4",
         "area samples/wren --at 114,-131.6 --radius 3 --side top"),
    ),
    Command(
        "net", LOOK, "A net: voltage, pins, pulls, what it reaches.",
        (*BOARD, Word("name", names="net")), "net",
        """\
Show a net: its kind, voltage and why, pins, pulls, and what it reaches.

NAME may hold * and ?.""",
        examples=("net samples/wren GAUGE_SDA", "net samples/wren '*SDA*'",
                  "net samples/wren TS --json"),
    ),
    Command(
        "part", LOOK, "A part: pins, roles, what stops without it.",
        (*BOARD, Word("refdes", names="part")), "part",
        """\
Show a part: value, pins and nets, what it likely does, what happens without it.

REFDES may hold * and ?.""",
        examples=("part samples/wren R14", "part samples/wren 'FB*'"),
    ),
    Command(
        "pad", LOOK, "One pad, by name or by place.",
        (*BOARD, Word("pad", "[REFDES.PIN]", required=False, names="pad"),
         _option("--at", "X,Y", "The pad nearest to a point: mm, y up."), SIDE), "pad",
        "Show one pad, by name or by place: its net, its neighbours, both ends of its part.",
        examples=("pad samples/wren R12.2",
                  "pad samples/wren --at 115.8,-128.4 --side top"),
    ),
    Command(
        "rail", LOOK, "Rails and grounds: voltage, source, loads.",
        (*BOARD, Word("name", required=False, names="rail")), "rail",
        """\
Show rails and grounds: voltage and why, source, loads, decoupling.

NAME may hold * and ?; without it, all.""",
        examples=("rail samples/wren", "rail samples/wren +3V3",
                  "rail samples/wren VSYS --rail VSYS=4.1"),
    ),
    Command(
        "bus", LOOK, "Serial buses: lines, pull-ups, devices.",
        (*BOARD, Word("name", required=False, names="bus")), "bus",
        """\
Show serial buses: lines, pull-ups and whether they suit, every part on the bus.

NAME is a bus, a protocol or a net of it, and may hold * and ?; without it, all.""",
        examples=("bus samples/wren", "bus samples/wren i2c", "bus samples/wren GAUGE_SDA"),
    ),
    Command(
        "path", LOOK, "How two nets are tied through series parts.",
        (*BOARD, Word("start", "FROM", names="place"), Word("end", "TO", names="place")), "path",
        """\
Show how two nets or pads are tied through series parts: all shortest ways.

FROM and TO are nets or pads (REFDES.PIN). Exit 3 if nothing ties them.""",
        examples=("path samples/wren J3.2 TS", "path samples/wren VBUS VSYS"),
    ),
    Command(
        "job", REPAIR, "A repair from damage to proof, in one file.",
        (), "",
        """\
Carry one repair from damage to proof, in one job file.

JOB is the file; each command is safe on disk when it returns, and can be undone.""",
        examples=(
            "job open wren.job samples/wren",
            'job mark wren.job missing R12 R13 --note "torn off by the screw"',
            "job loose wren.job --ohms 2.19k --size 0201",
            "job match wren.job",
            "job mark wren.job fitted R12 --with L1",
            "job probe wren.job --next",
            "job read wren.job R12.1 R12.2 2.19k",
            "job check wren.job",
        ),
    ),
    Command(
        "reading", FIGURES, "What a meter should show at a pad.",
        (
            *BOARD,
            Word("pad", "PAD", required=False, names="place"),
            _option("--to", "PAD|NET", "The other probe; else ground, rail, part.", names="place"),
            Word("--without", "REFDES", "A part that is missing.", many=True, required=False,
                 names="part"),
            Word("--change", "REFDES=OHMS", "A part of two nets that has another resistance: "
                 "R5=4k7.", "changes", many=True, required=False),
            Word("--short", "REFDES", "A part of two nets that is shorted.", "shorts", many=True,
                 required=False, names="part"),
            _flag("--power", "No PAD: the power in every resistor."),
        ),
        "reading",
        """\
Say what a meter should show at PAD (REFDES.PIN or a net), and how sure that is.

Power off: ohms, at most or exact, and farads. With the rails up: volts, a thermistor's line
over temperature, and the power in the resistor against its rating; --rail NAME=V says which
rails are on, else every rail of known voltage is.

\b
  nettrace reading samples/wren R12.2
  nettrace reading samples/wren R12.2 --without R12 --without R13
  nettrace reading samples/wren BUCK_FB --change R23=12k
  nettrace reading samples/wren +3V3 --short C14
  nettrace reading samples/wren TS --to GND --rail VREF_1V8=1.8
  nettrace reading samples/wren --power""",
    ),
    Command(
        "value", FIGURES, "A marking or value decoded, every meaning.",
        (
            Word("text", "TEXT", many=True),
            _option("--series", "E24", "E series to combine parts from."),
            _option("--tolerance", "1%", "How far a combination may be off."),
            *WITHOUT_BOARD,
        ),
        "value",
        """\
Decode a marking or a value text: every meaning it may have, likeliest first.

\b
  nettrace value 4R7
  nettrace value 01C
  nettrace value "22uF 6.3V 20% 0603"
  nettrace value yellow violet red gold""",
    ),
    Command(
        "formula", FIGURES, "Pull-ups, dividers, thermistors, RC...",
        (
            Word("name", required=False, names="formula"),
            Word("inputs", "[INPUT=VALUE]...", many=True, required=False),
            *WITHOUT_BOARD,
        ),
        "formula",
        """\
Work out a formula of the bench by name; without a name, list them.

\b
  nettrace formula pull-up-window volts=1.8 capacitance=100p
  nettrace formula thermistor ohms=5k
  nettrace formula supply volts=15 amperes=0.05""",
    ),
    Command(
        "draw", FILES, "A picture: graph or map of a damaged area.",
        (
            *PLACE,
            _option("--pad", "REFDES.PIN", "Around one pad."),
            _option("--part", "REFDES", "Around a part."),
            _option("--net", "NAME", "Around a net."),
            _option("--bus", "NAME", "A bus, by its name, its protocol or a net of it."),
            _flag("--placed", "A map of the area at true positions and scale."),
            Word("--without", "REFDES", "A part that is missing too.", many=True, required=False),
            Word("-o --output", "FILE", "FILE.svg, .png, .pdf or .dot."),
            Word("--to", help="Format, if not by FILE's name.", name="picture",
                 kind=("svg", "png", "pdf", "dot"), required=False),
            FORCE,
            *BOARD,
        ),
        "draw",
        """\
Draw a neighbourhood as a graph, or (--placed) a damaged area as a map.

Parts that are missing are marked GONE: in an area, every part that is likely torn off.""",
        "Examples:",
        (
            "draw samples/wren --around J3 --radius 4 -o area.svg",
            "draw samples/wren --around J3 --radius 4 --placed -o map.svg",
            "draw samples/wren --bus i2c --without R12 -o bus.png",
            "draw samples/wren --pad R14.2 -o -",
        ),
    ),
    Command(
        "compare", FILES, "Two netlists: opens, shorts, missing parts.",
        (*BOARD, Word("other", "OTHER"),
         _option("--other-format", "NAME", "Format of OTHER, if not by content.")), "compare",
        """\
Compare OTHER against BOARD as partitions of the same pins; net names do not count.

Says what is open, shorted, missing or extra in OTHER. Exit code 1 where anything differs.""",
        examples=("compare samples/wren/wren.kicad_pcb samples/wren/wren.net",
                  "compare as-drawn.net as-measured.sheet --json"),
    ),
    Command(
        "convert", FILES, "Write the board in another open format.",
        (*BOARD, Word("-o --output", "FILE", "File to write; - is the terminal."),
         _option("--to", "FORMAT", "Format to write; else by FILE's ending.", "target"), FORCE),
        "convert",
        """\
Write BOARD in another open format, or as JSON.

What a format cannot carry is left out and said on stderr.""",
        examples=("convert samples/wren -o wren.edf", "convert board.d356 --to sheet -o -"),
    ),
    Command(
        "sample", START, "Lay the sample board down to try things on.",
        (Word("name"), Word("folder", "DIR"), _flag("--force", "Replace files that are there."),
         *WITHOUT_BOARD), "sample",
        """\
Lay a sample board down in DIR: NAME is wren.

\b
  nettrace sample wren samples
  nettrace area samples/wren --around J3 --radius 4""",
    ),
    Command(
        "completion", START, "The script that completes words.",
        (Word("shell", kind=("bash", "zsh", "fish")), DEBUG), "completion",
        "Print the script that completes commands, options, and the board's net and part names.",
        """\
\b
  bash   echo 'eval "$(nettrace completion bash)"' >> ~/.bashrc
  zsh    echo 'eval "$(nettrace completion zsh)"' >> ~/.zshrc
  fish   nettrace completion fish > ~/.config/fish/completions/nettrace.fish""",
    ),
)  # fmt: skip

JOB_COMMANDS: tuple[Command, ...] = (
    Command(
        "open", BEGIN, "Open a job file on a board.",
        (
            Word("path", "JOB"),
            Word("board", "BOARD", names="file"),
            _option("--title", "TEXT", "What the sheet is headed with.")._replace(default=""),
            Word("--with", "FILE", "Add a source.", "with_files", many=True, required=False),
            _option("--format", "NAME", "Format of BOARD.", "format_name"),
            Word("--rail", "NAME=V", "A rail's voltage.", "rails", many=True, required=False),
            *WITHOUT_BOARD,
        ),
        "job_open",
        "Open a job file on a board. The file must not be there yet.",
        examples=('job open wren.job samples/wren --title "Wren 0417"',),
    ),
    Command(
        "mark", BEGIN, "Mark what is missing, lifted, fitted, wired.",
        (
            *JOB,
            Word("damage", "DAMAGE"),
            Word("places", "[REFDES|REFDES.PIN]...", many=True, required=False, names="pad"),
            _option("--with", "LOOSE", "Fitted with this loose part.", "with_part"),
            _flag("--confirm", "The wire is meant to join two nets."),
            NOTE,
            *PLACE,
        ),
        "job_mark",
        "Mark what is wrong, or what was fitted: by refdes, by pad, or all in an area.",
        """\
DAMAGE is missing, cracked, shifted, doubtful, lifted, cut, bridged, sound, fitted or wired.
A wire goes between two pads, or to a via by its place (12.5,-3.0). One between two nets that the
board keeps apart is shown as a short until it is entered with --confirm.""",
        (
            "job mark wren.job missing R12 R13 C7",
            "job mark wren.job missing --around J3 --radius 4",
            "job mark wren.job lifted R12.1",
            "job mark wren.job bridged R12.1 R13.1",
            "job mark wren.job fitted R12 --with L1",
            "job mark wren.job wired R12.1 TP4.1",
        ),
    ),
    Command(
        "loose", BEGIN, "Enter a part found in the flux.",
        (
            *JOB,
            _option("--name", "NAME", "What to call it; L1, L2... if not given."),
            _option("--ohms", "VALUE", "What the meter says, like 2.19k."),
            _option("--farads", "VALUE", "What the meter says, like 98n."),
            _option("--henries", "VALUE", "What the meter says, like 2.2u."),
            _option("--diode", "VOLTS", "In diode mode, the lower of both ways."),
            _option("--accuracy", "1%", "The meter's accuracy in that range."),
            _option("--size", "0201", "Body size, inch code (or 0603M for metric)."),
            Word("--length", "MM", "Body length.", kind="float", required=False),
            Word("--width", "MM", "Body width.", kind="float", required=False),
            _option("--marking", "TEXT", "What is printed on it."),
            _option("--looks", "KIND", "resistor, capacitor, diode..."),
            _flag("--chipped", "Body or terminations are damaged."),
            NOTE,
        ),
        "job_loose",
        "Enter a part found in the flux: what the meter and the ruler say.",
        examples=("job loose wren.job --ohms 2.19k --size 0201",
                  "job loose wren.job --farads 98n --length 0.6 --width 0.3"),
    ),
    Command(
        "show", BEGIN, "Where the job stands.",
        JOB, "job_show",
        "Say where the job stands, on one screen.",
        examples=("job show wren.job",),
    ),
    Command(
        "undo", BEGIN, "Take the last entry back.",
        (*JOB, Word("--entry", "NUMBER", "That entry; else the last.", kind="int",
                    required=False)), "job_undo",
        "Take the last entry back (or the one of a number). An undo stays in the file.",
        examples=("job undo wren.job", "job undo wren.job --entry 7"),
    ),
    Command(
        "match", WORK, "Which loose part goes where.",
        JOB, "job_match",
        "Say which loose part goes where: certain, interchangeable or open, never a silent guess.",
        examples=("job match wren.job",),
    ),
    Command(
        "needs", WORK, "What to order, and where a donor is.",
        (*JOB, _option("--donors", "FOLDER", "Look for donors on the boards in this folder."),
         _option("-o --output", "FILE.csv", "Write the order for an upload form."), FORCE),
        "job_needs",
        """\
Say what to order for the open positions: values, ratings, spares, substitutes, donors.

Loose resistors that may go back still count: fit them first, or leave their order out.""",
        examples=("job needs wren.job", "job needs wren.job -o order.csv",
                  "job needs wren.job --donors old-boards"),
    ),
    Command(
        "refit", WORK, "The order of work, with cautions.",
        JOB, "job_refit",
        "Plan the order of work with reasons: what first, what melts late, what minds the heat.",
        examples=("job refit wren.job",),
    ),
    Command(
        "wire", WORK, "Where to solder wires for torn copper.",
        (*JOB, Word("places", "[NET|REFDES.PIN]...", many=True, required=False, names="place")),
        "job_wire",
        "Say where to solder wires for lifted pads and cut tracks: those marked, or the ones "
        "named.",
        examples=("job wire wren.job", "job wire wren.job R12.1"),
    ),
    Command(
        "probe", PROVE, "What to measure to prove the repair.",
        (*JOB, _flag("--next", "The one measurement that tells most now.", "only_next")),
        "job_probe",
        "List the fewest measurements that would prove the repair, each with its expected figure.",
        examples=("job probe wren.job", "job probe wren.job --next"),
    ),
    Command(
        "read", PROVE, "Enter a reading.",
        (
            *JOB,
            Word("at", required=False, names="place"),
            Word("to", required=False, names="place"),
            Word("shown", required=False),
            _option("--as", "QUANTITY", "ohms, farads, diode, volts, amperes.", "quantity"),
            _option("--stage", "TEXT", "intake, after refit...")._replace(default=""),
            NOTE,
            _option("--csv", "FILE", "Readings from a file.", "table"),
        ),
        "job_read",
        "Enter a reading, from the keyboard or a CSV file, and say what it tells.",
        """\
SHOWN is a figure (2.19k, 5.02V, 0.31 with --as diode), OL, beep or none.

\b
  nettrace job read wren.job R12.1 R12.2 2.19k
  nettrace job read wren.job +1V8 GND 26.5k
  nettrace job read wren.job R15.1 R15.2 beep
  nettrace job read wren.job supply supply 0.05A --stage intake
  nettrace job read wren.job --csv readings.csv

The CSV has a heading row: at, to, shown, and if needed quantity, stage, note.""",
    ),
    Command(
        "check", PROVE, "Restored, not restored, or not proven.",
        (*JOB, KNOWN_GOOD), "job_check",
        "Give the verdict: restored, not restored, or not proven; exit code 1 unless restored.",
        examples=("job check wren.job", "job check wren.job --known-good good.csv --json"),
    ),
    Command(
        "sheet", PROVE, "The whole job as a page to print.",
        (
            *JOB,
            Word("-o --output", "FILE", "FILE.html, .md or .pdf."),
            _option("--photo", "FILE", "A photo of the damage, JPEG or PNG."),
            Word("--fix", "PAD=X,Y", "A pad in the photo, px.", "fixes", many=True,
                 required=False),
            KNOWN_GOOD,
            Word("--paper", help="What it is printed on.", kind=("a4", "letter"), required=False,
                 default="a4"),
            FORCE,
        ),
        "job_sheet",
        "Write the whole job as one page: to look at, to work from, to print and to sign.",
        """\
\b
  nettrace job sheet wren.job -o wren.html
  nettrace job sheet wren.job -o wren.pdf
  nettrace job sheet wren.job -o wren.html --photo board.jpg \\
      --fix "U2.1=312,418 J3.1=590,402 TP4=455,120 R17.2=700,300"

A --fix says where a pad is in the photo: pixels to the right and down from its upper left
corner, seen upright. Three pads are the least; five or more, far apart, find a slip.""",
    ),
)  # fmt: skip

#: What stands on the screen when nothing was asked; the version is put in.
HINT = """\
nettrace {version}: what every bare pad of a damaged board was, from its netlist.

  nettrace summary BOARD                        what was read
  nettrace area BOARD --around J3 --radius 4    a damaged area, worst loss first
  nettrace net BOARD SDA                        one net: voltage, pull-ups, pins
  nettrace reading BOARD R12.2                  what the meter should show
  nettrace job open my.job BOARD                a repair, from damage to proof

BOARD is a file, or a folder of files of one board. None at hand?
  nettrace sample wren samples
  nettrace area samples/wren --around J3 --radius 4

All commands: nettrace --help. One of them: nettrace area --help."""

ROOT = Command(
    "nettrace", "", "", (DEBUG,), "",
    "Read a damaged board from its netlist: what every bare pad was, and what stops without it.",
    "BOARD is a file, a folder (every file in it that can be read, merged) or a board.toml.\n\n"
    "Examples:",
    ("summary samples/wren", "area samples/wren --around J3 --radius 4",
     "net samples/wren '*SDA*'"),
)  # fmt: skip
