"""What holes, screws and sheets cost when the parts double.

Run with `pytest tests/bench/test_bench_holes.py --benchmark-enable -s -m '' -n 0`. Each test prints both times and
their ratio: pairs are found among parts that rest on each other, so twice the parts should cost little more than twice.
"""

import pytest
from peers import in_turn

import fitcheck
from fitcheck.checks.edges import check_edges
from fitcheck.checks.fastening import check_fastening

ROUNDS = 5
# Twice the parts may cost so much: bounds of all bodies are looked through for each screw.
DOUBLED = 3.5
ROW = """
  radiator_{n}: {{model: radiator, with: {{fans: 3}}, place: {{at: [{x}, 0, 0]}}}}
  plate_{n}: {{model: radiator_mount, with: {{fans: 3, thickness: 1}}, place: {{rest: underside, on: radiator_{n}.fan_face, centre: both}}}}
  fans_{n}: {{model: fan_row, with: {{fans: 3}}, place: {{rest: "fan[1].back", on: plate_{n}.upper_face, match: {{mine: "fan[1].screws[1][1]", theirs: "plate_{n}.fan_screws[1][1][1]"}}}}}}
"""


def rows(many):
    """So many radiators with plates and fans, none of them asked of yet."""
    parts = "".join(ROW.format(n=n, x=600 * n) for n in range(many))
    touches = "".join(
        f"\n  - {{between: fans_{n}, and: plate_{n}}}\n  - {{between: plate_{n}, and: radiator_{n}}}"
        for n in range(many)
    )
    rules = "rules: {fastening: {materials: [{of: 'radiator_*', is: steel}], on_bench: yes}, edges: {}}"
    return fitcheck.load(f"parts:{parts}touches:{touches}\n{rules}\n", name="rows")


@pytest.mark.parametrize("check", [check_fastening, check_edges])
def test_twice_the_parts(benchmark, check):
    few, many = 4, 8
    found = check(rows(2))
    assert found.findings
    assert all(finding.verdict == "fits" for finding in found.findings)
    if benchmark.enabled:
        small = iter([rows(few) for _ in range(ROUNDS + 1)])
        large = iter([rows(many) for _ in range(ROUNDS + 1)])
        one, two = in_turn(lambda: check(next(small)), lambda: check(next(large)), rounds=ROUNDS)
        print(
            f"\n{check.__name__}: {few} rows {one * 1e3:.0f} ms, {many} rows {two * 1e3:.0f} ms, {two / one:.2f} times"
        )
        assert two < DOUBLED * one
    benchmark.pedantic(lambda: check(rows(1)), rounds=1)


def test_without_a_rule_it_costs_nothing(benchmark):
    world = fitcheck.load("parts:\n  fan: {model: fan}\n", name="bare")
    for check in (check_fastening, check_edges):
        assert not check(world).findings
    benchmark(lambda: (check_fastening(world), check_edges(world)))
