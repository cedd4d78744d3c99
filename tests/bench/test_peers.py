"""The other peers of R1 against IDA and against mathematics, and the judgement of a session against made-up records.

Not part of the default run: ``pytest tests/bench/test_peers.py`` (about 20 CPU s).
"""

from __future__ import annotations

import numpy as np
import pytest
from bench import judge, peer_bdf, peer_ida

GRID = (30, 25)


@pytest.fixture(scope="module")
def ida():
    pytest.importorskip("sksundae")
    return peer_ida.solve_r1(*GRID)


def test_bdf_upwind_equals_ida(ida):
    """Same equations on the same cells, written twice: what differs is time stepping, rtol 1e-5 in both.

    Tolerance 0.003 K and 0.01 %: five times what was seen (0.0006 K, 0.006 % on day 3). Planted and seen to fail: diffusivity
    of oxygen 10 % low across; buoyancy of the lower cell only; film without its half cell. Blind to diffusion through the
    open side over a whole cell instead of half: less than 0.01 % of oxygen.
    """
    out = peer_bdf.solve_r1(*GRID)
    np.testing.assert_allclose(out["mean_temperature"], ida["mean_temperature"], rtol=0, atol=0.003)
    np.testing.assert_allclose(out["oxygen_used"], ida["oxygen_used"], rtol=1e-4)


def test_van_leer_carries_a_straight_line_exactly():
    """Inner faces see the value on the line, in both directions; a limited slope is that of the line.

    Tolerance 1e-12, round-off. Planted and seen to fail: a whole slope instead of half; a slope taken off where it is added.
    """
    line = np.linspace(1.0, 2.0, 9)[:, None]
    for sign in (1.0, -1.0):
        flux = np.full((10, 1), sign)
        carried = peer_bdf._carried(flux, line, 2.0625, "van Leer")  # what the line is on the open face
        np.testing.assert_allclose(carried[2:-2, 0], sign * 0.5 * (line[1:-1, 0] + line[2:, 0])[: 6], rtol=1e-12)


def test_van_leer_is_nearer_to_the_converged_answer(ida):
    """Day 3 on 30 x 25: less than a third of the error of upwind (seen: 0.11 of 0.44 K).

    Planted and seen to fail: no slope on vertical faces.
    """
    out = peer_bdf.solve_r1(*GRID, rtol=1e-4, days=(3.0,), scheme="van Leer")
    true = peer_ida.CONVERGED[3.0][0]
    assert abs(out["mean_temperature"][0] - true) < abs(ida["mean_temperature"][1] - true) / 3.0


@pytest.mark.parametrize("scheme", ["upwind", "van Leer"])
def test_colours_share_no_row(scheme):
    """No equation reads two unknowns of one colour, so that one difference serves a whole colour; and none is missed: the
    difference of a single unknown touches the rows of its column only.

    Planted and seen to fail: (i + j) mod 5; a stencil of one cell for van Leer.
    """
    section = peer_bdf.Section(*GRID, scheme)
    row, column, colour = section.pattern()
    pairs = np.unique(np.stack((row, colour)), axis=1, return_counts=True)[1]
    assert pairs.max() == 1
    rng = np.random.default_rng(1)
    size = section.k.size
    y = np.concatenate((rng.uniform(280, 330, size), rng.uniform(10, 90, size), rng.uniform(0.02, 0.25, size)))
    flow = section.velocity(y[:size].reshape(GRID))
    base = section.rates(y, flow)
    for unknown in rng.choice(y.size, 40, replace=False):
        trial = y.copy()
        trial[unknown] += 1e-3
        touched = np.flatnonzero(section.rates(trial, flow) != base)
        assert set(touched) <= set(row[column == unknown])


@pytest.mark.filterwarnings("default")
def test_fipy_is_first_order_in_time(ida):
    """Day 1 on 30 x 25 against IDA on the same cells with the same upwind faces: halving the step halves the error.

    Tolerance 1.7 to 2.3. Planted and seen to fail: film without its half cell; gas leaving by the top forgotten.
    """
    pytest.importorskip("fipy")
    from bench import peer_fipy

    coarse, fine = (peer_fipy.solve_r1(*GRID, step=step, days=(1.0,))["mean_temperature"][0] - ida["mean_temperature"][0]
                    for step in (3600.0, 1800.0))
    assert 1.7 < coarse / fine < 2.3


def record(quick=False, power=1.2, cpu=0.2):
    """A made-up session: IDA takes 10 s, pilesim `cpu`, and cost grows as nodes to the `power`."""
    growth = {f"r1 {n}": {"problem": "r1", "nodes": n, "steps": 100, "cpu_seconds": [1e-4 * n**power]}
              for n in (100, 400, 1600)}
    made = {"options": {"quick": quick}, "growth": growth,
            "drift": {"ida": {"cpu_seconds": [11.0]}, "pilesim_60": {"cpu_seconds": [0.5 * cpu, 3.0 * cpu]}},
            "contest": {"ida": {"cpu_seconds": [9.0, 10.0], "days": 30.0},
                        "pilesim_60": {"cpu_seconds": [cpu], "days": 30.0}}}
    made["targets"] = judge.judge(made)
    return made


def test_judgement():
    """Exponent of an exact power; the ratio of medians over both ends of a session; misses; nothing measured is no success.

    Tolerance 1e-12, round-off. Planted and seen to fail: slope of nodes against seconds; `holds` true where nothing is found.
    """
    good, bad = record(), record(power=1.5, cpu=0.3)
    for last in (0, 2):
        assert judge.exponent(good, "r1", last=last) == pytest.approx(1.2, rel=1e-12)
    rows = {row["what"]: row for row in good["targets"]}
    assert rows["R1, 60 x 50, of IDA's CPU"]["found"] == pytest.approx(0.02, rel=1e-12)
    assert rows["R1, 60 x 50, of IDA's CPU"]["holds"] is True
    assert rows["memory of one run"]["holds"] is None
    assert judge.missed_ratios(good) == []
    assert judge.missed_ratios(bad) == ["R1, 60 x 50, of IDA's CPU", "growth with nodes, R1, exponent"]
    assert judge.missed_ratios(record(quick=True, power=1.5, cpu=0.3)) == []
