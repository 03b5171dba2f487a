// What is drawn on top of the solids: dimension lines with arrows and figures, outlines, scale bar, axes.
import { Vector3 } from "three";

const NS = "http://www.w3.org/2000/svg";
// As in the pictures: shorter than this on paper, arrows point in from outside; lengths in pixels.
const SHORT = 64, TAIL = 38, HEAD = 12, TICK = 8, RING = 10;
const HEAD_ON = 0.2;
const SCALE_STEPS = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];

export class Marks {
  constructor(stage, svg, label, scale) {
    Object.assign(this, { stage, svg, label, scale });
    this.dimension = null;
    this.outlines = [];
    this.points = [];
    stage.drawn.push(() => this.draw());
  }

  // A figure between two world points [x, y, z] (twice the same: a ring), or null.
  show(dimension, outlines = []) {
    this.dimension = dimension;
    this.outlines = outlines;
    this.label.hidden = !dimension;
    if (dimension) this.label.textContent = dimension.text;
    this.stage.ask();
  }

  draw() {
    this.svg.replaceChildren();
    // Printed, drawing and marks are scaled together to the paper.
    this.svg.setAttribute("viewBox", `0 0 ${this.stage.pane.clientWidth} ${this.stage.pane.clientHeight}`);
    for (const outline of this.outlines) this.polygon(outline);
    for (const point of this.points) this.ring(this.at(point), 4);
    if (this.dimension) this.line(this.dimension);
    this.bar();
    this.axes();
  }

  at(point) {
    return this.stage.pixel(new Vector3(...point));
  }

  polygon(corners) {
    this.stroke("polygon", { points: corners.map((corner) => this.at(corner).join()).join(" ") }, "outline");
  }

  line({ ends }) {
    const [a, b] = ends.map((end) => this.at(end));
    const long = new Vector3(...ends[0]).distanceTo(new Vector3(...ends[1]));
    const apart = Math.hypot(b[0] - a[0], b[1] - a[1]);
    if (long < 0.02 || apart < HEAD_ON * long * this.stage.camera.zoom) {
      this.ring(a, RING);
      return this.write(a, a, [1, 0]);
    }
    const way = [(b[0] - a[0]) / apart, (b[1] - a[1]) / apart];
    const short = apart < SHORT;
    const out = short ? TAIL : 0;
    const from = [a[0] - way[0] * out, a[1] - way[1] * out], to = [b[0] + way[0] * out, b[1] + way[1] * out];
    const lines = short ? [[from, a], [b, to]] : [[a, b]];
    for (const end of [a, b]) {
      lines.push([[end[0] + way[1] * TICK, end[1] - way[0] * TICK], [end[0] - way[1] * TICK, end[1] + way[0] * TICK]]);
    }
    for (const [p, q] of lines) this.stroke("line", { x1: p[0], y1: p[1], x2: q[0], y2: q[1] }, "dimension");
    this.arrow(a, short ? way : [-way[0], -way[1]]);
    this.arrow(b, short ? [-way[0], -way[1]] : way);
    this.write(from, to, way);
  }

  arrow(tip, way) {
    const back = [tip[0] - way[0] * HEAD, tip[1] - way[1] * HEAD];
    const half = HEAD * 0.38;
    const corners = [tip, [back[0] - way[1] * half, back[1] + way[0] * half], [back[0] + way[1] * half, back[1] - way[0] * half]];
    const shape = document.createElementNS(NS, "polygon");
    shape.setAttribute("points", corners.map((corner) => corner.join()).join(" "));
    shape.setAttribute("class", "arrow");
    this.svg.append(shape);
  }

  ring([x, y], radius) {
    this.stroke("circle", { cx: x, cy: y, r: radius }, "dimension");
  }

  // A white edge below, so that a line is seen on any ground.
  stroke(kind, attributes, name) {
    for (const layer of ["edge", "ink"]) {
      const shape = document.createElementNS(NS, kind);
      for (const [key, value] of Object.entries(attributes)) shape.setAttribute(key, value);
      shape.setAttribute("class", `${name} ${layer}`);
      this.svg.append(shape);
    }
  }

  // The figure beside its line, within the pane.
  write(a, b, way) {
    const { label, stage } = this;
    const high = stage.pane.clientHeight, wide = stage.pane.clientWidth;
    const box = [label.offsetWidth, label.offsetHeight];
    const off = 20 + (Math.abs(way[1]) * box[0] + Math.abs(way[0]) * box[1]) / 2;
    const sign = way[0] < 0 || (way[0] === 0 && way[1] < 0) ? -1 : 1;
    const x = (a[0] + b[0]) / 2 + way[1] * off * sign - box[0] / 2;
    const y = (a[1] + b[1]) / 2 - way[0] * off * sign - box[1] / 2;
    const left = Math.min(Math.max(x, 4), wide - box[0] - 4), top = Math.min(Math.max(y, 4), high - box[1] - 4);
    label.style.left = `${left}px`;
    label.style.top = `${top}px`;
    this.printed(left, top, box);
  }

  // The same figure among the marks: on paper it is scaled with them.
  printed(x, y, [width, height]) {
    const ground = document.createElementNS(NS, "rect");
    for (const [key, value] of Object.entries({ x, y, width, height, class: "on-paper ground" })) ground.setAttribute(key, value);
    const text = document.createElementNS(NS, "text");
    for (const [key, value] of Object.entries({ x: x + width / 2, y: y + height * 0.7, class: "on-paper" })) text.setAttribute(key, value);
    text.textContent = this.label.textContent;
    this.svg.append(ground, text);
  }

  bar() {
    const zoom = this.stage.camera.zoom;
    const length = SCALE_STEPS.findLast((step) => step * zoom <= 130) ?? SCALE_STEPS[0];
    this.scale.style.width = `${length * zoom}px`;
    this.scale.textContent = `${length} mm`;
  }

  axes() {
    const middle = [this.stage.pane.clientWidth - 66, this.stage.pane.clientHeight - 50];
    const origin = this.at([0, 0, 0]);
    for (const [word, axis] of [["right", [1, 0, 0]], ["rear", [0, 1, 0]], ["top", [0, 0, 1]]]) {
      const end = this.at(axis);
      const zoom = this.stage.camera.zoom;
      const way = [(end[0] - origin[0]) / zoom, (end[1] - origin[1]) / zoom];
      const share = Math.hypot(...way);
      if (share < 0.15) continue;
      const tip = [middle[0] + 26 * way[0], middle[1] + 26 * way[1]];
      this.stroke("line", { x1: middle[0], y1: middle[1], x2: tip[0], y2: tip[1] }, "axis");
      const text = document.createElementNS(NS, "text");
      text.setAttribute("x", tip[0] + (way[0] / share) * 14);
      text.setAttribute("y", tip[1] + (way[1] / share) * 10 + 4);
      text.setAttribute("class", "axis");
      text.textContent = word;
      this.svg.append(text);
    }
  }
}
