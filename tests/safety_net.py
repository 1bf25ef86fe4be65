"""What every file and every command says, written down, so that a rebuilt house can be held to it.

    python tests/safety_net.py write FOLDER [--only WORD ...] [--reads] [--commands]
    python tests/safety_net.py compare BEFORE AFTER

`write` reads every file of the real boards, the samples and the readers' cases in each hierarchy
and writes what came of it (board, warnings and conflicts, or the refusal), and for every board
what every command answers, as JSON and as text. `compare` says what differs. A difference is a
fault mended on purpose, named in the changelog, or it is undone.

It takes a few minutes and is no test: it compares two states of the program.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import io
import json
import os
import re
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

SAMPLES = ROOT / "samples"
CASES = ROOT / "tests" / "readers" / "cases"
HIERARCHIES = (None, "flatten", "keep")
#: Folders beside the boards that hold no board.
NO_BOARDS = {"labels", "truth", "power", "spice", "edif-netlists"}
FORMATS = ("csv", "edif", "graphml", "ipc-d-356", "json", "kicad_net", "sheet", "spice")
_TIMES = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d)?(?:\.\d+)?(?:Z|[+-]\d\d:?\d\d)?")
_LINE_LIMIT = 60


@cache
def boards_folder() -> Path:
    """Return the folder of real boards, as the tests' one fixture finds it."""
    sys.path.insert(0, str(ROOT / "tests"))
    from conftest import boards_folder as find  # type: ignore[import-not-found]

    found: Path | None = find()
    if found is None:
        raise SystemExit("no folder of real boards (set NETTRACE_BOARDS)")
    return found


# -- what a reader made ------------------------------------------------------------------------


def facts_of(board: Any) -> Iterator[str]:
    """Yield a board as lines, from its public attributes alone."""
    yield f"name {board.name}"
    for source in board.sources:
        yield (
            f"source {Path(source.path).name} {source.format} {source.version} {source.parts} "
            f"{source.nets} {source.pins} {source.pads} {source.vias}"
        )
    yield f"counts {board.counts()}"
    for part in board.parts:
        yield (
            f"part {part.key!r} {part.refdes!r} value={part.value!r} package={part.package!r} "
            f"description={part.description!r} at={part.x},{part.y},{part.angle},{part.side} "
            f"sheet={part.sheet!r} place={_place(part.place)} outline={part.outline}"
        )
        yield f"  fitted {part.fitted}"
        for name, value in sorted(part.properties.items()):
            yield f"  property {name!r} {value!r}"
        for name, place in sorted(part.origins.items()):
            yield f"  origin {name!r} {_place(place)}"
        for pin in part.pins:
            yield (
                f"  pin {pin.number!r} {pin.net!r} {pin.name!r} {pin.electrical_type!r} "
                f"{len(pin.pads)} {_place(pin.place)}"
            )
        for pad in part.pads:
            yield (
                f"  pad {pad.number!r} {pad.net!r} {pad.x},{pad.y},{pad.side} {pad.shape} "
                f"{pad.width} {pad.height} {pad.angle} {pad.drill} {pad.plated} "
                f"{_place(pad.place)}"
            )
    for net in board.nets:
        pins = " ".join(str(pin) for pin in net.pins)
        yield f"net {net.name!r} {net.aliases} {net.volts} {_place(net.place)}: {pins}"
    for via in board.vias:
        yield f"via {via.x},{via.y} {via.net!r} {via.diameter} {via.drill}"
    for zone in board.zones:
        yield f"zone {zone.net!r} {zone.layer} {zone.box}"
    yield f"outline {board.outline}"
    yield f"layers {board.layers}"
    for warning in board.warnings:
        yield f"warning {_clean(str(warning))}"
    for conflict in board.conflicts:
        yield f"conflict {_clean(str(conflict))}"


def _place(place: Any) -> str:
    return "-" if place is None else f"{Path(place.path).name}:{place.line}:{place.column}"


def _clean(text: str) -> str:
    """Take machine paths and times out of a text."""
    text = text.replace(str(boards_folder()), "BOARDS").replace(str(ROOT), "ROOT")
    text = re.sub(re.escape(tempfile.gettempdir()) + r"/[\w./-]*?/", "TMP/", text)
    return _TIMES.sub("TIME", text)


def read_files() -> list[Path]:
    """Return every file that a reader may be handed."""
    found = [
        path
        for folder in (boards_folder(), SAMPLES, CASES)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    ]
    return [path for path in found if path.suffix not in {".py", ".md", ".err"}]


