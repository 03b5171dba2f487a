"""The book of models: in step with the models, made by one command, other text kept."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from make_docs import COMMANDS, TEMPLATE
from PIL import Image

from fitcheck.outputs.book import BEGINS, ENDS, with_book, write_book
from fitcheck.outputs.catalogue import model_files
from fitcheck.scene.read import library

TOP = Path(__file__).resolve().parents[1]


def test_our_own_book_is_in_step_with_the_models():
    """`python tests/make_docs.py` writes it anew."""
    text = (TOP / "models" / "README.md").read_text()
    assert with_book(text, library()) == text
    pictures = set(re.findall(r"\]\(pictures/(\w+)\.png\)", text))
    assert pictures == set(library())
    assert {path.stem for path in (TOP / "models" / "pictures").iterdir()} == pictures


def test_every_picture_of_the_documents_is_made_by_a_command():
    made = {TEMPLATE[0], *(word for words in COMMANDS for word in words if word.endswith(".png"))}
    for document, folder in (("README.md", ""), ("scenes/README.md", "scenes/")):
        for shown in re.findall(r"\]\(([^)]+\.png)\)", (TOP / document).read_text()):
            assert f"{folder}{shown}" in made
            assert (TOP / folder / shown).is_file()


def test_parameters_sources_and_places_are_there():
    (radiator,) = re.findall(r"(?s)### radiator\n(.*?)\n### ", (TOP / "models" / "README.md").read_text())
    assert "| `fans` | 3 | 1 to 5 | fans in the row |  |" in radiator
    assert (
        "| `port_facing` | end | end, fan_side | whether the ports look along the row or out of the fan face |  |"
        in radiator
    )
    assert "ports: `port_low`, `port_high`" in radiator
    # Three fans of 120 and tanks of 25 and 14; 2 for each port's boss.
    assert re.search(r"As drawn 40\d x 120 x 30 mm", radiator)


SCENE = "model_folders: [own]\nparts: {a: {model: shelf}}\n"
SHELF = """model: shelf
summary: a shelf
frame: origin at one corner
parameters:
  wide: {type: length, default: 100 mm, range: [10 mm, 500 mm], meaning: along x, source: measure yours}
solids:
  board: {box: {low: [0, 0, 0], high: [wide, 50, 3]}}
"""


@pytest.fixture
def own(tmp_path):
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "shelf.yaml").write_text(SHELF)
    (tmp_path / "scene.yaml").write_text(SCENE)
    return tmp_path


def test_a_scene_has_a_book_of_its_own_models(own):
    file = own / "own" / "README.md"
    file.write_text("# Mine\n\nKept.\n")
    written = write_book(file, model_files(str(own / "scene.yaml")))
    assert written == [file, own / "own" / "pictures" / "shelf.png"]
    text = file.read_text()
    assert text.startswith(f"# Mine\n\nKept.\n\n{BEGINS}\n\n### shelf\n")
    assert "A shelf. As drawn 100 x 50 x 3 mm." in text
    assert "| `wide` | 100 mm | 10 mm to 500 mm | along x | measure yours |" in text
    colours = np.array(Image.open(written[1]).convert("RGB"))
    assert (colours != 255).any(axis=2).mean() > 0.05
    # Written again with text behind it, that stays too.
    file.write_text(f"{text}\nBehind.\n")
    write_book(file, model_files(str(own / "scene.yaml")), drawn=False)
    assert file.read_text() == f"{text}\nBehind.\n"
    assert text.rstrip().endswith(ENDS)


def test_a_model_that_needs_something_given_has_no_picture_of_itself(own):
    (own / "own" / "shelf.yaml").write_text(SHELF.replace("default: 100 mm, ", ""))
    written = write_book(own / "book.md", model_files(str(own / "scene.yaml")))
    assert written == [own / "book.md"]
    assert "| `wide` | must be given | 10 mm to 500 mm |" in (own / "book.md").read_text()
