// Controls made from the scene's parameters: a slider with its figure, a choice, or a text.
import { byId, element } from "./dom.js";

export class Controls {
  constructor(ask, keep) {
    this.ask = ask;
    byId("keep").addEventListener("click", () => keep(this.changed()));
    byId("as-written").addEventListener("click", () => {
      this.fill({ ...this.live, values: {} });
      this.ask({});
    });
    byId("live").hidden = false;
  }

  // Show the parameters as the file has them, but with these values.
  fill(live) {
    this.live = live;
    this.typed = new Map(live.controls.map((control) => [control.name, live.values[control.name] ?? control.written]));
    byId("live-file").textContent = live.file;
    byId("controls").replaceChildren(...live.controls.map((control) => this.row(control)));
    this.mark();
  }

  row(control) {
    const id = `control-${control.name}`;
    const inputs = { slider: () => this.slider(control, id), choice: () => this.choice(control, id), text: () => this.text(control, id) }[control.kind]();
    const row = element("div", { className: "control" }, element("label", { htmlFor: id, text: control.name }), ...inputs);
    if (control.meaning) row.append(element("p", { className: "note", text: control.meaning }));
    row.dataset.name = control.name;
    return row;
  }

  slider(control, id) {
    const number = (text) => parseFloat(text) || 0;
    const now = number(this.typed.get(control.name));
    const ends = { min: Math.min(control.low, now), max: Math.max(control.high, now) };
    const range = element("input", { type: "range", id, ...ends, step: control.step });
    const figure = element("input", { type: "number", step: "any", "aria-label": `${control.name}, exactly` });
    range.value = now;
    figure.value = now;
    range.title = control.stated ? "between the ends that the scene states" : "the scene states no ends; any other value may be typed";
    const put = (value) => this.set(control.name, `${Number(value)}${control.after}`);
    range.addEventListener("input", () => {
      figure.value = range.value;
      put(range.value);
    });
    figure.addEventListener("input", () => {
      if (figure.value === "") return;
      range.value = figure.value;
      put(figure.value);
    });
    return [range, element("span", { className: "typed" }, figure, element("span", { text: control.after }))];
  }

  choice(control, id) {
    const select = element("select", { id, onchange: () => this.set(control.name, select.value) });
    select.append(...control.choices.map((word) => element("option", { value: word, text: word })));
    select.value = this.typed.get(control.name);
    return [select];
  }

  text(control, id) {
    const input = element("input", { type: "text", id, value: this.typed.get(control.name), onchange: () => this.set(control.name, input.value) });
    return [input];
  }

  set(name, typed) {
    this.typed.set(name, typed);
    this.mark();
    this.ask(this.changed());
  }

  changed() {
    return Object.fromEntries(this.live.controls.filter(({ name, written }) => this.typed.get(name) !== written).map(({ name }) => [name, this.typed.get(name)]));
  }

  mark() {
    const changed = this.changed();
    for (const row of byId("controls").children) row.classList.toggle("changed", row.dataset.name in changed);
    const none = !Object.keys(changed).length;
    byId("keep").disabled = none;
    byId("as-written").disabled = none;
  }
}
