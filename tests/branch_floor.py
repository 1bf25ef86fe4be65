"""Hold the share of branches that the tests take against its floor.

    python tests/branch_floor.py coverage.json [FLOOR]

coverage.py's own `fail_under` counts lines and branches together, so that covered lines make up for
branches nobody takes. This counts branches alone, of the files that `pyproject.toml` leaves in.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

#: Per cent of the core's branches; it only rises.
FLOOR = 95.0
SHOWN = 15


def judge(
    report: dict[str, dict[str, dict[str, dict[str, int]]]], floor: float
) -> tuple[bool, str]:
    """Return whether the floor is held, and the figures; files with most missing first."""
    of_files = {name: file["summary"] for name, file in report["files"].items()}
    all_branches = sum(summary["num_branches"] for summary in of_files.values())
    missing = sum(summary["missing_branches"] for summary in of_files.values())
    if not all_branches:
        return False, "no branches measured: was coverage run with branch = true?"
    share = 100 * (all_branches - missing) / all_branches
    worst = sorted(of_files, key=lambda name: (-of_files[name]["missing_branches"], name))[:SHOWN]
    lines = [f"{of_files[name]['missing_branches']:5} not taken in {name}" for name in worst]
    lines.append(f"{share:.2f} % of {all_branches} branches taken, floor {floor:g} %")
    return share >= floor, "\n".join(lines)


def main(arguments: list[str]) -> int:
    """Print the figures; 1 where the floor is not held."""
    report = json.loads(Path(arguments[0]).read_text(encoding="utf-8"))
    held, said = judge(report, float(arguments[1]) if len(arguments) > 1 else FLOOR)
    print(said)
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
