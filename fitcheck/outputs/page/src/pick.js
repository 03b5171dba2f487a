// What lies below a pixel: the nearest surface that is shown and not cut away.
import { Matrix4, Ray, Vector3 } from "three";
import { shared } from "./look.js";

// A corner this near to the pixel is meant, pixels.
const SNAP = 10;
// A surface this much before a corner hides it, mm.
const HIDES = 0.5;

// {solid, point}, or null; what is solid comes before what is seen through.
export function pick(stage, solids, x, y) {
  const ray = rayAt(stage, x, y);
  let solid = null, faint = null;
  for (const one of solids.all) {
    if (one.state === "hidden" || one.state === "faded") continue;
    const hit = nearest(one, ray);
    if (!hit) continue;
    const found = { solid: one, ...hit };
    if (one.state === "solid") solid = !solid || hit.far < solid.far ? found : solid;
    else faint = !faint || hit.far < faint.far ? found : faint;
  }
  return solid ?? faint;
}

// {solid, point}: the corner in sight that is nearest to the pixel, if one is near; else what was picked.
export function snapped(stage, solids, found, x, y) {
  const near = [];
  for (const solid of solids.all) {
    if (solid.state !== "solid" && solid !== found?.solid) continue;
    for (const corner of cornersNear(stage, solid, x, y)) near.push(corner);
  }
  // Of corners behind each other the one in front is meant.
  const towards = stage.towards();
  near.sort((a, b) => Math.round(a.off) - Math.round(b.off) || towards.dot(b.point) - towards.dot(a.point));
  return near.find((corner) => isInSight(stage, solids, corner)) ?? found;
}

function cornersNear(stage, solid, x, y) {
  const { edges } = solid.shape;
  const found = [];
  const corner = new Vector3();
  for (let k = 0; k < edges.length; k += 3) {
    corner.set(edges[k], edges[k + 1], edges[k + 2]).applyMatrix4(solid.pose);
    if (isCutAway(corner)) continue;
    const [px, py] = stage.pixel(corner);
    const off = Math.hypot(px - x, py - y);
    if (off < SNAP) found.push({ solid, point: corner.clone(), off });
  }
  return found;
}

function isInSight(stage, solids, corner) {
  const [x, y] = stage.pixel(corner.point);
  const hit = pick(stage, solids, x, y);
  if (!hit || hit.solid.state !== "solid") return true;
  return stage.towards().dot(hit.point.clone().sub(corner.point)) < HIDES;
}

function rayAt(stage, x, y) {
  const { clientWidth: wide, clientHeight: high } = stage.pane;
  const way = stage.towards().negate();
  const from = new Vector3((2 * x) / wide - 1, 1 - (2 * y) / high, 0).unproject(stage.camera);
  return new Ray(from.addScaledVector(way, -2e4), way);
}

function isCutAway(point) {
  const { x, y, z, w } = shared.cut.value;
  return x * point.x + y * point.y + z * point.z + w < -1e-3;
}

function nearest(solid, ray) {
  const local = ray.clone().applyMatrix4(new Matrix4().copy(solid.pose).invert());
  if (!local.intersectsBox(solid.mesh.geometry.boundingBox)) return null;
  const { points, triangles } = solid.shape;
  const [a, b, c, at] = [new Vector3(), new Vector3(), new Vector3(), new Vector3()];
  let found = null;
  for (let t = 0; t < triangles.length; t += 3) {
    a.fromArray(points, 3 * triangles[t]);
    b.fromArray(points, 3 * triangles[t + 1]);
    c.fromArray(points, 3 * triangles[t + 2]);
    if (!local.intersectTriangle(a, b, c, false, at)) continue;
    const far = at.distanceTo(local.origin);
    if (found && far >= found.far) continue;
    const point = at.clone().applyMatrix4(solid.pose);
    if (!isCutAway(point)) found = { far, point };
  }
  return found;
}
