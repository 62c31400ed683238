// Callipers: two clicks in a section are a reading, kept in the plan. Each end may snap to the bone's edge; how far apart
// they are comes with the other numbers, of the plan as it then stands.
import { h, renew, table } from "./dom.js";
import { json } from "./transport.js";
import { say } from "./status.js";
import { store } from "./state.js";

/** Whether the callipers are in hand, and whether their ends snap: the same in every section. */
const hand = { held: false, snap: true };

/** Puts the callipers away when another step opens: a click there means something else. */
export function putAway() {
  if (hand.held) say("Callipers put away.");
  hand.held = false;
}

/** The readings of a site; "" for those of none. @param {string} site */
const of = (site) => store.plan.readings.map((r, i) => ({ ...r, i })).filter((r) => r.site === site);

/** The row of a reading in what was measured. */
function row(site, id) {
  const n = store.numbers, column = (name) => n.columns.indexOf(name);
  const rows = site ? n?.sites?.find((s) => s.id === site)?.rows : n?.arch;
  const r = rows?.find((r) => r[column("quantity")] === "reading" && r[column("to")] === id);
  return r && Object.fromEntries(n.columns.map((c, i) => [c, r[i]]));
}

/** The edits that take a site's readings away with it. @param {string} site */
export const without = (site) => of(site).reverse().map((r) => ({ do: "delete", path: `readings[${r.i}]` }));

/** The edits that give a site's readings its new name. @param {string} site @param {string} name */
export const renamed = (site, name) => of(site).map((r) => ({ do: "set", path: `readings[${r.i}].site`, value: name }));

/**
 * @param {{site: () => string, arc: () => number, view: () => any, change: () => void}} options
 * the site whose readings they are and "" for none; the section's arc length and picture; what to do when they are taken up or put down
 */
export function callipers(options) {
  const free = () => !store.plan.read_only;
  /** @type {{at: number[], snapped: boolean}|null} */ let first = null;
  const list = h("div"), held = h("button", { type: "button", onclick: () => { hand.held = !hand.held; first = null; options.change(); say(hand.held ? "Callipers: click the two ends of a distance in the section." : "Callipers put away."); } }, "Callipers");
  const snap = h("input", { type: "checkbox", onchange: () => { hand.snap = snap.checked; } });
  const end = async (p) => {
    if (!hand.snap) return { at: p, snapped: false };
    try {
      const a = await json("snap", { arc_mm: options.arc(), at: p });
      if (!a.snapped) say("No edge of bone there: the end stays where it was put.");
      return a;
    } catch { return { at: p, snapped: false }; }
  };
  const fresh = () => { const taken = store.plan.readings.map((r) => r.id); for (let i = 1; ; i++) if (!taken.includes("r" + i)) return "r" + i; };
  const click = async (p) => {
    if (!hand.held || !free()) return;
    const at = await end(p);
    if (!first) { first = at; say(`First end set${at.snapped ? " on the edge of bone" : ""}: click the second.`); options.change(); return; }
    const from = first, site = options.site(), id = fresh();
    first = null;
    await store.act(`reading ${id} taken`, [{ do: "insert", path: `readings[${store.plan.readings.length}]`, value: { id, ...(site ? { site } : {}), from: from.at, to: at.at, snapped: from.snapped && at.snapped } }]);
    options.change();
  };
  const near = (p) => { const pane = options.view()?.pane; return pane?.geometry && Math.abs(pane.off(p)) < 0.5; };
  const shown = () => of(options.site()).filter((r) => near(r.from) && near(r.to));
  const move = (r, key) => async (p) => {
    const a = await end(p), other = hand.snap && r.snapped;
    await store.act(`reading ${r.id} moved`, [{ do: "set", path: `readings[${r.i}].${key}`, value: a.at }, { do: "set", path: `readings[${r.i}].snapped`, value: a.snapped && other }]);
  };
  const remove = (r) => store.act(`reading ${r.id} removed`, [{ do: "delete", path: `readings[${r.i}]` }]);
  return {
    element: h("div", {}, h("div", { class: "row" }, held, h("label", {}, snap, "ends snap to the edge of bone")), list),
    click,
    get held() { return hand.held; },
    draw(pane) {
      for (const r of shown()) pane.line([r.from, r.to]);
      if (first && near(first.at)) pane.ring(first.at, 0.5);
    },
    points: () => !hand.held ? [] : shown().flatMap((r) => ["from", "to"].map((key) => ({ at: r[key], name: `Reading ${r.id}, ${key === "from" ? "first" : "second"} end`, square: true, moved: free() ? move(r, key) : undefined, removed: free() ? () => remove(r) : undefined }))),
    update() {
      held.setAttribute("aria-pressed", String(hand.held));
      held.disabled = !free();
      snap.checked = hand.snap;
      const all = of(options.site());
      renew(list, ...(!all.length ? [] : [h("div", { class: store.current ? "" : "stale" }, table("Readings" + (store.current ? "" : "; " + store.age), ["Name", "value", "U (k = 2)", "unit", "ends", ""], all.map((r) => {
        const n = store.numbers && row(r.site, r.id);
        return [r.id, ...["value", "U", "unit"].map((c) => h("span", { class: "number", "data-reading": c }, n ? n[c] : "")), r.snapped ? "on the edge of bone" : "set by eye",
          h("button", { type: "button", "aria-label": "Remove reading " + r.id, disabled: !free(), onclick: () => remove(r) }, "Remove")];
      })))]));
    },
  };
}
