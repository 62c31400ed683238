// A picture: grey values from the server, shaded here, with letters on its borders, lines over it and handles on it.
// A pixel is a place in the patient by the geometry that came with the picture, and by nothing else.
import { h, signed, v } from "./dom.js";
import { ask, Newest } from "./transport.js";
import { store } from "./state.js";
import { Handles } from "./handles.js";

const rest = 120; // ms after the last move
const across = 160; // pixels from the middle to the side of a picture whose width can be set

/** @typedef {{width: number, height: number, corner: number[], right: number[], down: number[], blank: number}} Geometry */

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const minus = (a, b) => a.map((x, i) => x - b[i]);
const numbers = (text) => text.split(",").map(Number);

/** The letters toward which a direction points, the nearest first. @param {number[]} d */
export function letters(d) {
  const names = [["R", "L"], ["A", "P"], ["F", "H"]];
  const along = d.map((x, i) => ({ size: Math.abs(x), name: names[i][x > 0 ? 1 : 0] })).sort((a, b) => b.size - a.size);
  const whole = Math.hypot(...d) || 1;
  return along.filter((a) => a.size / whole > 0.35).map((a) => a.name).join("");
}

export class Pane {
  /**
   * @param {{label: string, path: string, step: number, click?: (p: number[]) => void, newPoint?: string, sides?: () => string[], bare?: boolean, words?: (p: number[]) => string, of?: string, panoramic?: boolean, after?: () => void}} options
   * label names it; path is what to ask for; step is the pixel, mm; newPoint names what a click makes; sides names the left and
   * the right beside the patient's letters; a bare picture has none; words names a place where it is not the patient's; of is what
   * the shades are of
   */
  constructor(options) {
    this.options = options;
    /** @type {Geometry|null} */ this.geometry = null;
    /** @type {Int16Array|null} */ this.grey = null;
    this.query = {};
    this.timer = 0;
    this.canvas = h("canvas", { width: 1, height: 1, "aria-hidden": "true" });
    this.lines = v("svg", { "aria-hidden": "true", preserveAspectRatio: "none" });
    this.borders = ["left", "right", "top", "bottom"].map((side) => h("span", { class: "letter " + side }));
    this.frame = h("div", { class: "frame" + (options.click ? "" : " still") }, this.canvas, this.lines, ...this.borders);
    this.words = h("p", { class: "words" });
    this.element = h("div", { class: "pane", "data-ready": "no", "data-pane": options.path, role: "group", "aria-label": options.label }, this.frame, this.words);
    this.handles = new Handles(this);
    this.newest = new Newest((wish, sequence) => this.#fetch(wish, sequence), (a, wish) => this.#show(a, wish), (e) => this.#fail(e));
    store.addEventListener("shades", () => this.shade());
  }

  /** Asks for a picture; a moving one comes coarse first and whole when the hand rests. @param {Record<string, any>} query @param {boolean} [moving] */
  want(query, moving = false) {
    this.query = query;
    clearTimeout(this.timer);
    this.element.dataset.ready = "no";
    const step = query.half ? query.half / across : this.options.step;
    if (moving) {
      this.newest.want({ ...query, step: step * 2, preview: true });
      this.timer = setTimeout(() => this.newest.want({ ...query, step }), rest);
    } else this.newest.want({ ...query, step });
  }

  async #fetch(wish, sequence) {
    const q = new URLSearchParams({ sequence: String(sequence) });
    for (const [key, value] of Object.entries(wish)) if (key !== "preview") q.set(key, String(value));
    const answer = await ask(`${this.options.path}?${q}`);
    const of = (name) => numbers(answer.headers.get("Picture-" + name) || "");
    const [width, height] = of("Size");
    const grey = new Int16Array(await answer.arrayBuffer());
    return { grey, geometry: { width, height, corner: of("Corner"), right: of("Right"), down: of("Down"), blank: of("Blank")[0] } };
  }

