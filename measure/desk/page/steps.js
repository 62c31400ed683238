// The steps, from which way round the patient lies to the review: each says in one line what was decided.
import { h, mm, renew } from "./dom.js";
import { json } from "./transport.js";
import { say } from "./status.js";
import { Pane } from "./pane.js";
import { confirming, proposing, store } from "./state.js";
import { axial, panoramic, usualHeight } from "./views.js";
import { pointTable } from "./points.js";
import { alignment } from "./alignment.js";
import { clear } from "./clear.js";
import { sites, implants } from "./sites.js";
import { review } from "./review.js";

/** @typedef {{id: string, title: string, sum: () => string, done: () => boolean, make: (next: () => void) => {element: HTMLElement, update: () => void}}} Step */

const free = () => !store.plan.read_only;

/** @type {Step} */
const wayRound = {
  id: "way", title: "Which way round",
  done: () => !!store.plan.jaw && !!store.plan.orientation_note && !store.plan.proposed.includes("jaw"),
  sum: () => store.plan.jaw ? `${store.plan.jaw}; ${store.plan.orientation_note || "sides not confirmed yet"}` : "not confirmed yet",
  make(next) {
    const { scan } = store.plan;
    const panes = [{ path: "axial", label: "Seen from the feet", query: {} }, { path: "across", label: "Seen from the front", query: {} }, { path: "across", label: "Seen from the patient's left", query: { from: "side" } }]
      .map(({ path, label, query }) => { const p = new Pane({ label, path, step: 0.5 }); p.want({ ...query, thick: 0 }); return p; });
    const jaw = ["mandible", "maxilla"].map((j) => h("button", { type: "button", onclick: () => store.act("jaw: " + j, [{ do: "set", path: "jaw", value: j }, ...confirming("jaw")]) }, j === "mandible" ? "Lower jaw (mandible)" : "Upper jaw (maxilla)"));
    const yes = h("button", { type: "button", class: "main", onclick: async () => {
      const day = new Date().toISOString().slice(0, 10);
      if (await store.act("sides confirmed", [{ do: "set", path: "orientation_note", value: `right, front and head confirmed on three slices, ${day}` }, ...confirming("jaw")])) next();
    } }, "Yes, R is the patient's right, A the front, H the head");
    const facts = h("p", { class: "lead" }), votes = h("p", { class: "note" }, "Looking which jaw it is …");
    json("propose").then((p) => { votes.textContent = p.jaw ? p.votes.length ? `The image suggests: ${p.jaw}. ${p.votes.join("; ")}. You decide.` : "The jaw is named; the image was not asked." : "The image suggests no jaw: " + p.none.join("; "); }, (error) => { votes.textContent = `What the image suggests is not known: ${error.message}.`; });
    return {
      element: h("div", {}, h("p", { class: "lead" }, "Three slices through the middle of the scan, with the sides as the file gives them. Hold them against the patient."),
        h("div", { class: "three" }, ...panes.map((p) => p.element)), facts,
        ...(scan.cautions || []).map((c) => h("p", { class: "caution", role: "note" }, c)),
        h("fieldset", {}, h("legend", {}, "The jaw that is planned"), h("div", { class: "row" }, ...jaw), votes),
        h("div", { class: "row" }, yes)),
      update() {
        facts.textContent = `The file says: ${scan.orientation}. Voxels ${scan.spacing_mm.map((s) => s.toFixed(2)).join(" × ")} mm, ${scan.size.join(" × ")} of them; ${scan.verdict} to measure.`;
        jaw.forEach((b, i) => { b.setAttribute("aria-pressed", String(store.plan.jaw === ["mandible", "maxilla"][i])); b.disabled = !free(); });
        yes.disabled = !free() || !store.plan.jaw;
      },
    };
  },
};

/** @type {Step} */
const occlusal = {
  id: "occlusal", title: "Occlusal plane",
  done: () => store.plan.occlusal_set && !store.plan.proposed.includes("occlusal"),
  sum: () => !store.plan.occlusal ? "not set yet" : `${store.plan.occlusal_from}: toward ${direction()}` + (store.plan.occlusal_set && !store.plan.proposed.includes("occlusal") ? "" : ", proposed, check it"),
  make(next) {
    /** @type {number[][]} */ let points = [];
    const take = async () => {
      /** @type {any[]} */ const edits = [{ do: "set", path: "occlusal_plane", value: points }];
      if (store.plan.occlusal_set && !store.plan.occlusal_plane?.length) edits.unshift({ do: "delete", path: "occlusal" });
      points = [];
      await store.act("occlusal plane by three points", [...edits, ...confirming("occlusal")]);
      view.draw();
      update();
    };
    const view = axial({ label: "Slab for three points of the occlusal plane", newPoint: "New point of the plane", thick: 1,
      click: (p) => { if (!free()) return; points = [...points, p]; if (points.length === 3) take(); else { view.draw(); update(); } },
      draw: (pane) => { for (const p of shownPoints()) if (Math.abs(pane.off(p)) < 2) pane.ring(p, 0.8); } });
    const shownPoints = () => points.length ? points : store.plan.occlusal_plane;
    const accept = h("button", { type: "button", class: "main", onclick: async () => {
      /** @type {any[]} */ const edits = [{ do: "set", path: "occlusal", value: store.plan.occlusal }];
      if (store.plan.occlusal_plane?.length) edits.unshift({ do: "delete", path: "occlusal_plane" });
      if (await store.act("occlusal direction accepted", [...edits, ...confirming("occlusal")])) next();
    } }, "Accept the direction");
    const says = h("p", { class: "lead" }), list = h("div"), other = h("div");
    json("propose").then((p) => {
      const now = store.plan.occlusal, apart = p.occlusal && now ? Math.acos(Math.min(1, p.occlusal.reduce((sum, x, i) => sum + x * now[i], 0))) * 180 / Math.PI : 0;
      if (apart < 1 || store.plan.occlusal_set) return;
      renew(other, h("p", { class: "caution", role: "note" }, `The image suggests another direction, ${apart.toFixed(0)}° from it: ${p.occlusal_why}.`),
        h("div", { class: "row" }, h("button", { type: "button", disabled: !free(), onclick: async () => { if (await store.act("occlusal direction of the image taken", [{ do: "set", path: "occlusal", value: p.occlusal }, ...confirming("occlusal")])) next(); } }, "Take the image's direction")));
    }, (error) => renew(other, h("p", { class: "caution", role: "note" }, `Whether the image suggests another direction is not known: ${error.message}.`)));
    const update = () => {
      says.textContent = store.plan.occlusal ? `In force: ${store.plan.occlusal_from}, toward ${direction()}. It is right where the patient bit on a horizontal plane. Else click three points of the plane, at the heights where they lie: ${points.length} of 3 are set.` : "Say which jaw it is first.";
      accept.disabled = !free() || !store.plan.occlusal;
      renew(list, pointTable("Points of the occlusal plane", shownPoints().map((p, i) => ({ name: "Point " + (i + 1), at: p })),
        { name: "New point", add: (p) => { points = [...points, p]; if (points.length === 3) take(); else { view.draw(); update(); } } }));
    };
    return { element: h("div", {}, says, h("div", { class: "row" }, accept), other, h("div", { class: "plate" }, view.element, list)), update };
  },
};

