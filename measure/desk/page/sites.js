// The sites, and a virtual implant at each: section, numbers and lines as they were measured.
import { h, place, renew, table, verdict, words } from "./dom.js";
import { json, Newest } from "./transport.js";
import { say } from "./status.js";
import { store, onCurve } from "./state.js";
import { lengthwise, panoramic, section } from "./views.js";
import { pointTable } from "./points.js";
import { callipers, renamed, without } from "./callipers.js";

const free = () => !store.plan.read_only;
const all = () => store.plan.sites;
let chosen = 0;
const site = () => all()[chosen = Math.max(0, Math.min(chosen, all().length - 1))];
const measured = (id) => store.numbers?.sites?.find((s) => s.id === id);

/** What was measured at a site, in the cells of measurements.csv. @param {any} n @param {string[]} columns */
export function numberTable(n, columns) {
  const at = Object.fromEntries(columns.map((c, i) => [c, i]));
  return table("What was measured at " + n.name, ["Quantity", "verdict", "value", "U (k = 2)", "unit"], n.rows.map((r) => {
    const cell = (c) => r[at[c]], quantity = [words(cell("quantity")), words(cell("to")), cell("at_mm") && cell("at_mm") + " mm"].filter(Boolean).join(", ");
    return [quantity, cell("verdict") ? verdict(cell("verdict")) : "", ...["value", "U", "unit"].map((c) => h("span", { class: "number", "data-cell": c }, cell(c)))]; // the verdict first: a narrow page cuts off the rest
  }), n.rows.map((r) => r[at.note]));
}

/** Draws what was measured in a section. @param {import("./pane.js").Pane} pane @param {any} n @param {any} [moving] an implant on its way */
function lines(pane, n, moving) {
  if (n) {
    pane.line(n.outline || [], "", true);
    if (n.axis?.length) pane.line(n.axis, "dashed");
    for (const c of n.chords || []) pane.line(c);
  }
  const im = moving || n?.implant;
  if (im) body(pane, im);
}

/** Draws a virtual implant's long section. */
function body(pane, im) {
  const [ax, ay] = pane.toPixel(im.platform), [bx, by] = pane.toPixel(im.apex), l = Math.hypot(bx - ax, by - ay) || 1;
  const side = (x, y, half) => [pane.toPatient(x - (by - ay) / l * half, y + (bx - ax) / l * half), pane.toPatient(x + (by - ay) / l * half, y - (bx - ax) / l * half)];
  const [a, b] = side(ax, ay, im.diameter_mm / 2 / pane.pixel), [c, d] = side(bx, by, im.apex_diameter_mm / 2 / pane.pixel);
  pane.line([a, b, d, c], "heavy", true);
}

/** The section of the chosen site with its numbers. */
function workplace(options) {
  const holder = h("div"), list = h("div", { class: "row", role: "group", "aria-label": "Sites" });
  let view = null, key = "";
  const tool = callipers({ site: () => site()?.id || "", arc: () => site().arc_mm, view: () => view, change: () => options.chosen() });
  const build = () => {
    const s = site(), now = s ? s.id + "/" + s.arc_mm : "";
    if (now !== key) {
      key = now;
      view = s && s.arc_mm !== null ? section({ label: `Section at site ${s.name}`, arc: s.arc_mm, click: tool.click, draw: (pane) => { lines(pane, measured(s.id), options.moving?.()); tool.draw(pane); } }) : null;
      holder.replaceChildren(view ? view.element : h("p", { class: "note" }, "No site yet."), view ? tool.element : "");
    }
    view?.pane.offer(tool.held && !store.plan.read_only ? "New end of the callipers" : "");
  };
  const chooseFrom = () => list.replaceChildren(...all().map((s, i) => h("button", { type: "button", "aria-pressed": String(i === chosen), onclick: (e) => { chosen = i; options.chosen(); e.target.parentElement?.children[i]?.focus(); } }, s.id)));
  return {
    list, holder, tool, get view() { return view; },
    update() {
      build();
      const focused = [...list.children].indexOf(/** @type {any} */ (document.activeElement));
      chooseFrom();
      /** @type {HTMLElement} */ (list.children[focused])?.focus();
      tool.update();
      if (!options.moving?.()) view?.pane.handles.set([...(options.handles?.() || []), ...tool.points()]);
      view?.draw();
    },
    numbers() {
      const s = site(), n = s && measured(s.id);
      if (!s) return h("p");
      if (!n) return h("p", { class: store.measuring ? "stale" : "" }, store.measuring ? "measuring …" : store.failed ? "Not measured: " + store.failed : store.numbers?.why || "");
      return h("div", { class: store.current ? "" : "stale", "data-numbers": store.current ? "now" : "old" }, h("p", {}, n.verdict && verdict(n.verdict), store.current ? "" : " " + store.age),
        n.error ? h("p", { class: "caution", role: "note" }, "Not measured: " + n.error) : "", numberTable(n, store.numbers.columns));
    },
  };
}

