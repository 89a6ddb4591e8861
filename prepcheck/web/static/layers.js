// @ts-check
/** A marked photo: which picture is laid over it, by a press. Hooks: practice_photo.html. */

import { viewOf } from "./view.js";

const figure = /** @type {HTMLElement | null} */ (document.querySelector("figure[data-overlay]"));
const links = /** @type {HTMLAnchorElement[]} */ ([...document.querySelectorAll("a[data-layer]")]);
const stage = /** @type {HTMLElement | null} */ (figure?.querySelector("[data-overlay-stage]"));

/** @param {HTMLElement} stage @param {HTMLElement} figure */
function over(stage, figure) {
  const view = viewOf(stage, Number(figure.dataset.width), Number(figure.dataset.height));
  const kept = /** @type {HTMLImageElement | null} */ (stage.querySelector("[data-overlay-marks]"));
  if (kept) return kept;
  const made = Object.assign(new Image(), { className: "over", alt: "", hidden: true });
  view.layer.append(made);
  return made;
}

/** @param {HTMLAnchorElement} link @param {HTMLImageElement} picture */
function lay(link, picture) {
  const src = link.dataset.src ?? "";
  if (src) picture.src = src;
  picture.hidden = !src;
  for (const one of links) {
    if (one === link) one.setAttribute("aria-current", "true");
    else one.removeAttribute("aria-current");
  }
  for (const one of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-layer-key] [data-for]")))
    one.hidden = !(one.dataset.for ?? "").split(" ").includes(link.dataset.layer ?? "");
}

if (stage && figure) {
  const picture = over(stage, figure);
  for (const link of links) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      lay(link, picture);
    });
    if (link.dataset.src) new Image().src = link.dataset.src; // so that a press shows it at once
  }
}
try {
  localStorage.removeItem(`mark:${location.pathname}`); // what was drawn is fixed now
} catch {
  // a browser that keeps nothing
}
