// @ts-check
/**
 * Drawing an outline or the joint line over the photo, with a finger, a mouse or keys. Hooks: inspection.html.
 * With keys: arrows move a cross, Space or Enter sets a point, Backspace takes the last one back, Escape ends.
 */

import { area, crosses, length, simple } from "./line.js";
import { viewOf } from "./view.js";

/** @typedef {import("./view.js").Place} Place */
/** @typedef {import("./view.js").View} View */

const SVG = "http://www.w3.org/2000/svg";
const FINGER_PX = 3;
const TAP_PX = 8;
const MOST_POINTS = 200;

class Drawing {
  /** @param {HTMLFormElement} form @param {View} view */
  constructor(form, view) {
    this.form = form;
    this.view = view;
    this.closed = form.dataset.draw === "outline";
    /** @type {Place[][]} What was drawn, one list for each stroke or point, so that each can be taken back. */
    this.strokes = [];
    /** @type {Place[]} */
    this.stroke = [];
    /** @type {Place | null} */
    this.cross = null;
    this.on = false;
    this.picture = picture(view, this.closed);
    this.#buttons();
    view.stage.addEventListener("view", () => this.show());
    view.stage.addEventListener("keydown", (event) => this.on && this.#key(event), { capture: true });
    form.addEventListener("submit", (event) => this.#send(event));
  }

  /** @param {string} hook */
  hook(hook) {
    return /** @type {HTMLElement | null} */ (this.form.querySelector(`[data-draw-${hook}]`));
  }

  get line() {
    return [...this.strokes.flat(), ...this.stroke];
  }

  #buttons() {
    for (const [hook, act] of /** @type {[string, () => void][]} */ ([
      ["start", () => this.turn(!this.on)],
      ["undo", () => this.back()],
      ["clear", () => this.clear()],
    ])) {
      this.hook(hook)?.addEventListener("click", act);
    }
    this.form.querySelector('[name="margin_mm"]')?.addEventListener("input", () => this.show());
    this.show();
  }

  /** @param {boolean} on */
  turn(on) {
    if (on) active?.turn(false);
    active = on ? this : null;
    this.on = on;
    this.cross = null;
    this.view.draw(on ? (place, event, phase) => this.#pen(place, phase) : null);
    if (on) {
      this.view.stage.scrollIntoView({ block: "nearest" });
      this.view.stage.focus({ preventScroll: true });
    }
    this.show();
  }

  back() {
    this.strokes.pop();
    this.show();
  }

  clear() {
    this.strokes = [];
    this.show();
  }

  /** @param {Place} place @param {"down"|"move"|"up"|"off"} phase */
  #pen(place, phase) {
    if (phase === "off") this.stroke = [];
    else if (phase === "down") this.stroke = [this.view.toPhoto(place)];
    else if (phase === "move" && this.stroke.length) this.stroke.push(this.view.toPhoto(place));
    else if (phase === "up" && this.stroke.length) this.#keep();
    this.show();
  }

  /** A tap sets one point, a stroke a simple line. */
  #keep() {
    const fine = this.view.fine;
    const tap = length(this.stroke) < TAP_PX * fine;
    this.strokes.push(tap ? [this.stroke[0]] : simple(this.stroke, FINGER_PX * fine));
    this.stroke = [];
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const moved = this.view.stepped(this.cross, event);
    if (moved) this.cross = moved;
    else if (event.key === " " || event.key === "Enter") this.strokes.push([(this.cross ??= this.view.middle)]);
    else if (event.key === "Backspace") this.back();
    else if (event.key === "Escape") return this.turn(false);
    else return;
    event.preventDefault();
    event.stopPropagation();
    this.show();
  }

  /** Why what was drawn cannot be sent yet; empty when it can. */
  get fault() {
    const line = this.line;
    if (line.length > MOST_POINTS) return `More than ${MOST_POINTS} points: start again with fewer turns.`;
    if (!this.closed) return line.length < 2 || length(line) < 8 * this.view.width / 1000 ? "Draw along the joint, from end to end." : "";
    if (crosses(line)) return "The outline crosses itself: take the last stroke back.";
    return area(line) < (this.view.width / 100) ** 2 ? "Draw once round the ground spot." : "";
  }

