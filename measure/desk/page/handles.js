// Points on a picture that can be moved: by dragging, by a click on the point and a click on its new place, and by keys.
// A picture is one stop of Tab; arrows choose a point, Enter picks it up, arrows move it by a pixel, with Shift by 0.1 mm,
// Page keys by 1 mm; Enter puts it down, Escape puts it back, Delete removes it. The first point is a new one.
import { h, mm, place } from "./dom.js";
import { say } from "./status.js";

/** @typedef {{at: number[], name: string, moved?: (p: number[]) => void, moving?: (p: number[]) => void, removed?: () => void, square?: boolean}} Point */

const fine = 0.1, coarse = 1; // mm

export class Handles {
  /** @param {import("./pane.js").Pane} pane */
  constructor(pane) {
    this.pane = pane;
    /** @type {Point[]} */ this.points = [];
    this.at = 0; // whose turn it is at Tab
    /** @type {{index: number, from: number[], now: number[]}|null} */ this.picked = null;
    /** @type {number[]|null} */ this.cursor = null;
    this.buttons = [];
    /** @type {any} */ this.press = null;
    /** @type {any} */ this.glass = null; // the loupe
    const frame = pane.frame;
    frame.addEventListener("pointerdown", (e) => this.#down(e));
    frame.addEventListener("pointermove", (e) => this.#move(e));
    frame.addEventListener("pointerup", (e) => this.#up(e));
    frame.addEventListener("pointercancel", () => this.#back());
  }

  /** @param {Point[]} points */
  set(points) {
    const focused = this.buttons.indexOf(/** @type {any} */ (document.activeElement));
    this.points = points;
    if (this.picked && this.picked.index > points.length) this.picked = null;
    for (const b of Object.values(this.buttons)) b.remove(); // without a new point there is no first one
    this.buttons = [];
    const make = (index, name, kind) => {
      const b = h("button", { type: "button", class: "handle " + kind, "aria-label": name, tabindex: -1, onkeydown: (e) => this.#key(e, index) });
      b.dataset.index = String(index);
      this.pane.frame.append(b);
      this.buttons[index] = b;
    };
    if (this.pane.options.newPoint) make(0, "", "new");
    points.forEach((p, i) => make(i + 1, "", p.square ? "end" : ""));
    const heir = focused < 0 ? undefined : this.buttons[Math.min(focused, this.buttons.length - 1)] || this.buttons[this.buttons.length - 1];
    if (heir) this.at = Number(heir.dataset.index); // what has the focus is the stop of Tab
    this.place();
    heir?.focus({ preventScroll: true });
  }

  /** Puts every handle where its point is on the picture, and names it. */
  place() {
    const g = this.pane.geometry;
    if (!g) return;
    if (!this.cursor) this.cursor = this.pane.toPatient((g.width - 1) / 2, (g.height - 1) / 2);
    const known = Object.keys(this.buttons).map(Number);
    if (!known.includes(this.at)) this.at = known[0] ?? 0;
    for (const i of known) {
      const picked = this.picked?.index === i, at = picked ? this.picked.now : this.#of(i);
      const [x, y] = this.pane.toPixel(at), b = this.buttons[i];
      b.style.left = `${(x + 0.5) / g.width * 100}%`;
      b.style.top = `${(y + 0.5) / g.height * 100}%`;
      b.classList.toggle("picked", picked);
      b.hidden = x < -1 || y < -1 || x > g.width || y > g.height;
      b.tabIndex = i === this.at ? 0 : -1;
      b.setAttribute("aria-label", (i ? `${this.points[i - 1].name}, ` : this.pane.options.newPoint + ", ") + this.#words(at) + (picked ? ", picked up" : ""));
    }
  }

  #words(p) { return this.pane.options.words ? this.pane.options.words(p) : this.pane.options.panoramic ? `${mm(p[0])} mm along the arch` : place(p); }
  #of(i) { return i ? this.points[i - 1].at : this.#flat(); }

  /** The new point, on the picture as it is now. */
  #flat() {
    const [x, y] = this.pane.toPixel(this.cursor);
    return this.pane.toPatient(x, y);
  }

  #pixel(e) {
    const box = this.pane.canvas.getBoundingClientRect(), g = this.pane.geometry;
    return this.pane.toPatient((e.clientX - box.left) / box.width * g.width - 0.5, (e.clientY - box.top) / box.height * g.height - 0.5);
  }

  #down(e) {
    if (!this.pane.geometry || e.button) return;
    const index = Number(e.target.dataset?.index ?? -1);
    this.press = { index, x: e.clientX, y: e.clientY, moved: false };
    if (this.pane.options.click || index > 0) e.preventDefault();
    if (index > 0) this.pane.frame.setPointerCapture(e.pointerId);
  }

  #move(e) {
    const press = this.press;
    if (!press || press.index < 1 || !this.points[press.index - 1].moved) return;
    if (!press.moved && Math.hypot(e.clientX - press.x, e.clientY - press.y) < 4) return;
    if (!press.moved) { press.moved = true; this.#pick(press.index, false); }
    this.#to(this.#pixel(e));
    if (e.pointerType === "touch") this.#loupe(e);
  }

  #up(e) {
    const press = this.press;
    this.press = null;
    this.glass?.remove();
    if (!press) return;
    if (press.moved) this.#put();
    else if (this.picked && press.index !== this.picked.index) { this.#to(this.#pixel(e)); this.#put(); }
    else if (this.picked) this.#put();
    else if (press.index > 0) { this.#pick(press.index, true); this.buttons[press.index].focus({ preventScroll: true }); }
    else if (this.pane.options.click) { this.cursor = this.#pixel(e); this.pane.options.click(this.cursor); }
  }

  /** What the finger hides, beside it. */
  #loupe(e) {
    const box = this.pane.frame.getBoundingClientRect(), size = 96, half = 12;
    this.glass ??= h("canvas", { class: "loupe", width: size, height: size, "aria-hidden": "true" });
    const [x, y] = this.pane.toPixel(this.#pixel(e));
    this.glass.getContext("2d").drawImage(this.pane.canvas, x - half, y - half, 2 * half, 2 * half, 0, 0, size, size);
    const left = e.clientX - box.left, top = e.clientY - box.top;
    this.glass.style.left = `${left > box.width / 2 ? left - size - 40 : left + 40}px`;
    this.glass.style.top = `${Math.max(0, top - size)}px`;
    this.pane.frame.append(this.glass);
  }

  #pick(index, loud) {
    const from = this.#of(index);
    this.picked = { index, from, now: from };
    this.at = index;
    this.place();
    if (loud) say(`${index ? this.points[index - 1].name : this.pane.options.newPoint} picked up: click its new place, or move it with the arrows and press Enter.`);
  }

  #to(p) {
    this.picked.now = p;
    if (this.picked.index) this.points[this.picked.index - 1].moving?.(p);
    this.place();
  }

  #put() {
    const { index, now } = this.picked;
    this.picked = null;
    if (index) this.points[index - 1].moved?.(now);
    else { this.cursor = now; this.pane.options.click?.(now); }
    this.buttons[index]?.focus({ preventScroll: true });
    this.place();
  }

  #back() {
    this.press = null;
    this.glass?.remove();
    if (!this.picked) return;
    const { index, from } = this.picked;
    this.picked = null;
    if (index) this.points[index - 1].moving?.(from);
    this.place();
    say("Put back.");
  }

  #key(e, index) {
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1], PageUp: [0, -coarse], PageDown: [0, coarse] };
    const way = arrows[e.key];
    if (e.key === "Enter" || e.key === " ") this.picked ? this.#put() : !index || this.points[index - 1].moved ? this.#pick(index, true) : undefined;
    else if (e.key === "Escape" && this.picked) this.#back();
    else if (e.key === "Delete" && index && !this.picked && this.points[index - 1].removed) this.points[index - 1].removed();
    else if (way && this.picked) this.#step(way, e);
    else if (way) this.#choose(index, way[0] + way[1] > 0 ? 1 : -1);
    else return;
    e.preventDefault();
  }

  #step(way, e) {
    const page = e.key.startsWith("Page"), [x, y] = this.pane.toPixel(this.picked.now);
    const scale = page ? 1 / this.pane.pixel : e.shiftKey ? fine / this.pane.pixel : 1;
    this.#to(this.pane.toPatient(x + way[0] * scale, y + way[1] * scale));
  }

  #choose(index, by) {
    const known = Object.keys(this.buttons).map(Number).filter((i) => !this.buttons[i].hidden);
    const next = known[(known.indexOf(index) + by + known.length) % known.length];
    this.at = next;
    this.place();
    this.buttons[next].focus({ preventScroll: true });
  }
}
