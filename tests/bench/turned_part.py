"""A scene with a part of 202,496 triangles from an STL file, and 60 parts close about it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh

SIDES, RINGS, HEIGHT = 896, 114, 80.0
TRIANGLES = 2 * SIDES * (RINGS - 1)

MODELS = {
    "turned": "body: {mesh: {file: turned.stl, unit: mm}}",
    "block": "body: {box: {low: [0, -4, -3], high: [8, 4, 3]}}",
    "rod": "body: {cylinder: {from: [3, 0, -3], to: [3, 0, 3], diameter: 6}}",
    "angle": "body: {prism: {along: z, from: -3, to: 3, "
    "outline: [[0, -5], [8, -5], [8, -3], [2, -3], [2, 5], [0, 5]]}}",
}


def radius(z):
    """Of the turned part at a height, mm."""
    return 20 + 4 * np.sin(9 * z / HEIGHT) + 2 * np.cos(23 * z / HEIGHT)


def write_scene(folder: Path, pressed: float = 0.0) -> Path:
    """Write the scene and its models; every part is 1 to 5 mm clear, but one when it is pressed in, mm."""
    own = folder / "own"
    own.mkdir(exist_ok=True)
    heights = np.linspace(0, HEIGHT, RINGS + 1)
    profile = np.column_stack([radius(heights), heights])
    profile[0, 0] = profile[-1, 0] = 0.0
    mesh = trimesh.creation.revolve(profile, sections=SIDES)
    assert len(mesh.faces) == TRIANGLES
    mesh.export(own / "turned.stl")
    for name, body in MODELS.items():
        text = f"model: {name}\nsummary: {name}\nframe: its side at the origin, +x away\nsolids:\n  {body}\n"
        (own / f"{name}.yaml").write_text(text)
    rows = ["title: A turned part", "model_folders: [own]", "parts:", "  turned: {model: turned}"]
    rows += [neighbour(k, -pressed if pressed and k == 17 else 1.0 + k % 5) for k in range(60)]
    scene = folder / "scene.yaml"
    scene.write_text("\n".join(rows) + "\n")
    return scene


def neighbour(k: int, gap: float) -> str:
    """Twelve on each of five levels, so far off the widest place that they reach to."""
    height = 8 + 16 * (k // 12)
    around = np.linspace(height - 3.5, height + 3.5, 200)
    away, turn = radius(around).max() + gap, 30 * (k % 12) + 7 * (k // 12)
    x, y = away * np.cos(np.radians(turn)), away * np.sin(np.radians(turn))
    model = ("block", "rod", "angle")[k % 3]
    return f"  n{k}: {{model: {model}, place: {{at: [{x:.6f}, {y:.6f}, {height}], turn: {turn}}}}}"
