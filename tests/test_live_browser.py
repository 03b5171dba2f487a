"""The live view in a real browser: a control is dragged, the verdict changes, values go into the file and come out."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from browsing import browser, needs_browser, opened
from test_live import CUBE, served
from test_page import HOSTILE

pytestmark = needs_browser
DOME = Path(__file__).resolve().parents[1] / "scenes" / "dome_render.yaml"


@pytest.fixture(scope="module")
def started():
    with browser() as running:
        yield running


def until(locator, text, within=15_000):
    """Wait until an element says something; the page's policy forbids to ask by a script."""
    locator.filter(has_text=text).wait_for(timeout=within)


def test_dragging_changes_the_verdict_and_the_file_follows_when_told(started, tmp_path):
    path = tmp_path / "cube.yaml"
    path.write_text(CUBE)
    with served(path) as visitor:
        # A small window: it is drawn in software.
        found = opened(started, f"http://{visitor.host}/{visitor.token}/", (840, 480))
        page = found.page
        verdict, said, wrong = (page.locator(name) for name in ("#verdict", "#live-said", "#live-wrong"))
        before = found.picture()
        # By the keys, as a slider is dragged without a mouse.
        fans = page.locator("#control-fans")
        fans.press("ArrowRight")
        fans.press("ArrowRight")
        until(page.locator("#meaning"), "not asked yet")
        assert (found.picture() != before).mean() > 0.001  # the radiator is two fans longer
        box = page.locator("#control-setback").bounding_box()
        page.mouse.move(box["x"] + 0.45 * box["width"], box["y"] + box["height"] / 2)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"], box["y"] + box["height"] / 2, steps=12)
        page.mouse.up()
        until(verdict, "fails")
        until(page.locator("#lead"), "case.rear_panel reaches 12.0 mm into drain.cup_room")
        assert path.read_text() == CUBE  # moving writes nothing
        assert page.locator(".control.changed").count() == 2
        page.locator("#keep").click()
        until(said, "kept in the file: fans, setback")
        wanted = CUBE.replace("setback: 14 mm", "setback: 34 mm").replace("value: 2,", "value: 4,")
        assert path.read_text() == wanted
        until(page.locator("#keep:disabled"), "keep these values")
        # An edit elsewhere is seen; a broken one is said, and the last drawing stays.
        path.write_text(wanted.replace("setback: 34 mm", "setback: 14 mm"))
        until(verdict, "fits")
        assert page.locator("#control-setback").input_value() == "14"
        path.write_text(wanted.replace("parts:", "parts"))
        until(wrong, "cube.yaml:")
        assert verdict.inner_text() in ("FITS", "TIGHT")
        path.write_text(wanted)
        until(verdict, "fails")
        assert wrong.is_hidden()
        page.close()
        assert found.said == []
        assert {asked.split("/")[2] for asked in found.asked} == {visitor.host}


@pytest.mark.long
def test_a_value_that_cannot_be_built_is_said_and_the_drawing_stays(started, tmp_path):
    path = tmp_path / "cube.yaml"
    path.write_text(CUBE.replace("title: Cube", f"title: {json.dumps(HOSTILE)}"))
    with served(path) as visitor:
        found = opened(started, f"http://{visitor.host}/{visitor.token}/")
        figure = found.page.locator(".control[data-name=fans] input[type=number]")
        figure.fill("9")
        until(found.page.locator("#live-wrong"), "fans: 9 is above 4, the end of its range; write 4")
        assert found.page.locator("#verdict").inner_text() in ("FITS", "TIGHT")
        found.page.locator("#as-written").click()
        found.page.locator("#live-wrong").wait_for(state="hidden")
        assert found.page.title().endswith(HOSTILE)  # as text: it did not run
        assert found.said == []
        found.page.close()


def test_a_page_from_elsewhere_gets_nothing(started, tmp_path):
    """Even one that knows the address: its browser says whose page asks."""
    path = tmp_path / "cube.yaml"
    path.write_text(CUBE)
    with served(path) as visitor:
        page = started.new_page()
        (tmp_path / "elsewhere.html").write_text("<title>elsewhere</title>")
        page.goto((tmp_path / "elsewhere.html").as_uri())
        for mode in ("cors", "no-cors"):
            got = page.evaluate(
                """async ([address, mode]) => {
                    const asked = { method: "POST", mode, body: '{"values": {"setback": "1 mm"}}' };
                    try { return await (await fetch(address, asked)).text(); } catch { return "refused"; }
                }""",
                [f"http://{visitor.host}/{visitor.token}/keep", mode],
            )
            assert got in ("refused", "")  # an opaque answer has no text
        assert path.read_text() == CUBE
        page.close()


@pytest.mark.long
def test_the_demo_follows_with_its_tubes(started, tmp_path):
    path = tmp_path / "dome.yaml"
    path.write_bytes(DOME.read_bytes())
    with served(path) as visitor:
        found = opened(started, f"http://{visitor.host}/{visitor.token}/")
        found.page.locator("#control-fan_row").fill("5")
        until(found.page.locator("#verdict"), "fails")
        found.page.locator("#as-written").click()
        until(found.page.locator("#live-said"), "all is asked", within=240_000)
        until(found.page.locator("#verdict"), "fits")
        assert found.page.locator("#runs-count").inner_text() == "23"
        assert found.said == []
        found.page.close()
