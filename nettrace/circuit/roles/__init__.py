"""Roles: what each part is there for, several candidates with a score and reasons in words.

`RULES` is the order of the rules; each looks at one position and returns scored findings, none
stops another. Works from topology and references alone, better with values, pin names and
descriptions. What to propose for an empty position is in `proposals`; nothing here looks at
readings or damage.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

from nettrace.circuit.evidence import Role
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.capacitors import CAPACITOR_RULES
from nettrace.circuit.roles.chips import CHIP_RULES
from nettrace.circuit.roles.dividers import DIVIDER_RULES
from nettrace.circuit.roles.inductors import INDUCTOR_RULES
from nettrace.circuit.roles.others import OTHER_RULES, unknown_kind
from nettrace.circuit.roles.resistors import RESISTOR_RULES
from nettrace.circuit.roles.semiconductors import SEMICONDUCTOR_RULES
from nettrace.circuit.roles.site import Rule, Site, looks_at
from nettrace.circuit.roles.vocabulary import ROLES
from nettrace.model.names import match_names

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

__all__ = ["ROLES", "RULES", "infer_roles"]

RULES: Final[tuple[Rule, ...]] = (
    *RESISTOR_RULES,
    *DIVIDER_RULES,
    *CAPACITOR_RULES,
    *INDUCTOR_RULES,
    *SEMICONDUCTOR_RULES,
    *CHIP_RULES,
    *OTHER_RULES,
)

_ORDER: Final = {role: index for index, role in enumerate(ROLES)}
#: Candidates below this are not worth a technician's eye.
LEAST_SCORE: Final = 0.1


def infer_roles(
    circuit: Circuit, part_key: str, rules: tuple[Rule, ...] = RULES
) -> tuple[Role, ...]:
    """Return the candidate roles of a part, best first, in the contract's vocabulary.

    A role that several rules find keeps the best score and all reasons. The user's note comes
    first with score 1; what was inferred follows. `unknown` alone where no rule finds anything.
    """
    survey = circuit.survey
    part = circuit.board.part_by_key[part_key]
    site = Site(circuit, survey, part, circuit.kinds[part_key])
    scores: dict[str, float] = {}
    reasons: dict[str, tuple[str, ...]] = {}
    # a cell inside a chip has no role on a board, whatever its name sounds like
    cell = site.what is Kind.UNKNOWN and "cell" in part.properties and part.package is None
    for rule in (unknown_kind,) if cell else _rules_for(site.what, rules):
        for finding in rule(site):
            role, score = finding.role, finding.score
            kept = reasons.get(role)
            if kept is None:
                reasons[role] = finding.because
                scores[role] = max(score, 0.0)
            elif score > scores[role]:
                # the reasons of the surer rule stand first
                reasons[role] = (*finding.because, *kept)
                scores[role] = score
            else:
                reasons[role] = (*kept, *finding.because)
    ranked = [(-score, _ORDER[role], role) for role, score in scores.items()]
    ranked.sort()
    candidates = tuple(
        Role(role, round(-score, 2), _each_once(reasons[role]))
        for score, _, role in ranked
        if -score >= LEAST_SCORE
    )
    noted = _noted_role(circuit, part_key)
    if noted is not None:
        rest = tuple(role for role in candidates if role.role != noted)
        return (Role(noted, 1.0, ("user's note",)), *rest)
    return candidates or (Role("unknown", 0.0, ("no rule finds a role for it",)),)


def _each_once(reasons: tuple[str, ...]) -> tuple[str, ...]:
    return reasons if len(reasons) < 2 else tuple(dict.fromkeys(reasons))


def _rules_for(what: Kind, rules: tuple[Rule, ...]) -> tuple[Rule, ...]:
    """Return the rules that look at parts of a kind, in their order."""
    if rules is RULES:
        return _all_rules_for(what)
    return tuple(rule for rule in rules if looks_at(rule, what))


@cache
def _all_rules_for(what: Kind) -> tuple[Rule, ...]:
    return tuple(rule for rule in RULES if looks_at(rule, what))


def _noted_role(circuit: Circuit, part_key: str) -> str | None:
    roles = circuit.notes.roles
    if not roles:
        return None
    part = circuit.board.part_by_key[part_key]
    for pattern, role in roles.items():
        if match_names(pattern, [part_key]) or match_names(pattern, [part.refdes]):
            return role
    return None