  #show({ grey, geometry }, wish) {
    this.grey = grey;
    this.geometry = geometry;
    this.preview = !!wish.preview;
    this.canvas.width = geometry.width;
    this.canvas.height = geometry.height;
    this.lines.setAttribute("viewBox", `-0.5 -0.5 ${geometry.width} ${geometry.height}`);
    this.shade();
    const names = this.options.sides?.();
    const opposite = (d) => d.map((x) => -x);
    const ways = this.options.bare ? [] : (this.options.panoramic ? ["R", "L", "H", "F"] : [opposite(geometry.right), geometry.right, opposite(geometry.down), geometry.down].map(letters));
    this.borders.forEach((b, i) => { b.textContent = names && names[i] ? `${ways[i]} ${names[i]}` : ways[i] || ""; });
    this.options.after?.();
    this.handles.place();
    if (!this.preview) this.element.dataset.ready = "yes";
  }

  #fail(error) {
    this.words.textContent = "No picture: " + error.message;
    this.element.dataset.ready = "yes";
  }

  /** Turns grey values into shades by the window in force; what lies outside the field is hatched. */
  shade() {
    if (!this.grey || !this.geometry) return;
    const { width, height, blank } = this.geometry, q = store.plan.scan.quantiles;
    const low = q[Math.round(store.low * 2)], high = Math.max(low + 1, q[Math.round(store.high * 2)]);
    const context = this.canvas.getContext("2d"), image = context.createImageData(width, height), out = new Uint32Array(image.data.buffer);
    const scale = 255 / (high - low);
    for (let i = 0; i < this.grey.length; i++) {
      const g = this.grey[i];
      let s = (g - low) * scale;
      s = s < 0 ? 0 : s > 255 ? 255 : s | 0;
      if (g === blank) s = (i % width + (i / width | 0)) % 8 < 2 ? 150 : 225;
      out[i] = 0xff000000 | s << 16 | s << 8 | s;
    }
    context.putImageData(image, 0, 0);
    this.frame.classList.toggle("voxels", this.frame.clientWidth > 4 * width);
    this.words.textContent = `${this.options.label}. Shades from percentile ${store.low} to ${store.high} of ${this.options.of || "the scan"}, relative grey ${signed(low)} to ${signed(high)}${this.preview ? "; preview, coarse" : ""}${this.query.voxels ? "; voxels as they are" : ""}.`;
  }

  /** The patient's place of a pixel. @param {number} x @param {number} y */
  toPatient(x, y) {
    const { corner, right, down } = this.geometry;
    return corner.map((c, i) => c + x * right[i] + y * down[i]);
  }

  /** The pixel of a patient's place. @param {number[]} p */
  toPixel(p) {
    const { corner, right, down } = this.geometry, d = minus(p, corner);
    return [dot(d, right) / dot(right, right), dot(d, down) / dot(down, down)];
  }

  /** The direction toward the viewer or away from them, 1 mm long. */
  get normal() {
    const { right: a, down: b } = this.geometry;
    const n = [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]], size = Math.hypot(...n);
    return n.map((x) => x / size);
  }

  /** How far a place lies in front of the picture's plane, mm. @param {number[]} p */
  off(p) { return dot(minus(p, this.geometry.corner), this.normal); }

  /** A place of the picture, brought as far in front of it as another one lies. @param {number[]} p @param {number[]} other */
  beside(p, other) { const n = this.normal, off = this.off(other) - this.off(p); return p.map((x, i) => x + off * n[i]); }

  get pixel() { return Math.hypot(...this.geometry.right); }

  /** Offers a click: what it makes is named; "" offers none. @param {string} name */
  offer(name) {
    if ((this.options.newPoint || "") === name) return;
    this.options.newPoint = name;
    this.frame.classList.toggle("still", !name);
  }

  clear() { this.lines.replaceChildren(); }

  /** Draws a line of patient's places, with a dark casing. @param {number[][]} points @param {string} [kind] "dashed", "dotted", "heavy" @param {boolean} [closed] */
  line(points, kind = "", closed = false) {
    if (!this.geometry || points.length < 2) return;
    const at = points.map((p) => this.toPixel(p).map((x) => x.toFixed(2)).join(" "));
    const d = "M" + at.join("L") + (closed ? "Z" : "");
    this.lines.append(v("path", { d, class: "casing " + kind.replace("dashed", "").replace("dotted", "") }), v("path", { d, class: "line " + kind }));
  }

  /** Draws a ring about a place. @param {number[]} p @param {number} radius mm @param {string} [kind] */
  ring(p, radius, kind = "") {
    const [cx, cy] = this.toPixel(p), r = Math.max(1, radius / this.pixel);
    this.lines.append(v("circle", { cx, cy, r, class: "casing" }), v("circle", { cx, cy, r, class: "line " + kind }));
  }

  /** Draws where a chain of places meets the picture's plane, and what of it lies in it. @param {number[][]} path @param {number} radius mm */
  crossing(path, radius) {
    path.forEach((p, i) => {
      const off = this.off(p), before = i > 0 ? this.off(path[i - 1]) : NaN;
      if (path.length === 1 && Math.abs(off) <= radius) this.ring(p, radius, "dashed");
      if (!(before * off <= 0) || before === off) return;
      const f = before / (before - off);
      this.ring(path[i - 1].map((x, k) => x + f * (p[k] - x)), radius, "dashed");
    });
  }
}
