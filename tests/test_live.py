"""The live view without a browser: controls, quick answers, values kept in the file, the watch, the door."""

from __future__ import annotations

import http.client
import json
import struct
import threading
import time
import zlib
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from test_cli import run

from fitcheck.checks import RULE_TYPES
from fitcheck.finding import Verdict
from fitcheck.layouts.asked import asked_world
from fitcheck.live.colours import Colours
from fitcheck.live.controls import controls_of
from fitcheck.live.kept_values import NotKept, keep_values, replaced
from fitcheck.live.quick import LATER, QuickAnswers
from fitcheck.live.server import BODY_BYTES, LiveServer
from fitcheck.live.viewing import Viewing
from fitcheck.outputs.page.packed import distances
from fitcheck.outputs.pictures.bands import bands_of
from fitcheck.outputs.pictures.field import field_of
from fitcheck.outputs.pictures.surfaces import skins
from fitcheck.report import check_world
from fitcheck.scene.read import scene_of
from fitcheck.scene.text import read_document
from fitcheck.world.forest import prepare
from fitcheck.world.shared import Shared

CUBE = """\
# What the builder wrote stays: comments, layout, quotes.
title: Cube
parameters:
  setback: 14 mm    # measured twice
  fans: {value: 2, range: [1, 4], meaning: "fans, in a row"}
  core: '30 ± 0.5 mm'
  ports: {value: end, choices: [end, fan_side]}
  spare: 2 * 3 mm
parts:
  case: {model: floor_tower, with: {depth: 640, width: 310, height: 660}}
  radiator:
    model: radiator
    with: {fans: fans, thickness: core, port_facing: ports}
    place: {rest: back, on: case.plinth.floor, turn: 270, front: setback, centre: across}
    inside: case.plinth
  drain: {model: drain, place: {join: inlet, to: radiator.port_low}}
rules:
  clearance: {default: 2 mm, margin: 1 mm}
  room: [{for: drain, side: rear, of: radiator, at_least: 60 mm}]
"""


def document(text=CUBE):
    return read_document(text, "cube.yaml")


# --- controls ---


def test_controls_are_made_from_the_parameters():
    by_name = {control.name: control for control in controls_of(document().data)}
    setback, fans, core, ports, spare = by_name.values()
    assert (setback.kind, setback.number, setback.after) == ("slider", 14, " mm")
    assert (setback.low, setback.high, setback.step, setback.stated) == (0, 34, 0.5, False)
    assert (fans.low, fans.high, fans.step, fans.stated, fans.meaning) == (1, 4, 1, True, "fans, in a row")
    assert (core.number, core.after) == (30, " ± 0.5 mm")
    assert (ports.kind, ports.choices) == ("choice", ("end", "fan_side"))
    assert (spare.kind, spare.written) == ("text", "2 * 3 mm")


@pytest.mark.parametrize(
    ("entry", "low", "high", "step"),
    [
        ({"value": "1.5 in", "range": ["25.4 mm", "3 in"]}, 1, 3, 0.01),  # in the unit that is written
        ({"value": "12 deg", "range": [0, "90 deg"]}, 0, 90, 0.5),
        ({"value": "2.5 mm", "range": [None, "6 mm"]}, 0, 6, 0.5),
        ({"value": 640}, 0, 1280, 1),
        ({"value": "-3 mm"}, -6, 17, 0.5),
    ],
)
def test_ends_of_a_slider(entry, low, high, step):
    (control,) = controls_of({"parameters": {"x": entry}})
    assert (control.low, control.high, control.step) == (low, high, step)


# --- quick answers ---


def fresh_world(values, text=CUBE):
    """The same world with nothing shared: the oracle of all that is kept."""
    world = asked_world(scene_of(document(text), Path(), values, RULE_TYPES), Shared(), False)
    prepare(world)
    return world


MOVES = [
    {},
    {"setback": "20 mm"},
    {"fans": "4"},
    {"fans": "4", "setback": "60 mm"},
    {"core": "45 ± 0.5 mm"},
    {},
]


def test_quick_findings_are_those_of_the_checks_asked_anew():
    answers = QuickAnswers(document(), Path())
    for values in MOVES:
        data = answers.of(values).data
        wanted = [f for f in check_world(fresh_world(values), facts=False).findings if f.check not in LATER]
        assert {(f["id"], f["verdict"], f["sentence"]) for f in data["findings"]} == {
            (f.id, str(f.verdict), f.sentence) for f in wanted
        }
        assert data["verdict"] == max((str(f.verdict) for f in wanted), key=[str(v) for v in Verdict].index)
    assert "not asked yet: tolerance" in data["meaning"]


