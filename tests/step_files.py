"""STEP files written by hand: ISO 10303-21 text of planes, cylinders and spheres, alone or in nested assemblies.

Entities by ISO 10303-42 (geometry and topology), -41 and -44 (products and their structure), as AP214 uses them; from
memory. Every solid has a closed form for its volume, so that what is read can be held against arithmetic.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

Point = Sequence[float]
# How a file says its unit of length.
MM = "(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.))"
METRE = "(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT($,.METRE.))"
INCH = "inch"
# Sides of a box as corners 0 to 7 (bits x, y, z), counter-clockwise seen from outside, with their normals.
SIDES = (
    ((0, 2, 3, 1), (0, 0, -1)), ((4, 5, 7, 6), (0, 0, 1)), ((0, 1, 5, 4), (0, -1, 0)),
    ((2, 6, 7, 3), (0, 1, 0)), ((0, 4, 6, 2), (-1, 0, 0)), ((1, 3, 7, 5), (1, 0, 0)),
)  # fmt: skip


@dataclass
class Frame:
    """Where a copy stands in its assembly: origin, z axis, x axis."""

    origin: Point = (0, 0, 0)
    z: Point = (0, 0, 1)
    x: Point = (1, 0, 0)

    def matrix(self) -> np.ndarray:
        """(4, 4) assembly_from_copy."""
        move = np.eye(4)
        move[:3, :3] = np.stack([self.x, np.cross(self.z, self.x), self.z], axis=1)
        move[:3, 3] = self.origin
        return move


@dataclass
class Product:
    """A part with solids of its own, or an assembly of copies of others."""

    name: str
    solids: list[Callable[[Writer], str]] = field(default_factory=list)
    copies: list[tuple[str, Product, Frame]] = field(default_factory=list)


class Writer:
    """Entities of one file, numbered as they are written."""

    def __init__(self, unit: str = MM) -> None:
        self.lines: list[str] = []
        self.unit = unit
        self.made: dict[int, tuple[str, str, str]] = {}

    def add(self, text: str) -> str:
        self.lines.append(f"#{len(self.lines) + 1}={text};")
        return f"#{len(self.lines)}"

    def point(self, at: Point) -> str:
        return self.add(f"CARTESIAN_POINT('',{_triple(at)})")

    def direction(self, way: Point) -> str:
        return self.add(f"DIRECTION('',{_triple(way)})")

    def placement(self, origin: Point, z: Point, x: Point) -> str:
        return self.add(
            f"AXIS2_PLACEMENT_3D('',{self.point(origin)},{self.direction(z)},{self.direction(x)})"
        )

    def vertex(self, at: Point) -> str:
        return self.add(f"VERTEX_POINT('',{self.point(at)})")

    def straight(self, start: str, end: str, a: Point, b: Point) -> str:
        way = np.subtract(b, a)
        vector = self.add(
            f"VECTOR('',{self.direction(way / np.linalg.norm(way))},{float(np.linalg.norm(way))!r})"
        )
        line = self.add(f"LINE('',{self.point(a)},{vector})")
        return self.add(f"EDGE_CURVE('',{start},{end},{line},.T.)")

    def circle(self, corner: str, middle: Point, z: Point, x: Point, radius: float) -> str:
        curve = self.add(f"CIRCLE('',{self.placement(middle, z, x)},{float(radius)!r})")
        return self.add(f"EDGE_CURVE('',{corner},{corner},{curve},.T.)")

    def loop(self, edges: Sequence[tuple[str, bool]]) -> str:
        oriented = [self.add(f"ORIENTED_EDGE('',*,*,{edge},{_flag(way)})") for edge, way in edges]
        return self.add(f"EDGE_LOOP('',({','.join(oriented)}))")

    def face(self, surface: str, loops: Sequence[str], same: bool = True) -> str:
        bounds = [self.add(f"FACE_OUTER_BOUND('',{loops[0]},.T.)")]
        bounds += [self.add(f"FACE_BOUND('',{loop},.T.)") for loop in loops[1:]]
        return self.add(f"ADVANCED_FACE('',({','.join(bounds)}),{surface},{_flag(same)})")

    def solid(self, faces: Sequence[str], name: str) -> str:
        shell = self.add(f"CLOSED_SHELL('',({','.join(faces)}))")
        return self.add(f"MANIFOLD_SOLID_BREP('{name}',{shell})")

    # --- products ---------------------------------------------------------------------

    def file(self, product: Product, schema: str = "AUTOMOTIVE_DESIGN") -> bytes:
        """The whole text of a file whose root is this product."""
        self._contexts()
        self._product(product)
        head = "HEADER;\nFILE_DESCRIPTION((''),'2;1');\nFILE_NAME('','',(''),(''),'','','');\n"
        head += f"FILE_SCHEMA(('{schema}'));\nENDSEC;\n"
        text = "ISO-10303-21;\n" + head + "DATA;\n" + "\n".join(self.lines) + "\nENDSEC;\nEND-ISO-10303-21;\n"
        return text.encode("ascii")

    def _contexts(self) -> None:
        length = self.add(MM if self.unit == INCH else self.unit)
        if self.unit == INCH:
            measure = self.add(f"LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),{length})")
            powers = self.add("DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)")
            length = self.add(f"(CONVERSION_BASED_UNIT('INCH',{measure}) LENGTH_UNIT() NAMED_UNIT({powers}))")
        angle = self.add("(NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.))")
        solid_angle = self.add("(NAMED_UNIT(*) SI_UNIT($,.STERADIAN.) SOLID_ANGLE_UNIT())")
        near = self.add(
            f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-07),{length},'distance_accuracy_value','')"
        )
        self.context = self.add(
            f"(GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({near}))"
            f" GLOBAL_UNIT_ASSIGNED_CONTEXT(({length},{angle},{solid_angle})) REPRESENTATION_CONTEXT('',''))"
        )
        application = self.add("APPLICATION_CONTEXT('automotive design')")
        self.add(
            f"APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,{application})"
        )
        self.product_context = self.add(f"PRODUCT_CONTEXT('',{application},'mechanical')")
        self.definition_context = self.add(
            f"PRODUCT_DEFINITION_CONTEXT('part definition',{application},'design')"
        )

    def _product(self, product: Product) -> tuple[str, str]:
        """Definition and representation of a product, written once however often it is used."""
        if id(product) in self.made:
            definition, shape, _ = self.made[id(product)]
            return definition, shape
        name = product.name
        one = self.add(f"PRODUCT('{name}','{name}','',({self.product_context}))")
        form = self.add(f"PRODUCT_DEFINITION_FORMATION('','',{one})")
        definition = self.add(f"PRODUCT_DEFINITION('design','',{form},{self.definition_context})")
        described = self.add(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
        own = self.placement((0, 0, 0), (0, 0, 1), (1, 0, 0))
        items = [own, *(solid(self) for solid in product.solids)]
        places = [self.placement(frame.origin, frame.z, frame.x) for _, _, frame in product.copies]
        kind = "ADVANCED_BREP_SHAPE_REPRESENTATION" if product.solids else "SHAPE_REPRESENTATION"
        shape = self.add(f"{kind}('{name}',({','.join([*items, *places])}),{self.context})")
        self.add(f"SHAPE_DEFINITION_REPRESENTATION({described},{shape})")
        self.made[id(product)] = (definition, shape, own)
        for (title, other, _), place in zip(product.copies, places, strict=True):
            self._copy(title, other, place, definition, shape)
        return definition, shape

    def _copy(self, title: str, other: Product, place: str, above: str, above_shape: str) -> None:
        definition, shape = self._product(other)
        use = self.add(f"NEXT_ASSEMBLY_USAGE_OCCURRENCE('{title}','{title}','',{above},{definition},$)")
        described = self.add(f"PRODUCT_DEFINITION_SHAPE('','',{use})")
        move = self.add(f"ITEM_DEFINED_TRANSFORMATION('','',{self.made[id(other)][2]},{place})")
        relation = self.add(
            f"(REPRESENTATION_RELATIONSHIP('','',{shape},{above_shape})"
            f" REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION({move}) SHAPE_REPRESENTATION_RELATIONSHIP())"
        )
        self.add(f"CONTEXT_DEPENDENT_SHAPE_REPRESENTATION({relation},{described})")


def block(low: Point, high: Point, bore: float = 0.0, name: str = "") -> Callable[[Writer], str]:
    """A box, with a round hole of diameter `bore` down through its middle if that is not 0."""

    def write(to: Writer) -> str:
        ends = np.array([low, high], float)
        at = [ends[[k & 1, k >> 1 & 1, k >> 2], range(3)] for k in range(8)]
        corners = [to.vertex(p) for p in at]
        edges = {
            (a, b): to.straight(corners[a], corners[b], at[a], at[b])
            for a, b in itertools.combinations(range(8), 2)
            if (a ^ b) in (1, 2, 4)
        }
        rims = {z: _rim(to, (*ends.mean(axis=0)[:2], ends[z, 2]), bore / 2) for z in (0, 1) if bore}
        faces = []
        for side, normal in SIDES:
            around = [
                (edges[min(a, b), max(a, b)], a < b) for a, b in zip(side, side[1:] + side[:1], strict=True)
            ]
            loops = [to.loop(around)]
            if bore and normal[2]:
                loops.append(to.loop([(rims[normal[2] > 0][0], normal[2] < 0)]))
            along = np.roll(np.abs(normal), 1)
            faces.append(to.face(to.add(f"PLANE('',{to.placement(at[side[0]], normal, along)})"), loops))
        if bore:
            faces.append(_wall(to, rims[0], rims[1], bore / 2, same=False))
        return to.solid(faces, name)

    return write


def rod(base: Point, radius: float, height: float, name: str = "") -> Callable[[Writer], str]:
    """A cylinder that stands on `base` along +z."""

    def write(to: Writer) -> str:
        top = (base[0], base[1], base[2] + height)
        low, high = _rim(to, base, radius), _rim(to, top, radius)
        faces = [_wall(to, low, high, radius, same=True)]
        for rim, middle, way in ((low, base, -1), (high, top, 1)):
            plane = to.add(f"PLANE('',{to.placement(middle, (0, 0, way), (1, 0, 0))})")
            faces.append(to.face(plane, [to.loop([(rim[0], way > 0)])]))
        return to.solid(faces, name)

    return write


def ball(middle: Point, radius: float, name: str = "") -> Callable[[Writer], str]:
    """A sphere: one face between two poles."""

    def write(to: Writer) -> str:
        ends = [np.add(middle, (0, 0, way * radius)) for way in (-1, 1)]
        low, high = (to.vertex(end) for end in ends)
        # Half a circle from pole to pole, passed up and down again: the seam.
        curve = to.add(f"CIRCLE('',{to.placement(middle, (0, -1, 0), (0, 0, -1))},{float(radius)!r})")
        seam = to.add(f"EDGE_CURVE('',{low},{high},{curve},.T.)")
        surface = to.add(
            f"SPHERICAL_SURFACE('',{to.placement(middle, (0, 0, 1), (1, 0, 0))},{float(radius)!r})"
        )
        return to.solid([to.face(surface, [to.loop([(seam, True), (seam, False)])])], name)

    return write


def ring(middle: Point, radius: float, thick: float, name: str = "") -> Callable[[Writer], str]:
    """A torus about +z: one face, sewn to itself along a circle each way; `thick` is the radius of its tube."""

    def write(to: Writer) -> str:
        at = np.add(middle, (radius + thick, 0, 0))
        corner = to.vertex(at)
        around = to.circle(corner, middle, (0, 0, 1), (1, 0, 0), radius + thick)
        across = to.circle(corner, np.add(middle, (radius, 0, 0)), (0, -1, 0), (1, 0, 0), thick)
        frame = to.placement(middle, (0, 0, 1), (1, 0, 0))
        surface = to.add(f"TOROIDAL_SURFACE('',{frame},{float(radius)!r},{float(thick)!r})")
        way = [(around, True), (across, True), (around, False), (across, False)]
        return to.solid([to.face(surface, [to.loop(way)])], name)

    return write


def _rim(to: Writer, middle: Point, radius: float) -> tuple[str, str, np.ndarray, Point]:
    """A circle about +z: edge, its one corner, where that is, its middle."""
    at = np.add(middle, (radius, 0, 0))
    corner = to.vertex(at)
    return to.circle(corner, middle, (0, 0, 1), (1, 0, 0), radius), corner, at, middle


def _wall(to: Writer, low: tuple, high: tuple, radius: float, same: bool) -> str:
    """The round wall between two rims; outward if `same`, else the wall of a hole."""
    seam = to.straight(low[1], high[1], low[2], high[2])
    around = [(low[0], True), (seam, True), (high[0], False), (seam, False)]
    surface = to.add(
        f"CYLINDRICAL_SURFACE('',{to.placement(low[3], (0, 0, 1), (1, 0, 0))},{float(radius)!r})"
    )
    if not same:
        around = [(edge, not way) for edge, way in reversed(around)]
    return to.face(surface, [to.loop(around)], same)


def _triple(values: Point) -> str:
    return "(" + ",".join(repr(float(value)) for value in values) + ")"


def _flag(value: bool) -> str:
    return ".T." if value else ".F."
