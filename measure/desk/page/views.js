// The pictures that several steps share: a slab seen from the feet, the section at an arc length, the panoramic; each
// with what is known drawn over it.
import { h, mm } from "./dom.js";
import { Pane } from "./pane.js";
import { store } from "./state.js";

/** A field with a slider. @param {string} name @param {Record<string, any>} range @param {(x: number, moving: boolean) => void} change */
export function slider(name, range, change) {
  const shown = h("span", {}, mm(range.value) + " mm");
  const input = h("input", { type: "range", ...range, oninput: () => { shown.textContent = mm(Number(input.value)) + " mm"; change(Number(input.value), true); } });
  return h("label", { class: "wide" }, h("span", {}, name + " ", shown), input);
}

/** The height at which the work is: the arch's, else the scan's middle. */
export function usualHeight() {
  const { arch, scan } = store.plan;
  if (arch?.length) return arch.reduce((sum, p) => sum + p[2], 0) / arch.length;
  return (scan.low[2] + scan.high[2]) / 2;
}

/**
 * A slab seen from the feet, with its height and thickness.
 * @param {{label: string, click?: (p: number[]) => void, newPoint?: string, thick?: number, draw?: (pane: Pane) => void}} options
 */
export function axial(options) {
  const { low, high } = store.plan.scan;
  const at = { z: usualHeight(), thick: options.thick ?? 5 };
  const pane = new Pane({ label: options.label, path: "axial", step: 0.4, click: options.click, newPoint: options.newPoint, after: () => draw() });
  const draw = () => {
    pane.clear();
    if (!pane.geometry) return;
    pane.line(store.plan.curve, "dotted");
    for (const s of store.plan.structures) seen(pane, s, at.thick / 2 + 1);
    for (const s of store.plan.sites) if (s.at) pane.ring(s.at, 1);
    options.draw?.(pane);
  };
  const element = h("div", {}, pane.element,
    slider("Height, z", { min: Math.ceil(low[2]), max: Math.floor(high[2]), step: 0.5, value: at.z }, (x, moving) => { at.z = x; pane.want(at, moving); }),
    slider("Thickness of the slab", { min: 0, max: 10, step: 1, value: at.thick }, (x, moving) => { at.thick = x; pane.want(at, moving); }));
  pane.want(at);
  const [height] = element.querySelectorAll("input");
  const to = (z) => { height.value = String(z); height.dispatchEvent(new Event("input")); };
  return { element, pane, draw, to };
}

/** Draws what of a structure lies near the picture's plane. */
function seen(pane, s, within) {
  const near = s.path.filter((p) => Math.abs(pane.off(p)) <= within);
  if (near.length > 1) pane.line(near, "dashed");
  else if (near.length) pane.ring(near[0], s.radius_mm, "dashed");
}

/**
 * The section at an arc length.
 * @param {{label: string, click?: (p: number[]) => void, newPoint?: string, draw?: (pane: Pane) => void, move?: boolean, arc: number}} options
 */
export function section(options) {
  /** @type {{arc: number, v: number, half: number, voxels?: number | string}} */ const at = { arc: options.arc, v: -8, half: 16 };
  const inner = () => store.plan.jaw === "maxilla" ? "palatal" : "lingual";
  const pane = new Pane({ label: options.label, path: "section", step: 0.1, click: options.click, newPoint: options.newPoint,
    sides: () => [inner(), "buccal"], after: () => draw() });
  const draw = () => {
    pane.clear();
    if (!pane.geometry) return;
    for (const s of store.plan.structures) pane.crossing(s.path, s.radius_mm);
    options.draw?.(pane);
  };
  const element = h("div", {}, pane.element);
  const to = (arc, moving = false) => { at.arc = arc; pane.want(at, moving); };
  if (options.move) element.append(slider("Along the arch", { min: 0, max: store.plan.length_mm, step: 0.5, value: at.arc }, to));
  const high = slider("Middle of the picture above the arch", { min: -40, max: 30, step: 1, value: at.v }, (x, moving) => { at.v = x; pane.want(at, moving); });
  const wide = slider("Width of the picture", { min: 10, max: 60, step: 2, value: 2 * at.half }, (x, moving) => { at.half = x / 2; pane.want(at, moving); });
  const voxels = h("input", { type: "checkbox", onchange: () => { at.voxels = voxels.checked ? 1 : ""; pane.want(at); } });
  element.append(high, wide, h("label", {}, voxels, "voxels as they are"));
  pane.want(at);
  return { element, pane, draw, to, get arc() { return at.arc; } };
}

/**
 * The plane along the arch that holds an implant, where it can be leaned along the arch.
 * @param {{label: string, arc: number, draw?: (pane: Pane) => void}} options
 */
export function lengthwise(options) {
  const pane = new Pane({ label: options.label, path: "lengthwise", step: 0.1, after: () => draw() });
  const draw = () => {
    pane.clear();
    if (!pane.geometry) return;
    for (const s of store.plan.structures) { seen(pane, s, s.radius_mm); pane.crossing(s.path, s.radius_mm); }
    options.draw?.(pane);
  };
  let asked = "";
  const to = (im) => {
    const middle = im.platform.map((x, i) => (x + im.apex[i]) / 2), key = JSON.stringify([middle, im.axis]);
    if (key === asked) return draw();
    asked = key;
    pane.want({ arc: options.arc, at: middle.join(), axis: im.axis.join() });
  };
  return { element: pane.element, pane, draw, to };
}

/**
 * The scan unrolled along the arch. A click gives the arc length.
 * @param {{label: string, click?: (arc: number) => void, newPoint?: string, points?: () => any[]}} options
 */
export function panoramic(options) {
  const pane = new Pane({ label: options.label, path: "panoramic", step: 0.3, newPoint: options.newPoint, panoramic: true,
    click: options.click && ((p) => options.click(Math.max(0, Math.min(store.plan.length_mm, p[0])))), after: () => draw() });
  let asked = "";
  const draw = () => {
    pane.clear();
    if (!pane.geometry) return;
    const g = pane.geometry, top = pane.toPatient(0, 0)[1], bottom = pane.toPatient(0, g.height - 1)[1];
    for (const s of store.plan.sites) if (s.arc_mm !== null) pane.line([[s.arc_mm, top, 0], [s.arc_mm, bottom, 0]], "dashed");
    pane.handles.set(options.points?.() || []);
  };
  const update = () => {
    const key = JSON.stringify(store.plan.arch) + store.plan.occlusal;
    if (store.plan.curve?.length && key !== asked) { asked = key; pane.want({}); } else draw();
    pane.element.hidden = !store.plan.curve?.length;
  };
  update();
  return { element: pane.element, pane, update };
}
