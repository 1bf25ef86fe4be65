"""Run all benchmarks, or those named: python tests/benchmarks [commands readers scale network].

Each prints ratios, both sides measured in one run; docs/performance.md says what they mean and
what was reached.
"""

from __future__ import annotations

import platform
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main(names: list[str]) -> int:
    """Run each benchmark in a process of its own; return how many failed."""
    known = {path.stem.removeprefix("bench_"): path for path in sorted(HERE.glob("bench_*.py"))}
    unknown = [name for name in names if name not in known]
    if unknown:
        print(f"no benchmark {', '.join(unknown)}; there are {', '.join(known)}", file=sys.stderr)
        return 2
    print(f"Python {platform.python_version()}, {platform.machine()}, {platform.system()}")
    failed = 0
    for name in names or known:
        print(f"\n{name}", flush=True)
        failed += subprocess.run([sys.executable, str(known[name])], check=False).returncode != 0
    return min(failed, 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
