"""What the rule `edges` demands of sheets: as it is written in a scene."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from pydantic import Field

from fitcheck.scene.rules import Flag, HolesRef, Length, Number, PartRef, Rule


class RimRule(Rule):
    """Rim that must be left around a cut-out."""

    of: HolesRef = Field(description="The cut-out: case.window_opening; or a part, for all of its.")
    at_least: Length = Field(description="Material left to the sheet's edges and to all other cut-outs.")


class FoldedRule(Rule):
    """A part that is folded from sheet."""

    of: PartRef = Field(description="The part, or several.")
    radius: Length = Field(description="Inside radius of its bends.")
    k: Number | None = Field(
        None, description="Neutral fibre as a share of the thickness; if not given, DIN 6935."
    )
    material: Literal["steel", "aluminium"] | None = Field(None, description="For the least radius.")


class OverhangRule(Rule):
    """How far a part may stick out over the edge of what it lies on."""

    part: PartRef = Field(description="The bracket or mount.")
    on: PartRef = Field(description="The panel: case.midplate.")
    at_most: Length = Field(0.0, description="How far it may.")


class AngleRule(Rule):
    """Two sheets joined by an angle section."""

    angle: PartRef = Field(description="The angle.")
    between: PartRef = Field(description="One sheet: case.midplate.")
    and_: PartRef = Field(alias="and", description="The other.")
    lies_within: Length = Field(0.1, description="A leg this far from its sheet still lies on it.")
    covers: Length = Field(0.0, description="Least width of each leg that lies on its sheet.")


class EdgesRule(Rule):
    """Distances in sheets, and what lies on their edges."""

    of: list[PartRef] = Field(
        default_factory=list, description="Only these parts; else all that have sheets."
    )
    edge: Number = Field(1.2, description="Hole's middle to an edge, in diameters.")
    pitch: Number = Field(2.2, description="Between middles of holes, in the larger diameter.")
    web: Number = Field(2.0, description="Material beside a cut-out, in thicknesses.")
    bend: Number = Field(
        2.0, description="Hole's edge to a bend's tangent, in thicknesses, and its radius besides."
    )
    bend_cutout: Number = Field(3.0, description="The same of a cut-out.")
    margin: Length = Field(0.0, description="Up to demand + margin the verdict is tight.")
    rims: list[RimRule] = Field(default_factory=list, description="Rims demanded around cut-outs.")
    folded: list[FoldedRule] = Field(default_factory=list, description="Parts folded from sheet.")
    found: Flag = Field(
        True, description="Also ask of brackets and mounts that rest on a sheet whether they overhang."
    )
    overhangs: list[OverhangRule] = Field(default_factory=list, description="Overhangs named by hand.")
    angles: list[AngleRule] = Field(default_factory=list, description="Sheets joined by angle sections.")

    def wrong(self) -> Iterable[tuple[str, str, str]]:
        """Factors below nothing, a radius below nothing."""
        for key in ("edge", "pitch", "web", "bend", "bend_cutout"):
            if getattr(self, key) < 0:
                yield key, f"{getattr(self, key):g} is below 0", "write 0 to leave it out"
        if any(one.radius < 0 for one in self.folded):
            yield "folded", "a radius is below 0", "write 0 for a sharp bend"
