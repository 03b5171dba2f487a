// The solids of the scene as objects to draw, and how each stands: shown, faint, faded, hidden.
import { BufferAttribute, BufferGeometry, Group, LineSegments, Matrix4, Mesh } from "three";
import { strokes, surface, vector } from "./look.js";

// How much of a surface is seen, as in the pictures; a solid of the case that a finding names is between.
const OPACITY = { case: 0.05, clear: 0.22, named: 0.3, faded: 0.025 };
const FAR_COLOUR = "#DDE3E8";

const LINES = {
  solid: [strokes("#2b3036", 1, false), strokes("#2b3036", 1, true)],
  faint: [strokes("#8c949e", 0.7, false), strokes("#8c949e", 0.7, true)],
  faded: [strokes("#8c949e", 0.13, false), strokes("#8c949e", 0.13, true)],
};

export class Solids {
  constructor(colours) {
    this.group = new Group();
    this.colours = colours;
    this.all = [];
    this.parts = [];
    this.hidden = new Set();
    this.focus = null;
  }

  // Take over a scene's parts and solids; `shapes` are their arrays, in the same order. What has the same points
  // as before is moved and coloured anew, not made anew.
  fill(parts, solids, shapes) {
    const before = new Map(this.all.map((solid) => [this.key(solid), solid]));
    this.parts = parts;
    const now = solids.map((record, k) => {
      const old = before.get(this.key(record));
      if (old?.shape.points !== shapes[k].points) return this.made(record, shapes[k]);
      before.delete(this.key(record));
      return this.again(old, record, shapes[k]);
    });
    for (const solid of before.values()) drop(solid, this.group);
    for (const solid of now) if (!solid.mesh.parent) this.group.add(solid.mesh, solid.creases, solid.rounds);
    this.all = now;
    this.stand();
  }

  key(solid) {
    return `${this.parts[solid.part].name} ${solid.name}`;
  }

  again(solid, record, shape) {
    const part = this.parts[record.part];
    if (solid.shape.values !== shape.values) {
      const attribute = solid.mesh.geometry.getAttribute("value");
      attribute.array.set(shape.values);
      attribute.needsUpdate = true;
    }
    Object.assign(solid, record, { shape });
    const { uniforms } = solid.mesh.material;
    uniforms.verdict.value = vector(part.verdict ? this.colours[part.verdict] : FAR_COLOUR);
    uniforms.hatched.value = part.verdict === "fails";
    this.place(solid, part.pose);
    return solid;
  }

  made(record, shape) {
    const part = this.parts[record.part];
    const verdict = part.verdict ? this.colours[part.verdict] : FAR_COLOUR;
    const material = surface(vector(record.colour), vector(verdict), part.verdict === "fails");
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(shape.points, 3));
    geometry.setAttribute("normal", new BufferAttribute(shape.normals, 3, true));
    // Its own copy: other values are written into it later.
    geometry.setAttribute("value", new BufferAttribute(shape.values.slice(), 1));
    geometry.setIndex(new BufferAttribute(shape.triangles, 1));
    geometry.computeBoundingBox();
    geometry.computeBoundingSphere();
    const creases = new BufferGeometry();
    creases.setAttribute("position", new BufferAttribute(shape.edges, 3));
    const rounds = new BufferGeometry();
    rounds.setAttribute("position", new BufferAttribute(shape.bends, 3));
    rounds.setAttribute("one", new BufferAttribute(doubled(shape.sides, 0), 3, true));
    rounds.setAttribute("two", new BufferAttribute(doubled(shape.sides, 3), 3, true));
    const solid = {
      ...record,
      shape,
      mesh: new Mesh(geometry, material),
      creases: new LineSegments(creases, LINES.solid[0]),
      rounds: new LineSegments(rounds, LINES.solid[1]),
      pose: new Matrix4(),
      state: "solid",
    };
    for (const object of [solid.mesh, solid.creases, solid.rounds]) object.matrixAutoUpdate = false;
    this.place(solid, part.pose);
    return solid;
  }

  // Put a solid where its part stands: 12 figures, the rows of a rotation and an origin.
  place(solid, p) {
    solid.pose.set(p[0], p[1], p[2], p[9], p[3], p[4], p[5], p[10], p[6], p[7], p[8], p[11], 0, 0, 0, 1);
    for (const object of [solid.mesh, solid.creases, solid.rounds]) {
      object.matrix.copy(solid.pose);
      object.matrixWorldNeedsUpdate = true;
    }
  }

  // `focus`: {parts, solids} that stay solid while the rest fades, or null.
  stand() {
    for (const solid of this.all) {
      solid.state = this.stateOf(solid);
      const seen = solid.state !== "hidden";
      solid.mesh.visible = seen;
      solid.creases.visible = seen;
      solid.rounds.visible = seen && solid.state !== "faded";
      if (seen) dress(solid);
    }
  }

  stateOf(solid) {
    const part = this.parts[solid.part];
    if (this.hidden.has(part.name)) return "hidden";
    const faint = part.case ? "case" : solid.clear ? "clear" : "solid";
    if (!this.focus) return faint;
    const named = this.focus.solids.includes(`${part.name}.${solid.name}`);
    const whole = this.focus.parts.includes(solid.part);
    if (part.case) return named ? "named" : "faded";
    if (solid.clear) return named || whole ? "clear" : "faded";
    return named || whole ? "solid" : "faded";
  }

  // Whether the solid is one that a section fills.
  isFilled(solid) {
    return solid.closed && (solid.state === "solid" || solid.state === "case" || solid.state === "named" || solid.state === "clear");
  }
}

function dress(solid) {
  const { mesh, state } = solid;
  const opacity = OPACITY[state] ?? 1;
  mesh.material.uniforms.opacity.value = opacity;
  mesh.material.uniforms.faded.value = state === "faded";
  mesh.material.transparent = opacity < 1;
  mesh.material.depthWrite = opacity === 1;
  const lines = state === "solid" || state === "named" ? LINES.solid : state === "faded" ? LINES.faded : LINES.faint;
  [solid.creases.material, solid.rounds.material] = lines;
}

function doubled(sides, from) {
  const count = sides.length / 6;
  const found = new Int8Array(count * 6);
  for (let k = 0; k < count; k++) {
    for (let end = 0; end < 2; end++) found.set(sides.subarray(k * 6 + from, k * 6 + from + 3), k * 6 + end * 3);
  }
  return found;
}

function drop(solid, group) {
  group.remove(solid.mesh, solid.creases, solid.rounds);
  solid.mesh.geometry.dispose();
  solid.mesh.material.dispose();
  solid.creases.geometry.dispose();
  solid.rounds.geometry.dispose();
}
