"""The one place that asks for pixels: surfaces, lines, and which part is seen where.

Meshes are pyvista's; window, camera and lights are asked of VTK below it, since one window
that draws picture and part numbers in turn, with our own bands, is quicker so.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from PIL import Image

from fitcheck.outputs.pictures.bands import Bands
from fitcheck.outputs.pictures.camera import Camera

# Pictures are drawn twice as large and averaged down: hardware smoothing does nothing off-screen here.
OVERSAMPLE = 2
# Bright and matt, so that a colour reads as the legend shows it: with more shade yellow turns olive.
AMBIENT, DIFFUSE = 0.72, 0.33
WHITE = (1.0, 1.0, 1.0)
# Nearer than this an eye sees nothing, mm.
NEAREST = 5.0
# Values run on past the bands' ends, or colours would bend across a triangle; but stay finite, mm.
BEYOND = 1e4


@dataclass(frozen=True, eq=False)
class Sheet:
    """Triangles to draw: `values` (n,) go through bands, else `colours` (n, 3) uint8 are taken as given."""

    points: np.ndarray
    normals: np.ndarray
    triangles: np.ndarray
    values: np.ndarray | None = None
    colours: np.ndarray | None = None
    opacity: float = 1.0


@dataclass(frozen=True, eq=False)
class Strokes:
    """Line segments (k, 2, 3) in world mm, one colour (0 to 1) and width in picture pixels."""

    segments: np.ndarray
    colour: tuple[float, float, float]
    width: float
    opacity: float = 1.0


@dataclass(frozen=True, eq=False)
class Halfspace:
    """What a section keeps: points x with normal . (x - origin) >= 0."""

    origin: np.ndarray
    normal: np.ndarray


def to_vtk(array: np.ndarray) -> Any:
    """A VTK array with a copy of the numbers."""
    import pyvista

    return pyvista.convert_array(np.ascontiguousarray(array), deep=True)


def to_numpy(array: Any) -> np.ndarray:
    """A copy of a VTK array."""
    import pyvista

    return np.array(pyvista.convert_array(array))


def polydata(points: np.ndarray, cells: np.ndarray) -> Any:
    """A pyvista.PolyData of triangles (m, 3), or of line segments (m, 2), over points (n, 3)."""
    import pyvista

    width = cells.shape[1]
    flat = np.column_stack([np.full(len(cells), width), cells]).astype(np.int64).reshape(-1)
    held = np.array(points, float)
    return pyvista.PolyData(held, faces=flat) if width == 3 else pyvista.PolyData(held, lines=flat)


class Stage:
    """One off-screen window: draws any number of scenes with any cameras. Close it after use."""

    def __init__(self) -> None:
        import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  (its import registers the drawing classes)
        from vtkmodules.vtkCommonCore import vtkLogger
        from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow

        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
        with _without_screen():
            self._window = vtkRenderWindow()
        self._window.SetOffScreenRendering(1)
        self._window.SetMultiSamples(0)
        self._renderer = vtkRenderer()
        self._renderer.SetBackground(*WHITE)
        self._window.AddRenderer(self._renderer)

    def picture(
        self,
        camera: Camera,
        sheets: Iterable[Sheet],
        strokes: Iterable[Strokes],
        bands: Bands,
        keep: Halfspace | None = None,
    ) -> Image.Image:
        """The pane of a camera as an RGB image, OVERSAMPLE times as large: average it down last."""
        self._renderer.RemoveAllViewProps()
        for sheet in sheets:
            if len(sheet.triangles):
                self._renderer.AddActor(_sheet_actor(sheet, bands, keep))
        for stroke in strokes:
            if len(stroke.segments):
                self._renderer.AddActor(_stroke_actor(stroke, keep))
        return Image.fromarray(self._shot(camera, OVERSAMPLE))

    def identities(
        self,
        camera: Camera,
        points: np.ndarray,
        triangles: np.ndarray,
        ids: np.ndarray,
        keep: Halfspace | None = None,
    ) -> np.ndarray:
        """(height, width) int32: which id (m,) of a triangle is seen at each pixel of the pane; -1 none."""
        self._renderer.RemoveAllViewProps()
        if len(triangles):
            self._renderer.AddActor(_identity_actor(points, triangles, ids, keep))
        pixels = self._shot(camera, 1).astype(np.int32)
        code = pixels[..., 0] | (pixels[..., 1] << 8) | (pixels[..., 2] << 16)
        return np.where(code == 0xFFFFFF, -1, code)

    def close(self) -> None:
        """Give the window back."""
        self._renderer.RemoveAllViewProps()
        self._window.Finalize()

    def _shot(self, camera: Camera, factor: int) -> np.ndarray:
        from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

        width, height = (n * factor for n in camera.size)
        self._window.SetSize(width, height)
        self._aim(camera)
        self._window.Render()
        held = vtkUnsignedCharArray()
        self._window.GetPixelData(0, 0, width - 1, height - 1, 0, held, 0)
        return np.ascontiguousarray(to_numpy(held).reshape(height, width, 3)[::-1])

    def _aim(self, camera: Camera) -> None:
        from vtkmodules.vtkRenderingCore import vtkLight

        bounds = np.array(self._renderer.ComputeVisiblePropBounds()).reshape(3, 2).T
        far = 1e3 if bounds[0, 0] > bounds[1, 0] else float(np.linalg.norm(bounds[1] - bounds[0])) + 1e3
        eye = self._renderer.GetActiveCamera()
        eye.ParallelProjectionOn()
        eye.SetFocalPoint(*camera.middle)
        eye.SetPosition(*(camera.middle + camera.towards * 2 * far))
        eye.SetViewUp(*camera.up)
        eye.SetParallelScale(camera.size[1] / 2 / camera.scale)
        eye.SetClippingRange(far * 0.5, far * 4)
        if camera.eye is not None:
            away = float(np.linalg.norm(camera.eye - camera.middle))
            eye.ParallelProjectionOff()
            eye.SetPosition(*camera.eye)
            eye.SetViewAngle(2 * np.degrees(np.arctan(camera.size[1] / 2 / camera.scale / away)))
            eye.SetClippingRange(max(away - far, NEAREST), away + far)
        self._renderer.RemoveAllLights()
        light = vtkLight()
        light.SetLightTypeToSceneLight()
        from_viewer = camera.towards + 0.15 * camera.up - 0.1 * camera.right
        light.SetPosition(*(camera.middle + from_viewer * far))
        light.SetFocalPoint(*camera.middle)
        self._renderer.AddLight(light)


@contextmanager
def _without_screen() -> Iterator[None]:
    # VTK reads this when the first window is made, and would complain of a missing screen without it.
    name = "VTK_DEFAULT_OPENGL_WINDOW"
    before = os.environ.get(name)
    if sys.platform.startswith("linux"):
        os.environ[name] = "vtkEGLRenderWindow"
    try:
        yield
    finally:
        if before is None:
            os.environ.pop(name, None)
        else:
            os.environ[name] = before


def _actor(data: Any, keep: Halfspace | None) -> Any:
    from vtkmodules.vtkCommonDataModel import vtkPlane
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper, actor = vtkPolyDataMapper(), vtkActor()
    mapper.SetInputData(data)
    mapper.ScalarVisibilityOff()
    if keep is not None:
        plane = vtkPlane()
        plane.SetOrigin(*keep.origin)
        plane.SetNormal(*keep.normal)
        mapper.AddClippingPlane(plane)
    actor.SetMapper(mapper)
    return actor


def _sheet_actor(sheet: Sheet, bands: Bands, keep: Halfspace | None) -> Any:
    data = polydata(sheet.points, sheet.triangles)
    data.GetPointData().SetNormals(to_vtk(sheet.normals.astype(np.float32)))
    actor = _actor(data, keep)
    mapper, look = actor.GetMapper(), actor.GetProperty()
    if sheet.values is not None:
        table, low, high = _table(bands)
        data.GetPointData().SetScalars(to_vtk(np.clip(sheet.values, -BEYOND, BEYOND).astype(np.float32)))
        mapper.SetLookupTable(table)
        mapper.SetScalarRange(low, high)
        mapper.InterpolateScalarsBeforeMappingOn()
        mapper.ScalarVisibilityOn()
    elif sheet.colours is not None:
        data.GetPointData().SetScalars(to_vtk(sheet.colours))
        mapper.ScalarVisibilityOn()
    look.SetAmbient(AMBIENT)
    look.SetDiffuse(DIFFUSE)
    look.SetSpecular(0)
    look.SetOpacity(sheet.opacity)
    # Surfaces step back a little, so that outlines on them are not eaten.
    mapper.SetResolveCoincidentTopologyToPolygonOffset()
    mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(2, 2)
    return actor


def _table(bands: Bands) -> tuple[Any, float, float]:
    from vtkmodules.vtkCommonCore import vtkLookupTable

    low, high = -bands.far * 0.05, bands.far * 1.05
    table = vtkLookupTable()
    entries = 4096
    table.SetNumberOfTableValues(entries)
    table.SetTableRange(low, high)
    middles = low + (np.arange(entries) + 0.5) * (high - low) / entries
    for index, colour in enumerate(bands.colours(middles)):
        red, green, blue = (float(c) / 255 for c in colour)
        table.SetTableValue(index, red, green, blue, 1.0)
    return table, low, high


def _stroke_actor(stroke: Strokes, keep: Halfspace | None) -> Any:
    count = len(stroke.segments)
    data = polydata(stroke.segments.reshape(-1, 3), np.arange(2 * count).reshape(-1, 2))
    actor = _actor(data, keep)
    look = actor.GetProperty()
    look.SetColor(*stroke.colour)
    look.SetLineWidth(stroke.width * OVERSAMPLE)
    look.SetOpacity(stroke.opacity)
    look.LightingOff()
    return actor


def _identity_actor(
    points: np.ndarray, triangles: np.ndarray, ids: np.ndarray, keep: Halfspace | None
) -> Any:
    data = polydata(points, triangles)
    code = np.stack([ids & 255, (ids >> 8) & 255, (ids >> 16) & 255], axis=1).astype(np.uint8)
    data.GetCellData().SetScalars(to_vtk(code))
    actor = _actor(data, keep)
    actor.GetMapper().ScalarVisibilityOn()
    actor.GetMapper().SetScalarModeToUseCellData()
    actor.GetProperty().LightingOff()
    return actor
