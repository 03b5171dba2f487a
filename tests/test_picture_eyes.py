"""Pictures from an eye, and outlines of necks, against projections worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from pictured import SMALL, in_case
from worlds import box, part

import fitcheck
from fitcheck.finding import Finding, Verdict
from fitcheck.outputs import pictures
from fitcheck.outputs.pictures import camera, dimensions, looks
from fitcheck.report import check_world
from fitcheck.scene.mistakes import Mistakes, ValueMistake

BOUNDS = np.array([[0, 0, 0], [200, 400, 300.0]])
PANE = (0, 0, 800, 600)


def test_what_is_nearer_is_larger():
    seen = camera.aim_from(np.array([100, -800, 150.0]), BOUNDS, PANE)
    # The middle is 1000 away. A stick of 10 at half the way looks twice as long as one at the middle.
    near = seen.pixels(np.array([[100, -300, 150], [110, -300, 150.0]]))
    far = seen.pixels(np.array([[100, 200, 150], [110, 200, 150.0]]))
    assert near[0] == pytest.approx([400, 300]) and far[0] == pytest.approx([400, 300])
    assert near[1][0] - 400 == pytest.approx(2 * (far[1][0] - 400))
    assert far[1][0] - 400 == pytest.approx(10 * seen.scale)


def test_all_of_the_machine_is_in_the_pane():
    for eye in ([-900, -300, 800], [500, 1200, 150], [100, 200, 2000]):
        seen = camera.aim_from(np.array(eye, float), BOUNDS, PANE)
        corners = seen.pixels(
            np.array([[x, y, z] for x in (0, 200) for y in (0, 400) for z in (0, 300)], float)
        )
        away = np.abs(corners - [400, 300]) / [400, 300]
        assert away.max() == pytest.approx(0.9)


def test_an_eye_within_the_machine_is_refused():
    with pytest.raises(ValueMistake, match="stands within"):
        camera.aim_from(np.array([100, 200, 150.0]), BOUNDS, PANE)


@pytest.mark.parametrize("eye", [[100, -900, 150], [900, -500, 700]])
def test_pixels_agree_with_the_drawing(eye):
    # A bead of 6 mm before the case's front panel: the middle of its pixels is where its middle should be.
    scene = in_case(
        part("bead", box([147, -53, 217], [153, -47, 223])), sight={"eyes": {"visitor": {"at": eye}}}
    )
    picture = pictures.draw_view(scene, check_world(scene), {"eye": "visitor"}, SMALL)
    rows, columns = np.nonzero(picture.ids == 1)
    middle = [columns.mean() + 0.5, rows.mean() + 0.5]
    expected = picture.camera.pixels(np.array([150.0, -50, 220])) - picture.camera.pane[:2]
    np.testing.assert_allclose(middle, expected, atol=1.0)


def test_the_case_hides_what_is_in_it():
    # A pump in the hall is behind the front panel for an eye, and drawn through it from a side.
    scene = in_case(
        part("pump", box([60, 60, 60], [120, 120, 120])),
        sight={"eyes": {"visitor": {"at": [100, -900, 150]}}},
    )
    report = check_world(scene)
    assert not (pictures.draw_view(scene, report, {"eye": "visitor"}, SMALL).ids == 1).any()
    assert (pictures.draw_view(scene, report, "from front", SMALL).ids == 1).any()


def test_a_box_of_eyes_is_drawn_from_its_worst_place():
    eyes = {"crowd": {"low": [-600, -900, 150], "high": [600, -900, 150]}}
    scene = in_case(
        part("lamp", box([-80, 50, 100], [-40, 90, 140])), sight={"eyes": eyes, "hidden": [{"part": "lamp"}]}
    )
    report = check_world(scene)
    (finding,) = [f for f in report.findings if f.check == "sight"]
    picture = pictures.draw_view(scene, report, {"eye": "crowd"}, SMALL)
    assert picture.camera.eye == pytest.approx(finding.details["eye"])
    assert any("seen by crowd" in words.text for words in picture.written)


def test_unknown_eyes_are_refused():
    scene = in_case(
        part("pump", box([60, 60, 60], [120, 120, 120])), sight={"eyes": {"visitor": {"at": [0, -900, 0]}}}
    )
    with pytest.raises(ValueMistake, match="no eyes named `visitors`") as told:
        pictures.draw_view(scene, check_world(scene), {"eye": "visitors"}, SMALL)
    assert told.value.mend == "write visitor"
    with pytest.raises(Mistakes, match="no eye of the rule sight named `nobody`"):
        fitcheck.load("parts: {a: {model: foot}}\nviews: {v: {eye: nobody}}\n", name="s")


def test_a_neck_is_outlined():
    square = ((0.0, 0, 0), (10.0, 0, 0), (10.0, 10, 0), (0.0, 10, 0))
    fits = Finding("ventilation", ("fan",), Verdict.FITS, "", details={"outlines": (square,)})
    tight = Finding("ventilation", ("fan",), Verdict.TIGHT, "", details={"outlines": (square,)})
    fails = Finding("ventilation", ("fan",), Verdict.FAILS, "", details={"outlines": (square,)})
    found = looks.outlined([fails, fits, tight, Finding("room", ("x",), Verdict.FAILS, "")])
    assert [verdict for verdict, _ in found] == [Verdict.TIGHT, Verdict.FAILS]
    assert found[0][1].shape == (4, 2, 3)
    np.testing.assert_allclose(found[0][1][3], [[0, 10, 0], [0, 0, 0]])


def test_the_outline_is_in_the_picture():
    rim = tuple((100 + 60 * np.cos(t), -20.0, 150 + 60 * np.sin(t)) for t in np.linspace(0, 6, 24))
    neck = Finding(
        "ventilation",
        ("pump",),
        Verdict.FAILS,
        "narrow",
        details={"outlines": (rim,)},
        where=((100, -20, 150),),
        measured=0.2,
        required=0.5,
        unit="share",
    )
    scene = in_case(part("pump", box([60, 60, 60], [70, 70, 70])))
    report = check_world(scene)
    from dataclasses import replace

    drawn = pictures.draw_view(
        scene, replace(report, findings=(neck,), verdict=Verdict.FAILS), "from front", SMALL
    )
    at = drawn.camera.pixels(np.array([[160, -20, 150.0]]))[0].astype(int)
    patch = np.array(drawn.image, float)[at[1] - 4 : at[1] + 5, at[0] - 4 : at[0] + 5].reshape(-1, 3)
    red = np.abs(patch - [0xB0, 0x1E, 0x1E]).sum(axis=1).min()
    assert red < 60


def test_a_share_is_written_in_percent():
    neck = Finding("ventilation", ("fan",), Verdict.FAILS, "", measured=0.412, required=0.5, unit="share")
    assert dimensions.figure(neck) == "41.2 % (needs 50.0 %)"
    seen = Finding(
        "sight",
        ("part", "eyes"),
        Verdict.FAILS,
        "",
        measured=0.2,
        required=0.0,
        unit="share",
        details={"at_most": True},
    )
    assert dimensions.figure(seen) == "20.0 % (needs at most 0.0 %)"


def test_the_command_for_an_eye(tmp_path):
    import subprocess
    import sys
    from pathlib import Path

    top = Path(__file__).resolve().parents[1]
    scene = tmp_path / "s.yaml"
    scene.write_text("parts: {a: {model: foot}}\nrules: {sight: {eyes: {visitor: {at: [0, -500, 200]}}}}\n")

    def run(eye):
        code = "from fitcheck.cli import run; run()"
        words = ["render", str(scene), "--eye", eye, "--out", str(tmp_path / "seen.png")]
        return subprocess.run(
            [sys.executable, "-c", code, *words],
            capture_output=True,
            text=True,
            cwd=top,
            timeout=120,
            check=False,
        )

    good = run("visitor")
    assert good.returncode == 0 and (tmp_path / "seen.png").stat().st_size > 1000
    wrong = run("visitors")
    assert wrong.returncode == 2
    assert (
        "--eye visitors: there are no eyes named `visitors` (there are visitor); write visitor"
        in wrong.stderr
    )
