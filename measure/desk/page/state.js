// What the page knows: a copy of the plan as the server tells it, and the numbers that belong to it. The truth is the
// server's; an act goes there and the answer is shown.
import { json, Refusal } from "./transport.js";
import { say } from "./status.js";

const rest = 120; // ms after the last move of a hand
const silence = 30000; // ms: the server answers a watch within 20 s, news or none; past this it is taken to be gone

class Store extends EventTarget {
  /** @type {any} the plan and its scan */ plan = null;
  /** @type {any} the numbers last measured, of whatever state of the plan */ numbers = null;
  /** @type {string} why the server does not answer */ gone = "";
  measuring = false;
  /** @type {string} why the last measurement gave nothing */ failed = "";
  /** shades: percentiles of the scan's grey values */ low = 1;
  high = 99.5;
  #timer = 0;
  #sending = false;
  /** @type {AbortController|null} */ #asked = null;
  /** @type {Promise<any>} */ #last = Promise.resolve();

  tell(what) { this.dispatchEvent(new Event(what)); }

  take(plan) {
    const fresh = !this.plan || this.plan.tag !== plan.tag;
    this.plan = plan;
    this.tell("plan");
    if (fresh) this.measureSoon();
  }

  /** Numbers belong to the plan as it is shown. */
  get current() { return this.numbers && this.plan && this.numbers.tag === this.plan.tag; }

  /** What is said of numbers that do not belong to the plan as it is shown. */
  get age() { return this.current ? "" : this.measuring ? "measuring …" : "old, not measured again"; }

  measureSoon() {
    clearTimeout(this.#timer);
    this.measuring = true;
    this.failed = "";
    this.tell("numbers");
    this.#timer = setTimeout(() => this.#measure(), rest);
  }

  async #measure() {
    this.#asked?.abort();
    const mine = this.#asked = new AbortController();
    try {
      const numbers = await json("numbers", undefined, { signal: mine.signal });
      if (mine !== this.#asked) return;
      this.numbers = numbers;
      this.measuring = false;
    } catch (error) {
      if (mine !== this.#asked) return;
      this.measuring = false;
      this.failed = error.message;
      say("Not measured: " + error.message);
    }
    this.tell("numbers");
  }

  /**
   * Does an act and shows the plan after it.
   * @param {string} words what undo will call it @param {{do: string, path: string, value?: any}[]} edits
   * @returns {Promise<boolean>}
   */
  async act(words, edits) { return this.#change("do", { words, edits }, words); }
  async undo() { return this.#change("undo", {}, "Taken back: " + this.plan.undo); }
  async redo() { return this.#change("redo", {}, "Done again: " + this.plan.redo); }
  async review(body) { return this.#change("review", body, "Review recorded"); }

  /** One act after the other: each is meant for the plan that the one before it left. */
  #change(path, body, words) {
    const after = this.#last.then(() => this.#send(path, body, words));
    this.#last = after;
    return after;
  }

  async #send(path, body, words) {
    this.#sending = true;
    try {
      this.take(await json(path, body, { tag: this.plan.tag }));
      say(words);
      return true;
    } catch (error) {
      if (error instanceof Refusal && (error.status === 412 || error.status === 409)) await this.refresh();
      if (error instanceof Refusal && error.status === 412) say("Not done: the plan was changed elsewhere. Here it is; do it again if it still fits.");
      else if (error instanceof Refusal && error.status === 409) say(`Not done: ${error.message}. Here it is as the other left it.`);
      else say("Not done: " + error.message);
      this.tell("plan");
      return false;
    } finally {
      this.#sending = false;
    }
  }

  async refresh() { this.take(await json("state")); }

  /** Follows the plan as others change it, and says when the server is gone. */
  async watch() {
    for (;;) {
      try {
        const plan = await json("watch?tag=" + this.plan.tag, undefined, { signal: AbortSignal.timeout(silence) });
        if (this.gone) { this.gone = ""; this.tell("plan"); if (this.failed) this.measureSoon(); }
        if (plan.tag !== this.plan.tag) {
          const own = this.#sending; // the news of an act may come before its answer
          this.take(plan);
          if (!own) say("The plan was changed elsewhere; this is how it stands now.");
        }
        else if (document.hidden) await new Promise((r) => setTimeout(r, 1000));
      } catch (error) {
        this.gone = error instanceof Refusal ? "This tab is not known any more: open the page by a new address." : "The program that serves this page has ended. Every act that was answered is in the plan; the list of acts lies beside it in " + this.plan.journal + ". Start it again and open its new address.";
        this.tell("plan");
        await new Promise((r) => setTimeout(r, 2000));
      }
    }
  }
}

export const store = new Store();

/** The edits that confirm a part of the plan's head which was proposed. @param {string} part "jaw", "occlusal" or "arch" */
export function confirming(part) {
  const all = store.plan.proposed, left = all.filter((p) => p !== part);
  if (left.length === all.length) return [];
  return [left.length ? { do: "set", path: "proposed", value: left } : { do: "delete", path: "proposed" }];
}

/** The same for one that was just proposed. @param {string} part */
export const proposing = (part) => store.plan.proposed.includes(part) ? [] : [{ do: "set", path: "proposed", value: [...store.plan.proposed, part] }];

/** The curve's point at an arc length. @param {number} arc mm */
export function onCurve(arc) {
  const curve = store.plan.curve, i = Math.max(0, Math.min(curve.length - 2, Math.floor(arc / 0.5))), f = Math.min(1, arc / 0.5 - i);
  return curve[i].map((x, k) => x + f * (curve[i + 1][k] - x));
}
