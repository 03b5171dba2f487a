// The list of findings: worst first; picking one flies there, fades the rest and draws its figure.
import { Vector3 } from "three";
import { byId, element, verdictWord } from "./dom.js";

// How much is shown around a finding's place, at least, mm; and how much of the parts around it.
const LEAST = 60, MOST = 260;
// A figure's line is turned towards the viewer where less of its length is seen.
const SEEN = 0.75;
const VERDICTS = ["fails", "unknown", "tight", "fits"];

export class Findings {
  constructor(app) {
    this.app = app;
    this.chosen = null;
    this.shown = { fails: true, unknown: true, tight: true, fits: false };
    byId("back").addEventListener("click", () => this.clear());
  }

  fill(scene) {
    this.list = scene.findings;
    const counts = Object.fromEntries(VERDICTS.map((verdict) => [verdict, this.list.filter((f) => f.verdict === verdict).length]));
    if (!this.list.some((finding) => this.shown[finding.verdict])) this.shown.fits = true;
    byId("filters").replaceChildren(
      ...VERDICTS.filter((verdict) => counts[verdict]).map((verdict) =>
        element("button", {
          className: "filter", "aria-pressed": String(this.shown[verdict]), text: `${counts[verdict]} ${verdict}`,
          onclick: () => {
            this.shown[verdict] = !this.shown[verdict];
            this.fill(scene);
          },
        }),
      ),
    );
    const wanted = this.list.filter((finding) => this.shown[finding.verdict]);
    byId("findings").replaceChildren(...wanted.map((finding) => this.row(finding)));
    byId("no-findings").hidden = wanted.length > 0;
    const again = this.chosen && this.list.find((finding) => finding.id === this.chosen.id);
    if (again) this.mark(again);
    else if (this.chosen) this.clear();
  }

  row(finding) {
    const button = element("button", { className: "finding", onclick: () => this.choose(finding) }, verdictWord(finding.verdict), element("span", { className: "check", text: finding.check.replaceAll("_", " ") }));
    button.append(element("span", { className: "sentence", text: finding.sentence }));
    if (finding.mend) button.append(element("span", { className: "mend", text: `mend: ${finding.mend}` }));
    if (!finding.ends && !finding.concerned.length) button.append(element("span", { className: "note", text: "names no place in the drawing" }));
    const item = element("li", { className: finding.follows ? "follows" : "" }, button);
    item.dataset.id = finding.id;
    return item;
  }

  choose(finding) {
    if (this.chosen?.id === finding.id) return this.clear();
    this.mark(finding);
    this.fly(finding);
  }

  // Keep its parts solid, fade the rest, draw its figure; the camera stays.
  mark(finding) {
    this.chosen = finding;
    for (const item of byId("findings").children) {
      item.firstChild.setAttribute("aria-pressed", String(item.dataset.id === finding.id));
    }
    const { solids, marks, section } = this.app;
    solids.focus = { parts: finding.concerned, solids: finding.solids };
    for (const part of finding.concerned) solids.hidden.delete(solids.parts[part].name);
    solids.stand();
    marks.show(finding.ends && { ends: finding.ends, text: finding.figure }, finding.outlines);
    section.again();
    this.app.parts.refresh();
    byId("back").hidden = false;
    byId("said").textContent = `${finding.verdict}: ${finding.sentence}`;
  }

  fly(finding) {
    const bounds = this.around(finding);
    if (bounds) this.app.stage.look(this.turned(finding), bounds);
  }

  around(finding) {
    const { solids } = this.app;
    const boxes = solids.all
      .filter((one) => finding.concerned.includes(one.part) && !solids.parts[one.part].case)
      .map((one) => one.mesh.geometry.boundingBox.clone().applyMatrix4(one.pose));
    const at = finding.ends ? [0, 1, 2].map((k) => (finding.ends[0][k] + finding.ends[1][k]) / 2) : null;
    if (!at && !boxes.length) return null;
    const middle = at ?? [0, 1, 2].map((k) => mean(boxes.map((box) => (box.min.getComponent(k) + box.max.getComponent(k)) / 2)));
    const long = finding.ends ? new Vector3(...finding.ends[0]).distanceTo(new Vector3(...finding.ends[1])) : 0;
    const reach = boxes.map((box) => box.getSize(new Vector3()).length() / 2);
    const half = Math.max(LEAST, 1.5 * long, Math.min(MOST, ...reach));
    return [middle.map((x) => x - half), middle.map((x) => x + half)];
  }

  // From where it is seen now, unless its line would be seen nearly head-on.
  turned(finding) {
    const now = this.app.stage.towards();
    if (!finding.ends) return now;
    const line = new Vector3(...finding.ends[1]).sub(new Vector3(...finding.ends[0]));
    if (line.length() < 0.02) return now;
    line.normalize();
    const seen = (way) => Math.sqrt(1 - line.dot(way) ** 2);
    if (seen(now) >= SEEN) return now;
    const ways = [-1, 1].flatMap((x) => [-1, 1].map((y) => new Vector3(x, y, 0.55)));
    ways.push(new Vector3(-1, -0.35, 0.35), new Vector3(-0.35, -1, 0.35), new Vector3(0.3, -0.3, 1));
    return ways.map((way) => way.normalize()).reduce((best, way) => (seen(way) + 0.2 * way.dot(now) > seen(best) + 0.2 * best.dot(now) ? way : best));
  }

  clear() {
    this.chosen = null;
    for (const item of byId("findings").children) item.firstChild.setAttribute("aria-pressed", "false");
    this.app.solids.focus = null;
    this.app.solids.stand();
    this.app.marks.show(null);
    this.app.section.again();
    byId("back").hidden = true;
    byId("said").textContent = "";
  }
}

const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;
