// Measuring between two picked points: the distance, and how far along each axis.
import { byId } from "./dom.js";
import { pick, snapped } from "./pick.js";

// A press that moves less is a click, pixels.
const STILL = 5;

export class Measure {
  constructor(app, canvas) {
    this.app = app;
    this.on = false;
    this.points = [];
    byId("measure").addEventListener("click", () => this.turn(!this.on));
    let pressed = null;
    canvas.addEventListener("pointerdown", (event) => (pressed = [event.offsetX, event.offsetY]));
    canvas.addEventListener("pointerup", (event) => {
      const still = pressed && Math.hypot(event.offsetX - pressed[0], event.offsetY - pressed[1]) < STILL;
      if (still && event.isPrimary && event.button === 0) this.click(event.offsetX, event.offsetY);
    });
  }

  turn(on) {
    this.on = on;
    this.points = [];
    this.app.marks.points = [];
    byId("measure").setAttribute("aria-pressed", String(on));
    byId("measured").textContent = on ? "Pick a first point; corners are caught." : "";
    this.app.marks.show(null);
  }

  click(x, y) {
    const { stage, solids } = this.app;
    const found = pick(stage, solids, x, y);
    if (!this.on) return this.name(found);
    const caught = snapped(stage, solids, found, x, y);
    if (!caught) return;
    if (this.points.length === 2) this.points = [];
    this.points.push({ at: caught.point, name: solids.parts[caught.solid.part].name });
    this.app.marks.points = this.points.map((point) => point.at.toArray());
    if (this.points.length === 1) {
      byId("measured").textContent = `From ${this.points[0].name}; pick a second point.`;
      return this.app.marks.show(null);
    }
    this.say();
  }

  say() {
    const [a, b] = this.points;
    const way = b.at.clone().sub(a.at);
    const along = ["x", "y", "z"].map((axis) => `${axis} ${Math.abs(way[axis]).toFixed(1)}`).join(", ");
    const text = `${way.length().toFixed(1)} mm`;
    byId("measured").textContent = `${text} from ${a.name} to ${b.name} (${along})`;
    this.app.marks.show({ ends: [a.at.toArray(), b.at.toArray()], text });
  }

  // Outside of measuring a click tells what a part is called.
  name(found) {
    const { solids } = this.app;
    byId("said").textContent = found ? `${solids.parts[found.solid.part].name}: ${found.solid.name}` : "";
    for (const item of byId("parts").children) item.classList.toggle("picked", found !== null && item.dataset.name === solids.parts[found.solid.part].name);
  }
}