function direction() {
  const o = store.plan.occlusal, [, , z] = o;
  const lean = Math.acos(Math.min(1, Math.abs(z))) * 180 / Math.PI;
  return (z > 0 ? "the head" : "the feet") + (lean > 0.5 ? `, ${lean.toFixed(0)}° inclined` : "");
}

/** @type {Step} */
const arch = {
  id: "arch", title: "Arch",
  done: () => store.plan.curve.length > 0 && !store.plan.proposed.includes("arch"),
  sum: () => store.plan.curve.length ? `${store.plan.arch.length} points, ${mm(store.plan.length_mm)} mm${store.plan.proposed.includes("arch") ? ", proposed, check it" : ""}` : `${store.plan.arch.length} points, at least 4 are needed`,
  make(next) {
    const add = (p) => { if (free()) store.act("arch point added", [{ do: "insert", path: `arch.points[${placeFor(p)}]`, value: p }]); };
    const points = () => store.plan.arch.map((at, i, all) => ({ at, name: `Arch point ${i + 1} of ${all.length}`,
      moved: free() ? (p) => store.act(`arch point ${i + 1} moved`, [{ do: "set", path: `arch.points[${i}]`, value: p }]) : undefined,
      removed: free() ? () => store.act(`arch point ${i + 1} removed`, [{ do: "delete", path: `arch.points[${i}]` }]) : undefined }));
    const view = axial({ label: "Slab along the arch, seen from the feet", newPoint: "New arch point", click: add, thick: 5, draw: (pane) => { if (!store.plan.curve.length) pane.line(store.plan.arch, "dashed"); } });
    const pan = panoramic({ label: "Along the arch" });
    const propose = h("button", { type: "button", onclick: async () => {
      say("Looking for the arch …");
      try {
        const p = await json("propose");
        if (!p.arch.length) return say("No proposal: " + p.none.join("; "));
        const edits = [{ do: "set", path: "arch.points", value: p.arch }];
        if (p.midline) edits.push({ do: "set", path: "arch.midline", value: p.midline });
        if (await store.act("arch proposed, check it", [...edits, ...proposing("arch")])) view.to(usualHeight());
      } catch (error) { say("No proposal: " + error.message); }
    } }, "Propose a curve");
    const confirm = h("button", { type: "button", class: "main", onclick: async () => { if (await store.act("arch confirmed", confirming("arch"))) next(); } }, "The curve is right");
    const list = h("div"), go = h("button", { type: "button", class: "main", onclick: next }, "Go on");
    return {
      element: h("div", {}, h("p", { class: "lead" }, "Click 5 to 9 points along the middle of the ridge, from one end to the other, or have a curve proposed and correct it. The panoramic appears with the fourth point."), h("div", { class: "row" }, propose, confirm),
        h("div", { class: "plate" }, view.element, list), pan.element, h("div", { class: "row" }, go)),
      update() {
        view.pane.handles.set(points());
        view.draw();
        pan.update();
        renew(list, pointTable("Arch points", points(), free() ? { name: "New point", add } : undefined));
        if (store.plan.no_arch && store.plan.arch.length >= 4) list.append(h("p", { class: "caution", role: "note" }, store.plan.no_arch));
        propose.disabled = !free() || !store.plan.jaw || store.plan.arch.length > 0;
        confirm.hidden = !store.plan.proposed.includes("arch");
        confirm.disabled = !free();
        go.disabled = !store.plan.curve.length;
      },
    };
  },
};

/** Where in the arch a new point belongs: where the way through all points grows least by it. @param {number[]} p */
function placeFor(p) {
  const all = store.plan.arch, far = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
  if (all.length < 2) return all.length;
  let best = far(p, all[0]) < far(p, all[all.length - 1]) ? 0 : all.length, least = far(p, all[best ? best - 1 : 0]);
  for (let i = 1; i < all.length; i++) {
    const more = far(all[i - 1], p) + far(p, all[i]) - far(all[i - 1], all[i]);
    if (more < least) { least = more; best = i; }
  }
  return best;
}

/** @type {Step[]} */
export const steps = [wayRound, occlusal, arch, alignment, clear, sites, implants, review];
