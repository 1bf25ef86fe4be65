"""References and packages that a writer made unique with a suffix, and when it may be taken off."""

from __future__ import annotations

import re

from nettrace.readers.ipc2581_facts import Facts

__all__ = ["bare_packages", "shown_references"]

_SUFFIX = re.compile(r"(.+)_[0-9]+\Z", re.DOTALL)


def shown_references(facts: Facts) -> dict[str, str]:
    """Return reference as written -> reference to show, for those whose suffix goes.

    `P1_1` becomes P1 where no component bears P1, and the parts list (or the pins that pads and
    nets name) has P1 and not `P1_1`; otherwise the name stays: a suffix may be the maker's own.
    """
    components = {component.refdes for component in facts.components}
    listed = {name for line in facts.bom for name, _, _, _ in line.references}
    used = {component for pad in facts.pads for component, _ in pad.pins}
    used.update(component for pins in facts.logical.values() for component, _, _ in pins)
    shown: dict[str, str] = {}
    claimed: dict[str, int] = {}
    for refdes in components:
        match = _SUFFIX.fullmatch(refdes)
        if match is None or match[1] in components:
            continue
        base = match[1]
        if any(base in names and refdes not in names for names in (listed, used)):
            shown[refdes] = base
            claimed[base] = claimed.get(base, 0) + 1
    return {refdes: base for refdes, base in shown.items() if claimed[base] == 1}


def bare_packages(facts: Facts) -> dict[str, str]:
    """Return package as written -> name to show: the suffix goes where the parts list lacks it."""
    listed = {package for line in facts.bom for _, package, _, _ in line.references if package}
    shown: dict[str, str] = {}
    for name in facts.packages:
        match = _SUFFIX.fullmatch(name)
        if match is not None and name not in listed and match[1] in listed:
            shown[name] = match[1]
    return shown
