// @ts-check
/**
 * Looking closely at a photo: pinch, drag, wheel, keys. The photo and what lies over it move as one layer.
 *
 * @typedef {{x: number, y: number}} Place
 */

const MOST = 12;
const STEP = 1.5;
const MOVE = 60;
const CROSS = 12;
/** @type {Record<string, [number, number]>} */
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/** @param {number} value @param {number} low @param {number} high */
const within = (value, low, high) => Math.min(high, Math.max(low, value));

export class View {
  /**
   * @param {HTMLElement} stage what is seen through; its children become the layer that moves
   * @param {number} width @param {number} height of the photo in full-size pixels
   */
  constructor(stage, width, height) {
    this.stage = stage;
    this.width = width;
    this.height = height;
    this.layer = layerOf(stage);
    this.zoom = 1;
    this.left = 0;
    this.top = 0;
    /** @type {Map<number, Place>} Pointers that are down, in pixels of the stage. */
    this.fingers = new Map();
    /** @type {((place: Place, event: PointerEvent, phase: "down"|"move"|"up"|"off") => void) | null} Takes single fingers while drawing. */
    this.pen = null;
    this.#listen();
  }

  /** Bring the middle between two fingers (or the pointer) from one place to another, and zoom about it. @param {number} factor @param {Place} about @param {Place} to */
  change(factor, about, to = about) {
    const zoom = within(this.zoom * factor, 1, MOST);
    const grown = zoom / this.zoom;
    this.left = to.x - (about.x - this.left) * grown;
    this.top = to.y - (about.y - this.top) * grown;
    this.zoom = zoom;
    this.#show();
  }

  /** Show all of the photo. */
  whole() {
    this.zoom = 1;
    this.left = this.top = 0;
    this.#show();
  }

  /** Bring a place of the photo, in full-size pixels, to the middle. @param {Place} at @param {number} zoom */
  goTo(at, zoom = 4) {
    const box = this.stage.getBoundingClientRect();
    const image = this.#image();
    this.zoom = zoom;
    this.left = box.width / 2 - zoom * (image.x + ((at.x + 0.5) / this.width) * image.width);
    this.top = box.height / 2 - zoom * (image.y + ((at.y + 0.5) / this.height) * image.height);
    this.#show();
  }

  /** Turn a place on the stage into full-size pixels of the photo. @param {Place} at @returns {Place} */
  toPhoto(at) {
    const image = this.#image();
    const x = ((at.x - this.left) / this.zoom - image.x) / image.width;
    const y = ((at.y - this.top) / this.zoom - image.y) / image.height;
    return { x: within(x * this.width - 0.5, 0, this.width - 1), y: within(y * this.height - 0.5, 0, this.height - 1) };
  }

  /** The place of the photo in the middle of what is seen. @returns {Place} */
  get middle() {
    return this.toPhoto({ x: this.stage.clientWidth / 2, y: this.stage.clientHeight / 2 });
  }

  /**
   * Where an arrow key, faster with Shift, moves a cross that begins in the middle; null for another key.
   * @param {Place | null} cross @param {KeyboardEvent} event @returns {Place | null}
   */
  stepped(cross, event) {
    const way = WAYS[event.key];
    if (!way) return null;
    const at = cross ?? this.middle;
    const far = CROSS * (event.shiftKey ? 5 : 1) * this.fine;
    return { x: within(at.x + way[0] * far, 0, this.width - 1), y: within(at.y + way[1] * far, 0, this.height - 1) };
  }

  /** Full-size pixels for one pixel of the screen. */
  get fine() {
    return this.width / (this.#image().width * this.zoom);
  }

  /** Where the photo itself lies in the layer, without zoom: it may be letterboxed. */
  #image() {
    const width = this.stage.clientWidth;
    const height = this.stage.clientHeight;
    const fit = Math.min(width / this.width, height / this.height);
    const size = { width: this.width * fit, height: this.height * fit };
    return { ...size, x: (width - size.width) / 2, y: (height - size.height) / 2 };
  }

