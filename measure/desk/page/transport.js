// Asking the server. The address came with a secret that is good once; the tab's own lies in its storage and goes with it.

const key = "secret";

/** Takes the secret of the address for the tab's own and cleans the address. @returns {Promise<boolean>} whether the tab may ask */
export async function enter() {
  const invitation = location.hash.slice(1);
  if (invitation) {
    history.replaceState(null, "", location.pathname);
    const answer = await fetch("/api/enter", { method: "POST", headers: { Authorization: "Bearer " + invitation } });
    if (answer.ok) sessionStorage.setItem(key, (await answer.json()).secret);
  }
  return sessionStorage.getItem(key) !== null;
}

/** An answer that is a refusal. */
export class Refusal extends Error {
  /** @param {number} status @param {any} evidence */
  constructor(status, evidence) {
    super(evidence.error || "status " + status);
    this.status = status;
    this.evidence = evidence;
  }
}

/**
 * Asks the server; an answer that is none throws.
 * @param {string} path @param {any} [body] what to post @param {{tag?: string, signal?: AbortSignal}} [options]
 * @returns {Promise<Response>}
 */
export async function ask(path, body, options = {}) {
  const headers = { Authorization: "Bearer " + sessionStorage.getItem(key) };
  if (options.tag) headers["If-Match"] = `"${options.tag}"`;
  const init = { headers, signal: options.signal, method: body === undefined ? "GET" : "POST" };
  if (body !== undefined) init.body = JSON.stringify(body);
  const answer = await fetch("/api/" + path, init);
  if (answer.ok) return answer;
  let evidence = {};
  try { evidence = await answer.json(); } catch { /* no evidence */ }
  throw new Refusal(answer.status, evidence);
}

/** Asks and reads JSON. @param {string} path @param {any} [body] @param {{tag?: string, signal?: AbortSignal}} [options] @returns {Promise<any>} */
export const json = async (path, body, options) => (await ask(path, body, options)).json();

/** One request at a time, of which only the newest wish is kept. @template W, A */
export class Newest {
  /** @param {(wish: W, sequence: number) => Promise<A>} fetcher @param {(answer: A, wish: W) => void} show @param {(error: Error) => void} fail */
  constructor(fetcher, show, fail) {
    this.fetcher = fetcher; this.show = show; this.fail = fail;
    this.sequence = 0; this.running = false;
    /** @type {{wish: W}|null} */ this.next = null;
  }

  /** @param {W} wish */
  async want(wish) {
    this.next = { wish };
    if (this.running) return;
    this.running = true;
    while (this.next) {
      const { wish: now } = this.next;
      this.next = null;
      const sequence = ++this.sequence;
      try {
        const answer = await this.fetcher(now, sequence);
        if (sequence === this.sequence) this.show(answer, now);
      } catch (error) {
        if (!this.next) this.fail(error);
      }
    }
    this.running = false;
  }
}
