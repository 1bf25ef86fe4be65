"""`python -m nettrace`: the same as the `nettrace` command."""

from __future__ import annotations

import sys

from nettrace.cli.entry import main

if __name__ == "__main__":
    sys.exit(main())
