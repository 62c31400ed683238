// The review: every section once, every open point with a reason, then the record of who looked. It is no signature.
import { h, renew, verdict, words } from "./dom.js";
import { json } from "./transport.js";
import { say } from "./status.js";
import { store } from "./state.js";
import { section } from "./views.js";
import { lines, measured, numberTable } from "./sites.js";

const all = () => store.plan.sites;
/** The sites whose sections somebody looked at, of the plan as it stands. @type {Set<string>} */
const looked = new Set();

/** Whether a review of the plan as it is was recorded. */
const stands = () => !!store.plan.review && !store.plan.review.void;

/** @type {import("./steps.js").Step} */
export const review = {
  id: "review", title: "Review",
  done: stands,
  sum() {
    const r = store.plan.review;
    if (!r) return "not reviewed yet";
    return r.void ? `review void since ${r.void}: it was by ${r.by}, ${r.role}, ${r.at}` : `reviewed by ${r.by}, ${r.role}, ${r.at}`;
  },
  make() {
    let now = 0, tag = "";
    /** @type {{site: string, finding: string, kind?: string, side?: string}[]} */ let open = [];
    const reasons = new Map();
    const place = h("div"), points = h("div"), count = h("p", { class: "lead" });
    const by = h("input", { type: "text", maxlength: 100 }), role = h("input", { type: "text", maxlength: 100 });
    const record = h("button", { type: "button", class: "main", onclick: () => store.review({ by: by.value, role: role.value, looked: said(),
      reasons: open.filter((p) => !p.kind).map((p) => ({ site: p.site, finding: p.finding, reason: reasons.get(key(p)) || "" })), ask: false }) }, "Record the review");
    const write = h("button", { type: "button", onclick: async () => { try { const { written } = await json("output", {}); say("Written: " + written + "."); } catch (error) { say("Not written: " + error.message); } } }, "Write the report and all tables");
    const key = (p) => p.site + "\n" + p.finding;
    const show = () => {
      const s = all()[now];
      if (!s) return place.replaceChildren(h("p", { class: "note" }, "No site yet."));
      const n = measured(s.id), view = s.arc_mm === null ? null : section({ label: "Section at site " + s.name, arc: s.arc_mm, draw: (pane) => { lines(pane, measured(s.id)); for (const r of store.plan.readings) if (r.site === s.id) pane.line([r.from, r.to]); } });
      const onward = h("button", { type: "button", class: "main", onclick: () => { looked.add(s.id); now = (now + 1) % all().length; show(); askOpen(); place.querySelector("button")?.focus(); } }, `Looked at ${s.id}, next section`);
      renew(place, h("h3", {}, s.name, " ", n?.verdict ? verdict(n.verdict) : ""), h("div", { class: "row" }, onward),
        h("div", { class: "plate" }, view ? view.element : ""), h("div", {}, n && store.numbers ? h("div", { class: store.current ? "" : "stale", "data-numbers": store.current ? "now" : "old" }, numberTable(n, store.numbers.columns)) : h("p", {}, store.measuring ? "measuring …" : "Not measured: " + (store.failed || store.numbers?.why || "no numbers for this site"))));
      progress();
    };
    const progress = () => {
      const left = all().filter((s) => !looked.has(s.id)).map((s) => s.id);
      count.textContent = stands() ? "Reviewed. A change of the plan makes the review void." : left.length ? "Not looked at yet: " + left.join(", ") + "." : "Every section was looked at.";
    };
    const said = () => all().map((s) => s.id).filter((id) => looked.has(id));
    const declare = (p, as) => store.act(`${p.side} ${words(p.kind)} declared ${words(as)}`, [{ do: "insert", path: `declared[${store.plan.declared}]`, value: { kind: p.kind, side: p.side, as } }]);
    const answerFor = (p) => h("div", { class: "row" }, h("span", {}, p.finding), ...["absent", "not_visible"].map((as) => h("button", { type: "button", disabled: !!store.plan.read_only, "aria-label": `${p.side} ${words(p.kind)}: ${words(as)}`, onclick: () => declare(p, as) }, words(as))), h("span", { class: "note" }, "or mark it under Keep clear of"));
    const reasonFor = (p) => h("label", { class: "wide" }, h("span", {}, (p.site ? p.site + ": " : "") + p.finding),
      h("input", { type: "text", maxlength: 300, placeholder: "why it is passed over", value: reasons.get(key(p)) || "", oninput: (e) => reasons.set(key(p), e.target.value) }));
    const askOpen = async () => {
      if (stands()) { renew(points, ); return; }
      try { open = (await json("review", { by: "", role: "", looked: said(), reasons: [], ask: true })).open; } catch { open = []; }
      renew(points, ...(open.length ? [h("h3", {}, "Open, each to be mended or passed over with a reason"), ...open.filter((p) => p.kind).map(answerFor), h("div", { class: "reasons" }, ...open.filter((p) => !p.kind).map(reasonFor))] : [h("p", {}, "Nothing is open.")]));
      points.dataset.ready = "yes";
    };
    show();
    return {
      element: h("div", {}, count, place, points, h("h3", {}, "The record"), h("p", { class: "note" }, "It names who looked, when, and the bytes of plan and series; it is a record, not a signature. A change of the plan makes it void."),
        h("div", { class: "row" }, h("label", {}, "Name ", by), h("label", {}, "Role ", role), record), h("div", { class: "row" }, write, h("span", { class: "note" }, store.plan.outputs ? "" : "Open the page with -o DIR to write."))),
      update() {
        record.disabled = !!store.plan.read_only || !store.current;
        write.disabled = !store.plan.outputs || !store.current;
        if (store.current && tag !== store.plan.tag) { tag = store.plan.tag; if (!stands()) looked.clear(); show(); askOpen(); }
        progress();
      },
    };
  },
};
