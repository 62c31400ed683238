// Practice: one bare section after the other, measured with callipers that do not snap. The answer and how sure it is are given
// before anything of the truth is told; in a test nothing of it is told before the last answer. A sitting of a study is the same
// without a truth. Places are of the sheet: mm across and up from its corner.
import { h, renew, table } from "./dom.js";
import { json, Newest } from "./transport.js";
import { opened } from "./opening.js";
import { shades } from "./shades.js";
import { Pane } from "./pane.js";
import { store } from "./state.js";
import { say } from "./status.js";

const main = document.getElementById("steps");
const beside = document.getElementById("case");
const grades = ["unsure", "fairly sure", "sure"];
/** @type {any} how the sitting stands */ let now = null;
/** @type {any} the item that was asked last */ let seen = null;

async function start() {
  const state = await opened("practice", "The set is not to be had");
  if (state) show(state);
}

/** Shows where the sitting is: the mark of the answer just given, the item in hand, or the end. @param {any} state */
function show(state) {
  now = state;
  const name = now.study ? "Reading, " + now.reader : now.test ? "Test" : "Practice";
  document.title = `${name}: ${now.answered} of ${now.total}`;
  document.getElementById("running").replaceChildren(h("span", {}, h("strong", {}, name), " · ", h("strong", {}, now.caution)), h("span", {}, `${now.answered} of ${now.total} answered`));
  renew(beside, h("h2", {}, "The sitting"), h("p", {}, `${now.answered} of ${now.total} answered.`), h("p", { class: "note" }, manners()), shades());
  if (now.last && now.item) return told(now.last);
  if (now.item) return now.study ? between() : ask();
  ended();
}

/** What is told, and when. */
function manners() {
  if (now.study) return "Read each section with your own eye, and do not go back: a site may come twice. An answer stays as it was given. A sitting that is broken off goes on where it was.";
  if (!now.known) return "The truth is not here: every answer is in readings.csv, to be handed in.";
  return now.test ? "Nothing is told before the last answer." : "After each answer its truth is shown. An answer stays as it was given.";
}

/** Between two items of a study: the time of the next begins when it is asked for, and a break costs none. */
function between() {
  const next = h("button", { type: "button", class: "main", onclick: () => { ask(); say(""); } }, now.answered ? "Next section" : "Begin");
  page(h("section", { class: "page step open", "data-between": now.answered }, h("div", { class: "head" }, h("h1", { tabindex: -1 }, now.answered ? "Answer kept" : "A sitting of " + now.total)),
    h("p", { class: "lead" }, now.answered ? `${now.answered} of ${now.total} answered. ` : "", "The time of a section runs from when it is shown to its answer: this is the place for a break."), h("div", { class: "row" }, next)));
  next.focus({ preventScroll: true });
}

/** The picture of an item, its four sides named around it: nothing lies on what is measured. @param {any} item @param {Record<string, any>} options */
function picture(item, options) {
  const pane = new Pane({ label: "Section", path: "sheet", step: 0.1, bare: true, words: (p) => `${p[0].toFixed(1)} mm across, ${p[1].toFixed(1)} mm ${item.way}`, of: "this section", ...options, after: () => {
    const g = pane.geometry; // no picture is higher than the window
    pane.element.style.maxWidth = `calc(78vh * ${g.width / g.height})`;
    options.after?.();
  } });
  const [left, right, top, bottom] = item.sides;
  pane.frame.before(h("p", { class: "sides" }, h("span", {}, left), h("span", {}, top), h("span", {}, right)));
  pane.frame.after(h("p", { class: "sides" }, h("span", {}, bottom)));
  pane.want({ item: item.name });
  return pane;
}

/** Ticks at the sheet's millimetres on two borders, longer every five. @param {Pane} pane */
function rulers(pane) {
  const { width, height } = pane.geometry, left = -0.5, bottom = height - 0.5, [u, v] = [pane.toPatient(left, 0)[0], pane.toPatient(0, bottom)[1]];
  for (let i = 0; i <= Math.max(width, height) * pane.pixel; i++) {
    const long = i % 5 ? 4 : 9, [x, y] = pane.toPixel([i, i, 0]);
    if (x < width) pane.line([[i, v, 0], pane.toPatient(x, bottom - long)]);
    if (y < height) pane.line([[u, i, 0], pane.toPatient(left + long, y)]);
  }
}

/** A sentence of a fragment. @param {string} text */
const sentence = (text) => text[0].toUpperCase() + text.slice(1) + (/[.?!]$/.test(text) ? "" : ".");

