"""Compares a Board with the truth that stands beside the real boards (boards/README.md)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from nettrace.model.board import Board

POSITION_MM = 0.0006  # truth places are written with four decimals


def truth_entries(boards: Path, format_name: str) -> list[dict[str, Any]]:
    """Return the truth of every file of a format, in the order of file names."""
    found = [
        entry
        for path in sorted((boards / "truth").glob("*.json"))
        for entry in json.loads(path.read_text(encoding="utf-8"))["files"]
        if entry["format"] == format_name
    ]
    return sorted(found, key=lambda entry: str(entry["file"]))


def differences(board: Board, entry: dict[str, Any]) -> list[str]:
    """Return what the board says otherwise than the truth, count by count and fact by fact."""
    wrong: list[str] = []

    def compare(what: str, ours: object, theirs: object) -> None:
        if ours != theirs:
            wrong.append(f"{what}: {ours!r}, truth {theirs!r}")

    source = board.sources[0]
    compare("components", source.parts, entry["components"])
    if entry["nets"] is not None:
        compare("nets", source.nets, entry["nets"])
        compare("pins", source.pins, entry["pins"])
    more = entry["more"]
    if "pads" in more:
        compare("pads", source.pads, more["pads"])
    if "vias" in more:
        compare("vias", source.vias, more["vias"])
    for spot in entry["spot"]:
        kind, query, answer = spot["kind"], spot["query"], spot["answer"]
        compare(f"{kind} {query}", fact(board, kind, query), answer)
    return wrong


def fact(board: Board, kind: str, query: Any) -> Any:
    """Return the board's answer to one spot question."""
    if kind in {"net_pin_count", "net_pins"}:
        names = [n for n in board.nets if query in {n.name, *n.aliases}]
        pins = sorted(
            {f"{board.part_by_key[p.part].refdes}.{p.number}" for n in names for p in n.pins}
        )
        return len(pins) if kind == "net_pin_count" else pins
    if kind == "pin_net":
        refdes, number = query.rsplit(".", 1) if query.count(".") == 1 else _split(board, query)
        nets = {
            raw(board, pin.net)
            for part in board.parts
            if part.refdes == refdes
            for pin in part.pins
            if pin.number == number and pin.net is not None
        }
        return nets.pop() if len(nets) == 1 else (sorted(nets) or None)
    if kind == "part_value":
        return next(part.value for part in board.parts if part.refdes == query)
    if kind == "part_connected_pin_count":
        return len(
            {
                pin.number
                for part in board.parts
                if part.refdes == query
                for pin in part.pins
                if pin.net is not None
            }
        )
    if kind == "pad_at":
        found = [
            {
                "pad": f"{board.part_by_key[pad.part].refdes}.{pad.number}",
                "net": raw(board, pad.net),
            }
            for pad in board.pads()
            if abs(pad.x - query["x_mm"]) < POSITION_MM
            and abs(pad.y - query["y_mm"]) < POSITION_MM
            and pad.side.value in {query["side"], "both"}
        ]
        return found[0] if found else None
    raise AssertionError(f"unknown spot kind {kind}")


def raw(board: Board, net: str | None) -> str | None:
    """Return the net's name as the file writes it (the alias, where escapes were decoded)."""
    if net is None:
        return None
    escaped = [alias for alias in board.net_by_name[net].aliases if "{" in alias]
    return escaped[0] if escaped else net


def _split(board: Board, query: str) -> tuple[str, str]:
    for part in board.parts:
        if part.refdes and query.startswith(part.refdes + "."):
            number = query[len(part.refdes) + 1 :]
            if part.pin(number) is not None:
                return part.refdes, number
    return query, ""
