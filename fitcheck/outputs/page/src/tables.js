// Tables of the sheet: runs and what to cut, gaps, empty rooms, layouts, cautions.
import { byId, element, table } from "./dom.js";

export function fillTables(app, scene) {
  runs(scene);
  gaps(app, scene);
  rooms(app, scene);
  layouts(scene);
  const lines = (id, texts) => byId(id).replaceChildren(...texts.map((text) => element("li", { text })));
  lines("cautions", scene.cautions);
  lines("not-checked", [...scene.not_checked, ...scene.notes]);
  byId("not-checked-box").hidden = !scene.not_checked.length && !scene.notes.length;
}

function put(id, count, ...inside) {
  byId(`${id}-box`).hidden = !count;
  byId(`${id}-count`).textContent = count || "";
  byId(id).replaceChildren(...inside);
}

function runs(scene) {
  const rows = scene.runs.map((run) => [run.name, run.kind, run.size, run.bore, run.length, run.cut, run.bends, run.verdict]);
  put("runs", rows.length, table(["run", "kind", "outside, mm", "bore, mm", "length, mm", "cut, mm", "bends", "verdict"], rows));
}

function gaps(app, scene) {
  const rows = scene.gaps.map((gap) => [gap.part, gap.side, gap.free, gap.touches]);
  const pick = (at) => app.point(scene.gaps[at].ends, `${scene.gaps[at].free.toFixed(1)} mm`, [scene.gaps[at].part]);
  put("gaps", rows.length, table(["part", "to the", "free, mm", "then touches"], rows, pick));
}

function rooms(app, scene) {
  const rows = scene.rooms.map((room) => [room.in, ...room.size, room.litres]);
  put("rooms", rows.length, table(["in", "x, mm", "y, mm", "z, mm", "litres"], rows, (at) => app.box(scene.rooms[at])));
}

function layouts(scene) {
  const inside = scene.plots.map((plot) => element("img", { src: plot.data, alt: `plot of layouts: ${plot.name}` }));
  const given = scene.layouts;
  if (given) {
    const more = given.count > given.rows.length ? `, the first ${given.rows.length} of ${given.count}` : "";
    inside.push(element("p", { className: "note", text: `from ${given.file}${more}` }), table(given.columns, given.rows));
  }
  put("layouts", (given ? given.count : 0) || scene.plots.length, ...inside);
}