/** Asks the item in hand. */
function ask() {
  const item = seen = now.item;
  store.plan = { scan: { quantiles: item.quantiles } };
  /** @type {number[][]} */ let ends = [], guide = [];
  let grade = 0, moving = null;
  const value = h("strong", { "data-value": "" }), live = h("p", {}, "Your line: ", value);
  const asked = new Newest((wish) => json("value", wish), (a) => { value.textContent = a.value; }, () => { value.textContent = ""; });
  const measure = () => { const line = moving || ends; if (line.length === 2) asked.want({ item: item.name, line, certainty: 0 }); else value.textContent = ""; };
  const set = (i, p) => { ends[i] = p; moving = null; draw(); say(ends.length === 2 ? "Line laid. Move its ends, or say how sure you are and answer." : "First end set: set the other."); };
  const lay = (line) => {
    pane.clear();
    if (!pane.geometry) return;
    rulers(pane);
    if (item.body.length) pane.line(item.body, "", true);
    if (guide.length === 2) pane.line(guide, "dotted");
    if (line.length === 2) pane.line(line);
  };
  const draw = () => {
    lay(moving || ends);
    pane.offer(ends.length < 2 ? "New end of the line" : "");
    if (pane.geometry) pane.handles.set(ends.map((at, i) => ({ at, name: `${i ? "Second" : "First"} end of the line`, square: true,
      moving: (p) => { moving = ends.map((e, k) => k === i ? p : e); lay(moving); measure(); }, moved: (p) => set(i, p), removed: () => { ends.splice(i, 1); draw(); } })));
    measure();
    ready();
  };
  const pane = picture(item, { newPoint: "New end of the line", click: (p) => { if (ends.length < 2) set(ends.length, p); }, after: () => draw() });
  const give = async (answer) => {
    commit.disabled = true;
    try { const state = await json("answer", { item: item.name, ...answer }); show(state); say(state.last ? "Answer taken: its truth is shown." : "Answer taken."); } catch (error) { say("Not taken: " + error.message); ready(); }
  };
  const commit = h("button", { type: "button", class: "main", onclick: () => give({ line: ends, certainty: grade }) }, "Answer");
  const cannot = now.study && h("button", { type: "button", onclick: () => give({ unreadable: true }) }, "Cannot be read");
  const keep = h("button", { type: "button", onclick: () => {
    const words = value.textContent && ", " + value.textContent;
    guide = ends;
    ends = [];
    draw();
    say(guide.length ? `Kept as a guide, dotted${words}. Lay the line that is asked.` : "Guide taken away.");
  } });
  const ready = () => {
    commit.disabled = ends.length < 2 || !grade;
    keep.textContent = guide.length && !ends.length ? "Take the guide away" : "Keep as a guide";
    keep.disabled = ends.length === 1 || !ends.length && !guide.length;
  };
  const sure = h("fieldset", {}, h("legend", {}, "How sure are you?"), h("div", { class: "row" }, ...grades.map((text, i) => h("label", {}, h("input", { type: "radio", name: "sure", value: i + 1, onchange: () => { grade = i + 1; ready(); } }), text))));
  page(h("section", { class: "page step open", "data-item": item.name }, h("div", { class: "head" }, h("h1", { tabindex: -1 }, `${item.number} of ${now.total}`), h("p", { class: "sum" }, `${item.jaw}, tooth position ${item.tooth}`)),
    h("p", { class: "lead" }, h("strong", {}, item.ask), " ", item.how), item.axis && h("p", { class: "note" }, item.axis),
    h("div", { class: "plate" }, pane.element, h("div", {}, h("p", { class: "note" }, "Lay a line: two clicks, then move its ends. By keys: Tab to the section, Enter, arrows, Enter. A line may be kept as a guide, to find a depth or an axis. Ticks at the borders are millimetres, the long ones five."), live, h("div", { class: "row" }, keep), sure, h("div", { class: "row" }, commit, cannot)))));
}

/** Tells the truth of an answer. @param {any} mark */
function told(mark) {
  const next = h("button", { type: "button", class: "main", onclick: () => { ask(); say(""); } }, "Next section");
  page(h("section", { class: "page step open", "data-told": mark.item }, h("div", { class: "head" }, h("h1", { tabindex: -1 }, "Your answer"), h("p", { class: "sum" }, `${now.answered} of ${now.total}`)),
    h("p", { class: "lead" }, mark.ask), h("div", { class: "plate" }, both(mark), h("div", {}, ...says(mark), h("div", { class: "row" }, next)))));
}

/** The section with the reader's line and the true one. */
function both(mark) {
  const pane = picture({ name: mark.item, sides: mark.sides, way: "" }, { after: () => {
    pane.clear();
    rulers(pane);
    if (seen?.name === mark.item && seen.body.length) pane.line(seen.body, "", true);
    pane.line(mark.line);
    pane.line(mark.true, "dashed");
  } });
  return h("div", {}, pane.element, h("p", { class: "note" }, "Your line whole, the true one dashed."));
}

function says(mark) {
  return [h("p", {}, "Yours ", h("strong", {}, mark.yours), ", true ", h("strong", { "data-truth": "" }, mark.truth), ": ", h("strong", {}, mark.error), ", ", h("strong", {}, mark.verdict), "."),
    ...mark.notes.map((note, i) => mark.unsafe && !i ? h("p", { class: "caution", role: "note" }, h("strong", {}, sentence(note))) : h("p", {}, sentence(note))),
    mark.parts && h("p", { class: "note" }, sentence(mark.parts)), mark.why && h("p", { class: "note" }, "At such a site: " + mark.why + ".")].filter(Boolean);
}

function ended() {
  const rows = now.marks.map((m, i) => [i + 1, m.ask, ...[m.yours, m.truth, m.error].map((x) => h("span", { class: "number" }, x)), m.verdict + (m.unsafe ? ", unsafe side" : "")]);
  page(h("section", { class: "page step open", "data-ended": "yes" }, h("div", { class: "head" }, h("h1", { tabindex: -1 }, "All are answered")),
    ...(now.last && !now.test ? [h("h2", {}, "Your last answer"), h("div", { class: "plate" }, both(now.last), h("div", {}, ...says(now.last)))] : []),
    rows.length ? table("Your answers", ["", "Question", "yours", "true", "error", "mark"], rows) : h("p", { class: "lead" }, now.study ? "Every answer is kept, in readings.csv of the sitting's folder. You may close this page." : "Every answer is in readings.csv: hand it in."),
    rows.length ? h("p", { class: "note" }, "One miss says little: judge sets, not items. ridgerule practice mark tells bias, repeats and probable causes of the whole set.") : ""));
}

/** Shows a section and puts the focus on its heading. @param {HTMLElement} section */
function page(section) {
  main.replaceChildren(section);
  scrollTo(0, 0);
  /** @type {HTMLElement} */ (section.querySelector("h1")).focus({ preventScroll: true });
}

start();
