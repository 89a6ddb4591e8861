// @ts-check
/**
 * Marking residue on a photo with a finger, a mouse or keys. Hooks: practice_mark.html.
 * With keys: arrows move a cross, Space sets the brush down and lifts it, Backspace takes the last stroke back.
 * What is drawn is kept on this phone until it is fixed, so that a page that was closed by mistake loses nothing.
 */

import { length, simple } from "./line.js";
import { viewOf } from "./view.js";

/**
 * @typedef {import("./view.js").Place} Place
 * @typedef {{kind: string, width: number | null, points: [number, number][]}} Stroke
 */

const INK = { residue: "#d4480b", unsure: "#ffffff" };
const FINE_PX = 1.5;
const LONG = 1600;
const MOST_STROKES = 2000;
/** As a form sends it; the shop's computer takes a million. */
const MOST_BYTES = 900000;

class Marking {
  /** @param {HTMLFormElement} form @param {HTMLElement} stage */
  constructor(form, stage) {
    this.form = form;
    this.view = viewOf(stage, Number(form.dataset.width), Number(form.dataset.height));
    this.kept = `mark:${location.pathname}`;
    /** @type {Stroke[]} */
    this.strokes = read(this.kept);
    /** @type {Place[]} */
    this.line = [];
    /** @type {Place | null} */
    this.cross = null;
    this.down = false;
    this.kind = "residue";
    this.size = 18;
    this.looking = false;
    this.canvas = canvasOver(this.view);
    this.#listen(stage);
    this.#take();
    this.show();
  }

  /** @param {HTMLElement} stage */
  #listen(stage) {
    stage.setAttribute("role", "group");
    stage.setAttribute("aria-label", "Photo to mark: arrow keys move a cross, Space sets the brush down and lifts it, plus and minus zoom");
    stage.addEventListener("keydown", (event) => this.#key(event), { capture: true });
    this.form.querySelector("[data-mark-tools]")?.removeAttribute("hidden");
    this.#choose("[data-mark-kind]", (button) => (this.kind = button.dataset.markKind ?? ""));
    this.#choose("[data-mark-size]", (button) => (this.size = Number(button.dataset.markSize)));
    this.form.querySelector("[data-mark-undo]")?.addEventListener("click", () => this.back());
    this.form.querySelector("[data-mark-look]")?.addEventListener("click", (event) => this.#look(/** @type {HTMLElement} */ (event.currentTarget)));
    this.form.addEventListener("submit", (event) => this.#send(/** @type {SubmitEvent} */ (event)));
  }

  /** Buttons of which one is pressed. @param {string} hook @param {(button: HTMLElement) => void} act */
  #choose(hook, act) {
    const buttons = /** @type {HTMLElement[]} */ ([...this.form.querySelectorAll(hook)]);
    for (const button of buttons)
      button.addEventListener("click", () => {
        for (const one of buttons) one.setAttribute("aria-pressed", String(one === button));
        act(button);
        this.show();
      });
  }

  #take() {
    this.view.draw(this.looking ? null : (place, _, phase) => this.#pen(place, phase));
  }

  /** @param {HTMLElement} button */
  #look(button) {
    this.looking = !this.looking;
    button.setAttribute("aria-pressed", String(this.looking));
    this.#take();
    this.show();
  }

  /** @param {Place} place @param {"down"|"move"|"up"|"off"} phase */
  #pen(place, phase) {
    if (phase === "off") this.line = [];
    else if (phase === "down") this.line = [this.view.toPhoto(place)];
    else if (phase === "move" && this.line.length) this.line.push(this.view.toPhoto(place));
    else if (phase === "up" && this.line.length) this.#keep();
    this.show();
  }

  get stroke() {
    const points = simple(this.line, FINE_PX * this.view.fine).map(({ x, y }) => /** @type {[number, number]} */ ([round(x), round(y)]));
    return { kind: this.kind, width: this.size ? round(this.size * this.view.fine) : null, points };
  }

  #keep() {
    const tap = this.size === 0 && length(this.line) < 8 * this.view.fine;
    if (!tap && this.strokes.length < MOST_STROKES) this.strokes.push(this.stroke);
    this.line = [];
  }

  back() {
    this.line = [];
    this.down = false;
    this.strokes.pop();
    this.show();
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (this.looking) return;
    const moved = this.view.stepped(this.cross, event);
    if (moved) this.#moveTo(moved);
    else if (event.key === " " || event.key === "Enter") this.#press();
    else if (event.key === "Backspace") this.back();
    else return;
    event.preventDefault();
    event.stopPropagation();
    this.show();
  }

  #press() {
    this.down = !this.down;
    if (this.down) this.line = [(this.cross ??= this.view.middle)];
    else this.#keep();
  }

  /** @param {Place} place */
  #moveTo(place) {
    this.cross = place;
    if (this.down) this.line.push(place);
  }

  /** @param {SubmitEvent} event */
  #send(event) {
    const nothing = event.submitter?.hasAttribute("data-mark-nothing");
    if (nothing) this.#fill("");
    const fault = nothing ? (this.strokes.length ? "Something is marked: take it back first, or fix the marks." : "") : this.fault;
    if (!fault) return;
    event.preventDefault();
    this.#say(fault);
    this.view.stage.scrollIntoView({ block: "center" });
  }

  get fault() {
    if (!this.strokes.some((one) => one.kind !== "nothing")) return "Nothing is marked yet. If you see no residue, say so below.";
    return encodeURIComponent(JSON.stringify(this.strokes)).length > MOST_BYTES ? "That is more than can be sent: take some back, mark with a broader brush." : "";
  }

  /** @param {string} text */
  #fill(text) {
    /** @type {HTMLInputElement} */ (this.form.querySelector("[data-mark-strokes]")).value = text;
  }

  /** @param {string} words */
  #say(words) {
    const place = this.form.querySelector("[data-mark-said]");
    if (place && place.textContent !== words) place.textContent = words;
  }

  show() {
    this.#fill(this.strokes.length ? JSON.stringify(this.strokes) : "");
    keep(this.kept, this.strokes);
    paint(this.canvas, this.view, this.line.length ? [...this.strokes, this.stroke] : this.strokes, this.cross);
    const count = this.strokes.length;
    const how = this.looking ? "A finger moves the photo now." : this.size ? "" : "Draw a line round a place.";
    this.#say(`${count === 1 ? "1 stroke" : `${count} strokes`} drawn. ${how}`);
  }
}

