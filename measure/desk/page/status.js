// One line says what happened, once, at the end of an act.

/** @param {string} text */
export function say(text) {
  const line = document.getElementById("status");
  line.textContent = "";
  requestAnimationFrame(() => { line.textContent = text; });
}