/** @type {import("./steps.js").Step} */
export const sites = {
  id: "sites", title: "Sites",
  done: () => all().length > 0 && !all().some((s) => s.proposed) && store.current && !!store.numbers.sites?.length,
  sum: () => all().length ? all().map((s) => s.id + (s.proposed ? " (proposed)" : "")).join(", ") : "no site yet",
  make(next) {
    const numbers = h("div"), edit = h("div"), places = h("div"), proposed = h("div");
    const add = async (arc) => {
      if (!free() || !store.plan.curve.length) return;
      const guess = await json("tooth?arc=" + arc);
      const tooth = guess.tooth || "";
      if (!tooth) return say("Which tooth? The arch shows no midline: give the number in the field and add the site there.");
      await insert(tooth, onCurve(arc));
    };
    const insert = async (tooth, at, more = {}) => {
      let id = tooth;
      for (let i = 2; all().some((s) => s.id === id); i++) id = `${tooth}-${i}`;
      if (await store.act(`site ${id} ${more.proposed ? "taken up, to be confirmed" : "added"}`, [{ do: "insert", path: `sites[${all().length}]`, value: { tooth, id, at, ...more } }])) { chosen = all().length - 1; update(); }
    };
    const suggest = async () => {
      say("Looking for places …");
      try {
        const p = await json("propose");
        if (!p.sites.length) return say("No proposal: " + p.none.join("; "));
        const row = (s, i) => {
          const tooth = h("input", { type: "text", size: 3, maxlength: 2, inputmode: "numeric", value: s.tooth, "aria-label": `Tooth at proposed place ${i + 1}` });
          const take = h("button", { type: "button", onclick: () => { if (!tooth.value) return say("Which tooth? Give its number first."); take.disabled = true; insert(tooth.value, s.at, { proposed: true }); } }, `Take up place ${i + 1}`);
          return [`Place ${i + 1}`, tooth, place(s.at), take];
        };
        renew(proposed, table("Proposed places: where no tooth seems to stand", ["Place", "Tooth", "Where", ""], p.sites.map(row)));
        proposed.firstElementChild.classList.toggle("tall", p.sites.length > 6);
        say(`${p.sites.length} places proposed. Each that is taken up is confirmed on its section.`);
      } catch (error) { say("No proposal: " + error.message); }
    };
    const points = () => all().filter((s) => s.arc_mm !== null).map((s) => ({ at: [s.arc_mm, 0, 0], name: "Site " + s.name,
      moved: free() ? (p) => store.act(`site ${s.id} moved`, [{ do: "set", path: `sites[${all().indexOf(s)}].at`, value: onCurve(Math.max(0, Math.min(store.plan.length_mm, p[0]))) }]) : undefined,
      removed: free() ? () => remove(all().indexOf(s)) : undefined }));
    const remove = (i) => store.act(`site ${all()[i].id} removed`, [...without(all()[i].id), { do: "delete", path: `sites[${i}]` }]);
    const pan = panoramic({ label: "Along the arch", newPoint: "New site", click: add, points });
    const work = workplace({ chosen: () => update() });
    const arc = h("input", { type: "number", min: 0, step: 0.5, value: "" }), tooth = h("input", { type: "text", size: 3, maxlength: 2, inputmode: "numeric" });
    const byHand = h("div", { class: "row" }, h("label", {}, "At ", arc, " mm of the arch"), h("label", {}, "tooth (ISO 3950), empty: the usual one ", tooth), h("button", { type: "button", onclick: () => { if (arc.value !== "") tooth.value ? insert(tooth.value, onCurve(Number(arc.value))) : add(Number(arc.value)); } }, "Add a site"));
    const count = h("input", { type: "number", min: 1, max: 12, step: 1, value: 2 });
    const spread = h("div", { class: "row" }, h("label", {}, "Between the first two sites ", count, " more"), h("button", { type: "button", onclick: async () => {
      const [a, b] = all();
      const n = Number(count.value);
      for (let i = 1; a && b && i <= n; i++) await add(a.arc_mm + (b.arc_mm - a.arc_mm) * i / (n + 1));
    } }, "Spread"));
    function update() {
      work.update();
      pan.update();
      renew(numbers, work.numbers());
      const s = site();
      renew(edit, ...(s ? [s.proposed ? h("div", { class: "row" }, h("strong", {}, "proposed, to be confirmed"), h("button", { type: "button", class: "main", disabled: !free(), onclick: () => store.act(`site ${s.id} confirmed`, [{ do: "delete", path: `sites[${chosen}].proposed` }]) }, `Site ${s.id} is right`)) : "", h("div", { class: "row" },
        h("label", {}, "Tooth ", h("input", { type: "text", size: 3, maxlength: 2, value: s.tooth, disabled: !free(), onchange: (e) => store.act(`site ${s.id}: tooth ${e.target.value}`, [{ do: "set", path: `sites[${chosen}].tooth`, value: e.target.value }, { do: "set", path: `sites[${chosen}].id`, value: e.target.value }, ...renamed(s.id, e.target.value)]) })),
        h("label", {}, "Height down to ", h("select", { disabled: !free(), onchange: (e) => store.act(`site ${s.id}: height to ${e.target.value}`, [{ do: "set", path: `sites[${chosen}].height_to`, value: e.target.value }]) },
          ...["auto", "canal", "sinus", "nasal_floor", "border"].map((l) => h("option", { value: l, selected: l === s.height_to }, words(l))))),
        h("button", { type: "button", disabled: !free(), onclick: () => remove(chosen) }, "Remove site " + s.id)), h("p", { class: "note" }, s.name)] : []));
      renew(places, pointTable("Sites on the arch", all().filter((x) => x.at).map((x) => ({ name: x.id, at: x.at }))));
    }
    return {
      element: h("div", {}, h("p", { class: "lead" }, "Click the panoramic where a tooth is to be replaced; its number follows from the place and can be changed. Move a site by its point. Each is measured as soon as the hand rests."),
        pan.element, byHand, spread, h("div", { class: "row" }, h("button", { type: "button", disabled: !free(), onclick: suggest }, "Propose places")), proposed, h("h3", {}, "The section"), work.list, h("div", { class: "plate" }, work.holder, h("div", {}, edit, places)), numbers, h("div", { class: "row" }, h("button", { type: "button", class: "main", onclick: next }, "Go on"))),
      update,
    };
  },
};