def test_kept_distances_are_those_of_the_field():
    """Whatever moved before: each point has the distance that the pictures' field gives it."""
    colours, shared = Colours(), Shared()
    coloured = 0
    for values in MOVES:
        world = asked_world(scene_of(document(), Path(), values, RULE_TYPES), shared, False)
        prepare(world)
        bands = bands_of(world)
        field = field_of(world, skins(world.parts), bands)
        for k, one in enumerate(colours.of(world, bands)):
            points = world.parts[one.drawn.skin.part].pose.point(one.drawn.patch.points)
            wanted = field(points, np.full(len(points), k))
            near = wanted < bands.reach
            assert np.allclose(one.drawn.values[near], wanted[near], atol=1e-6)
            assert (one.drawn.values[~near] >= bands.reach - 1e-6).all()
            coloured += near.sum()
    assert coloured > 1000


def test_an_edited_text_is_answered_as_if_read_anew():
    """What was kept of the text before bears on nothing."""
    answers = QuickAnswers(document(), Path())
    answers.of({})
    for old, new in (
        ("default: 2 mm, margin: 1 mm", "default: 12 mm, margin: 4 mm"),
        ("at_least: 60 mm", "at_least: 600 mm"),
        ("front: setback", "front: setback + 250"),
        ("depth: 640", "depth: 700"),
        ("title: Cube", "# a line more\ntitle: Another"),
        ("to: radiator.port_low", "to: radiator.port_high"),
    ):
        text = CUBE.replace(old, new)
        assert text != CUBE
        got = answers.at(document(text), anew=False).of({}).data
        wanted = QuickAnswers(document(text), Path()).of({}).data
        assert got == wanted


# --- values kept in the file ---


