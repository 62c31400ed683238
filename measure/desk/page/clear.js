// What implants must keep clear of: marked by hand, traced between marks, or declared absent or not visible.
import { h, mm, renew, table, words } from "./dom.js";
import { json } from "./transport.js";
import { say } from "./status.js";
import { store } from "./state.js";
import { axial, section } from "./views.js";
import { pointTable } from "./points.js";
import { callipers } from "./callipers.js";

/** The kinds that can be marked: how many clicks, and the usual radius, mm. */
const kinds = {
  canal: { clicks: 2, radius: 1.5, traced: true }, mental_foramen: { clicks: 1, radius: 1.5 }, anterior_loop: { clicks: 2, radius: 1.5 },
  incisive_canal: { clicks: 2, radius: 1.5 }, root: { clicks: 2, radius: 2.5 }, sinus: { clicks: 1, radius: 6 }, nasal_floor: { clicks: 1, radius: 6 },
  implant: { clicks: 2, radius: 2 }, other: { clicks: 2, radius: 2 },
};

const free = () => !store.plan.read_only;

/** @type {import("./steps.js").Step} */
export const clear = {
  id: "clear", title: "Keep clear of",
  done: () => store.plan.asked.length > 0 && store.plan.asked.every((a) => a.answer) && !store.plan.structures.some((s) => s.proposed),
  sum() {
    const open = store.plan.asked.filter((a) => !a.answer).length, n = store.plan.structures.length, proposed = store.plan.structures.filter((s) => s.proposed).length;
    return `${n} marked${proposed ? `, ${proposed} of them to be confirmed` : ""}` + (open ? `, ${open} not marked` : "");
  },
  make(next) {
    let kind = store.plan.jaw === "maxilla" ? "sinus" : "canal", side = "";
    /** @type {number[][]} */ let marks = [];
    /** @type {any} */ let traced = null;
    const click = (p) => { if (!free()) return; marks = [...marks, p]; traced = null; say(`Mark ${marks.length} set.`); draw(); };
    const marksOn = (pane) => {
      marks.forEach((p) => { if (Math.abs(pane.off(p)) < 3) pane.ring(p, 0.7, "heavy"); });
      if (!traced) return;
      traced.path.forEach((p, i) => { if (i) pane.line([traced.path[i - 1], p], traced.confidence[i] < 0.6 ? "dotted" : "heavy"); });
    };
    const feet = axial({ label: "Slab seen from the feet", newPoint: "New mark", click, thick: 3, draw: marksOn });
    const tool = callipers({ site: () => "", arc: () => cross.arc, view: () => cross, change: () => draw() });
    const cross = store.plan.curve.length ? section({ label: "Section across the arch", newPoint: "New mark", click: (p) => tool.held ? tool.click(p) : click(p), move: true, arc: store.plan.length_mm * 0.12,
      draw: (pane) => { marksOn(pane); tool.draw(pane); if (traced) pane.crossing(traced.path, Math.max(...traced.radii_mm)); } }) : null;
    const asked = h("div"), list = h("div"), known = h("div");
    const which = h("select", { onchange: (e) => choose(e.target.value, "") }, ...Object.keys(kinds).map((k) => h("option", { value: k, selected: k === kind }, words(k))));
    const radius = h("input", { type: "number", min: 0.1, max: 20, step: 0.1, value: kinds[kind].radius });
    const buttons = h("div", { class: "row" });
    const proposal = h("div");
    const choose = (k, s) => { kind = k; side = s; marks = []; traced = null; which.value = k; radius.value = kinds[k].radius; draw(); say(`Mark ${s} ${words(k)}: ${kinds[k].clicks === 1 ? "one click" : "click its two ends, and between them where it bends"}.`); };
    const name = () => {
      const base = (side ? side + " " : "") + words(kind), taken = store.plan.structures.map((s) => s.name);
      for (let i = 1; ; i++) { const n = i === 1 ? base : `${base} ${i}`; if (!taken.includes(n)) return n; }
    };
    const add = async (value, said) => {
      const at = store.plan.structures.length;
      if (await store.act(said, [{ do: "insert", path: `structures[${at}]`, value }])) { marks = []; traced = null; draw(); }
    };
    const floors = h("button", { type: "button", onclick: async () => {
      say("Looking for the floors of the sinuses and of the nose …");
      try {
        const p = await json("propose"), taken = store.plan.structures.map((s) => s.name), fresh = p.cavities.filter((c) => !taken.includes(c.name));
        if (!fresh.length) return say("No proposal" + (p.none.length ? ": " + p.none.join("; ") : "") + ".");
        await store.act("floors proposed, check each", fresh.map((c, i) => ({ do: "insert", path: `structures[${taken.length + i}]`, value: { name: c.name, kind: c.kind, proposed: true, path: c.path, radius_mm: c.radius_mm, sd_mm: c.sd_mm } })));
      } catch (error) { say("No proposal: " + error.message); }
    } }, "Propose the floors of sinus and nose");
    const trace = async () => {
      try { traced = await json("trace", { marks }); say(`Traced ${mm(traced.length_mm)} mm, confidence ${traced.mean.toFixed(2)}. Check it on the pictures.`); } catch (error) { traced = null; say("No path proposed: " + error.message); }
      draw();
    };
    function draw() {
      feet.draw();
      cross?.draw();
      const { clicks } = kinds[kind];
      const value = () => ({ name: name(), kind, path: marks, radius_mm: Number(radius.value), sd_mm: 0.5 });
      renew(buttons, 
        kinds[kind].traced && h("button", { type: "button", class: "main", disabled: !free() || marks.length < 2, onclick: trace }, "Trace between the marks") || "",
        h("button", { type: "button", disabled: !free() || marks.length < clicks, onclick: () => add(value(), `${name()} marked`) }, kinds[kind].traced ? "Take the marks as they are" : "Take the marks"),
        h("button", { type: "button", disabled: !marks.length, onclick: () => { marks = []; traced = null; draw(); } }, "Put the marks away"));
      renew(proposal, ...(traced ? [h("p", { class: "caution", role: "note" }, `Proposed, to be confirmed: ${mm(traced.length_mm)} mm of canal, confidence ${traced.mean.toFixed(2)}. ${traced.low}Your marks are the rings, the path is the line; dotted where it is not sure.`),
        h("button", { type: "button", class: "main", onclick: () => add({ name: name(), kind, path: traced.path, radii_mm: traced.radii_mm, sd_mm: traced.sd_mm, traced: { confirmed: false, confidence: Number(traced.mean.toFixed(2)) } }, `${name()} traced`) }, "Take the path")] : []));
      renew(list, pointTable(`Marks for ${side} ${words(kind)}`, marks.map((at, i) => ({ at, name: "Mark " + (i + 1), moved: (p) => { marks[i] = p; traced = null; draw(); }, removed: () => { marks.splice(i, 1); traced = null; draw(); } })), { name: "New mark", add: click }));
      const handles = marks.map((at, i) => ({ at, name: `Mark ${i + 1} of ${marks.length}`, moved: (p) => { marks[i] = p; traced = null; draw(); }, removed: () => { marks.splice(i, 1); traced = null; draw(); } }));
      feet.pane.handles.set(handles);
      cross?.pane.offer(tool.held ? "New end of the callipers" : "New mark");
      cross?.pane.handles.set([...handles.filter((m) => Math.abs(cross.pane.geometry ? cross.pane.off(m.at) : 9) < 3), ...tool.points()]);
      tool.update();
    }
    return {
      element: h("div", {}, h("p", { class: "lead" }, "Everything this jaw has is marked here, or declared absent or not visible. Nothing is taken as marked that nobody marked: its margins read not assessed."),
        asked, h("div", { class: "row" }, floors), h("div", { class: "row" }, h("label", {}, "Mark a ", which), h("label", {}, "radius ", radius, " mm")),
        h("div", { class: "plate" }, feet.element, cross ? h("div", {}, cross.element, tool.element) : h("p", {}, "The section appears when the arch is there.")),
        buttons, proposal, list, h("h3", {}, "Marked"), known, h("div", { class: "row" }, h("button", { type: "button", class: "main", onclick: next }, "Go on"))),
      update() {
        const say = (a, as, text) => h("button", { type: "button", disabled: !free(), onclick: () => store.act(`${a.side} ${words(a.kind)} declared ${text}`, [{ do: "insert", path: `declared[${store.plan.declared}]`, value: { kind: a.kind, side: a.side, as } }]) }, text[0].toUpperCase() + text.slice(1));
        renew(asked, table("What this jaw has on each side", ["Structure", "Answer", ""], store.plan.asked.map((a) => [`${a.side} ${words(a.kind)}`, a.answer || h("strong", {}, "not marked"),
          a.answer ? "" : h("span", { class: "row" }, h("button", { type: "button", disabled: !free(), onclick: () => choose(a.kind, a.side) }, "Mark"), say(a, "absent", "absent"), say(a, "not_visible", "not visible"))])));
        renew(known, store.plan.structures.length ? table("Structures of the plan", ["Name", "Kind", "State", ""], store.plan.structures.map((s, i) => [s.name, words(s.kind), s.proposed ? h("strong", {}, "proposed, to be confirmed") : "marked",
          h("span", { class: "row" }, s.proposed && h("button", { type: "button", "aria-label": "Confirm " + s.name, disabled: !free(), onclick: () => store.act(`${s.name} confirmed`, [s.traced ? { do: "set", path: `structures[${i}].traced.confirmed`, value: true } : { do: "delete", path: `structures[${i}].proposed` }]) }, "Confirm"),
            h("button", { type: "button", "aria-label": "Remove " + s.name, disabled: !free(), onclick: () => store.act(`${s.name} removed`, [{ do: "delete", path: `structures[${i}]` }]) }, "Remove"))])) : h("p", { class: "note" }, "Nothing yet."));
        floors.hidden = store.plan.jaw !== "maxilla";
        floors.disabled = !free();
        draw();
      },
    };
  },
};
