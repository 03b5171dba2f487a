// Camera and canvas: parallel projection, named views, flights; draws only when something changed.
import { OrthographicCamera, Scene, Vector3, WebGLRenderer } from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import { shared } from "./look.js";

const SIDES = { left: [-1, 0, 0], right: [1, 0, 0], front: [0, -1, 0], rear: [0, 1, 0], bottom: [0, 0, -1], top: [0, 0, 1] };
// As the pictures have them: first, second and third side of a look; share of the pane that is filled.
const WEIGHTS = [1, 0.7, 0.55];
const FILL = 0.9;
const FLIGHT_MS = 450;
// A camera that looks straight down stands a hair aside, so that the right side stays right.
const ASIDE = 1e-4;

export class Stage {
  constructor(canvas, pane) {
    this.pane = pane;
    this.scene = new Scene();
    this.camera = new OrthographicCamera(-1, 1, 1, -1, -1e4, 2e4);
    this.camera.up.set(0, 0, 1);
    this.renderer = new WebGLRenderer({ canvas, antialias: true, stencil: true, preserveDrawingBuffer: true });
    this.renderer.setClearColor(0xffffff, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.zoomToCursor = true;
    this.controls.addEventListener("change", () => this.ask());
    this.drawn = [];
    this.flight = null;
    this.waiting = false;
    new ResizeObserver(() => this.fit()).observe(pane);
  }

  // Draw once, soon; `after` each drawing the marks on top follow.
  ask() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame((now) => {
      this.waiting = false;
      this.step(now);
      this.draw();
    });
  }

  draw() {
    this.towards(shared.towards.value);
    this.renderer.render(this.scene, this.camera);
    for (const after of this.drawn) after();
  }

  fit() {
    const { clientWidth: wide, clientHeight: high } = this.pane;
    if (!wide || !high) return;
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    this.renderer.setSize(wide, high, false);
    Object.assign(this.camera, { left: -wide / 2, right: wide / 2, top: high / 2, bottom: -high / 2 });
    this.camera.updateProjectionMatrix();
    shared.size.value.set(wide, high);
    this.waiting = false;
    this.step(performance.now());
    this.draw();
  }

  towards(into = new Vector3()) {
    return into.copy(this.camera.position).sub(this.controls.target).normalize();
  }

  // Pixels of a world point, from the pane's upper left.
  pixel(point) {
    const at = point.clone().project(this.camera);
    return [((at.x + 1) / 2) * this.pane.clientWidth, ((1 - at.y) / 2) * this.pane.clientHeight];
  }

  // Look from a direction at bounds [[low], [high]], at once or flying.
  look(direction, bounds, fly = true) {
    const way = upright(direction.clone().normalize());
    const right = new Vector3().crossVectors(this.camera.up, way).normalize();
    const up = new Vector3().crossVectors(way, right);
    const half = [0, 1, 2].map((k) => (bounds[1][k] - bounds[0][k]) / 2);
    const reach = (axis) => Math.abs(axis.x) * half[0] + Math.abs(axis.y) * half[1] + Math.abs(axis.z) * half[2];
    const { clientWidth: wide, clientHeight: high } = this.pane;
    const zoom = (FILL / 2) * Math.min(wide / Math.max(reach(right), 1), high / Math.max(reach(up), 1));
    const middle = new Vector3(...[0, 1, 2].map((k) => (bounds[0][k] + bounds[1][k]) / 2));
    this.go({ way, middle, zoom }, fly);
  }

  go(to, fly) {
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const from = { way: this.towards(), middle: this.controls.target.clone(), zoom: this.camera.zoom };
    this.flight = { from, to, begun: performance.now(), lasts: fly && !still ? FLIGHT_MS : 0 };
    this.ask();
  }

  step(now) {
    if (!this.flight) return;
    const { from, to, begun, lasts } = this.flight;
    const linear = lasts ? Math.min(Math.max((now - begun) / lasts, 0), 1) : 1;
    const share = linear * linear * (3 - 2 * linear);
    if (linear === 1) this.flight = null;
    const way = between(from.way, to.way, share);
    this.controls.target.lerpVectors(from.middle, to.middle, share);
    this.camera.position.copy(this.controls.target).addScaledVector(way, 3000);
    this.camera.zoom = from.zoom * (to.zoom / from.zoom) ** share;
    this.camera.updateProjectionMatrix();
    this.controls.update();
    if (this.flight) this.ask();
  }

  turn(across, up) {
    this.controls._rotateLeft(across);
    this.controls._rotateUp(up);
    this.controls.update();
  }
}

// The direction of a look such as "from front left top".
export function direction(look) {
  const sides = look.split(" ").slice(1);
  const found = new Vector3();
  sides.forEach((side, k) => found.addScaledVector(new Vector3(...SIDES[side]), WEIGHTS[k]));
  return found.normalize();
}

function upright(way) {
  return Math.hypot(way.x, way.y) < ASIDE ? new Vector3(0, -ASIDE, Math.sign(way.z)).normalize() : way;
}

function between(a, b, share) {
  const angle = Math.acos(Math.min(Math.max(a.dot(b), -1), 1));
  if (angle < 1e-4) return b.clone();
  if (Math.PI - angle < 1e-3) return share < 0.5 ? a.clone() : b.clone();
  const sin = Math.sin(angle);
  return a.clone().multiplyScalar(Math.sin((1 - share) * angle) / sin).addScaledVector(b, Math.sin(share * angle) / sin);
}
