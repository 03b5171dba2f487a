"""The workshop pack: what it holds follows from the scene, and its lists agree with the report."""

import csv
import io
import os
import subprocess
import sys
from pathlib import Path

import pypdfium2
import pytest
from template_scenes import FOLDED, scene_file
from typer.testing import CliRunner

import fitcheck
import fitcheck.cli
from fitcheck.checks.assembly_order import check_assembly_order
from fitcheck.checks.fastening import check_fastening
from fitcheck.checks.support import check_support
from fitcheck.console import app
from fitcheck.finding import Finding, Verdict
from fitcheck.outputs.pack import contents
from fitcheck.outputs.pack.assembly import assembly_sheet
from fitcheck.outputs.pack.contents import Pack
from fitcheck.outputs.pack.lists import parts_list, screw_size, screws_list, stock_list
from fitcheck.outputs.pack.safety import LOCAL, safety_sheet, sections
from fitcheck.outputs.pictures import NoPicture
from fitcheck.report import Report
from fitcheck.templates.made import templates

TOP = Path(__file__).resolve().parents[1]
PANEL = "title: A panel\nparts:\n  panel: {model: flat_panel, with: {cut_out: round, cut_long: 40}}\n"


def rows(content):
    assert content.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))


def words(content):
    doc = pypdfium2.PdfDocument(content)
    return " ".join(" ".join(page.get_textpage().get_text_bounded() for page in doc).split())


def world_of(scene):
    return fitcheck.load(TOP / "scenes" / f"{scene}.yaml")


def titles(world, **facts):
    report = Report(world.title, Verdict.FITS, facts=facts)
    return {one.title: " ".join(one.lines) for one in sections(world, report, templates(world).stock)}


def test_a_panel_needs_no_leak_test():
    assert list(titles(fitcheck.load(PANEL, name="panel"))) == ["Cutting and drilling"]


def test_a_wall_cabinet_names_anchors_glass_and_rigid_tubes():
    said = titles(world_of("cabinet_wall"), support={"mass": 24.1})
    assert "case.wall_anchors[1][2]" in said["On the wall"]
    assert "builder" in said["On the wall"]
    assert "24.1 kg" in said["Weight"] and "by two" in said["Weight"]
    assert "case.door_glass" in said["Glass"]
    assert "chamfer" in said["Rigid tubes (6)"]
    assert "supply" in said["Mains"] and "residual-current" in said["Mains"]
    assert "fill_port" in said["Filling and watching"]
    assert "jumper" in said["Filling and watching"] and "unplugged" in said["Filling and watching"]
    assert "All 12 tube ends" in said["Before the leak test"]


def test_a_cube_has_neither_glass_nor_anchors_nor_rigid_tubes():
    said = titles(world_of("field_cube"), support={"mass": 11.0})
    assert not {"On the wall", "Glass"} & set(said)
    assert not any(title.startswith("Rigid") for title in said)
    assert "by two" not in said["Weight"]


@pytest.mark.parametrize(
    ("scene", "title", "words"),
    [
        ("field_cube", "Weight", "tip over at a tilt of"),
        ("cabinet_wall", "On the wall", "on 4 anchors: each bears"),
    ],
)
def test_what_the_check_says_of_weight_is_told(scene, title, words):
    world = world_of(scene)
    answer = check_support(world)
    report = Report(world.title, Verdict.FITS, answer.findings, {"support": answer.facts})
    said = {one.title: " ".join(one.lines) for one in sections(world, report, ())}
    assert words in said[title]


def test_what_the_checks_say_of_a_loop_is_told():
    """Of each loop where a leak lands, that the pump is flooded, what stays when drained, what air stays."""
    ask = {"check": "loop", "parts": ("a",), "verdict": Verdict.FITS}
    found = tuple(
        Finding(**{**ask, "check": check}, sentence=f"told of {rule}", rule=f"loops.loop.{rule}")
        for check, rule in (
            ("loop", "leaks"),
            ("loop", "pump"),
            ("drainage", "fill"),
            ("drainage", "drain"),
            ("loop", "metals"),
        )
    )
    world = world_of("cabinet_wall")
    said = {one.title: " ".join(one.lines) for one in sections(world, Report("t", Verdict.FITS, found), ())}
    assert "told of leaks." in said["Before the leak test"]
    assert "told of pump." in said["Filling and watching"] and "told of fill." in said["Filling and watching"]
    assert "told of drain." in said["Draining"]
    assert not any("metals" in words for words in said.values())


def test_no_coolant_no_leak_test_but_mains():
    text = "parts:\n  case: {model: floor_tower}\n  supply: {model: power_supply_atx, place: {rest: rear_face, on: case.supply_seat, turn: 90, centre: both}}\n"
    said = titles(fitcheck.load(text, name="dry"))
    assert "Mains" in said and "residual-current" not in said["Mains"]
    assert not {"Before the leak test", "Dry test with air", "Filling and watching", "Draining"} & set(said)