  /** @param {Event} event */
  #send(event) {
    const refusing = this.form.querySelector('[name="refuse"]:checked') !== null;
    const nothing = this.line.length === 0 && refusing;
    if (nothing || this.fault === "") return this.turn(false);
    event.preventDefault();
    this.#say(this.fault);
  }

  /** @param {string} words */
  #say(words) {
    const place = this.hook("said");
    if (place && place.textContent !== words) place.textContent = words;
  }

  show() {
    const line = this.line;
    const field = /** @type {HTMLInputElement | null} */ (this.form.querySelector("[data-draw-points]"));
    if (field) field.value = line.length ? JSON.stringify(line.map((at) => [round(at.x), round(at.y)])) : "";
    const start = this.hook("start");
    if (start) {
      start.hidden = false;
      start.setAttribute("aria-pressed", String(this.on));
      start.dataset.words ??= start.textContent ?? "";
      start.textContent = this.on ? "Done drawing" : start.dataset.words;
    }
    for (const hook of ["undo", "clear"]) this.hook(hook)?.toggleAttribute("hidden", this.strokes.length === 0);
    this.picture.show(line, this.cross, this.view.fine, this.#margin());
    if (this.on) this.#say(line.length ? this.fault || `${line.length} points drawn.` : this.#hint());
  }

  #hint() {
    const what = this.closed ? "round the ground spot" : "along the joint";
    return `Draw ${what} on the photo, or tap from point to point; two fingers zoom. With keys: arrows, Space sets a point.`;
  }

  /** Width of the margin in full-size pixels, 0 where no scale is known. */
  #margin() {
    const field = /** @type {HTMLInputElement | null} */ (this.form.querySelector('[name="margin_mm"]'));
    const mm = Number((field?.value || field?.placeholder || "").replace(",", "."));
    const scale = Number(this.form.dataset.mmPerPx);
    return mm > 0 && scale > 0 ? mm / scale : 0;
  }
}

/** @type {Drawing | null} The one that takes the finger. */
let active = null;

/** @param {number} value */
const round = (value) => Math.round(value * 10) / 10;

/** What is drawn, in full-size pixels over the photo. @param {View} view @param {boolean} closed */
function picture(view, closed) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", `-0.5 -0.5 ${view.width} ${view.height}`);
  svg.setAttribute("aria-hidden", "true");
  const shape = (/** @type {string} */ name) => svg.appendChild(document.createElementNS(SVG, name));
  const band = shape("polyline");
  const paper = shape(closed ? "polygon" : "polyline");
  const ink = shape(closed ? "polygon" : "polyline");
  const dots = shape("path");
  const cross = shape("path");
  Object.assign(svg.style, { pointerEvents: "none", position: "absolute", inset: "0", width: "100%", height: "100%" });
  const style = (/** @type {SVGElement} */ one, /** @type {string} */ colour, /** @type {number} */ wide) =>
    Object.assign(one.style, { fill: "none", stroke: colour, strokeWidth: `${wide}px`, strokeLinecap: "round", strokeLinejoin: "round" });
  view.layer.append(svg);
  /** @param {Place[]} line @param {Place | null} at @param {number} fine @param {number} margin */
  const show = (line, at, fine, margin) => {
    const points = line.map(({ x, y }) => `${round(x)},${round(y)}`).join(" ");
    for (const one of [band, paper, ink]) one.setAttribute("points", points);
    style(band, "rgb(10 58 99 / 30%)", closed ? 0 : 2 * margin).strokeLinecap = "butt";
    style(paper, "#fff", 7 * fine);
    style(ink, "#10151d", 3 * fine).strokeDasharray = closed ? `${10 * fine} ${7 * fine}` : "";
    style(dots, "#10151d", 11 * fine);
    dots.setAttribute("d", line.map(({ x, y }) => `M${x} ${y}h0`).join(""));
    style(cross, "#c43e0c", 3 * fine);
    const arm = 18 * fine;
    cross.setAttribute("d", at ? `M${at.x - arm} ${at.y}h${2 * arm}M${at.x} ${at.y - arm}v${2 * arm}` : "");
  };
  return { svg, show };
}

for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (document.querySelectorAll("form[data-draw]"))) {
  const stage = /** @type {HTMLElement | null} */ (document.querySelector(form.dataset.stage ?? "#stage"));
  if (stage) new Drawing(form, viewOf(stage, Number(form.dataset.width), Number(form.dataset.height)));
}
