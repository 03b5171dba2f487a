"""Layouts of a scene: which there are, each answered as a plain check answers it, what they say together."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML
from small_layouts import LAYOUTS, SCENE, written

import fitcheck
from fitcheck.finding import Verdict, plain
from fitcheck.layouts.asked import OF_RUNS, Asker
from fitcheck.layouts.choices import Choices, Wheel
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.summary import BEST, _front, _ranked, holds, summary
from fitcheck.scene import limits
from fitcheck.scene.mistakes import Mistakes

TOP = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def crates(tmp_path_factory):
    return read_layouts(written(tmp_path_factory.mktemp("crates")))


@pytest.fixture(scope="module")
def answers(crates):
    asker = Asker(crates)
    return [asker.ask(number) for number in crates.choices.numbers()]


@given(sizes=st.lists(st.integers(1, 5), min_size=1, max_size=5), data=st.data())
def test_layouts_are_numbered_as_a_counter_counts(sizes, data):
    names = [f"n{k}" for k in range(len(sizes))]
    wheels = tuple(Wheel((n,), tuple((v,) for v in range(s))) for n, s in zip(names, sizes, strict=True))
    out = data.draw(st.dictionaries(st.sampled_from(names), st.frozensets(st.integers(0, 4)), max_size=2))
    choices = Choices(wheels, (out,) if out else ())
    every = [dict(zip(names, values, strict=True)) for values in product(*map(range, sizes))]
    assert [choices.values(number) for number in range(choices.count)] == every
    left = [v for v in every if not (out and all(v[name] in among for name, among in out.items()))]
    assert [choices.values(number) for number in choices.numbers()] == left
    assert (np.flatnonzero(~choices.left_out().ravel()) == list(choices.numbers())).all()
    number = data.draw(st.integers(0, choices.count - 1))
    assert choices.number(choices.places(number)) == number
    near = {(other, at) for other, at in choices.neighbours(number)}
    values = every[number]
    assert near == {
        (k, at)
        for k, v in enumerate(every)
        for at, name in enumerate(names)
        if v[name] != values[name] and all(v[n] == values[n] for n in names if n != name)
    }


def test_what_varies(crates):
    # 3 widths, 9 gaps, 4 roofs; two gaps of the widest are left out.
    assert crates.choices.count == 3 * 9 * 4
    assert len(list(crates.choices.numbers())) == 3 * 9 * 4 - 2 * 4
    assert crates.choices.values(0) == {"wide": "10 mm", "gap": "0 mm", "upper": "as_drawn"}
    assert crates.choices.values(107) == {"wide": "26 mm", "gap": "12 mm", "upper": "none"}


def plain_scene(folder, values):
    """The scene as a builder would write the layout by hand."""
    data = YAML(typ="safe").load(SCENE)
    data["parameters"]["wide"] = values["wide"]
    data["parameters"]["gap"]["value"] = values["gap"]
    roof = data["parts"]["roof"]
    match values["upper"]:
        case "lowered":
            roof["place"] = {"at": [0, 0, 12.5]}
        case "wider":
            roof["with"]["width"] = 150
        case "none":
            del data["parts"]["roof"]
    path = folder / "by_hand.yaml"
    with path.open("w") as file:
        YAML(typ="safe").dump(data, file)
    return path


def test_each_layout_is_answered_as_a_plain_check_answers_it(crates, answers):
    for said in answers:
        report = fitcheck.check(plain_scene(crates.scene_path.parent, said["values"]))
        assert said["verdict"] == str(report.verdict)
        wrong = [finding for finding in report.findings if finding.verdict != Verdict.FITS]
        assert said.get("sentence") == (wrong[0].sentence if wrong else None)
        near = report.facts.get("clearance", {}).get("nearest", ())
        if any(f.check == "interference" for f in report.findings):
            assert said["figures"]["least"] == 0
        elif near:
            assert said["figures"]["least"] == plain(near[0]["distance"])
        else:
            # Nothing nearer than what is listed as facts.
            assert said["figures"]["least"] >= 5
    assert {said["verdict"] for said in answers} == {"fits", "tight", "fails"}


def test_figures_by_hand(answers):
    # Left crate from 0 to its width, right one from 20 + gap: what lies between; the roof lies 20 above, or 2.5.
    for said in answers:
        wide, gap = (float(said["values"][name].removesuffix(" mm")) for name in ("wide", "gap"))
        between = 20 + gap - wide
        least = min(between, 2.5) if said["values"]["upper"] == "lowered" else min(between, 20.0)
        if between < 0:
            assert said["verdict"] == "fails"
            continue
        assert said["figures"]["least"] == pytest.approx(least, abs=1e-9)
        assert said["missed"] == ([] if least >= 1 else ["least"])
        assert said["verdict"] == ("fails" if least < 2 else "tight" if least < 3 else "fits")
        assert said["figures"]["price"] == {10: 3, 20: 5, 26: 9}[wide]


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_random_layouts_of_a_demo_as_plain_checks(data):
    layouts = _dome()
    number = data.draw(st.sampled_from(list(layouts.choices.numbers())))
    said = _dome_asker().ask(number)
    world = fitcheck.load(layouts.scene_path, said["values"])
    rules = {name: rule for name, rule in world.rules.items() if name not in OF_RUNS}
    report = fitcheck.check_world(replace(world, wishes=(), loops={}, rules=rules), facts=False)
    assert said["verdict"] == str(report.verdict)
    wrong = [finding for finding in report.findings if finding.verdict != Verdict.FITS]
    assert said.get("failing", []) == [f.id for f in wrong if f.verdict == Verdict.FAILS and not f.follows]
    rooms = [f for f in report.findings if f.check == "room" and "drain" in f.parts]
    assert said["figures"]["drain_room"] == plain(rooms[0].measured)


_kept: dict = {}


def _dome():
    if "layouts" not in _kept:
        _kept["layouts"] = read_layouts(TOP / "scenes/dome_layouts.yaml")
    return _kept["layouts"]


def _dome_asker():
    if "asker" not in _kept:
        _kept["asker"] = Asker(_dome())
    return _kept["asker"]


def test_what_all_layouts_say_together(crates, answers):
    found = summary(crates, answers)
    good = [said for said in answers if holds(said)]
    assert 0 < len(good) < len(answers)
    assert (found.asked, found.good) == (len(answers), len(good))

    def merit(said):
        return (said["figures"]["least"], -said["figures"]["price"])

    assert [s["layout"] for s in found.best] == [
        s["layout"] for s in sorted(good, key=lambda s: (*(-m for m in merit(s)), s["layout"]))[:BEST]
    ]
    # Nothing on the front is beaten or equalled, and all else is.
    front = {merit(s) for s in found.front}
    assert len(front) == len(found.front)
    for said in good:
        better = [m for m in front if all(a >= b for a, b in zip(m, merit(said), strict=True))]
        assert better
        assert merit(said) not in front or better == [merit(said)]
    # A layout is rescued by a name if another that differs in nothing else holds.
    by_values = {tuple(s["values"].values()): holds(s) for s in answers}
    for at, name in enumerate(crates.choices.names):
        rescued = sum(
            any(
                other[at] != values[at]
                and other[:at] + other[at + 1 :] == values[:at] + values[at + 1 :]
                and ok
                for other, ok in by_values.items()
            )
            for values, held in by_values.items()
            if not held
        )
        assert found.rescues[name] == rescued
    assert found.rescues["gap"] > 0


WRONG = [
    ("wide: [10 mm", "wdie: [10 mm", "no parameter of the scene", "write wide"),
    ("step: 1.5 mm", "step: 0 mm", "not above 0", ""),
    ("to: 12 mm", "to: -12 mm", "lies below", ""),
    ("to: 12 mm", "to: 12 deg", "angle", ""),
    ("wide: 26, gap", "wide: 25, gap", "none of its values", ""),
    ("wide: 26, gap", "wdie: 26, gap", "does not vary", "write wide"),
    ("least_distance: yes", "check: clearence", "no check", "write clearance"),
    ("figure: least", "figure: leats", "no figure", "write least"),
    ("rank: [most least", "rank: [best least", "most or least", ""),
    ("rank: [most least", "rank: [most leats", "no figure", "write least"),
    ("20 mm: 5, ", "", "no price for 20 mm", ""),
    ("scene: scene.yaml", "scene: scen.yaml", "no such file", ""),
    ("scene: scene.yaml", "scene: ../scene.yaml", "leads out", ""),
    ("{least_distance: yes}", "{length_of: tube}", "not laid", "write runs: yes"),
    ("none: {without: [roof]}", "none: {with_out: [roof]}", "with_out", "without"),
]


@pytest.mark.parametrize(("right", "wrong", "problem", "mend"), WRONG)
def test_mistakes_of_a_layouts_file_have_their_place_and_mend(tmp_path, right, wrong, problem, mend):
    assert right in LAYOUTS
    path = written(tmp_path, LAYOUTS.replace(right, wrong))
    with pytest.raises(Mistakes) as caught:
        read_layouts(path)
    told = [str(mistake) for mistake in caught.value.items if problem in str(mistake)]
    assert told
    line = next(k for k, text in enumerate(LAYOUTS.splitlines(), 1) if right.strip() in text)
    assert told[0].startswith(f"{path}:{line}:")
    assert mend in told[0]


@given(rows=st.lists(st.tuples(*[st.sampled_from([-np.inf, 0.0, 1.0, 2.0, 3.5])] * 3), max_size=40))
def test_the_front_is_what_no_other_beats_or_equals(rows):
    merit = np.array(rows, float).reshape(-1, 3)
    numbers, ranked = _ranked(np.arange(len(rows)), merit)
    best = sorted(range(len(rows)), key=lambda at: (*(-value for value in rows[at]), at))
    assert numbers.tolist() == best

    def beaten(at):
        """By one that is as good in all and better in one; of equals by the first."""
        others = (k for k in range(len(rows)) if all(a >= b for a, b in zip(rows[k], rows[at], strict=True)))
        return any(rows[k] != rows[at] or k < at for k in others)

    assert _front(numbers, ranked) == [at for at in best if not beaten(at)]


# By what a right piece of text is replaced, and all that is said then: the line, and a piece of the sentence.
ROUNDS = [
    # Shape and value in entries of one section, and a place behind an entry that is left out.
    ([("wide: [10", "wdie: [10"), ("to: 12 mm", "too: 12 mm")],
     [(4, "no parameter of the scene"), (5, "too: unknown key")]),
    ([("- {wide: 26, gap: [0 mm, 1.5 mm]}", "- 5\n  - {wide: 26, gpa: 0 mm}")],
     [(13, "expected a name and its value"), (14, "`gpa` does not vary")]),
    ([("[{figure: least, at_least: 1 mm}]", "[{figure: least}, {figure: leats, at_least: 1 mm}]")],
     [(17, "give at_least, at_most or both"), (17, "no figure `leats`")]),
    ([("rank: [most least", "rank: [best least"), ("step: 1.5 mm", "step: 0 mm")],
     [(5, "step is not above 0"), (18, "expected most or least")]),
    ([("title: crates", "titel: crates"), ("20 mm: 5, ", "")],
     [(1, "titel: unknown key"), (16, "no price for 20 mm")]),
    # What follows from a mistake is not told: the figure is there, if wrong; what varies, too.
    ([("{least_distance: yes}", "{least_distance: yes, check: room}"), ("figure: least", "figure: leats")],
     [(15, "more than one kind"), (17, "no figure `leats`")]),
    ([("{least_distance: yes}", "{distance: yes}"), ("scene: scene.yaml", "scene: scen.yaml")],
     [(2, "no such file"), (15, "distance: unknown key")]),
    ([("wide: [10 mm, 20 mm, 26 mm]", "wide: {form: 10 mm, to: 26 mm, step: 8 mm}"), ("none: {without: [roof]}", "none: {with_out: [roof]}")],
     [(4, "form: unknown key; allowed here: from, to, step; write from"), (11, "with_out: unknown key")]),
    ([("wide: [10 mm", "wdie: [10 mm")], [(4, "no parameter of the scene")]),
    ([("step: 1.5 mm", "step: 0 mm")], [(5, "not above 0")]),
    # The scene's file is not known: the rest is judged all the same.
    ([("scene: scene.yaml\n", "seen: scene.yaml\n"), ("to: 12 mm", "to: -12 mm")],
     [(2, "seen: unknown key"), (5, "lies below")]),
    ([("scene: scene.yaml", "scene: ../scene.yaml"), ("figure: least", "figure: leats")],
     [(2, "leads out"), (17, "no figure `leats`")]),
    # A section that cannot be read at all.
    ([("rank: [most least, least price]", "rank: 5"), ("check: ", ""), ("to: 12 mm", "to: 12 deg")],
     [(5, "angle"), (18, "rank: expected a list")]),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "expected"), ROUNDS)
def test_all_mistakes_of_a_layouts_file_come_in_one_round(tmp_path, changes, expected):
    text = LAYOUTS
    for right, wrong in changes:
        text = text.replace(right, wrong)
    path = written(tmp_path, text)
    with pytest.raises(Mistakes) as caught:
        read_layouts(path)
    told = [str(mistake).removeprefix(f"{path}:") for mistake in caught.value.items]
    assert len(told) == len(expected), told
    for line, said in expected:
        assert any(one.startswith(f"{line}:") and said in one for one in told), (line, said, told)


def test_mistakes_of_the_scene_s_text_come_with_those_of_the_layouts(tmp_path):
    path = written(
        tmp_path, LAYOUTS.replace("figure: least", "figure: leats"), SCENE.replace("parts:", "parts: [")
    )
    with pytest.raises(Mistakes) as caught:
        read_layouts(path)
    assert {mistake.mark.file for mistake in caught.value.items} == {
        str(path),
        str(path.parent / "scene.yaml"),
    }


def test_too_many_layouts_are_refused_before_they_are_counted(tmp_path, monkeypatch):
    path = written(tmp_path)
    monkeypatch.setattr(limits, "LAYOUTS", 3 * 9 * 4)
    assert read_layouts(path).choices.count == 3 * 9 * 4
    monkeypatch.setattr(limits, "LAYOUTS", 3 * 9 * 4 - 1)
    with pytest.raises(Mistakes, match=r"yaml:5:3: gap: makes 108 layouts .* the limit is 107; vary less"):
        read_layouts(path)


def test_a_layout_that_cannot_be_built_says_why(tmp_path):
    wide = LAYOUTS.replace("to: 12 mm, step: 1.5 mm", "to: 80 mm, step: 20 mm").replace(", 1.5 mm]", "]")
    path = written(tmp_path, wide)
    layouts = read_layouts(path)
    said = [Asker(layouts).ask(number) for number in layouts.choices.numbers()]
    wrong = [one for one in said if one["verdict"] is None]
    assert {one["values"]["gap"] for one in wrong} == {"80 mm"}
    assert all("--set gap=80 mm" in one["mistakes"][0] for one in wrong)
    assert summary(layouts, said).verdicts["wrong"] == len(wrong)


def test_a_mistake_in_an_option_stands_in_the_layouts_file(tmp_path):
    path = written(tmp_path, LAYOUTS.replace("{width: 150}", "{widht: 150}"))
    layouts = read_layouts(path)
    number = next(n for n in layouts.choices.numbers() if layouts.choices.values(n)["upper"] == "wider")
    said = Asker(layouts).ask(number)
    line = next(k for k, text in enumerate(LAYOUTS.splitlines(), 1) if "width: 150" in text)
    assert said["mistakes"][0].startswith(f"{path}:{line}:")
    assert "write width" in said["mistakes"][0]


def test_a_table_of_layouts_as_csv(tmp_path):
    scene = written(tmp_path).parent / "scene.yaml"
    table = tmp_path / "rows.csv"
    table.write_text("wide,gap,high\n10 mm,5 mm,low\n20,0 mm,tall\n", encoding="utf-8-sig")
    layouts = read_layouts(table, scene)
    assert [layouts.choices.values(k) for k in layouts.choices.numbers()] == [
        {"wide": "10 mm", "gap": "5 mm", "high": "low"},
        {"wide": 20, "gap": "0 mm", "high": "tall"},
    ]
    asker = Asker(layouts)
    assert [asker.ask(k)["figures"] for k in (0, 1)] == [{"least_distance": 15.0}, {"least_distance": 0.0}]
    table.write_text("wide,gpa\n10 mm,5 mm\n20\n")
    with pytest.raises(Mistakes, match="1 cells"):
        read_layouts(table, scene)
    table.write_text("wide,gpa\n10 mm,5 mm\n")
    with pytest.raises(Mistakes, match=r"rows.csv:1:6: .*write gap"):
        read_layouts(table, scene)
    with pytest.raises(Mistakes, match="give --scene"):
        read_layouts(table)


def test_the_example_of_the_manual(tmp_path):
    said = (TOP / "scenes/README.md").read_text(encoding="utf-8").partition("## Layouts files")[2]
    lines = said.partition("    scene:")[2].splitlines()
    text = "\n".join(
        line[4:] for line in [f"    scene:{lines[0]}", *lines[1 : lines.index("    runs: no") + 1]]
    )
    (tmp_path / "layouts.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "dome_render.yaml").write_text((TOP / "scenes/dome_render.yaml").read_text(encoding="utf-8"))
    layouts = read_layouts(tmp_path / "layouts.yaml")
    assert layouts.choices.names == ("fan_row", "setback", "ports_look", "core", "ports")
    asker = Asker(layouts)
    # Two fans and 2 mm before them: there is room behind them; turned about, the drain meets the front.
    rear, _, front = (asker.ask(number) for number in range(3))
    assert rear["verdict"] == "fits"
    assert rear["figures"]["drain_room"] > 60
    assert front["verdict"] == "fails"


def test_the_readme_s_own_layouts():
    text = (TOP / "README.md").read_text(encoding="utf-8").partition("## Many layouts")[2]
    path = TOP / "scenes" / "dome_layouts.yaml"
    shown = YAML(typ="safe").load(text.partition("```yaml\n")[2].partition("```")[0])
    assert set(shown) <= set(YAML(typ="safe").load(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", sorted(TOP.glob("scenes/*_layouts.yaml")), ids=lambda path: path.stem)
def test_layouts_of_the_demos_can_be_built_at_both_ends(path):
    layouts = read_layouts(path)
    numbers = list(layouts.choices.numbers())
    asker = Asker(layouts)
    for number in (numbers[0], numbers[-1]):
        record = asker.ask(number)
        assert record["verdict"] is not None, record["mistakes"]
        assert all(value is not None for value in record["figures"].values())
