"""What stops without a part, and how badly: computed from what stands around the gap."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from nettrace.circuit.absence_capacitors import CAPACITOR_RULES
from nettrace.circuit.absence_dividers import DIVIDER_RULES
from nettrace.circuit.absence_lines import LINE_RULES
from nettrace.circuit.absence_parts import PART_RULES
from nettrace.circuit.absence_pulls import PULL_RULES
from nettrace.circuit.absence_site import Gap, Rule, minor, unknown
from nettrace.circuit.absence_supply import SUPPLY_RULES
from nettrace.circuit.evidence import Absence
from nettrace.circuit.kinds import Kind
from nettrace.circuit.part_kinds import is_logic_cell

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

__all__ = ["judge_absence"]

#: A role less likely than this decides nothing.
LEAST_SCORE: Final = 0.3
#: Where the likeliest role gives no answer, one so little less likely is asked.
CLOSE: Final = 0.25
#: By role; where two families know a role they are asked in this order, the next if the first
#: cannot say.
_FAMILIES: Final[tuple[dict[str, Rule], ...]] = (
    SUPPLY_RULES,
    CAPACITOR_RULES,
    PULL_RULES,
    DIVIDER_RULES,
    LINE_RULES,
    PART_RULES,
)


def judge_absence(circuit: Circuit, part_key: str, others: Iterable[str] = ()) -> Absence:
    """Return what happens without the part: severity, and effects with the gravest first.

    The likeliest role says which question is asked, the nets around the gap give the answer. A
    part that is not fitted by design is missed by nobody. Where neither is known the severity is
    unknown, with the reason.

    Args:
        circuit: the board and what it means.
        part_key: the missing part.
        others: keys of further parts that are missing too, so that none of them stands in for it.
    """
    gone = frozenset((part_key, *others))
    part = circuit.board.part_by_key[part_key]
    if not circuit.kinds[part_key].fitted:
        return minor("not fitted as designed: nothing is missed")
    roles = circuit.roles(part_key)
    if is_logic_cell(part) and circuit.kinds[part_key].kind is Kind.UNKNOWN:
        return unknown("a cell of a logic netlist is inside a chip, no part on a board")
    if not part.nets:
        if roles and roles[0].role in {"mechanical", "test point"}:
            return PART_RULES[roles[0].role](Gap(circuit, part, roles[0].role, gone)) or unknown()
        return unknown("its nets are not known, so what stops is not known")
    if roles and roles[0].role == "unknown" and len(part.nets) > 2:
        return unknown("what it does is not known, so what stops is not known either")
    for role in roles:
        if role.score < max(LEAST_SCORE, roles[0].score - CLOSE):
            break
        gap = Gap(circuit, part, role.role, gone)
        for family in _FAMILIES:
            rule = family.get(role.role)
            found = rule(gap) if rule is not None else None
            if found is not None:
                return found
    best = roles[0].role if roles else "unknown"
    if best == "unknown":
        return unknown("what it does is not known, so what stops is not known either")
    return unknown(f"likely {best}; what hangs on it cannot be seen in these sources")