def write_read(path: Path, into: Path) -> None:
    """Write what one file is in each hierarchy."""
    import nettrace

    for hierarchy in HIERARCHIES:
        try:
            board = nettrace.load_board(path, hierarchy=hierarchy)
            text = "\n".join(facts_of(board))
        except nettrace.NettraceError as error:
            text = f"{type(error).__name__} {_clean(str(error))}"
        except Exception as error:  # noqa: BLE001 - a bug is a finding here
            text = f"BUG {type(error).__name__} {_clean(str(error))}"
        name = f"{_name(path)}.{hierarchy or 'usual'}.txt"
        (into / name).write_text(text + "\n", encoding="utf-8")


def _name(path: Path) -> str:
    text = _clean(str(path.resolve())).replace(f"{boards_folder()}", "BOARDS")
    return re.sub(r"[^\w.+-]+", "__", text).strip("_")


# -- what a command answers --------------------------------------------------------------------


def run(words: Sequence[str]) -> str:
    """Run the command line in this process; return exit code, stdout and stderr."""
    from nettrace.cli.main import main

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code: Any = main(list(words))
        except SystemExit as stop:
            code = stop.code
        except BaseException as error:  # noqa: BLE001 - a bug is a finding here
            code = f"BUG {type(error).__name__} {error}"
    said = out.getvalue()
    with contextlib.suppress(ValueError):
        said = json.dumps(json.loads(said), indent=1, ensure_ascii=False, sort_keys=True)
    return (
        f"$ {' '.join(map(_clean, words))}\nexit {code}\n{_clean(said)}\n-- stderr\n"
        f"{_clean(err.getvalue())}"
    )


def boards() -> list[Path]:
    """Return every board: folders merged, and single files that differ in kind."""
    real = boards_folder()
    found = [
        path for path in sorted(real.iterdir()) if path.is_dir() and path.name not in NO_BOARDS
    ]
    found += [SAMPLES / "wren", SAMPLES / "bench" / "board.toml"]
    found += sorted((SAMPLES / "formats").iterdir())
    found += [*sorted((real / "spice").glob("*.*")), real / "edif-netlists" / "b13.edf"]
    found += sorted(real.glob("*/*.d356"))
    found += [path for path in sorted(real.glob("*/*.net")) if path.parent.name != "spice"]
    return found