/** @type {import("./steps.js").Step} */
export const implants = {
  id: "implants", title: "Implants",
  done: () => all().some((s) => s.implant) && store.current,
  sum() {
    const n = all().filter((s) => s.implant).length;
    return n ? all().filter((s) => s.implant).map((s) => `${s.id}: ${s.implant.diameter_mm} × ${s.implant.length_mm} mm`).join(", ") : "none yet";
  },
  make(next) {
    /** @type {any} */ let moving = null;
    let rows = null;
    const numbers = h("div"), edit = h("div"), live = h("div");
    const ask = new Newest((wish) => json("distances", wish), (a) => { if (moving) { moving = a.implant; rows = a.rows; work.view?.draw(); beside?.draw(); shown(); } }, () => {});
    const work = workplace({ chosen: () => update(), moving: () => moving, handles: () => handlesIn(work.view?.pane) });
    /** @type {any} */ let beside = null;
    let key = "";
    const second = h("div");
    const shown = () => renew(live, ...(rows ? [table("Distances while it moves; verdicts follow when the hand rests", ["To", "value", "U (k = 2)"], rows.map((r) => ["to", "value", "U"].map((c) => r[store.numbers.columns.indexOf(c)])))] : []));
    const put = (path, value, said) => store.act(said, [{ do: "set", path: `sites[${chosen}].implant${path}`, value }]);
    const toward = (a, b) => { const d = b.map((x, i) => x - a[i]), l = Math.hypot(...d) || 1; return d.map((x) => x / l); };
    const wish = (im, platform, axis) => ask.want({ site: chosen, platform, axis, diameter_mm: im.diameter_mm, length_mm: im.length_mm });
    const now = () => { const s = site(); return s && measured(s.id)?.implant; };
    const pose = (platform, axis) => ({ platform, axis, diameter_mm: site().implant.diameter_mm, length_mm: site().implant.length_mm });
    const setPlatform = (p) => settle(pose(p, now().axis), `implant ${site().id} moved`);
    const setApex = (p) => settle(pose(now().platform, toward(now().platform, p)), `implant ${site().id} turned`);
    /** The handles of the implant on a picture: each moves in the picture's plane, and keeps its place across it. */
    const handlesIn = (pane) => {
      const s = site(), im = now();
      if (!im || !free() || !pane?.geometry) return [];
      const platform = (p) => pane.beside(p, im.platform), apex = (p) => pane.beside(p, im.apex);
      return [
        { name: "Platform of the implant", at: im.platform, moving: (p) => { moving ??= im; wish(s.implant, platform(p), im.axis); }, moved: (p) => setPlatform(platform(p)) },
        { name: "Apex of the implant", at: im.apex, square: true, moving: (p) => { moving ??= im; wish(s.implant, im.platform, toward(im.platform, apex(p))); }, moved: (p) => setApex(apex(p)) },
      ];
    };
    /** The second picture: along the arch, where the implant leans to the front or the back; the neighbours' implants with it. */
    const lean = () => {
      const s = site(), im = now(), fresh = s && im ? s.id + "/" + s.arc_mm : "";
      if (fresh !== key) {
        key = fresh;
        beside = fresh && lengthwise({ label: `Along the arch, through the implant at ${s.name}`, arc: s.arc_mm, draw: (pane) => {
          if (!moving) pane.handles.set(handlesIn(pane).slice(1).map((e) => ({ ...e, name: e.name + ", along the arch" })));
          for (const n of store.numbers?.sites || []) if (n.implant && (n.id === s.id || Math.abs(pane.off(n.implant.platform)) < n.implant.diameter_mm / 2)) body(pane, n.id === s.id && moving || n.implant);
        } });
        renew(second, beside ? beside.element : "");
      }
      if (beside && !moving) beside.to(im);
    };
    const settle = async (implant, said) => { await put("", implant, said); moving = null; rows = null; shown(); update(); };
    /** Sizes that the person names, each in the pose with the most reserve; one of them is taken, or none. */
    const diameters = h("input", { type: "text", size: 12, value: "3.5, 4, 4.5, 5" }), lengths = h("input", { type: "text", size: 12, value: "8, 10, 12" });
    const numbersOf = (field) => [...new Set(field.value.split(/[\s,;]+/).filter(Boolean).map(Number))].sort((a, b) => a - b);
    const trySizes = async () => {
      const d = numbersOf(diameters), l = numbersOf(lengths);
      if (![...d, ...l].every((x) => x > 0 && x < 30) || !d.length || !l.length) return say("Sizes are numbers in mm, with a comma between them: 3.5, 4");
      await store.act(`sizes to try at ${site().id}`, [{ do: "set", path: `sites[${chosen}].sizes`, value: { diameters_mm: d, lengths_mm: l } }]);
    };
    const tried = h("div"), box = h("details", {}, h("summary", {}, "Sizes to try"), h("p", { class: "note" }, "Each size in the pose with the most reserve, about the site's platform and axis. None is a choice; the numbers come slower while they are tried."),
      h("div", { class: "row" }, h("label", {}, "diameters, mm ", diameters), h("label", {}, "lengths, mm ", lengths), h("button", { type: "button", onclick: trySizes }, "Try these sizes")), tried);
    const sizes = () => {
      const s = site(), all = s && measured(s.id)?.sizes || [];
      const take = (t) => settle({ platform: t.platform, axis: t.axis, diameter_mm: t.diameter_mm, length_mm: t.length_mm }, `implant ${s.id}: ${t.diameter_mm} × ${t.length_mm} mm taken`);
      box.hidden = !s || !free();
      renew(tried, ...(!s?.sizes ? [] : [all.length ? h("div", { class: store.current ? "" : "stale" }, table("Sizes tried" + (store.current ? "" : "; " + store.age), ["Size, mm", "verdict", "limited by", ""], all.map((t) => [`${t.diameter_mm} × ${t.length_mm}`, verdict(t.verdict), words(t.limit),
        h("button", { type: "button", "aria-label": `Take ${t.diameter_mm} × ${t.length_mm} mm`, onclick: () => take(t) }, "Take")]))) : h("p", { class: "stale" }, "trying …"),
        h("div", { class: "row" }, h("button", { type: "button", onclick: () => store.act(`sizes of ${s.id} put away`, [{ do: "delete", path: `sites[${chosen}].sizes` }]) }, "Put the sizes away"))]));
    };
    function update() {
      work.update();
      lean();
      renew(numbers, work.numbers());
      const s = site(), im = s?.implant;
      const number = (name, key, usual) => h("label", {}, name, h("input", { type: "number", min: 1, max: 25, step: 0.1, value: im ? im[key] : usual, disabled: !free() || !im, onchange: (e) => put("." + key, Number(e.target.value), `implant ${s.id}: ${name.trim()} ${e.target.value} mm`) }), " mm");
      renew(edit, ...(!s ? [] : im ? [h("div", { class: "row" }, number("diameter ", "diameter_mm", 4), number("length ", "length_mm", 10)),
        measured(s.id)?.implant ? pointTable("Implant", [["Platform", "platform"], ["Apex", "apex"]].map(([name, key]) => ({ name, at: measured(s.id).implant[key],
          moved: free() ? key === "platform" ? setPlatform : setApex : undefined }))) : "",
        h("div", { class: "row" }, h("button", { type: "button", disabled: !free(), onclick: () => store.act(`implant ${s.id} removed`, [{ do: "delete", path: `sites[${chosen}].implant` }]) }, "Remove the implant"))]
        : [h("p", {}, "No implant at this site."), h("div", { class: "row" }, h("button", { type: "button", class: "main", disabled: !free(), onclick: () => put("", { diameter_mm: 4, length_mm: 10 }, `implant at ${s.id}`) }, "Place one of 4 × 10 mm"))]));
      sizes();
    }
    return {
      element: h("div", {}, h("p", { class: "lead" }, "A plain cylinder stands where the ridge is wide enough. Move its platform or its apex in the section; lean it along the arch in the second picture. Distances follow the hand, numbers and verdicts when it rests."),
        work.list, h("div", { class: "plate" }, h("div", {}, work.holder, second), h("div", {}, edit, box, live)), numbers, h("div", { class: "row" }, h("button", { type: "button", class: "main", onclick: next }, "Go on"))),
      update,
    };
  },
};

export { lines, measured };
