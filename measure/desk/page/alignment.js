// The planned teeth on the scan: six places to look at, the check landmarks, and an acceptance by name. The step is there
// where the plan has planned teeth.
import { h, place, renew, table } from "./dom.js";
import { json } from "./transport.js";
import { say } from "./status.js";
import { Pane } from "./pane.js";
import { store } from "./state.js";

/** @type {any} what the server says of the alignment; null: not asked yet */ let now = null;
let asked = "";

async function ask() {
  if (!store.plan || asked === store.plan.tag) return;
  const mine = asked = store.plan.tag;
  try {
    const answer = await json("alignment");
    if (mine !== asked) return;
    now = answer;
  } catch (error) { say("The alignment of the planned teeth is not to be had: " + error.message); }
  store.tell("numbers");
}
store.addEventListener("plan", ask);

/** A length in hundredths, or that there is none. @param {number|null} x */
const fine = (x) => x === null ? "not known" : x.toFixed(2) + " mm";

/** @type {import("./steps.js").Step} */
export const alignment = {
  id: "teeth", title: "Planned teeth",
  done: () => !now || !now.file || !!now.by,
  sum() {
    if (!now || !now.file) return "";
    return now.by ? `${now.file} accepted by ${now.by}, ${now.at}` : `${now.file} accepted by nobody: what rests on it is at best uncertain`;
  },
  make() {
    const boards = h("div", { class: "three" }), facts = h("div"), says = h("div");
    const by = h("input", { type: "text", maxlength: 100, oninput: () => update() });
    const accept = h("button", { type: "button", class: "main", onclick: async () => {
      try {
        now = await json("alignment", { by: by.value, tag: now.tag });
        say(`Accepted by ${now.by}.`);
        await store.refresh();
      } catch (error) { say("Not accepted: " + error.message); asked = ""; ask(); }
      store.tell("numbers");
    } }, "Accept by this name");
    let drawn = "";
    const draw = () => {
      drawn = now.tag;
      boards.replaceChildren(...now.boards.map((b, n) => {
        const pane = new Pane({ label: `Place ${b.place}, ${b.plane}`, path: "board", step: 0.25, after: () => { pane.clear(); for (const l of b.lines) pane.line(l); } });
        pane.want({ n });
        return pane.element;
      }));
    };
    const update = () => {
      if (!now || !now.file) return;
      if (drawn !== now.tag) draw();
      renew(says, h("p", { class: "lead" }, "The scan, and the planned teeth as a line. On teeth that stand in both, the line must lie on the edge of the enamel all round; planned teeth have none. Where it lies off at several places, do not accept. Enamel that is white to its rim hides its edge: key ] makes pictures darker."),
        ...now.cautions.map((c) => h("p", { class: "caution", role: "note" }, c)), now.why ? h("p", { class: "caution", role: "note" }, "It cannot be accepted here: " + now.why + ".") : "");
      renew(facts, h("h3", {}, "Check landmarks"),
        now.landmarks.length ? table("How far apart a place marked in both lies, mm: the error there, with that of the marking", ["Landmark", "Distance"], now.landmarks.map((l) => [l.name, fine(l.apart_mm)]))
          : h("p", { class: "note" }, "None were marked. Three to five places marked in both (ridgerule align --points) say more than any figure of the fit."),
        h("h3", {}, "How well, at these places"), table("Standard uncertainty in space", ["Place", "u"], now.places.map((p, i) => [`${i + 1}: ${place(p.at_mm)}`, fine(p.u_mm)])),
        h("h3", {}, "What the fit says of itself"), table("None of this is the alignment's error", ["What", "Value"], now.fit.map((f) => [f.name, f.value])));
      accept.disabled = !!now.why || !by.value.trim();
    };
    return { element: h("div", {}, says, boards, facts, h("h3", {}, "The acceptance"), h("p", { class: "note" }, "It names who has looked, and when, in the alignment's file, as ridgerule align --accept does. A change of that file takes it away."),
      h("div", { class: "row" }, h("label", {}, "Name of who has looked ", by), accept)), update };
  },
};
