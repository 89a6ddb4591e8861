// @ts-check
/** Counting with a keyboard: the key of a label presses its button. Hooks: count_point.html. */

document.addEventListener("keydown", (event) => {
  const at = /** @type {HTMLElement} */ (event.target);
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || at.matches("input, select, textarea")) return;
  const button = /** @type {HTMLButtonElement | null} */ (document.querySelector(`button[data-label="${CSS.escape(event.key)}"]`));
  button?.click();
});
