"""Facts of one part from several sources: taken where missing, noted where they differ."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from nettrace.errors import Place
from nettrace.model.board import Conflict, Part, Statement
from nettrace.model.builder import PartDraft
from nettrace.model.names import natural_key

__all__ = ["SameValue", "fill_part", "grouped", "listed", "plain_same_value"]

#: Whether two value texts mean the same.
SameValue = Callable[[str, str], bool]

#: Names listed in one warning before "and N more".
NAMES_SHOWN = 6
#: Different words shown in one statement before "...".
WORDS_SHOWN = 4
_FITTED = {True: "fitted", False: "not fitted"}


def plain_same_value(first: str, second: str) -> bool:
    """Return whether two value texts are the same but for case and blanks."""
    return "".join(first.split()).casefold() == "".join(second.split()).casefold()


def fill_part(draft: PartDraft, part: Part, same_value: SameValue) -> list[Conflict]:
    """Take what the draft does not have yet; return where both state a fact and differ."""
    conflicts = _fill_value(draft, part, same_value)
    for name in ("package", "description", "sheet"):
        said = getattr(part, name)
        if said and not getattr(draft, name):
            _take(draft, part, name, said)
    if draft.fitted is None:
        if part.fitted is not None:
            _take(draft, part, "fitted", part.fitted)
    elif part.fitted is not None and part.fitted != draft.fitted:
        known = _FITTED[draft.fitted]
        conflicts.append(_conflict("fitted", draft, part, known, _FITTED[part.fitted]))
    if draft.side is None:
        draft.side = part.side
    for name, text in part.properties.items():
        draft.properties.setdefault(name, text)
    return conflicts


def _fill_value(draft: PartDraft, part: Part, same_value: SameValue) -> list[Conflict]:
    said, known = part.value, draft.value
    if not said:
        return []
    # the name of a deck's model or subcircuit stands for a value only while there is none
    is_model = part.properties.get("model") == said
    if not known or (draft.properties.get("model") == known and not is_model):
        _take(draft, part, "value", said)
        return []
    if is_model or same_value(known, said):
        return []
    return [_conflict("value", draft, part, known, said)]


def _take(draft: PartDraft, part: Part, name: str, said: str | bool) -> None:
    setattr(draft, name, said)
    if part.place is not None and draft.place is not part.place:
        draft.origins[name] = part.place


def _conflict(fact: str, draft: PartDraft, part: Part, known: str, said: str) -> Conflict:
    first = draft.origins.get(fact) or draft.place or Place("?")
    statements = (Statement(known, first), Statement(said, part.place or Place("?")))
    return Conflict(f"{fact}-differs", draft.refdes or draft.key, statements, known)


def grouped(conflicts: Sequence[Conflict]) -> list[Conflict]:
    """Return conflicts with those about one row joined: a list's row that names many parts.

    A row `X401, X402, X501` with one value for all disagrees once, not three times.
    """
    rows: dict[tuple[str, Statement], list[Conflict]] = {}
    for item in conflicts:
        rows.setdefault((item.code, item.statements[-1]), []).append(item)
    result = []
    for (code, said), found in rows.items():
        if len(found) == 1 or not code.endswith("-differs"):
            result += found
            continue
        items = sorted(found, key=lambda item: natural_key(item.subject))
        words = list(dict.fromkeys(item.statements[0].what for item in items))
        known = ", ".join(words[:WORDS_SHOWN]) + (", ..." if len(words) > WORDS_SHOWN else "")
        first = Statement(known, items[0].statements[0].place)
        result.append(Conflict(code, ", ".join(i.subject for i in items), (first, said), known))
    return result


def listed(names: Sequence[str]) -> str:
    """Return `R1, R2, ... and 3 more` in natural order."""
    ordered = sorted(names, key=natural_key)
    more = f" and {len(names) - NAMES_SHOWN} more" if len(names) > NAMES_SHOWN else ""
    return f"{', '.join(ordered[:NAMES_SHOWN])}{more}"