/** @param {number} value */
const round = (value) => Math.round(value * 10) / 10;

/** @param {import("./view.js").View} view */
function canvasOver(view) {
  const canvas = document.createElement("canvas");
  const scale = Math.min(1, LONG / Math.max(view.width, view.height));
  canvas.width = Math.max(1, Math.round(view.width * scale));
  canvas.height = Math.max(1, Math.round(view.height * scale));
  canvas.setAttribute("aria-hidden", "true");
  view.layer.append(canvas);
  return canvas;
}

/** @param {HTMLCanvasElement} canvas @param {import("./view.js").View} view @param {Stroke[]} strokes @param {Place | null} cross */
function paint(canvas, view, strokes, cross) {
  const ink = canvas.getContext("2d");
  if (!ink) return;
  const scale = canvas.width / view.width;
  ink.setTransform(1, 0, 0, 1, 0, 0);
  ink.clearRect(0, 0, canvas.width, canvas.height);
  ink.setTransform(scale, 0, 0, scale, scale / 2, scale / 2);
  ink.lineCap = ink.lineJoin = "round";
  for (const stroke of strokes) lay(ink, stroke, scale);
  ink.globalCompositeOperation = "source-over";
  if (cross) drawCross(ink, cross, 18 * view.fine);
}

/** @param {CanvasRenderingContext2D} ink @param {Stroke} stroke @param {number} scale */
function lay(ink, stroke, scale) {
  const wipes = stroke.kind === "nothing";
  ink.globalCompositeOperation = wipes ? "destination-out" : "source-over";
  const style = stroke.kind === "unsure" ? dots(ink, scale) : INK.residue;
  ink.fillStyle = ink.strokeStyle = style;
  if (stroke.kind === "unsure") {
    ink.globalCompositeOperation = "destination-out"; // the later stroke counts, also between the dots
    trace(ink, stroke, "#000");
    ink.globalCompositeOperation = "source-over";
  }
  trace(ink, stroke, style);
}

/** @param {CanvasRenderingContext2D} ink @param {Stroke} stroke @param {string | CanvasPattern} style */
function trace(ink, stroke, style) {
  ink.fillStyle = ink.strokeStyle = style;
  ink.beginPath();
  for (const [at, [x, y]] of stroke.points.entries()) at ? ink.lineTo(x, y) : ink.moveTo(x, y);
  if (stroke.points.length === 1) ink.lineTo(stroke.points[0][0] + 0.01, stroke.points[0][1]);
  if (stroke.width === null) ink.fill("evenodd");
  else {
    ink.lineWidth = stroke.width;
    ink.stroke();
  }
}

/** @type {WeakMap<CanvasRenderingContext2D, CanvasPattern | string>} */
const patterns = new WeakMap();

/** Dark dots on white, so that it is told from residue without colour. @param {CanvasRenderingContext2D} ink @param {number} scale */
function dots(ink, scale) {
  const known = patterns.get(ink);
  if (known) return known;
  const tile = document.createElement("canvas");
  tile.width = tile.height = 12;
  const dot = /** @type {CanvasRenderingContext2D} */ (tile.getContext("2d"));
  dot.fillStyle = INK.unsure;
  dot.fillRect(0, 0, 12, 12);
  dot.fillStyle = "#10151d";
  dot.fillRect(3, 3, 6, 6);
  const made = ink.createPattern(tile, "repeat") ?? INK.unsure;
  if (typeof made !== "string") made.setTransform(new DOMMatrix().scale(1 / scale));
  patterns.set(ink, made);
  return made;
}

/** @param {CanvasRenderingContext2D} ink @param {Place} at @param {number} arm */
function drawCross(ink, at, arm) {
  for (const [colour, wide] of /** @type {[string, number][]} */ ([["#fff", arm / 2.5], ["#10151d", arm / 6]])) {
    ink.strokeStyle = colour;
    ink.lineWidth = wide;
    ink.beginPath();
    ink.moveTo(at.x - arm, at.y);
    ink.lineTo(at.x + arm, at.y);
    ink.moveTo(at.x, at.y - arm);
    ink.lineTo(at.x, at.y + arm);
    ink.stroke();
  }
}

/** @param {string} name @param {Stroke[]} strokes */
function keep(name, strokes) {
  try {
    if (strokes.length) localStorage.setItem(name, JSON.stringify(strokes));
    else localStorage.removeItem(name);
  } catch {
    // a browser that keeps nothing, or is full: the page itself still has it
  }
}

/** @param {string} name @returns {Stroke[]} */
function read(name) {
  try {
    const found = JSON.parse(localStorage.getItem(name) ?? "[]");
    return Array.isArray(found) ? found : [];
  } catch {
    return [];
  }
}

for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (document.querySelectorAll("form[data-mark]"))) {
  const stage = /** @type {HTMLElement | null} */ (document.querySelector(form.dataset.stage ?? "#stage"));
  if (stage) new Marking(form, stage);
}
