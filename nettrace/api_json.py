"""An answer of the public calls in the shapes of `--json`."""

from __future__ import annotations

from nettrace.api_answers import NetAnswer, PartAnswer, ReadingAnswer, Summary
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, Rail

__all__ = ["to_json"]


def to_json(circuit: Circuit, answer: object) -> object:
    """Return an answer in the shapes of `--json`: plain dicts, lists, numbers and texts.

    A tuple becomes a list. Unknown is None.

    Raises:
        TypeError: not an answer of this module.
    """
    from nettrace.bench.area import AreaReport, PadReport
    from nettrace.bench.compare import Comparison
    from nettrace.bench.lookup import Way
    from nettrace.electrical.expected import Heat
    from nettrace.values.marking import ValueAnswer
    from nettrace.views import comparison, payload, payload_place, readings, values

    match answer:
        case tuple() | list():
            return [to_json(circuit, item) for item in answer]
        case Summary():
            return payload.summary(answer.circuit)
        case AreaReport():
            return payload_place.area(circuit, answer)
        case NetAnswer():
            return payload.net(circuit, answer.net)
        case PartAnswer():
            return payload.part(circuit, answer.part)
        case PadReport():
            return payload_place.pad(circuit, answer)
        case Rail():
            return payload.rail(circuit, answer)
        case Bus():
            return payload.bus(circuit, answer)
        case Way():
            return payload.way(circuit, answer)
        case ReadingAnswer():
            return readings.readings(answer.now, answer.fitted, answer.without, answer.changed)
        case Heat():
            return readings.power(answer)
        case ValueAnswer():
            return values.meanings(answer)
        case Comparison():
            return comparison.comparison(circuit.board, answer)
        case _:
            raise TypeError(f"{type(answer).__name__} is no answer of nettrace")
