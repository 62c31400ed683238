// The page: opens, shows the steps one below the other, and keeps the state of the case in sight.
import { h } from "./dom.js";
import { json } from "./transport.js";
import { opened } from "./opening.js";
import { shade, shades } from "./shades.js";
import { store } from "./state.js";
import { say } from "./status.js";
import { putAway } from "./callipers.js";
import { steps } from "./steps.js";

const main = document.getElementById("steps");
const beside = document.getElementById("case");
/** @type {{step: import("./steps.js").Step, section: HTMLElement, made: any}[]} */
let shown = [];
let open = "";
/** @type {HTMLElement[]|undefined} what stays as it is beside the steps */
let fixed;

async function start() {
  const plan = await opened("state", "The scan is not to be had");
  if (!plan) return;
  store.take(plan);
  build();
  store.addEventListener("plan", update);
  store.addEventListener("numbers", update);
  document.addEventListener("keydown", keys);
  store.watch();
}

function build() {
  main.replaceChildren(h("section", { class: "page opening" }, h("p", { class: "kind", id: "kind" }), h("h1", { id: "title" })));
  shown = steps.map((step) => {
    const button = h("button", { type: "button", "aria-expanded": "false", onclick: () => unfold(open === step.id ? "" : step.id) }, step.title);
    const section = h("section", { class: "page step", "data-step": step.id, "aria-labelledby": "step-" + step.id },
      h("div", { class: "head" }, h("h2", { id: "step-" + step.id }, button), h("p", { class: "sum" })));
    main.append(section);
    return { step, section, made: null };
  });
  unfold((shown.find((s) => !s.step.done()) || shown[0]).step.id, true);
}

/** Opens one step and folds the others. @param {string} id @param {boolean} [quiet] */
export function unfold(id, quiet = false) {
  open = id;
  putAway();
  for (const s of shown) {
    const now = s.step.id === id;
    s.section.classList.toggle("open", now);
    s.section.querySelector("button").setAttribute("aria-expanded", String(now));
    if (!now && s.made) { s.made.element.remove(); s.made = null; }
    if (now && !s.made) {
      s.made = s.step.make(() => unfold((shown.slice(shown.indexOf(s) + 1).find((t) => t.step.sum()) || s).step.id)); // a step without a word is not there
      s.section.append(s.made.element);
      if (!quiet) { s.section.querySelector("button").focus({ preventScroll: true }); s.section.scrollIntoView({ block: "start" }); }
    }
  }
  update();
}

function update() {
  const p = store.plan;
  document.title = p.case + ": site plan";
  document.getElementById("title").textContent = p.case;
  document.getElementById("kind").textContent = "Site plan" + (p.jaw ? ", " + p.jaw : "");
  for (const s of shown) {
    s.section.querySelector(".sum").textContent = s.step.sum();
    s.section.classList.toggle("done", s.step.done());
    s.made?.update();
  }
  running();
  state();
}

function running() {
  const p = store.plan;
  document.getElementById("running").replaceChildren(
    h("span", {}, h("strong", {}, p.case), p.jaw ? " · " + p.jaw : "", p.scan.synthetic ? h("strong", {}, " · Synthetic volume: invented anatomy") : "", ...(p.scan.identity || []).map((i) => " · " + i)),
    h("span", {}, p.read_only ? `${p.plan}: ${p.read_only}` : `${p.plan} saved ${p.saved}`));
}

function state() {
  const p = store.plan, n = store.numbers, unmarked = p.asked.filter((a) => !a.answer);
  const lines = [];
  if (store.gone) lines.push(h("p", { class: "gone" }, store.gone));
  if (p.notice) lines.push(h("p", {}, p.notice));
  for (const f of p.faults.filter((f) => !f.missing)) lines.push(h("p", { class: "caution", role: "note" }, `${p.plan}${f.line ? ", line " + f.line : ""}: ${f.where ? f.where + ": " : ""}${f.what}; ${f.remedy}${f.remedy.endsWith("?") ? "" : "."}`));
  if (!p.sites.length) lines.push(h("p", {}, "No site yet."));
  else if (n && n.summary) lines.push(h("p", { class: store.current ? "" : "stale", "data-summary": store.current ? "now" : "old" }, n.summary + (store.current ? "." : "; " + store.age)));
  else if (store.measuring) lines.push(h("p", { class: "stale" }, "measuring …"));
  else if (n && n.why && store.current) lines.push(h("p", {}, "Not measured yet: " + n.why + "."));
  if (p.sites.length && store.failed) lines.push(h("p", {}, `Not measured: ${store.failed}. The next act measures again.`));
  if (unmarked.length) lines.push(h("p", {}, "Not marked: " + unmarked.map((a) => `${a.side} ${a.kind.replaceAll("_", " ")}`).join(", ") + "."));
  if (p.review) lines.push(h("p", {}, p.review.void ? `Review void since ${p.review.void}${p.review.since ? ", " + p.review.since : ""}: it was by ${p.review.by}, ${p.review.role}.` : `Reviewed by ${p.review.by}, ${p.review.role}.`));
  const act = (words, of, does) => h("button", { type: "button", disabled: !of || !!p.read_only, onclick: does }, words, of ? h("span", { class: "note" }, " " + of) : "");
  const focused = /** @type {HTMLElement} */ (document.activeElement)?.dataset?.act;
  const undo = act("Undo", p.undo, () => store.undo()), redo = act("Redo", p.redo, () => store.redo());
  undo.dataset.act = "undo"; redo.dataset.act = "redo";
  beside.replaceChildren(h("h2", {}, "The case"), ...lines, h("div", { class: "row" }, undo, redo), ...(fixed ??= [shades(h("p", { class: "note" }, "Keys [ and ] make pictures brighter and darker.")), another()]));
  if (focused) /** @type {HTMLElement} */ (beside.querySelector(`[data-act=${focused}]`))?.focus();
}

function another() {
  const link = h("p", {});
  return h("div", {}, h("button", { type: "button", onclick: async () => {
    const { address } = await json("invite", {});
    link.replaceChildren(h("a", { href: address, target: "_blank", rel: "noopener" }, "Opens this page in one more tab, once"));
  } }, "Another tab"), link);
}

function keys(e) {
  const typing = e.target instanceof HTMLInputElement && e.target.type !== "range" || e.target instanceof HTMLSelectElement;
  if ((e.ctrlKey || e.metaKey) && !typing && e.key.toLowerCase() === "z") { e.preventDefault(); e.shiftKey ? store.redo() : store.undo(); }
  else if (!typing && (e.key === "[" || e.key === "]")) { shade("high", store.high + (e.key === "[" ? -0.5 : 0.5)); say(`Shades up to percentile ${store.high}.`); }
}

start();