  #show() {
    const { clientWidth: width, clientHeight: height } = this.stage;
    this.left = within(this.left, width * (1 - this.zoom), 0);
    this.top = within(this.top, height * (1 - this.zoom), 0);
    this.layer.style.transform = `translate(${this.left}px, ${this.top}px) scale(${this.zoom})`;
    this.stage.style.touchAction = this.pen || this.zoom > 1 ? "none" : "pan-y";
    this.stage.dataset.zoom = this.zoom.toFixed(2);
    this.stage.dispatchEvent(new CustomEvent("view"));
  }

  /** Take fingers for drawing, or for looking again. @param {View["pen"]} pen */
  draw(pen) {
    this.pen = pen;
    this.#show();
  }

  /** @param {PointerEvent | WheelEvent} event @returns {Place} */
  #at(event) {
    const box = this.stage.getBoundingClientRect();
    return { x: event.clientX - box.left - this.stage.clientLeft, y: event.clientY - box.top - this.stage.clientTop };
  }

  #listen() {
    const stage = this.stage;
    stage.tabIndex = 0;
    stage.addEventListener("pointerdown", (event) => this.#down(event));
    stage.addEventListener("pointermove", (event) => this.#move(event));
    for (const kind of ["pointerup", "pointercancel"]) stage.addEventListener(kind, (event) => this.#up(/** @type {PointerEvent} */ (event)));
    stage.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    stage.addEventListener("dblclick", (event) => this.pen || (this.zoom > 1 ? this.whole() : this.change(3, this.#at(event))));
    stage.addEventListener("keydown", (event) => this.#key(event));
    stage.addEventListener("dragstart", (event) => event.preventDefault());
    new ResizeObserver(() => this.#show()).observe(stage);
    this.#show();
  }

  /** @param {PointerEvent} event */
  #down(event) {
    if (event.button > 0) return;
    this.fingers.set(event.pointerId, this.#at(event));
    if (this.pen || this.zoom > 1 || this.fingers.size > 1) this.stage.setPointerCapture(event.pointerId);
    if (this.fingers.size > 1) this.pen?.(this.#at(event), event, "off"); // a second finger zooms and does not draw
    else this.pen?.(this.#at(event), event, "down");
  }

  /** @param {PointerEvent} event */
  #move(event) {
    const before = this.fingers.get(event.pointerId);
    const now = this.#at(event);
    if (!before) return;
    const other = [...this.fingers].find(([id]) => id !== event.pointerId)?.[1];
    this.fingers.set(event.pointerId, now);
    if (other) this.#pinch(before, now, other);
    else if (this.pen) this.pen(now, event, "move");
    else if (this.zoom > 1) this.change(1, before, now);
  }

  /** @param {Place} before @param {Place} now @param {Place} other */
  #pinch(before, now, other) {
    const middle = (/** @type {Place} */ one) => ({ x: (one.x + other.x) / 2, y: (one.y + other.y) / 2 });
    const apart = (/** @type {Place} */ one) => Math.max(10, Math.hypot(one.x - other.x, one.y - other.y));
    this.change(apart(now) / apart(before), middle(before), middle(now));
  }

  /** @param {PointerEvent} event */
  #up(event) {
    if (!this.fingers.delete(event.pointerId)) return;
    if (this.fingers.size === 0) this.pen?.(this.#at(event), event, event.type === "pointerup" ? "up" : "off");
  }

  /** @param {WheelEvent} event */
  #wheel(event) {
    if (!event.ctrlKey && this.zoom === 1 && event.deltaY > 0) return; // the page scrolls on
    event.preventDefault();
    this.change(Math.exp(-event.deltaY / (event.ctrlKey ? 100 : 400)), this.#at(event));
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
    const middle = { x: this.stage.clientWidth / 2, y: this.stage.clientHeight / 2 };
    const way = WAYS[event.key];
    if (event.key === "+" || event.key === "=") this.change(STEP, middle);
    else if (event.key === "-") this.change(1 / STEP, middle);
    else if (event.key === "0") this.whole();
    else if (way && this.zoom > 1) this.change(1, { x: 0, y: 0 }, { x: -MOVE * way[0], y: -MOVE * way[1] });
    else return;
    event.preventDefault();
  }
}

/** Put the children of the stage into one layer. @param {HTMLElement} stage */
function layerOf(stage) {
  const layer = document.createElement("div");
  layer.dataset.layer = "";
  Object.assign(layer.style, { transformOrigin: "0 0", position: "relative" });
  layer.append(...stage.childNodes);
  stage.append(layer);
  return layer;
}

/** @type {WeakMap<HTMLElement, View>} */
const views = new WeakMap();

/** The one view of a stage, for all scripts of a page. @param {HTMLElement} stage @param {number} width @param {number} height */
export function viewOf(stage, width, height) {
  const view = views.get(stage) ?? new View(stage, width, height);
  views.set(stage, view);
  return view;
}
