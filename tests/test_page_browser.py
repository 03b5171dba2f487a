"""The page in a real browser, opened from disk: what is picked, hidden, cut, measured; and what never runs."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest
from browsing import PHONE, browser, needs_browser, opened
from pictured import machine, report
from test_page import HOSTILE, embedded, machine_page

from fitcheck.outputs import page as pages
from fitcheck.outputs.page.described import described
from fitcheck.outputs.page.packed import packed
from fitcheck.outputs.page.shapes import drawn_solids
from fitcheck.outputs.pictures.bands import NEAR, bands_of, rgb
from fitcheck.outputs.pictures.camera import FILL
from fitcheck.outputs.pictures.looks import ROLE_COLOURS

pytestmark = needs_browser
WHITE = 250


@pytest.fixture(scope="module")
def started():
    with browser() as running:
        yield running


@pytest.fixture(scope="module")
def from_disk(tmp_path_factory):
    """The machine's page as a file, and its address."""
    file = tmp_path_factory.mktemp("page") / "machine.html"
    file.write_text(machine_page(), "utf-8")
    return file.as_uri()


@pytest.fixture
def shown(started, from_disk):
    """The page, freshly opened; afterwards it has complained of nothing and asked for nothing."""
    found = opened(started, from_disk)
    yield found
    found.page.close()
    assert found.said == []
    assert [asked for asked in found.asked if asked != from_disk] == []


@cache
def told():
    return json.loads(embedded(machine_page(), "scene"))


def pixel(shown, look, point):
    """(row, column) of a world point in the view from one side, by the rule of the pictures' camera."""
    box = shown.page.locator("#drawing").bounding_box()
    low, high = np.array(told()["bounds"])
    across, up = {"top": ([1, 0, 0], [0, 1, 0]), "left": ([0, -1, 0], [0, 0, 1])}[look]
    axes = np.array([across, up])
    scale = FILL * min(np.array([box["width"], box["height"]]) / (np.abs(axes) @ (high - low)))
    x, y = scale * (axes @ (np.array(point) - (low + high) / 2))
    return round(box["height"] / 2 - y), round(box["width"] / 2 + x)


def look(shown, side):
    shown.page.locator("#views button", has_text=side).click()


def test_verdict_first_and_a_finding_flies_there(shown):
    page = shown.page
    assert page.locator("#verdict").inner_text() == "FAILS"
    assert page.title() == "fails: test"
    # All the rest fades: what was full of lines and colours is mostly white.
    before = (shown.picture().min(axis=2) < WHITE - 20).mean()
    finding = page.locator("#findings li[data-id='interference:card~plug'] button")
    finding.click()
    after = shown.picture()
    assert page.locator("#figure").inner_text() == "overlap 6.0 mm"
    assert page.locator("#marks .arrow").count() == 2
    assert finding.get_attribute("aria-pressed") == "true"
    # Where the two go into each other the colour of what is too near is in sight, the legend's in its hue.
    red, green, blue = rgb(NEAR[0])
    seen = after.astype(float)
    hue = (np.abs(seen[..., 1] / np.maximum(seen[..., 0], 1) - green / red) < 0.06) & (seen[..., 2] < 40)
    assert (hue & (seen[..., 0] > 120)).sum() > 50 and blue == 0
    page.keyboard.press("Tab")
    page.locator("#drawing").press("Escape")
    assert page.locator("#figure").is_hidden() and page.locator("#back").is_hidden()
    assert before > 0.05


@pytest.mark.long
def test_arrows_of_a_dimension_lie_as_far_apart_as_the_scale_says(shown):
    page = shown.page
    page.locator("#findings li[data-id='interference:card~plug'] button").click()
    shown.picture()
    tips = [
        np.array(points.split()[0].split(","), float)
        for points in page.locator("#marks .arrow").evaluate_all(
            "all => all.map((one) => one.getAttribute('points'))"
        )
    ]
    bar = page.locator("#scale")
    per_mm = float(bar.evaluate("bar => bar.style.width").removesuffix("px")) / float(
        bar.inner_text().split()[0]
    )
    # Seen at 41 degrees or more from head-on; never longer than it is.
    assert 0.6 * 6 * per_mm < np.linalg.norm(tips[0] - tips[1]) < 6.01 * per_mm


