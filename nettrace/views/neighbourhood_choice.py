"""What a drawing is about: an area, a pad, a part, a net or a bus as a selection."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from nettrace.bench.area import AreaReport, PadReport
from nettrace.bench.place import Box, Circle, Shape
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus
from nettrace.model.board import Net, Part
from nettrace.model.names import natural_key
from nettrace.views.neighbourhood import Selection
from nettrace.views.text_facts import bus_words, refdes

__all__ = ["about_area", "about_bus", "about_net", "about_pad", "about_part", "area_words"]

#: What one net or bus leads to is its whole story, so more of it is drawn: as many parts in a
#: column as a sheet of A4 is high.
NET_REACH, BUS_REACH = 18, 12


def area_words(shape: Shape) -> str:
    """Return where an area is: `within 4 mm of J3`."""
    if isinstance(shape, Circle):
        at = shape.around or f"{shape.x:g}, {shape.y:g}"
        return f"within {shape.radius_mm:g} mm of {at}"
    if isinstance(shape, Box):
        return f"box {shape.x1:g}, {shape.y1:g} to {shape.x2:g}, {shape.y2:g}"
    return f"outline of {len(shape.corners)} corners"


def about_area(circuit: Circuit, report: AreaReport, without: Iterable[str] = ()) -> Selection:
    """Select a damaged area: its positions are gone, the parts that reach in are not."""
    positions = dict.fromkeys(item.part.key for item in report.positions)
    bare = {key for key in positions if not circuit.kinds[key].fitted}
    gone = dict.fromkeys([*(key for key in positions if key not in bare), *without])
    numbered = list(dict.fromkeys([*positions, *without]))
    reaching = [
        item.part.key for item in report.reaching_in if item.pins and item.part.key not in gone
    ]
    reaching.sort(key=lambda key: key != report.named)
    signals = [
        item.pad.net
        for item in report.pads
        if item.pad.net is not None
        and item.pad.net not in circuit.rails
        and circuit.net_kind(item.pad.net) != "unconnected"
    ]
    # a part that reaches in with some pads is drawn for these pads alone, when its net is drawn
    named = [report.named] if report.named in circuit.board.part_by_key else []
    parts = [*[key for key in named if key not in gone], *gone]
    parts += sorted(bare, key=natural_key)
    small = [key for key in reaching if len(circuit.board.part_by_key[key].nets) <= 2]
    parts += [key for key in small if key not in parts]
    nets = () if len(parts) > 1 else tuple(dict.fromkeys(signals))
    side = f", {report.side} side" if report.side is not None else ""
    return Selection(
        title=f"Damaged area {area_words(report.shape)}{side}",
        parts=tuple(parts),
        nets=nets,
        gone=frozenset(gone),
        bare=frozenset(bare.difference(gone)),
        focus=report.named,
        numbers={key: number for number, key in enumerate(numbered, start=1)},
    )


def about_part(circuit: Circuit, parts: Sequence[Part], without: Iterable[str] = ()) -> Selection:
    """Select parts and what their pins lead to."""
    keys = tuple(part.key for part in parts)
    names = ", ".join(refdes(circuit, key) for key in keys[:4])
    more = f" and {len(keys) - 4} more" if len(keys) > 4 else ""
    return Selection(
        title=f"Around {names}{more}", parts=keys, gone=frozenset(without), focus=keys[0], reach=4
    )


def about_pad(
    circuit: Circuit, reports: Sequence[PadReport], without: Iterable[str] = ()
) -> Selection:
    """Select pads: the part of each, its net, and the net at the part's other end."""
    first = reports[0]
    number = first.pin.number if first.pin is not None else first.pad.number if first.pad else ""
    more = f" and {len(reports) - 1} more" if len(reports) > 1 else ""
    nets = [report.net for report in reports if report.net is not None]
    for report in reports:
        nets += [pin.net for pin in report.ends if pin.net is not None]
    parts = dict.fromkeys(report.part.key for report in reports)
    small = [key for key in parts if len(circuit.board.part_by_key[key].nets) <= 3]
    signals = [net for net in dict.fromkeys(nets) if net not in circuit.rails]
    return Selection(
        title=f"Pad {refdes(circuit, first.part.key)}.{number}{more}",
        # a part with many pins comes in by the pad's net alone; without one it stands for itself
        parts=tuple(small if signals else parts),
        nets=tuple(signals),
        gone=frozenset(without),
        focus=first.part.key,
        reach=8,
    )


def about_net(nets: Sequence[Net], without: Iterable[str] = ()) -> Selection:
    """Select nets with every part on them, as far as there is room."""
    names = tuple(net.name for net in nets)
    shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    missing = frozenset(without)
    on_them = {pin.part for net in nets for pin in net.pins}
    return Selection(
        title=f"Net {shown}" if len(names) == 1 else f"Nets {shown}",
        parts=tuple(sorted(missing & on_them, key=natural_key)),
        nets=names,
        gone=missing,
        reach=NET_REACH,
    )


def about_bus(circuit: Circuit, buses: Sequence[Bus], without: Iterable[str] = ()) -> Selection:
    """Select buses: every line with its segments, pull-ups and devices."""
    nets = dict.fromkeys(net for bus in buses for line in bus.lines for net in line.nets)
    pulls = dict.fromkeys(p.part for bus in buses for line in bus.lines for p in line.pulls)
    through = dict.fromkeys(part for bus in buses for part in bus.through)
    few = {key: None for key in (*pulls, *through) if len(circuit.board.part_by_key[key].nets) <= 4}
    words = ", ".join(bus_words(bus) for bus in buses[:3])
    more = f" and {len(buses) - 3} more" if len(buses) > 3 else ""
    return Selection(
        title=f"Bus {words}{more}",
        parts=tuple(few),
        nets=tuple(nets),
        gone=frozenset(without),
        reach=BUS_REACH,
    )
