// @ts-check
/** The photo of a result: marks on or off by a press, zoom, and a jump to each place. Hooks: inspection.html. */

import { viewOf } from "./view.js";

const SHOW = "Show the marks";
const HIDE = "Hide the marks";

/** @param {HTMLElement} figure */
function start(figure) {
  const stage = /** @type {HTMLElement | null} */ (figure.querySelector("[data-overlay-stage]"));
  if (!stage) return;
  const view = viewOf(stage, Number(figure.dataset.width), Number(figure.dataset.height));
  stage.setAttribute("role", "group");
  stage.setAttribute("aria-label", "Photo: plus and minus zoom, arrow keys move, zero shows all of it");
  toggle(figure, view);
  for (const link of document.querySelectorAll("[data-overlay-patch]")) jump(/** @type {HTMLElement} */ (link), stage, view);
}

/** @param {HTMLElement} figure @param {import("./view.js").View} view */
function toggle(figure, view) {
  const button = figure.querySelector("[data-overlay-toggle]");
  if (!button) return;
  const marks = /** @type {HTMLImageElement} */ (figure.querySelector("[data-overlay-marks]") ?? marksOf(figure, view));
  button.setAttribute("role", "button");
  const say = () => {
    button.setAttribute("aria-pressed", String(!marks.hidden));
    button.textContent = marks.hidden ? SHOW : HIDE;
  };
  const press = (/** @type {Event} */ event) => {
    event.preventDefault();
    marks.hidden = !marks.hidden;
    say();
  };
  button.addEventListener("click", press);
  button.addEventListener("keydown", (event) => /** @type {KeyboardEvent} */ (event).key === " " && press(event));
  say();
}

/** The marks of a page that was loaded without them. @param {HTMLElement} figure @param {import("./view.js").View} view */
function marksOf(figure, view) {
  const photo = /** @type {HTMLImageElement} */ (figure.querySelector("[data-overlay-photo]"));
  const marks = Object.assign(new Image(), { className: "over", alt: "", hidden: true });
  marks.src = new URL("overlay.png", photo.src).href;
  view.layer.append(marks);
  return marks;
}

/** @param {HTMLElement} link @param {HTMLElement} stage @param {import("./view.js").View} view */
function jump(link, stage, view) {
  link.addEventListener("click", (event) => {
    event.preventDefault();
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    view.goTo({ x: Number(link.dataset.x), y: Number(link.dataset.y) });
    stage.scrollIntoView({ block: "center", behavior: calm ? "auto" : "smooth" });
    stage.focus({ preventScroll: true });
  });
}

for (const figure of document.querySelectorAll("[data-overlay]")) start(/** @type {HTMLElement} */ (figure));
