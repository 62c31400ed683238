// Elements, made of text and never of markup.

/**
 * Makes an element. Keys that begin with "on" are listeners; true stands for an attribute without a value.
 * @param {string} tag
 * @param {Record<string, any>} [attributes]
 * @param {...(Node|string|number|null|undefined|false)} children
 * @returns {any}
 */
export function h(tag, attributes = {}, ...children) {
  /** @type {any} */ const e = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) e.addEventListener(key.slice(2), value);
    else if (key === "value") { e.value = value; e.dataset.given = value; }
    else e.setAttribute(key, value === true ? "" : String(value));
  }
  if (tag === "input") {
    e.setAttribute("autocomplete", "off");
    e.setAttribute("spellcheck", "false");
    e.addEventListener("input", () => typed.add(e));
    if (attributes.onchange) e.addEventListener("change", () => typed.delete(e), { capture: true });
  }
  e.append(...children.filter((c) => c !== null && c !== undefined && c !== false).map((c) => c instanceof Node ? c : String(c)));
  return e;
}

/** What an element is called. @param {any} e */
const called = (e) => e.getAttribute("aria-label") || e.labels?.[0]?.textContent || e.textContent;

/** The stops of Tab in an element. @param {HTMLElement} e @returns {any[]} */
const stops = (e) => [.../** @type {any} */ (e.querySelectorAll("button, input, select, summary, [tabindex]"))].filter((x) => x.tabIndex >= 0 && !x.disabled);

/** Fields in which somebody types. @type {WeakSet<any>} */
const typed = new WeakSet();

/** Empties fields. @param {any[]} fields */
export function empty(fields) {
  for (const f of fields) { f.value = ""; typed.delete(f); }
}

/**
 * Gives an element new children, where they are other than those it has. What somebody was typing there stays typed, and the
 * focus stays on what is called the same, or near where it was.
 * @param {HTMLElement} holder @param {...any} wanted
 */
export function renew(holder, ...wanted) {
  const children = wanted.filter((c) => c !== null && c !== undefined && c !== false && c !== ""), there = [...holder.childNodes];
  if (there.length === children.length && there.every((c, i) => children[i] instanceof Node && c.isEqualNode(children[i]))) return;
  const before = new Map([...holder.querySelectorAll("input")].filter((e) => typed.has(e)).map((e) => [called(e), e]));
  const active = document.activeElement, inside = active !== holder && holder.contains(active), name = inside ? called(active) : "", index = stops(holder).indexOf(active);
  holder.replaceChildren(...children);
  for (const e of holder.querySelectorAll("input")) {
    const old = before.get(called(e));
    if (old && old !== e) { e.value = old.value; typed.add(e); }
  }
  if (!inside || holder.contains(document.activeElement) && document.activeElement !== holder) return;
  const all = stops(holder);
  (all.find((e) => called(e) === name) || all[Math.min(Math.max(index, 0), all.length - 1)] || holder.closest("section")?.querySelector(".head button"))?.focus({ preventScroll: true });
}

/** Makes a vector element. @param {string} tag @param {Record<string, any>} attributes @returns {SVGElement} */
export function v(tag, attributes) {
  const e = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, String(value));
  return e;
}

const shapes = {
  "held": [["circle", { cx: 5, cy: 5, r: 4, fill: "none", stroke: "currentColor", "stroke-width": 1.4 }]],
  "uncertain": [["circle", { cx: 5, cy: 5, r: 4, fill: "none", stroke: "currentColor", "stroke-width": 1.4 }], ["path", { d: "M5 1A4 4 0 0 1 5 9Z", fill: "currentColor" }]],
  "not held": [["path", { d: "M5 0L10 5L5 10L0 5Z", fill: "currentColor" }]],
  "not assessed": [["path", { d: "M1 1L9 9M9 1L1 9", fill: "none", stroke: "currentColor", "stroke-width": 1.6 }]],
};

/** A verdict as the report marks it: word and shape. @param {string} word */
export function verdict(word) {
  if (!shapes[word]) return h("span", {}, word);
  const mark = v("svg", { viewBox: "0 0 10 10", "aria-hidden": "true" });
  for (const [tag, attributes] of shapes[word]) mark.append(v(tag, attributes));
  return h("span", { class: "verdict " + word.replace(" ", "-") }, mark, word);
}

/**
 * A table that scrolls within itself. @param {string} caption @param {string[]} head @param {any[][]} rows
 * @param {string[]} [notes] what stands under each row, over its whole width; "" for nothing
 */
export function table(caption, head, rows, notes = []) {
  const row = (cells) => h("tr", {}, ...cells.map((c, i) => h(i ? "td" : "th", i ? {} : { scope: "row" }, c)));
  const under = (note) => note ? [h("tr", { class: "under" }, h("td", { colspan: head.length, class: "note" }, note))] : [];
  return h("div", { class: "scroll", role: "region", "aria-label": caption, tabindex: 0 }, h("table", {}, h("caption", {}, caption),
    h("thead", {}, h("tr", {}, ...head.map((c) => c ? h("th", { scope: "col" }, c) : h("td")))),
    h("tbody", {}, ...rows.flatMap((cells, i) => [row(cells), ...under(notes[i])]))));
}

/** A number with one decimal, without a minus before 0. @param {number} x */
export const tenths = (x) => x.toFixed(1).replace(/^-0\.0$/, "0.0");

/** A number as the page says it, mm. @param {number} x */
export const mm = (x) => signed(tenths(x));

/** A number in a sentence, with a minus sign. @param {number|string} x */
export const signed = (x) => String(x).replace("-", "−");

/** A point in words. @param {number[]} p */
export const place = (p) => `x ${mm(p[0])}, y ${mm(p[1])}, z ${mm(p[2])}`;

/** A word of the plan as prose. @param {string} word */
export const words = (word) => word.replaceAll("_", " ");
