// Opening: the address is good once; then the page asks how things stand, or says why it cannot.
import { enter, json } from "./transport.js";

/**
 * Enters and asks how things stand.
 * @param {string} path what tells it @param {string} missing the heading where it is not told
 * @returns {Promise<any>} null where the page says why not
 */
export async function opened(path, missing) {
  if (!(await enter())) return stop("This address was used already", "It opens the page in one tab, once. Take the tab where it is open, or start the program again and open its new address.");
  try { return await json(path); } catch (error) { return stop(missing, error.message); }
}

/** @param {string} title @param {string} why */
function stop(title, why) {
  document.getElementById("opening").textContent = title;
  document.getElementById("why").textContent = why;
  return null;
}
