// The list of parts: hide, show, show alone; how each stands by its worst finding.
import { byId, element, verdictWord } from "./dom.js";

export class Parts {
  constructor(app) {
    this.app = app;
    byId("show-all").addEventListener("click", () => this.only(null));
    byId("part-filter").addEventListener("input", () => this.sift());
  }

  fill(scene) {
    const before = JSON.stringify((this.parts ?? []).map(({ name, verdict }) => [name, verdict]));
    const same = before === JSON.stringify(scene.parts.map(({ name, verdict }) => [name, verdict]));
    this.parts = scene.parts;
    if (same) return this.refresh();
    byId("parts").replaceChildren(...scene.parts.map((part) => this.row(part)));
    this.sift();
    this.refresh();
  }

  row(part) {
    const box = element("input", { type: "checkbox", checked: true, onchange: (event) => this.set(part.name, event.target.checked) });
    const label = element("label", {}, box, element("span", { className: "name", text: part.name }));
    if (part.verdict) label.append(verdictWord(part.verdict));
    const alone = element("button", { className: "alone", text: "alone", title: "show this part alone", onclick: () => this.only(part.name) });
    const item = element("li", {}, label, alone);
    item.dataset.name = part.name;
    return item;
  }

  set(name, seen) {
    this.app.solids.hidden[seen ? "delete" : "add"](name);
    this.stand();
  }

  // One part alone, or (null) all of them.
  only(name) {
    this.app.solids.hidden = new Set(name === null ? [] : this.parts.map((part) => part.name).filter((other) => other !== name));
    if (this.app.findings.chosen) this.app.findings.clear();
    this.stand();
  }

  stand() {
    this.app.solids.stand();
    this.app.section.again();
    this.refresh();
  }

  refresh() {
    const { hidden } = this.app.solids;
    for (const item of byId("parts").children) item.querySelector("input").checked = !hidden.has(item.dataset.name);
    const shown = this.parts.length - this.parts.filter((part) => hidden.has(part.name)).length;
    byId("parts-count").textContent = shown === this.parts.length ? `${shown}` : `${shown} of ${this.parts.length} shown`;
  }

  sift() {
    const wanted = byId("part-filter").value.trim().toLowerCase();
    for (const item of byId("parts").children) item.hidden = !item.dataset.name.toLowerCase().includes(wanted);
  }
}
