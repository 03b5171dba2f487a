// Buttons of the drawing: where it is seen from, coloured by what, cut where.
import { byId, element } from "./dom.js";
import { MODES, shared, setBands } from "./look.js";
import { direction } from "./stage.js";

export const OVERVIEW = "from front left top";
const NAMED = {
  overview: OVERVIEW, front: "from front", left: "from left", right: "from right", rear: "from rear", top: "from top", bottom: "from bottom",
};

export class Views {
  constructor(app) {
    this.app = app;
    byId("views").replaceChildren(
      ...Object.entries(NAMED).map(([name, look]) => element("button", { text: name, onclick: () => app.stage.look(direction(look), this.bounds) })),
    );
    for (const name of ["section-axis", "section-at", "section-side"]) {
      byId(name).addEventListener("input", (event) => this.cut(event.target.id === "section-axis"));
    }
    byId("colour").addEventListener("change", () => this.colour(byId("colour").value));
  }

  fill(scene) {
    this.scene = scene;
    this.bounds = scene.bounds;
    setBands(scene.bands);
    const own = scene.views.map((view) => element("button", { className: "own", text: view.name, title: "a view of the scene file", onclick: () => this.own(view) }));
    byId("own-views").replaceChildren(...own);
    byId("own-views-box").hidden = !own.length;
    this.colour(byId("colour").value);
    this.ends();
  }

  // A view of the scene file: its look, cut, colours, and what it shows.
  own(view) {
    this.app.findings.clear();
    byId("section-axis").value = view.cut ? view.cut.axis : "none";
    this.ends();
    if (view.cut) {
      byId("section-at").value = view.cut.at;
      byId("section-side").checked = view.cut.side < 0;
    }
    this.cut(false);
    byId("colour").value = view.colour;
    this.colour(view.colour);
    this.app.solids.hidden = new Set(view.hidden);
    this.app.parts.stand();
    this.app.stage.look(direction(view.look), this.bounds);
  }

  // The slider goes from end to end of what is drawn.
  ends() {
    const axis = "xyz".indexOf(byId("section-axis").value);
    const slider = byId("section-at");
    slider.disabled = axis < 0;
    byId("section-side").disabled = axis < 0;
    if (axis < 0) return;
    slider.min = Math.floor(this.bounds[0][axis]);
    slider.max = Math.ceil(this.bounds[1][axis]);
  }

  cut(anew) {
    const axis = byId("section-axis").value;
    const slider = byId("section-at");
    this.ends();
    const none = axis === "none";
    if (anew && !none) slider.value = (Number(slider.min) + Number(slider.max)) / 2;
    const said = none ? "not cut" : `cut at ${axis} = ${Number(slider.value).toFixed(1)} mm`;
    byId("section-said").textContent = said;
    slider.setAttribute("aria-valuetext", said);
    // Without a tick the half towards the usual viewer (front, left, top) is taken away.
    const usual = axis === "z" ? 1 : -1;
    this.app.section.set(none ? null : { axis, at: Number(slider.value), side: byId("section-side").checked ? -usual : usual });
  }

  colour(by) {
    shared.mode.value = MODES[by];
    const legend = this.scene.legends[by];
    byId("legend-heading").textContent = legend.heading;
    byId("legend").replaceChildren(
      ...legend.rows.map(([colour, words]) => {
        const swatch = element("span", { className: "swatch" });
        swatch.style.background = colour;
        return element("li", {}, swatch, element("span", { text: words }));
      }),
    );
    this.app.stage.ask();
  }
}
