"""Roles: what each part is there for, several candidates with a score and reasons in words.

The roles themselves, with what belongs to each, stand in `knowledge/roles.toml`, and which rules
are asked about a kind of part. A rule looks at one position and returns scored findings, none stops
another. They work from topology and references alone, better with values, pin names and
descriptions. What to propose for an empty position is in `proposals`; nothing here looks at
readings or damage.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pkgutil import resolve_name
from typing import Any, Final

from nettrace import knowledge
from nettrace.circuit.evidence import Role
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.others import unknown_kind
from nettrace.circuit.roles.site import Rule, Site, Survey
from nettrace.model.board import Part
from nettrace.model.names import match_names
from nettrace.model.notes import Notes

#: Candidates below this are not worth a technician's eye.
LEAST_SCORE: Final = 0.1


@cache
def vocabulary() -> tuple[str, ...]:
    """Return the words for roles in their order; `infer_roles` uses no other."""
    return tuple(row["word"] for row in knowledge.table("roles")["roles"])


@cache
def row_of(role: str) -> Mapping[str, Any]:
    """Return what belongs to a role, as it stands in the table; {} for a word that is none."""
    return next((row for row in knowledge.table("roles")["roles"] if row["word"] == role), {})


@cache
def _order() -> dict[str, int]:
    return {role: index for index, role in enumerate(vocabulary())}


@cache
def rules_for(kind: Kind) -> tuple[Rule, ...]:
    """Return the rules that are asked about parts of a kind, in their order."""
    asked = knowledge.table("roles")["asked"]
    names = (*asked.get(kind.value, ()), *asked["every kind"])
    return tuple(resolve_name(f"nettrace.circuit.roles.{name.replace('.', ':')}") for name in names)


def infer_roles(
    survey: Survey,
    notes: Notes,
    part: Part,
    bus_nets: frozenset[str],
    rules: tuple[Rule, ...] | None = None,
) -> tuple[Role, ...]:
    """Return the candidate roles of a part, best first, in the vocabulary's words.

    A role that several rules find keeps the best score and all reasons. The user's note comes
    first with score 1; what was inferred follows. `unknown` alone where no rule finds anything.
    `bus_nets` are the nets of the board's buses; `rules` stands for those of the part's kind.
    """
    site = Site(survey, part, bus_nets)
    if rules is None:
        rules = rules_for(site.what)
        if site.what is Kind.UNKNOWN and "cell" in part.properties and part.package is None:
            # a cell inside a chip has no role on a board, whatever its name sounds like
            rules = (unknown_kind,)
    scores: dict[str, float] = {}
    reasons: dict[str, tuple[str, ...]] = {}
    for rule in rules:
        for finding in rule(site):
            role, score, kept = finding.role, finding.score, reasons.get(finding.role, ())
            # the reasons of the surer rule stand first
            surer = score > scores.get(role, -1.0)
            reasons[role] = finding.because + kept if surer else kept + finding.because
            scores[role] = max(score, scores.get(role, 0.0))
    order = _order()
    candidates = tuple(
        Role(role, round(scores[role], 2), tuple(dict.fromkeys(reasons[role])))
        for role in sorted(scores, key=lambda role: (-scores[role], order[role]))
        if scores[role] >= LEAST_SCORE
    )
    for pattern, noted in notes.roles.items():
        if match_names(pattern, [part.key]) or match_names(pattern, [part.refdes]):
            rest = tuple(role for role in candidates if role.role != noted)
            return (Role(noted, 1.0, ("user's note",)), *rest)
    return candidates or (Role("unknown", 0.0, ("no rule finds a role for it",)),)
