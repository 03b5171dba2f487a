// The page: reads what is embedded, wires the parts of the sheet together.
import { bytesOf, inflate, readScene, unpack } from "./data.js";
import { byId } from "./dom.js";
import { Findings } from "./findings.js";
import { startLive } from "./live.js";
import { Marks } from "./marks.js";
import { Measure } from "./measure.js";
import { Parts } from "./parts.js";
import { Section } from "./section.js";
import { Solids } from "./solids.js";
import { Stage, direction } from "./stage.js";
import { fillTables } from "./tables.js";
import { OVERVIEW, Views } from "./views.js";

const TURN = Math.PI / 36;

class App {
  constructor(scene) {
    const canvas = byId("drawing");
    this.scene = scene;
    this.stage = new Stage(canvas, byId("pane"));
    this.solids = new Solids(scene.verdict_colours);
    this.stage.scene.add(this.solids.group);
    this.marks = new Marks(this.stage, byId("marks"), byId("figure"), byId("scale"));
    this.section = new Section(this.solids, this.stage);
    this.findings = new Findings(this);
    this.parts = new Parts(this);
    this.views = new Views(this);
    this.measure = new Measure(this, canvas);
    canvas.addEventListener("keydown", (event) => this.key(event));
    addEventListener("beforeprint", () => this.open(true));
    addEventListener("afterprint", () => this.open(false));
  }

  // On paper the lists that are worked from are open; closed again afterwards if they were.
  open(forPaper) {
    for (const list of document.querySelectorAll("#runs-box, #layouts-box, #not-checked-box")) {
      if (forPaper && !list.open) list.dataset.opened = "yes";
      if (forPaper || list.dataset.opened) list.open = forPaper;
      if (!forPaper) delete list.dataset.opened;
    }
  }

  // Show a scene; `shapes` are the arrays of its solids, in the same order. `whole`: its lists are asked, too.
  show(scene, shapes, whole = true) {
    this.scene = scene;
    this.solids.fill(scene.parts, scene.solids, shapes);
    this.say(scene);
    this.views.fill(scene);
    this.findings.fill(scene);
    this.parts.fill(scene);
    this.section.again();
    for (const list of document.querySelectorAll("#runs-box, #gaps-box, #rooms-box, #not-checked-box")) list.classList.toggle("stale", !whole);
    if (whole) fillTables(this, scene);
  }

  say(scene) {
    document.title = `${scene.verdict}: ${scene.title}`;
    byId("title").textContent = scene.title;
    byId("verdict").textContent = scene.verdict;
    byId("verdict").className = `stamp ${scene.verdict}`;
    byId("meaning").textContent = scene.meaning;
    byId("lead").textContent = scene.lead;
  }

  // Point at two places of some parts, without a finding.
  point(ends, text, names) {
    this.findings.clear();
    const concerned = this.solids.parts.flatMap((part, k) => (names.includes(part.name) ? [k] : []));
    this.solids.focus = { parts: concerned, solids: [] };
    this.solids.stand();
    this.section.again();
    this.marks.show({ ends, text });
    this.findings.fly({ concerned, ends });
    byId("back").hidden = false;
  }

  box({ low, high, size }) {
    this.findings.clear();
    const corner = (x, y, z) => [[low, high][x][0], [low, high][y][1], [low, high][z][2]];
    const faces = [0, 1].flatMap((k) => [
      [corner(k, 0, 0), corner(k, 1, 0), corner(k, 1, 1), corner(k, 0, 1)],
      [corner(0, k, 0), corner(1, k, 0), corner(1, k, 1), corner(0, k, 1)],
    ]);
    const middle = low.map((x, k) => (x + high[k]) / 2);
    this.marks.show({ ends: [middle, middle], text: `${size.map((x) => x.toFixed(1)).join(" × ")} mm free` }, faces);
    this.stage.look(this.stage.towards(), [low.map((x) => x - 60), high.map((x) => x + 60)]);
    byId("back").hidden = false;
  }

  key(event) {
    const { stage } = this;
    const turns = { ArrowLeft: [TURN, 0], ArrowRight: [-TURN, 0], ArrowUp: [0, TURN], ArrowDown: [0, -TURN] };
    const zooms = { "+": 1.2, "=": 1.2, "-": 1 / 1.2 };
    if (turns[event.key]) stage.turn(...turns[event.key]);
    else if (zooms[event.key]) stage.go({ way: stage.towards(), middle: stage.controls.target.clone(), zoom: stage.camera.zoom * zooms[event.key] }, true);
    else if (event.key === "Home") stage.look(direction(OVERVIEW), this.scene.bounds);
    else if (event.key === "Escape") this.findings.clear();
    else return;
    event.preventDefault();
  }
}

async function start() {
  if (!("DecompressionStream" in window)) throw new Error("this browser is too old to unpack the drawing (before 2023)");
  const scene = readScene("scene");
  const app = new App(scene);
  const shapes = unpack(scene.solids, await inflate(bytesOf(byId("shapes").textContent)));
  app.show(scene, shapes);
  app.stage.fit();
  app.stage.look(direction(OVERVIEW), scene.bounds, false);
  if (scene.live) startLive(app, shapes);
  byId("pane").dataset.ready = "yes";
}

start().catch((wrong) => {
  byId("broken").hidden = false;
  byId("broken").textContent = `The drawing cannot be shown: ${wrong.message}. The findings are in the report of fitcheck check.`;
});