@pytest.mark.parametrize("verdict", [Verdict.FITS, Verdict.FAILS])
def test_the_safety_sheet_defers_to_local_codes(verdict):
    world = world_of("field_cube")
    said = words(safety_sheet(world, Report(world.title, verdict), (), "letter"))
    assert " ".join(LOCAL.split()) in said
    assert "no source" in said
    assert ("The check of this scene says: fails" in said) == (verdict == Verdict.FAILS)


def test_every_part_is_in_the_list_once():
    world = world_of("dome_render")
    listed = [
        row
        for row in rows(parts_list(world, templates(world).stock))
        if row["made or bought"] != "cut to length"
    ]
    names = [name for row in listed for name in row["names"].split(", ")]
    assert sorted(names) == sorted({part.group for part in world.parts})
    for row in listed:
        assert int(row["number"]) == len(row["names"].split(", "))
    by_name = {row["part"]: row for row in listed}
    assert (by_name["card"]["number"], by_name["card"]["made or bought"]) == ("2", "bought")
    assert (by_name["case"]["number"], by_name["case"]["made or bought"]) == ("1", "made")
    # 310 x 640 x 660 as the scene gives it.
    assert [float(by_name["case"][key]) for key in ("wide [mm]", "deep [mm]", "high [mm]")] == [310, 640, 660]
    # Mirror images and other turns of one thing are one line; feet in front and at the rear are the same.
    assert by_name["foot_front"]["number"] == "4"


def test_stock_by_hand(tmp_path):
    """The tower's midplate is 310 - 4 by 640 - 4 of 2; the folded channel's blank 16 + 32 + 26 and two bends of 4.398."""
    tower = fitcheck.load(
        "parts:\n  case: {model: floor_tower, with: {depth: 640, width: 310, height: 660}}\n", name="tower"
    )
    listed = {row["parts"]: row for row in rows(stock_list(templates(tower).stock))}
    midplate = listed["case.midplate"]
    assert [float(midplate[k]) for k in ("thickness or wall [mm]", "length [mm]", "width [mm]")] == [
        2,
        636,
        306,
    ]
    bent = fitcheck.load(scene_file(tmp_path, "  bent: {model: odd_channel}\n", FOLDED))
    (row,) = rows(stock_list(templates(bent).stock))
    assert row["what"] == "folded sheet"
    assert [float(row[k]) for k in ("thickness or wall [mm]", "length [mm]", "width [mm]")] == [2, 82.8, 80]
    bar = fitcheck.load(scene_file(tmp_path, "  bar: {model: odd_channel}\n"))
    (row,) = rows(stock_list(templates(bar).stock))
    assert (row["what"], row["outer size [mm]"], float(row["length [mm]"])) == ("section", "40 × 30", 80)


def test_screws_by_length_are_those_of_the_check():
    world = world_of("cabinet_wall")
    answer = check_fastening(world)
    report = Report(world.title, Verdict.FITS, answer.findings, {"fastening": answer.facts})
    listed = rows(screws_list(report))
    assert sum(int(row["number"]) for row in listed) == sum(row["count"] for row in answer.facts["screws"])
    sizes = [(row["thread"], float(row["length [mm]"])) for row in listed]
    assert sizes == sorted(sizes)
    fans = next(row for row in listed if row["thread"] == "M3")
    # Three fans, four screws each, one washer under each.
    assert (fans["number"], fans["washers in all"], fans["nuts in all"]) == ("12", "12", "0")
    assert "radiator.fan" in fans["through"]
    assert screws_list(Report("none", Verdict.FITS)) is None
    # The same screw with and without a washer is two lines.
    both = tuple({"screw": "M3 × 8 cap", "washers": n, "nuts": 0, "count": 2} for n in (1, 0))
    listed = rows(screws_list(Report("two", Verdict.FITS, facts={"fastening": {"screws": both}})))
    assert [row["washers in all"] for row in listed] == ["0", "2"]


def test_sizes_of_screws_are_read_as_written():
    assert screw_size("6-32 × 7.94 cap") == ("6-32", 7.94, "cap")


SMALL = """
title: Board on a tray
parts:
  tray: {model: board_tray, with: {form: mini_itx}}
  board: {model: board, with: {form: mini_itx}, place: {rest: underside, on: tray.board_face, match: {mine: hole_c, theirs: tray.hole_c}}}
  case: {model: odd_case, place: {at: [-400, 0, 0]}}
rules:
  fastening: {joints: [{between: board, and: tray, into: brass, on_bench: yes}]}
  assembly_order: {}
views:
  top: {look: from top}
"""


