"""Speed of the resistive network, with bounds of half the goal: a busy machine must pass.

The goals themselves are printed by `bench_network.py`.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks import bench_network
from tests.electrical.test_network import needs_ngspice

pytestmark = [pytest.mark.slow, pytest.mark.timed]


@needs_ngspice
def test_twenty_pairs_take_less_than_one_run_of_ngspice(tmp_path: Path) -> None:
    ratio, off = bench_network.against_ngspice(bench_network.board_like(2_000), tmp_path, rounds=3)
    assert off < 1e-9
    assert ratio > 1


def test_a_removed_part_is_answered_ten_times_faster_than_anew() -> None:
    ratio, off = bench_network.update_ratio(bench_network.board_like(5_000), rounds=3)
    assert off < 1e-9
    assert ratio > 20 / 2
