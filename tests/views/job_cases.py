"""Jobs for the sheet's tests: Wren with its seven positions, and a board of hostile names."""

from __future__ import annotations

import io
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from nettrace.bench.job import (
    BoardReference,
    Damage,
    Entry,
    Fit,
    Job,
    JobState,
    Loose,
    Mark,
    MeterMode,
    Reading,
    Remark,
    fold,
)
from nettrace.bench.photo import KnownPad, fit_photo
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder
from nettrace.views.photo import Photo, PhotoPlate

TIME = "2026-03-01T10:00:00+00:00"
#: What is gone on Wren (samples/README.md, the damage).
SEVEN = ("R12", "R13", "R14", "R15", "R16", "C7", "D4")
HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(2)>'


@dataclass(frozen=True)
class Case:
    """A job with its board."""

    circuit: Circuit
    job: Job

    @property
    def state(self) -> JobState:
        return fold(self.job)


def wren_case(circuit: Circuit) -> Case:
    """Seven positions gone, two loose parts, one of them back in place and measured."""
    number = count(1)
    entries: list[Entry] = [
        Mark(number=next(number), time=TIME, at=key, damage=Damage.MISSING) for key in SEVEN
    ]
    entries += [
        Loose(number=next(number), time=TIME, name="L1", ohms=2192.0, size="0201"),
        Loose(number=next(number), time=TIME, name="L2", ohms=10_020.0, size="0201"),
        Fit(number=next(number), time=TIME, at="R14", with_part="L2"),
        Reading(
            number=next(number), time=TIME, at="R14.1", to="R14.2", quantity=MeterMode.OHMS,
            value=9980.0, stage="after refit",
        ),
        Remark(number=next(number), time=TIME, note="Screw from the wrong bag."),
    ]  # fmt: skip
    return Case(circuit, Job("Wren 0042", TIME, BoardReference("wren"), tuple(entries)))


def area_case(circuit: Circuit, around: str, radius_mm: float) -> Case:
    """Everything gone that is likely gone within a radius of a part."""
    from nettrace.bench.area import inspect_area
    from nettrace.bench.place import circle_around

    report = inspect_area(circuit, circle_around(circuit.board, around, radius_mm))
    entries: tuple[Entry, ...] = tuple(
        Mark(number=number, time=TIME, at=item.part.key, damage=Damage.MISSING)
        for number, item in enumerate(report.positions, start=1)
    )
    return Case(circuit, Job(f"Around {around}", TIME, BoardReference("x"), entries))


def hostile_case() -> Case:
    """Names, values and notes that are markup, and one that steers a terminal."""
    builder = BoardBuilder("a.kicad_pcb", "kicad_pcb")
    builder.name = f"board {HOSTILE}"
    for index, refdes in enumerate((f"R1{HOSTILE}", "R2|x\x1b[2J\ufffe", "U`3`*b*")):
        part = builder.part(refdes)
        part.value, part.package = f"10k {HOSTILE}", "Lib:R_0402<b>"
        part.x, part.y, part.side = 2.0 * index, 0.0, Side.TOP
        for pin, net in (("1", f"N{HOSTILE}\x1b[2J"), ("2", "GND</style>")):
            part.pin(pin, net, name=f"<i>{pin}")
            part.pad(pin, net, 2.0 * index + 0.4 * int(pin), 0.0, Side.TOP, width=0.3, height=0.3)
    circuit = Circuit(builder.build())
    number = count(1)
    entries: list[Entry] = [
        Mark(
            number=next(number), time=TIME, at=part.key, damage=Damage.MISSING,
            note=f"note {HOSTILE}",
        )
        for part in circuit.board.parts
    ]  # fmt: skip
    entries += [
        Loose(number=next(number), time=TIME, name=HOSTILE, ohms=1.0, marking=HOSTILE),
        Reading(
            number=next(number), time=TIME, at=HOSTILE, to="GND", quantity=MeterMode.OHMS,
            value=None, stage=HOSTILE, note=HOSTILE,
        ),
        Remark(number=next(number), time=TIME, note=f"</main>{HOSTILE} | `x` \x1b[31m"),
    ]  # fmt: skip
    title = f"Job {HOSTILE} | *x* [a](http://example.org)"
    return Case(circuit, Job(title, TIME, BoardReference("x"), tuple(entries)))


def jpeg(width: int, height: int, orientation: int | None = None, **settings: object) -> bytes:
    """Return a JPEG: left half dark, right half bright, so that turns can be seen."""
    from PIL import Image

    picture = Image.new("RGB", (width, height), (40, 60, 40))
    picture.paste((230, 230, 220), (width // 2, 0, width, height))
    out = io.BytesIO()
    if orientation is not None:
        exif = Image.Exif()
        exif[0x0112] = orientation
        exif[0x013B] = "the owner's name"
        settings["exif"] = exif
    picture.save(out, "JPEG", **settings)
    return out.getvalue()


def wren_plate(circuit: Circuit, name: str = "board.jpg") -> PhotoPlate:
    """Return a photo of Wren's corner by J3, at 60 px/mm, turned by 30 degrees, with its map."""
    import math

    known = []
    for refdes, pin in (("J3", "1"), ("J3", "3"), ("R17", "1"), ("R12", "1"), ("C7", "2")):
        pad = circuit.board.part_by_key[refdes].pin(pin)
        assert pad is not None
        assert pad.x is not None
        assert pad.y is not None
        dx, dy, angle = pad.x - 114.5, pad.y + 130, math.radians(30)
        right = 600 + 60 * (dx * math.cos(angle) - dy * math.sin(angle))
        down = 450 - 60 * (dx * math.sin(angle) + dy * math.cos(angle))
        known.append(KnownPad(f"{refdes}.{pin}", pad.x, pad.y, right, down, Side.TOP))
    return PhotoPlate(Photo(name, "image/jpeg", jpeg(1200, 900), 1200, 900), fit_photo(known))


def write_jpeg(path: Path, width: int = 400, height: int = 300) -> Path:
    path.write_bytes(jpeg(width, height))
    return path