@pytest.fixture
def small(tmp_path):
    scene_file(tmp_path, "  a: {model: odd_plate}\n")
    file = tmp_path / "small.yaml"
    file.write_text(SMALL.replace("parts:", "model_folders: [own]\nparts:", 1))
    world = fitcheck.load(file)
    return file, world, fitcheck.check_world(world, facts=False)


def test_the_order_is_told_step_by_step_with_its_screws(small):
    _, world, report = small
    said = words(assembly_sheet(world, report, "a4"))
    order = check_assembly_order(world).facts["order"]
    steps = [", ".join(step["parts"]) for step in order]
    assert len(steps) == 2
    places = [said.index(f"{k} {step}") for k, step in enumerate(steps, 1)]
    assert places == sorted(places)
    # The later of tray and board brings their four screws.
    assert said.index("4 × 6-32") > places[1]
    assert assembly_sheet(world, Report("none", Verdict.FITS), "a4") is None


def test_the_pack_lists_all_that_it_holds_and_is_the_same_again(small, monkeypatch):
    _, world, report = small
    files = dict(Pack(world, report, templates(world), "letter").files())
    # That pictures come out the same is held by their own tests, and takes a second each.
    monkeypatch.setattr(
        contents, "SECTIONS", tuple(one for one in contents.SECTIONS if "picture" not in one[0])
    )
    for name, content in Pack(world, report, templates(world), "letter").files():
        assert name == "contents.txt" or files[name] == content, name
    listed = files["contents.txt"].decode()
    own = {line.strip() for line in listed.splitlines() if line.startswith("  ")}
    assert set(files) - {"contents.txt"} <= own
    assert {"pictures/overview.png", "pictures/top.png", "screws.csv", "sheet_cut_list.csv", "parts_list.csv",
            "order_of_assembly.pdf", "leak_test_and_safety.pdf", "report.txt", "page.html", "templates/tray.plate.dxf"} <= set(files)  # fmt: skip
    assert "cut_list.csv" not in files and "no tubes or cables" in listed
    assert "paper of the PDFs: Letter" in listed
    for name, content in files.items():
        assert content.startswith({".pdf": b"%PDF", ".png": b"\x89PNG"}.get(Path(name).suffix, b"")), name


def test_without_pictures_all_else_is_there(small, monkeypatch):
    _, world, report = small
    import fitcheck.outputs.pictures.studio as studio

    def refuse(*_):
        raise NoPicture("no libEGL")

    monkeypatch.setattr(studio, "Studio", refuse)
    pack = Pack(world, report, templates(world))
    files = dict(pack.files())
    assert not any(name.startswith("pictures/") for name in files)
    assert pack.missing[0].startswith("pictures: no libEGL")
    assert "no libEGL" in files["contents.txt"].decode()
    assert "parts_list.csv" in files


def test_a_scene_that_fails_says_so_first(small, monkeypatch):
    _, world, report = small
    monkeypatch.setattr(contents, "SECTIONS", ())
    failing = Report(report.title, Verdict.FAILS)
    ((_, listed),) = Pack(world, failing, templates(world)).files()
    assert listed.decode().splitlines()[1:3] == [
        "fails: at least one demand is not met", "Read report.txt first: do not cut before that is mended.",
    ]  # fmt: skip


def run(*said):
    return subprocess.run(
        [sys.executable, "-c", "from fitcheck.cli import run; run()", *said],
        capture_output=True, text=True, cwd=TOP, timeout=300, check=False, env={**os.environ, "PYTHONPATH": str(TOP)},
    )  # fmt: skip


def test_the_command_writes_it(small, tmp_path):
    file, _, _ = small
    out = tmp_path / "pack"
    told = CliRunner().invoke(app, ["pack", str(file), "--out", str(out), "--measured", "99.5", "100.2"])
    assert told.exit_code == 0, told.stderr
    assert (out / "contents.txt").read_text().startswith("Workshop pack: Board on a tray")
    assert (out / "templates" / "tray.plate.pdf").exists()
    assert "not in the pack: cut list" in told.stderr


@pytest.mark.long
@pytest.mark.parametrize("scene", ["dome_render", "cabinet_wall", "field_cube"])
def test_packs_of_the_demos(scene, tmp_path):
    out = tmp_path / "pack"
    told = run("pack", f"scenes/{scene}.yaml", "--out", str(out))
    assert told.returncode == 0, told.stderr
    names = {str(path.relative_to(out)) for path in out.rglob("*") if path.is_file()}
    assert {"cut_list.csv", "screws.csv", "order_of_assembly.pdf", "leak_test_and_safety.pdf"} <= names
    assert ("bend_table.csv" in names) == (scene == "cabinet_wall")
    views = fitcheck.load(TOP / "scenes" / f"{scene}.yaml").views
    assert {f"pictures/{view}.png" for view in views} <= names
