// The live view: controls ask the program that served the page, and what it finds is shown.
import { distances, inflate, unpack } from "./data.js";
import { Controls } from "./controls.js";
import { byId } from "./dom.js";

// Shapes and distances are kept so that they need not be sent again; beyond so many all are dropped.
const KEPT = 3000;
const AGAIN_MS = 1500;

export function startLive(app, shapes) {
  new Live(app, shapes).listen();
}

class Live {
  constructor(app, shapes) {
    this.app = app;
    this.shapes = new Map();
    this.values = new Map();
    this.asking = false;
    this.wanted = null;
    this.seen = app.scene.live.seen;
    app.scene.keys.forEach((key, k) => this.hold(key, shapes[k]));
    this.controls = new Controls((values) => this.ask(values), (values) => this.keep(values));
    this.controls.fill(app.scene.live);
    this.say("asking the rest …");
  }

  hold([shape, values], arrays) {
    if (!this.shapes.has(shape)) this.shapes.set(shape, arrays);
    this.values.set(`v${shape}.${values}`, arrays.values);
  }

  // One question at a time; of what is wanted meanwhile only the newest is asked.
  async ask(values) {
    this.wanted = { values, since: performance.now() };
    if (this.asking) return;
    this.asking = true;
    try {
      while (this.wanted) {
        const { values: now, since } = this.wanted;
        this.wanted = null;
        await this.answered(await this.post("ask", { values: now, known: this.known() }));
        byId("live").dataset.step = (performance.now() - since).toFixed(1);
      }
    } catch (wrong) {
      this.lost(wrong);
    }
    this.asking = false;
  }

  known() {
    if (this.shapes.size > KEPT || this.values.size > KEPT) {
      this.shapes.clear();
      this.values.clear();
    }
    return [...[...this.shapes.keys()].map((key) => `s${key}`), ...this.values.keys()];
  }

  async keep(values) {
    try {
      const { data } = await this.post("keep", { values });
      this.wrong(data.wrong);
      if (!data.wrong) this.say(data.kept.length ? `kept in the file: ${data.kept.join(", ")}` : "the file has these values already");
    } catch (wrong) {
      this.lost(wrong);
    }
  }

  async post(place, asked) {
    const answer = await fetch(place, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(asked) });
    if (!answer.ok) throw new Error(await answer.text());
    return parted(await answer.arrayBuffer());
  }

  // Show an answer: new shapes and distances are in it, the rest is kept here.
  async answered({ data, shapes, values }) {
    this.wrong(data.wrong);
    if (data.wrong) return;
    const firsts = data.shapes.map((key) => data.keys.findIndex(([shape]) => shape === key));
    const [made, fresh] = await Promise.all([inflated(shapes), inflated(values)]);
    unpack(firsts.map((k) => data.solids[k]), made).forEach((arrays, k) => this.hold(data.keys[firsts[k]], arrays));
    let at = 0;
    for (const k of data.fresh) {
      const [shape, key] = data.keys[k];
      const count = data.solids[k].points;
      this.values.set(`v${shape}.${key}`, distances(new Int16Array(fresh.slice(at, at + 2 * count))));
      at += 2 * count;
    }
    const all = data.keys.map(([shape, key]) => ({ ...this.shapes.get(shape), values: this.values.get(`v${shape}.${key}`) }));
    this.app.show(data, all, false);
    this.say("asking the rest …");
  }

  async listen() {
    for (;;) {
      try {
        const answer = await fetch(`news?seen=${this.seen}`);
        if (!answer.ok) throw new Error(await answer.text());
        const told = await answer.arrayBuffer();
        if (!told.byteLength) continue;
        this.seen = new DataView(told).getUint32(0, true);
        await this.hear(parted(told.slice(4)));
      } catch (wrong) {
        this.lost(wrong);
        await new Promise((done) => setTimeout(done, AGAIN_MS));
      }
    }
  }

  async hear(told) {
    const { data } = told;
    if (data.saying) return this.say(data.saying);
    if (data.wrong) return this.wrong(data.wrong);
    if (data.thorough) {
      // Newer values are on their way: this is no longer what is asked.
      if (this.asking) return;
      this.app.show(data, unpack(data.solids, await inflated(told.shapes)), true);
      return this.say("all is asked");
    }
    this.controls.fill(data.live);
    await this.answered(told);
  }

  say(text) {
    byId("live-said").textContent = text;
  }

  wrong(text) {
    byId("live-wrong").hidden = !text;
    byId("live-wrong").textContent = text ?? "";
    if (text) this.say("the drawing shows the last values that could be built");
  }

  lost(wrong) {
    this.say(`no answer from the program (${wrong.message}); is it still running?`);
  }
}

function parted(buffer) {
  const view = new DataView(buffer);
  const first = 8 + view.getUint32(0, true);
  const second = first + view.getUint32(4, true);
  return {
    data: JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 8, first - 8))),
    shapes: buffer.slice(first, second),
    values: buffer.slice(second),
  };
}

async function inflated(bytes) {
  return bytes.byteLength ? inflate(bytes) : new ArrayBuffer(0);
}
