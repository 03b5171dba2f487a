// Elements of the page. Text goes in as text: a name from a stranger's scene is never markup.

export const byId = (id) => document.getElementById(id);

export function element(kind, attributes = {}, ...inside) {
  const made = document.createElement(kind);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (key === "text") made.textContent = value;
    else if (key in made && key !== "list") made[key] = value;
    else made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

export function verdictWord(verdict) {
  return element("span", { className: `verdict ${verdict}`, text: verdict });
}

// A table of plain cells; numbers stand to the right. `onpick(row)` makes the first cell a button.
export function table(head, rows, onpick = null) {
  const line = (cells, kind) => element("tr", {}, ...cells.map((cell) => kind(cell)));
  const heads = line(head, (word) => element("th", { scope: "col", text: word }));
  const body = rows.map((row, at) => {
    const made = line(row, (cell) => element("td", { className: typeof cell === "number" ? "number" : "", text: shown(cell) }));
    if (onpick) {
      const first = made.firstChild;
      first.replaceChildren(element("button", { className: "pick", text: first.textContent, onclick: () => onpick(at) }));
    }
    return made;
  });
  return element("table", {}, element("thead", {}, heads), element("tbody", {}, ...body));
}

function shown(cell) {
  if (cell === null || cell === undefined) return "–";
  return typeof cell === "number" && !Number.isInteger(cell) ? cell.toFixed(1) : String(cell);
}
