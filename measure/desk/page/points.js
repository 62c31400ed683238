// A table of points beside a picture: what the picture's handles do, in fields.
import { empty, h, tenths } from "./dom.js";

const tall = 10; // rows that a table shows without scrolling in itself

/**
 * @param {string} caption @param {{name: string, at: number[], moved?: (p: number[]) => void, removed?: () => void}[]} points
 * @param {{name: string, add: (p: number[]) => void}} [fresh] a last row that adds a point
 */
export function pointTable(caption, points, fresh) {
  const row = (name, at, buttons, change) => {
    const fields = ["x", "y", "z"].map((axis, i) => h("input", { type: "number", step: 0.1, "aria-label": `${name}, ${axis}, mm`, value: at ? tenths(at[i]) : "", disabled: at && !change,
      onchange: change && (() => change(fields.map((f, k) => f === fields[i] || !at ? Number(f.value) : at[k]))) }));
    return { fields, row: h("tr", {}, h("th", { scope: "row" }, name.replace(/ of \d+$/, "")), ...fields.map((f) => h("td", {}, f)), h("td", {}, buttons(fields))) };
  };
  const rows = points.map((p) => row(p.name, p.at, () => p.removed ? h("button", { type: "button", "aria-label": "Remove " + p.name, onclick: p.removed }, "Remove") : "", p.moved).row);
  if (fresh) rows.push(row(fresh.name, null, (fields) => h("button", { type: "button", onclick: () => {
    if (!fields.every((f) => f.value !== "")) return;
    const p = fields.map((f) => Number(f.value));
    empty(fields);
    fields[0].focus();
    fresh.add(p);
  } }, "Add"), null).row);
  return h("div", { class: rows.length > tall ? "scroll tall" : "scroll", role: "region", "aria-label": caption, tabindex: 0 }, h("table", { class: "points" }, h("caption", {}, caption + ", patient coordinates, mm"),
    h("thead", {}, h("tr", {}, ...["Point", "x (left)", "y (back)", "z (head)", ""].map((c) => c ? h("th", { scope: "col" }, c) : h("td", {})))), h("tbody", {}, ...rows)));
}