def test_one_changed_value_changes_one_line(tmp_path):
    path = tmp_path / "cube.yaml"
    path.write_text(CUBE)
    path.chmod(0o640)
    values = {"setback": "20.5 mm", "fans": "4", "core": "45 ± 0.5 mm", "ports": "fan_side", "spare": "7 mm"}
    for name, typed in values.items():
        before = path.read_bytes()
        after = keep_values(path, before, {name: typed})
        assert path.read_bytes() == after
        changed = [(a, b) for a, b in zip(before.splitlines(), after.splitlines(), strict=True) if a != b]
        assert len(changed) == 1 and changed[0][0].split(b":")[0] == changed[0][1].split(b":")[0]
    text = path.read_text()
    assert "  setback: 20.5 mm    # measured twice\n" in text
    assert '  fans: {value: 4, range: [1, 4], meaning: "fans, in a row"}\n' in text
    assert "  core: '45 ± 0.5 mm'\n" in text
    assert path.stat().st_mode & 0o777 == 0o640
    assert sorted(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("head", ["", "\ufeff"])
def test_line_ends_and_the_mark_at_the_head_stay(tmp_path, ends, head):
    path = tmp_path / "cube.yaml"
    written = (head + CUBE.replace("\n", ends)).encode()
    path.write_bytes(written)
    after = keep_values(path, written, {"setback": "15 mm"})
    assert after == written.replace(b"setback: 14 mm", b"setback: 15 mm")


def test_nothing_is_written_over_what_someone_else_wrote(tmp_path):
    path = tmp_path / "cube.yaml"
    path.write_text(CUBE + "# more\n")
    with pytest.raises(NotKept, match="has changed on disk"):
        keep_values(path, CUBE.encode(), {"setback": "15 mm"})
    assert path.read_text() == CUBE + "# more\n"


@pytest.mark.parametrize(
    "typed", ["7 mm # 8", "7 mm\nfans: 3", "{a: 1}", "x: y", "'7 mm", "*a", "&a 7 mm", "- 7", ""]
)
def test_a_value_that_is_more_than_a_value_is_not_written(tmp_path, typed):
    path = tmp_path / "cube.yaml"
    path.write_text(CUBE)
    with pytest.raises(NotKept, match="left as it is"):
        keep_values(path, CUBE.encode(), {"setback": typed})
    assert path.read_text() == CUBE


def test_words_like_a_parameters_elsewhere_are_left_alone():
    text = "notes: 'setback: 14 mm'\nparameters: {setback: 14 mm, b: {value: 3, range: [1, 5]}}\nparts: {setback: {value: 3}}\n"
    assert replaced(text, {"setback": "9 mm", "b": "4"}) == (
        "notes: 'setback: 14 mm'\nparameters: {setback: 9 mm, b: {value: 4, range: [1, 5]}}\nparts: {setback: {value: 3}}\n"
    )


# --- the door and the watch ---


def parted(told: bytes):
    """Data, and the bytes of shapes and values, of an answer."""
    first, second = struct.unpack("<II", told[:8])
    return json.loads(told[8 : 8 + first]), told[8 + first : 8 + first + second], told[8 + first + second :]


class Visitor:
    """Someone who knows the address, or not; speaks HTTP by hand."""

    def __init__(self, server: LiveServer) -> None:
        self.host, self.token = server.host, server.token

    def ask(self, method="POST", place="ask", asked=None, token=None, **headers):
        sent = {
            "Host": self.host,
            "Origin": f"http://{self.host}",
            "Content-Type": "application/json",
            **headers,
        }
        connection = http.client.HTTPConnection(self.host, timeout=30)
        path = f"/{self.token if token is None else token}/{place}"
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        data = b"" if asked is None else json.dumps(asked).encode()
        if method == "POST":
            sent.setdefault("Content-Length", str(len(data)))
        for name, value in sent.items():
            if value is not None:
                connection.putheader(name.replace("_", "-"), value)
        connection.endheaders(data)
        answer = connection.getresponse()
        found = answer.status, answer.read(), dict(answer.getheaders())
        connection.close()
        return found

    def told(self, place="ask", **asked):
        status, told, _ = self.ask(place=place, asked=asked)
        assert status == 200
        return parted(told)[0]


@contextmanager
def served(path: Path, given=None):
    viewing = Viewing(path, given or {})
    server = LiveServer(viewing)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield Visitor(server)
    finally:
        server.shutdown()
        server.server_close()
        viewing.end()


@pytest.fixture(scope="module")
def cube(tmp_path_factory):
    path = tmp_path_factory.mktemp("live") / "cube.yaml"
    path.write_text(CUBE)
    with served(path) as visitor:
        visitor.path = path
        yield visitor


def test_only_our_page_with_the_token_is_let_in(cube):
    assert cube.ask("GET", "")[0] == 200
    assert cube.ask("GET", "", Origin=None)[0] == 200  # opened by hand
    asked = {"values": {}, "known": []}
    for refused in (
        {"Host": "example.org"},
        {"Host": "localhost:80"},
        {"Host": None},
        {"Origin": "http://example.org"},
        {"Origin": "null"},
        {"Origin": None},  # a question is asked by a page, and a page says whose it is
        {"Origin": f"https://{cube.host}"},
        {"Sec_Fetch_Site": "cross-site"},
        {"token": "x" * len(cube.token)},
        {"token": ""},
        {"token": cube.token + "/.."},
    ):
        status, told, _ = cube.ask(asked=asked, **refused)
        assert (status, told) == (403, b"not for you"), refused
    assert cube.ask("GET", "", Origin="http://example.org")[0] == 403


def test_nothing_but_the_four_places_is_there(cube):
    for place in ("cube.yaml", "..", "%2e%2e", "etc", "ask"):
        assert cube.ask("GET", place)[0] == 404
    assert cube.ask("GET", "../cube.yaml")[0] == 403
    assert cube.ask("POST", "news", {})[0] == 404
    assert cube.ask("PUT", "ask", {})[0] == 501


@pytest.mark.parametrize(
    ("status", "asked", "headers"),
    [
        (413, None, {"Content_Length": str(BODY_BYTES + 1), "Content-Length": None}),
        (413, None, {"Content_Length": "9" * 30, "Content-Length": None}),
        (411, None, {"Content_Length": "-1", "Content-Length": None}),
        (415, {}, {"Content-Type": "text/plain"}),
        (400, {"values": []}, {}),
        (400, {"values": {}, "known": [1]}, {}),
        (400, [], {}),
    ],
)
def test_questions_that_make_no_sense(cube, status, asked, headers):
    assert cube.ask(asked=asked, **headers)[0] == status


def test_answers_are_kept_nowhere_and_framed_by_nobody(cube):
    _, page, headers = cube.ask("GET", "")
    assert headers["Cache-Control"] == "no-store" and headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "no-referrer" and "Access-Control-Allow-Origin" not in headers
    assert b"connect-src 'self'" in page


def test_what_is_known_is_not_sent_again(cube):
    _, told, _ = cube.ask(asked={"values": {"setback": "20 mm"}, "known": []})
    data, shapes, _ = parted(told)
    assert set(data["shapes"]) == {shape for shape, _ in data["keys"]} and len(shapes) > 1000
    known = [f"s{shape}" for shape, _ in data["keys"]] + [f"v{shape}.{key}" for shape, key in data["keys"]]
    again, _, _ = parted(cube.ask(asked={"values": {"setback": "20 mm"}, "known": known})[1])
    assert again["shapes"] == again["fresh"] == []
    moved, _, values = parted(cube.ask(asked={"values": {"setback": "24 mm"}, "known": known})[1])
    assert moved["shapes"] == [] and moved["fresh"]
    assert moved["parts"] != again["parts"]
    counts = [2 * moved["solids"][k]["points"] for k in moved["fresh"]]
    assert len(zlib.decompress(values)) == sum(counts)
    cube.told(values={}, known=[])


def test_values_that_cannot_be_are_said_and_change_nothing(cube):
    said = cube.told(values={"fans": "9"}, known=[])
    assert said["wrong"] == "fans: 9 is above 4, the end of its range; write 4"
    assert "no parameter 'nose'" in cube.told(values={"nose": "9"}, known=[])["wrong"]
    assert "too long" in cube.told(values={"fans": "9" * 999}, known=[])["wrong"]
    assert "parts" in cube.told(values={}, known=[])


def heard(visitor, seen, wanted, within=30.0):
    """(count, data) of the first news of a kind after `seen`."""
    until = time.monotonic() + within
    while time.monotonic() < until:
        told = visitor.ask("GET", f"news?seen={seen}")[1]
        if told:
            seen = struct.unpack("<I", told[:4])[0]
            data = parted(told[4:])[0]
            if wanted in data:
                return seen, data
    raise AssertionError(f"nothing was heard of {wanted!r}")


def test_the_rest_is_asked_when_values_rest(cube):
    cube.told(values={"setback": "21 mm"}, known=[])
    _, data = heard(cube, 0, "thorough")
    assert "not asked yet" not in data["meaning"]
    assert any(finding["check"] == "tolerance" for finding in data["findings"])
    assert data["gaps"] and data["rooms"]
    radiator = next(part for part in data["parts"] if part["name"] == "radiator")
    now = next(
        part
        for part in cube.told(values={"setback": "21 mm"}, known=[])["parts"]
        if part["name"] == "radiator"
    )
    assert radiator["pose"] == now["pose"]


def test_an_edit_is_seen_a_broken_one_is_said_and_kept_values_come_back(tmp_path):
    path = tmp_path / "cube.yaml"
    path.write_text(CUBE)
    with served(path) as visitor:
        path.write_text(CUBE.replace("setback: 14 mm", "setback: 18 mm"))
        seen, data = heard(visitor, 0, "live")
        assert data["live"]["controls"][0]["number"] == 18 and data["live"]["values"] == {}
        path.write_text(CUBE.replace("parts:", "parts"))
        seen, data = heard(visitor, seen, "wrong")
        assert data["wrong"].startswith(str(path) + ":")
        assert "findings" in visitor.told(values={}, known=[])  # the last good text
        kept = visitor.told("keep", values={"setback": "19 mm"})
        assert "has changed on disk" in kept["wrong"]
        path.write_text(CUBE)
        seen, data = heard(visitor, seen, "live")
        assert visitor.told("keep", values={"setback": "19 mm", "fans": "2"})["kept"] == ["setback"]
        assert path.read_text() == CUBE.replace("setback: 14 mm", "setback: 19 mm")
        _, data = heard(visitor, seen, "live")
        assert data["live"]["controls"][0]["number"] == 19


def test_a_model_of_the_scenes_own_is_watched_too(tmp_path):
    own = tmp_path / "mine"
    own.mkdir()
    block = "model: block\nframe: origin at the low corner\nparameters: {}\nsolids: {body: {box: {low: [0, 0, 0], high: [10, 10, %d]}}}\n"
    (own / "block.yaml").write_text(block % 10)
    path = tmp_path / "scene.yaml"
    path.write_text("title: Own\nmodel_folders: [mine]\nparts: {block: {model: block}}\n")
    with served(path) as visitor:
        (own / "block.yaml").write_text(block % 25)
        _, data = heard(visitor, 0, "live")
        assert np.array(data["bounds"])[1][2] == 25


def test_hundredths_hold_what_a_band_needs():
    values = np.array([-400, -0.01, 0, 1.234, 299, np.inf])
    assert distances(values).tolist() == [-30000, -1, 0, 123, 29900, 32767]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["no.yaml"], "no.yaml:1:1: there is no such file"),
        (["cube.yaml", "--set", "nose=3"], "--set nose=3: nose: the scene has no such parameter"),
    ],
)
def test_a_wrong_call_ends_with_2(tmp_path, words, said):
    (tmp_path / "cube.yaml").write_text(CUBE)
    done = run("live", *words, cwd=tmp_path)
    assert done.returncode == 2 and done.stderr.startswith(said), done.stderr