def test_hide_show_and_alone(shown):
    page = shown.page
    look(shown, "top")
    page.locator("#parts-box summary").click()
    at = pixel(shown, "top", [60, 60, 70])
    assert shown.picture()[at].max() < WHITE  # the pump's upper side
    pump = page.locator("#parts li[data-name='pump']")
    pump.locator("input").uncheck()
    assert shown.picture()[at].min() > 235
    assert (
        page.locator("#parts-count").inner_text()
        == f"{len(told()['parts']) - 1} of {len(told()['parts'])} shown"
    )
    pump.locator("button").click()
    alone = shown.picture()
    assert alone[at].max() < WHITE
    assert (alone[pixel(shown, "top", [150, 100, 180])] > WHITE).all()  # the drives are gone, the case too
    page.locator("#show-all").click()
    assert page.locator("#parts input:not(:checked)").count() == 0


def test_a_section_fills_what_it_cuts(shown):
    page = shown.page
    look(shown, "top")
    page.select_option("#section-axis", "z")
    page.locator("#section-at").fill("40")
    assert page.locator("#section-said").inner_text() == "cut at z = 40.0 mm"
    picture = shown.picture()
    pale = 255 - (255 - np.array(ROLE_COLOURS["body"])) * (1 - 0.62)
    # The pump is cut through its solid inside: without a cap one would look down at its base.
    assert np.abs(picture[pixel(shown, "top", [60, 60, 40])] - pale).max() < 4
    assert np.abs(picture[pixel(shown, "top", [150, 100, 42])] - pale).max() < 4  # drive[2], 40 to 47
    assert (picture[pixel(shown, "top", [60, 300, 40])] > 200).all()  # the board stands higher: cut away
    page.locator("#section-side").check()
    assert (shown.picture()[pixel(shown, "top", [60, 60, 40])] < WHITE).all()


@pytest.mark.long
def test_measuring_catches_corners(shown):
    page = shown.page
    look(shown, "top")
    shown.picture()
    page.locator("#measure").click()
    # Two corners of the lid, 60 x 100 mm, seen from above; each click a few pixels off.
    for corner in ([100, 200, 297], [160, 300, 297]):
        row, column = pixel(shown, "top", corner)
        page.locator("#drawing").click(position={"x": column + 2, "y": row + 2})
    text = page.locator("#measured").inner_text()
    assert text == f"{np.hypot(60, 100):.1f} mm from lid to lid (x 60.0, y 100.0, z 0.0)"
    assert page.locator("#figure").inner_text() == f"{np.hypot(60, 100):.1f} mm"


@pytest.mark.long
def test_keys_turn_and_a_phone_is_served(started, from_disk):
    found = opened(started, from_disk, PHONE, has_touch=True, is_mobile=True)
    page = found.page
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    before = found.picture()
    page.locator("#drawing").press("ArrowLeft")
    assert (found.picture() != before).any()
    page.locator("#findings button").first.tap()
    # The drawing is in sight though the list was scrolled to.
    box = page.locator("#drawing").bounding_box()
    assert 0 <= box["y"] < 200 and not page.locator("#figure").is_hidden()
    page.close()
    assert found.said == []


def test_a_strangers_names_never_run(started, tmp_path):
    bands = bands_of(machine())
    solids = drawn_solids(machine(), bands)
    data = described(machine(), report(), solids, bands)
    data["title"] = data["lead"] = data["cautions"][0] = HOSTILE
    for part in data["parts"]:
        part["name"] = HOSTILE
    for finding in data["findings"]:
        finding["sentence"] = finding["id"] = finding["figure"] = finding["mend"] = HOSTILE
    for view in data["views"]:
        view["name"] = HOSTILE
    file = tmp_path / "hostile.html"
    file.write_text(pages.sheet(data, packed(solids)), "utf-8")
    found = opened(started, file.as_uri())
    found.page.locator("#findings button").first.click()
    found.picture()
    assert found.page.title() == f"fails: {HOSTILE}"  # as text: it did not run
    assert found.page.locator("#figure").inner_text() == HOSTILE
    assert found.page.locator("img, main script").count() == 0
    assert found.said == []
    assert [asked for asked in found.asked if asked != file.as_uri()] == []
    # Were it markup, the policy would still refuse it.
    found.page.evaluate("text => { document.getElementById('title').innerHTML = text; }", HOSTILE)
    found.page.wait_for_timeout(200)
    assert found.page.title() == f"fails: {HOSTILE}"
    assert any("Content Security Policy" in said for said in found.said)
    found.page.close()
