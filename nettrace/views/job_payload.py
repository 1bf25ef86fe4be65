"""A job and its plans as JSON."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from nettrace.bench.job import Job, JobState
from nettrace.bench.match import LooseMatch, Site
from nettrace.bench.needs import Donor, Need, words
from nettrace.bench.refit import CAUTIONS, DOCUMENTS, FIRST, RefitPlan
from nettrace.bench.wire import Span, Wired, WirePlan, wires_of
from nettrace.circuit.circuit import Circuit
from nettrace.views.payload import Json, mm

__all__ = ["job_payload", "matches", "needs", "refit", "wired", "wires"]


def job_payload(job: Job, state: JobState, circuit: Circuit) -> Json:
    """Return the job: its board, every entry, and where it stands."""
    return {
        "title": job.title,
        "opened": job.opened,
        "board": msgspec.to_builtins(job.board),
        "entries": [msgspec.to_builtins(entry) for entry in job.entries],
        "undone": sorted(job.undone()),
        "state": {
            "damaged": {key: str(mark.damage) for key, mark in state.damaged.items()},
            "refitted": {key: fit.with_part for key, fit in state.refitted.items()},
            "open_positions": list(state.open_positions),
            "lifted": list(state.lifted),
            "cuts": [list(pair) for pair in state.cuts],
            "bridges": [list(pair) for pair in state.bridges],
            "wires": [[wire.start, wire.end] for wire in state.wires],
            "wired": wired(wires_of(circuit, state)),
            "loose": list(state.loose),
            "used": sorted(state.used),
            "readings": len(state.readings),
        },
    }


def wired(found: Sequence[Wired]) -> list[Json]:
    """Return the wires soldered, with what each does."""
    return [
        {
            "from": item.wire.start,
            "to": item.wire.end,
            "nets": list(item.nets),
            "does": str(item.as_),
            "of": list(item.of),
            "confirmed": item.wire.confirmed,
            "short": item.is_short,
            "words": item.words,
            "note": item.wire.note or None,
        }
        for item in found
    ]


def matches(found: Sequence[LooseMatch], sites: Sequence[Site]) -> Json:
    """Return the matches, and the positions that nothing found fits."""
    taken = {item.assigned for item in found}
    return {
        "matches": [
            {
                "loose": item.loose,
                "certainty": str(item.certainty),
                "assigned": item.assigned,
                "candidates": [
                    {"part": c.refdes, "cost": round(c.cost, 6), "because": list(c.because)}
                    for c in item.candidates
                ],
                "decide": item.decide or None,
                "advice": item.advice,
                "reusable": item.reusable,
            }
            for item in found
        ],
        "still_bare": [
            {"part": site.refdes, "belongs": site.words()}
            for site in sites
            if site.refdes not in taken
        ],
    }


def needs(found: Sequence[Need], donors: Sequence[Sequence[Donor]]) -> list[Json]:
    """Return the order list."""
    return [
        {
            "positions": list(need.positions),
            "quantity": need.quantity,
            "words": words(need),
            "kind": str(need.kind),
            "value": need.value or None,
            "tolerance": need.tolerance,
            "size": need.size,
            "dielectric": need.dielectric,
            "volts": need.volts,
            "watts": need.watts,
            "part_number": need.part_number,
            "description": need.description,
            "substitutes": list(need.substitutes),
            "because": list(need.because),
            "doubts": list(need.doubts),
            "donors": [
                {
                    "part": donor.refdes,
                    "board": donor.board,
                    "severity": str(donor.severity),
                    "without_it": donor.why or None,
                }
                for donor in given
            ],
        }
        for need, given in zip(found, donors, strict=True)
    ]


def refit(plan: RefitPlan) -> Json:
    """Return the plan of work with its cautions."""
    return {
        "cautions": [FIRST, *CAUTIONS],
        "documents": list(DOCUMENTS),
        "steps": [
            {
                "title": step.title,
                "positions": list(step.positions),
                "side": step.side,
                "because": list(step.because),
                "slow_pads": list(step.slow_pads),
                "neighbours": [
                    {"part": n.refdes, "distance": mm(n.distance_mm), "why": n.why}
                    for n in step.neighbours
                ],
            }
            for step in plan.steps
        ],
        "unplaced": list(plan.unplaced),
    }


def wires(plans: Sequence[WirePlan]) -> list[Json]:
    """Return the wires of each broken net."""
    return [
        {
            "net": plan.net,
            "pieces": [list(piece) for piece in plan.pieces],
            "choices": {
                end: [_span(span) for span in spans] for end, spans in plan.choices.items()
            },
            "wires": [_span(span) for span in plan.wires],
        }
        for plan in plans
    ]


def _span(span: Span) -> Json:
    return {
        "from": span.start.name,
        "to": span.end.name,
        "length": mm(span.length_mm),
        "between": list(span.between),
        "because": list(span.because),
    }
