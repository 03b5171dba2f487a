// A section: one plane along an axis; what it cuts is filled by the stencil and outlined by its clearance.
import {
  BackSide, BufferAttribute, BufferGeometry, DecrementWrapStencilOp, FrontSide, Group, IncrementWrapStencilOp,
  Matrix3, Matrix4, Mesh, NotEqualStencilFunc, PlaneGeometry, ReplaceStencilOp, Vector3, Vector4,
} from "three";
import { counting, flat, shared, vector, wideStrokes } from "./look.js";

const AXES = { x: 0, y: 1, z: 2 };
// As in the pictures: cut faces are this much paler than their material, so that their outlines speak.
const PALE = 0.62;
const CASE_CUT = "#B0B6BC";
const OUTLINE_PX = 5, FAR_PX = 1.6;
// A plane that lies in a face would cut it or not from pixel to pixel: it stands a hair beside, mm.
const BESIDE = 0.0137;

export class Section {
  constructor(solids, stage) {
    this.solids = solids;
    this.stage = stage;
    this.group = new Group();
    stage.scene.add(this.group);
    this.plane = null;
    this.back = counting(BackSide, IncrementWrapStencilOp);
    this.front = counting(FrontSide, DecrementWrapStencilOp);
    this.outline = wideStrokes(OUTLINE_PX, FAR_PX);
  }

  // Cut at axis = at, mm; what lies at its `towards` side (+1 or -1) is taken away. null: no cut.
  set(cut) {
    this.plane = cut && { ...cut, at: cut.at + BESIDE };
    if (cut) {
      const normal = [0, 0, 0];
      normal[AXES[cut.axis]] = -cut.side;
      shared.cut.value.set(...normal, cut.side * this.plane.at);
    } else shared.cut.value.set(0, 0, 0, 1);
    this.again();
  }

  // Fill and outline anew: the plane, what is shown, or where it stands has changed.
  again() {
    for (const child of this.group.children) if (child.userData.own) child.geometry.dispose();
    this.group.clear();
    if (this.plane) {
      this.fill();
      this.draw();
    }
    this.stage.ask();
  }

  cuts(solid) {
    if (!this.solids.isFilled(solid)) return false;
    const box = solid.mesh.geometry.boundingBox.clone().applyMatrix4(solid.pose);
    const axis = this.plane.axis;
    return box.min[axis] < this.plane.at && box.max[axis] > this.plane.at;
  }

  fill() {
    const kinds = new Map();
    for (const solid of this.solids.all.filter((one) => this.cuts(one))) {
      const colour = this.solids.parts[solid.part].case ? CASE_CUT : solid.colour;
      if (!kinds.has(colour)) kinds.set(colour, []);
      kinds.get(colour).push(solid);
    }
    let order = 1;
    for (const [colour, cut] of kinds) {
      for (const solid of cut) {
        for (const material of [this.back, this.front]) {
          const counted = new Mesh(solid.mesh.geometry, material);
          counted.matrixAutoUpdate = false;
          counted.matrix.copy(solid.pose);
          counted.renderOrder = order;
          this.group.add(counted);
        }
      }
      this.group.add(this.face(colour, order + 0.5));
      order += 1;
    }
  }

  face(colour, order) {
    const paint = vector(colour);
    const material = flat(colour === CASE_CUT ? paint : paint.lerp(new Vector3(1, 1, 1), PALE));
    Object.assign(material, {
      stencilWrite: true, stencilRef: 0, stencilFunc: NotEqualStencilFunc,
      stencilFail: ReplaceStencilOp, stencilZFail: ReplaceStencilOp, stencilZPass: ReplaceStencilOp,
    });
    const face = new Mesh(new PlaneGeometry(2e4, 2e4), material);
    const normal = new Vector3().setComponent(AXES[this.plane.axis], 1);
    face.quaternion.setFromUnitVectors(new Vector3(0, 0, 1), normal);
    face.position.setComponent(AXES[this.plane.axis], this.plane.at);
    face.renderOrder = order;
    face.userData.own = true;
    return face;
  }

  // The outline of what is cut, coloured by how near the next part is there.
  draw() {
    const found = { ends: [], values: [] };
    for (const solid of this.solids.all) if (this.cuts(solid) && solid.state === "solid") crossed(solid, shared.cut.value, found);
    const count = found.values.length / 2;
    const place = new Float32Array(count * 12), other = new Float32Array(count * 12);
    const side = new Float32Array(count * 4), value = new Float32Array(count * 4);
    const index = new Uint32Array(count * 6);
    for (let k = 0; k < count; k++) {
      for (let corner = 0; corner < 4; corner++) {
        const end = corner >> 1;
        for (let axis = 0; axis < 3; axis++) {
          place[k * 12 + corner * 3 + axis] = found.ends[k * 6 + end * 3 + axis];
          other[k * 12 + corner * 3 + axis] = found.ends[k * 6 + (1 - end) * 3 + axis];
        }
        side[k * 4 + corner] = corner === 0 || corner === 3 ? 1 : -1;
        value[k * 4 + corner] = found.values[k * 2 + end];
      }
      index.set([0, 1, 2, 2, 1, 3].map((corner) => k * 4 + corner), k * 6);
    }
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(place, 3));
    geometry.setAttribute("other", new BufferAttribute(other, 3));
    geometry.setAttribute("side", new BufferAttribute(side, 1));
    geometry.setAttribute("value", new BufferAttribute(value, 1));
    geometry.setIndex(new BufferAttribute(index, 1));
    const lines = new Mesh(geometry, this.outline);
    lines.frustumCulled = false;
    lines.renderOrder = 1000;
    lines.userData.own = true;
    this.group.add(lines);
  }
}

// Segments in which a plane (a, b, c, d of the world) meets a solid's triangles, with the distances there.
function crossed(solid, plane, found) {
  const local = new Vector4().copy(plane).applyMatrix4(new Matrix4().copy(solid.pose).transpose());
  const { points, triangles, values } = solid.shape;
  const heights = new Float32Array(points.length / 3);
  for (let k = 0; k < heights.length; k++) {
    heights[k] = local.x * points[3 * k] + local.y * points[3 * k + 1] + local.z * points[3 * k + 2] + local.w;
  }
  const turn = new Matrix3().setFromMatrix4(solid.pose);
  const shift = new Vector3().setFromMatrixPosition(solid.pose);
  const at = new Vector3();
  for (let t = 0; t < triangles.length; t += 3) {
    const above = [0, 1, 2].map((k) => heights[triangles[t + k]] >= 0);
    if (above[0] === above[1] && above[1] === above[2]) continue;
    for (let k = 0; k < 3; k++) {
      const a = triangles[t + k], b = triangles[t + ((k + 1) % 3)];
      if (above[k] === above[(k + 1) % 3]) continue;
      const share = heights[a] / (heights[a] - heights[b]);
      at.set(...[0, 1, 2].map((axis) => points[3 * a + axis] * (1 - share) + points[3 * b + axis] * share));
      at.applyMatrix3(turn).add(shift);
      found.ends.push(at.x, at.y, at.z);
      found.values.push(values[a] * (1 - share) + values[b] * share);
    }
  }
}