def questions(board: Path, folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Yield a name and the words of every command to ask of one board."""
    import nettrace

    name = str(board)
    yield "summary", ["summary", name]
    yield "net-all", ["net", name, "*"]
    yield "part-all", ["part", name, "*"]
    yield "rail", ["rail", name]
    yield "bus", ["bus", name]
    try:
        circuit = nettrace.load(board)
    except nettrace.NettraceError:
        return
    parts = [part for part in circuit.board.parts if len(part.pins) > 1]
    if not parts:
        return
    # the connectors and chips with most pins, and some small parts, evenly over the list
    large = sorted(parts, key=lambda part: (-len(part.pins), part.key))[:3]
    small = [part for part in parts if len(part.pins) == 2]
    small = small[:: max(1, len(small) // 6)][:6]
    for part in (*large[:2], *small[:2]):
        ref = part.refdes
        yield f"area-{ref}", ["area", name, "--around", ref, "--radius", "4"]
        yield f"area-top-{ref}", ["area", name, "--around", ref, "--radius", "2", "--side", "top"]
    for part in (*large[:1], *small):
        pin = part.pins[0]
        yield f"pad-{pin}", ["pad", name, f"{part.refdes}.{pin.number}"]
        yield f"reading-{pin}", ["reading", name, f"{part.refdes}.{pin.number}"]
    if small:
        one, last = small[0], small[-1]
        first, second = f"{one.refdes}.{one.pins[0].number}", f"{last.refdes}.{last.pins[0].number}"
        yield "path", ["path", name, first, second]
        yield "reading-to", ["reading", name, first, "--to", second]
        yield "reading-without", ["reading", name, first, "--without", one.refdes]
        yield "reading-short", ["reading", name, first, "--short", last.refdes]
        if one.x is not None and one.y is not None:
            yield "pad-at", ["pad", name, "--at", f"{one.x},{one.y}"]
            box = f"{one.x - 3},{one.y - 3},{one.x + 3},{one.y + 3}"
            yield "area-box", ["area", name, "--box", box]
    yield "reading-power", ["reading", name, "--power"]
    yield "none", ["net", name, "NO_SUCH_NET"]
    yield "compare-self", ["compare", name, name]
    yield "compare-wren", ["compare", name, str(SAMPLES / "wren" / "wren.net")]
    for form in FORMATS:
        yield f"convert-{form}", ["convert", name, "--to", form, "-o", "-"]
    ref = large[0].refdes
    for what, words in (
        ("area", ["--around", ref, "--radius", "4"]),
        ("part", ["--part", small[0].refdes if small else ref]),
        ("net", ["--net", next((n for n in large[0].nets if n), "GND")]),
    ):
        yield f"draw-{what}", ["draw", name, *words, "--to", "dot", "-o", "-"]
    yield "draw-placed", ["draw", name, "--around", ref, "--radius", "4", "--placed", "--to", "svg",
                          "-o", "-"]  # fmt: skip
    yield from _job(name, folder, [part.refdes for part in small], large[0].refdes)


def _job(board: str, folder: Path, small: list[str], large: str) -> Iterator[tuple[str, list[str]]]:
    """Yield a repair of the small parts: what is entered, and every answer on the way."""
    job = str(folder / "a.job")
    yield "job-open", ["job", "open", job, board, "--title", "Net"]
    if not small:
        return
    yield "job-mark", ["job", "mark", job, "missing", *small, "--note", "gone"]
    yield "job-mark-area", ["job", "mark", job, "doubtful", "--around", large, "--radius", "1"]
    yield "job-lifted", ["job", "mark", job, "lifted", f"{small[0]}.1"]
    yield "job-bridged", ["job", "mark", job, "bridged", f"{small[0]}.1", f"{small[-1]}.1"]
    yield "job-loose", ["job", "loose", job, "--ohms", "2.19k", "--size", "0201"]
    yield "job-loose-farads", ["job", "loose", job, "--farads", "98n", "--length", "1", "--width",
                               "0.5"]  # fmt: skip
    for what in ("match", "needs", "refit", "wire", "probe", "show"):
        yield f"job-{what}", ["job", what, job]
    yield "job-next", ["job", "probe", job, "--next"]
    yield "job-fitted", ["job", "mark", job, "fitted", small[0], "--with", "L1"]
    for ref in small[1:]:
        yield f"job-fitted-{ref}", ["job", "mark", job, "fitted", ref]
    yield "job-wired", ["job", "mark", job, "wired", f"{small[0]}.1", f"{small[-1]}.1"]
    yield "job-probe-after", ["job", "probe", job]
    for ref, shown in zip(small, ("2.19k", "OL", "beep", "10k", "0.3", "1k"), strict=False):
        yield f"job-read-{ref}", ["job", "read", job, f"{ref}.1", f"{ref}.2", shown]
    yield "job-check", ["job", "check", job]
    yield "job-next-after", ["job", "probe", job, "--next"]
    yield "job-undo", ["job", "undo", job]
    yield "job-show-after", ["job", "show", job]
    yield "job-sheet", ["job", "sheet", job, "-o", str(folder / "sheet.html")]
    yield "job-sheet-md", ["job", "sheet", job, "-o", str(folder / "sheet.md")]


#: Questions whose words change something, or that print no JSON of their own.
_ONCE = ("draw-", "convert-", "job-open", "job-mark", "job-loose", "job-lifted", "job-bridged",
         "job-fitted", "job-wired", "job-read", "job-undo", "job-sheet")  # fmt: skip


def write_commands(board: Path, into: Path) -> None:
    """Write what every command answers about one board."""
    out = into / _name(board)
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for what, words in questions(board, folder):
            # what says where it wrote (a drawing, a file) says it in JSON; a picture comes as it is
            safe = re.sub(r"[^\w.+-]+", "_", what)
            (out / f"{safe}.txt").write_text(run(words), encoding="utf-8")
            if not what.startswith(_ONCE):
                (out / f"{safe}.json.txt").write_text(run([*words, "--json"]), encoding="utf-8")
        for page in sorted(folder.glob("sheet.*")):
            text = _clean(page.read_text(encoding="utf-8"))
            (out / f"page-{page.suffix[1:]}.txt").write_text(text, encoding="utf-8")


def write_plain(into: Path) -> None:
    """Write what commands without a board answer."""
    texts = ("4R7", "01C", "22uF 6.3V 20% 0603", "yellow violet red gold", "2k2", "100n", "104",
             "0.1uF/16V", "R47", "DNP", "473J", "1%", "X7R", "A7", "5m", "600R@100MHz")  # fmt: skip
    for text in texts:
        name = re.sub(r"[^\w.+-]+", "_", text)
        for form in ([], ["--json"]):
            said = run(["value", text, *form])
            (into / f"value-{name}{'.json' * bool(form)}.txt").write_text(said, encoding="utf-8")
    for words in (["formula"], ["formula", "thermistor", "ohms=5k"], ["--help"], [],
                  ["formula", "pull-up-window", "volts=1.8", "capacitance=100p"],
                  ["formula", "supply", "volts=15", "amperes=0.05"], ["nonsense"],
                  ["area", "samples/wren"], ["net", "nowhere.net", "A"]):  # fmt: skip
        name = re.sub(r"[^\w.+-]+", "_", " ".join(words) or "bare")
        (into / f"{name}.txt").write_text(run(words), encoding="utf-8")
        if words[:1] == ["formula"]:
            (into / f"{name}.json.txt").write_text(run([*words, "--json"]), encoding="utf-8")


# -- all of it ---------------------------------------------------------------------------------


def _one(kind: str, path: Path, into: Path) -> None:
    os.environ.update({"COLUMNS": "100", "LINES": "50", "NO_COLOR": "1", "TERM": "dumb"})
    (write_read if kind == "reads" else write_commands)(path, into)


def write(into: Path, only: Sequence[str], reads: bool, commands: bool) -> None:
    """Write all that is asked for into a folder."""
    os.environ.setdefault("XDG_CACHE_HOME", tempfile.mkdtemp())
    work: list[tuple[str, Path]] = []
    if reads:
        work += [("reads", path) for path in read_files()]
    if commands:
        work += [("commands", path) for path in boards()]
    work = [item for item in work if not only or any(word in str(item[1]) for word in only)]
    work.sort(key=lambda item: item[1].stat().st_size * (item[0] == "commands"), reverse=True)
    for kind in ("reads", "commands", "plain"):
        (into / kind).mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(int(os.environ.get("NET_WORKERS", "2"))) as pool:
        waiting = [pool.submit(_one, kind, path, into / kind) for kind, path in work]
        for done in waiting:
            done.result()
    if commands and not only:
        os.environ.update({"COLUMNS": "100", "NO_COLOR": "1"})
        write_plain(into / "plain")


def compare(before: Path, after: Path, most: int) -> int:
    """Print what differs; return how many files do."""
    old = {path.relative_to(before): path for path in before.rglob("*.txt")}
    new = {path.relative_to(after): path for path in after.rglob("*.txt")}
    wrong = 0
    for name in sorted(old.keys() & new.keys()):
        one, two = (path.read_text(encoding="utf-8") for path in (old[name], new[name]))
        if one == two:
            continue
        wrong += 1
        if wrong > most:
            continue
        print(f"## {name}")
        lines = list(difflib.unified_diff(one.splitlines(), two.splitlines(), lineterm="", n=1))
        for line in lines[2:_LINE_LIMIT]:
            print(line[:240])
    missing = sorted(old.keys() - new.keys())
    extra = sorted(new.keys() - old.keys())
    for word, names in (("only before", missing), ("only after", extra)):
        if names:
            print(f"{len(names)} {word}, such as {names[0]}")
    print(f"{wrong} of {len(old.keys() & new.keys())} differ")
    return wrong + len(extra)


def main() -> None:
    """Run as the module's own words say."""
    parser = argparse.ArgumentParser(description=__doc__)
    verbs = parser.add_subparsers(dest="verb", required=True)
    writing = verbs.add_parser("write")
    writing.add_argument("folder", type=Path)
    writing.add_argument("--only", nargs="*", default=[], help="words in the file's path")
    writing.add_argument("--reads", action="store_true")
    writing.add_argument("--commands", action="store_true")
    comparing = verbs.add_parser("compare")
    comparing.add_argument("before", type=Path)
    comparing.add_argument("after", type=Path)
    comparing.add_argument("--most", type=int, default=20)
    given = parser.parse_args()
    if given.verb == "write":
        both = not (given.reads or given.commands)
        write(given.folder, given.only, given.reads or both, given.commands or both)
    else:
        sys.exit(compare(given.before, given.after, given.most) > 0)


if __name__ == "__main__":
    main()
