// Shades: which grey values are drawn black and white, as two percentiles of the scan's.
import { h } from "./dom.js";
import { store } from "./state.js";

/** The two fields of the window. @param {...any} more what is said below */
export function shades(...more) {
  const field = (name, key) => h("label", {}, name, h("input", { type: "number", "data-shade": key, min: 0, max: 100, step: 0.5, value: store[key], onchange: (e) => shade(key, Number(e.target.value)) }));
  return h("fieldset", {}, h("legend", {}, "Shades"), h("div", { class: "row" }, field("from percentile", "low"), field("to percentile", "high")), ...more);
}

/** Sets one end of the window, at least half a percent from the other. @param {string} key "low" or "high" @param {number} x */
export function shade(key, x) {
  if (!Number.isFinite(x)) return;
  store[key] = Math.max(0, Math.min(100, Math.round(x * 2) / 2));
  if (store.low >= store.high) store[key] = key === "low" ? store.high - 0.5 : store.low + 0.5;
  for (const input of document.querySelectorAll("input[data-shade]")) /** @type {HTMLInputElement} */ (input).value = store[/** @type {HTMLElement} */ (input).dataset.shade];
  store.tell("shades");
}
