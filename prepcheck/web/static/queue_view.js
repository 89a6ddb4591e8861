// @ts-check
/** Shows the queue: a line of status, how much was sent, and a row for each photo that waits on this phone. */

/** @typedef {import("./box.js").Shot} Shot */
/** @typedef {import("./queue.js").Queue} Queue */

const NAMES = { photo: "Photo", set: "Set of photos", clip: "Clip" };
const HELD =
  "This phone cannot keep the photo (private mode, or no room left). It is being sent: leave this page open until it is.";

/** @param {HTMLFormElement[]} forms @param {Queue} queue */
export async function showQueue(forms, queue) {
  const shots = (await queue.box.all()).filter((shot) => shot.state !== "draft");
  for (const form of forms) {
    status(form, line(shots, queue));
    bar(form, shots, queue);
    rows(form, [...shots.filter(needsPerson), ...shots.filter((shot) => !needsPerson(shot))], queue);
  }
}

/** @param {Shot} shot */
const needsPerson = (shot) => shot.state === "choose" || shot.state === "refused";

/** What to say in one line. @param {Shot[]} shots @param {Queue} queue */
export function line(shots, queue) {
  const waiting = shots.filter((shot) => shot.state === "waiting");
  if (waiting.length === 0) return shots.some(needsPerson) ? "One photo needs you: see below." : "";
  const others = waiting.filter((shot) => shot.person !== queue.person);
  if (!queue.person || others.length === waiting.length)
    return `Kept on this phone: sign in as ${others[0]?.person || waiting[0].person} to send.`;
  const kept = queue.box.durable ? "The photo is kept on this phone and sent by itself." : HELD;
  if (queue.trouble) return `${queue.trouble} ${kept}`;
  return [told(queue), queue.box.durable ? "" : HELD].filter(Boolean).join(" ");
}

/** @param {Queue} queue */
function told(queue) {
  if (!queue.progress) return "Waiting to be sent.";
  const { share, text } = queue.progress;
  return text === "sending" ? `Sending ${Math.floor((share / 0.9) * 100)} %` : `${text[0].toUpperCase()}${text.slice(1)}.`;
}

/** @param {HTMLFormElement} form @param {string} words */
function status(form, words) {
  const place = form.querySelector("[data-take-status]");
  if (place && place.textContent !== words && (words || form.dataset.said)) place.textContent = words;
  form.dataset.said = words;
}

/** @param {HTMLFormElement} form @param {Shot[]} shots @param {Queue} queue */
function bar(form, shots, queue) {
  const progress = /** @type {HTMLProgressElement | null} */ (form.querySelector("[data-take-progress]"));
  if (!progress) return;
  progress.hidden = !shots.some((shot) => shot.state === "waiting");
  progress.value = queue.progress?.share ?? 0;
}

/** @param {HTMLFormElement} form @param {Shot[]} shots @param {Queue} queue */
function rows(form, shots, queue) {
  const list = /** @type {HTMLElement | null} */ (form.querySelector("[data-take-queue]"));
  if (!list) return;
  list.hidden = shots.length === 0;
  const wanted = shots.map((shot) => [String(shot.order), `${shot.state} ${shot.said ?? ""}`]);
  const now = [...list.children].map((row) => [/** @type {HTMLElement} */ (row).dataset.order, /** @type {HTMLElement} */ (row).dataset.state]);
  if (JSON.stringify(wanted) === JSON.stringify(now)) return; // so that a pressed button stays where it is
  list.replaceChildren(...shots.map((shot, at) => row(shot, wanted[at][1], queue)));
}

/** @param {Shot} shot @param {string} state @param {Queue} queue */
function row(shot, state, queue) {
  const item = document.createElement("li");
  item.dataset.order = String(shot.order);
  item.dataset.state = state;
  const time = new Date(shot.taken).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  const name = `${NAMES[shot.kind]}, ${shot.job}, spot ${shot.spot}, pass ${shot.pass_no}, ${time}`;
  item.append(...contents[shot.state](shot, name, queue));
  return item;
}

/** @type {Record<string, (shot: Shot, name: string, queue: Queue) => Node[]>} */
const contents = {
  waiting: (shot, name) => [words(`${name}: waits on this phone.`)],
  done: (shot, name, queue) => [result(shot, name, queue)],
  refused: (shot, name, queue) => [
    words(`${name}: not taken. ${shot.said ?? ""}`),
    side([
      button("Try again", () => queue.put({ ...shot, state: "waiting", said: undefined })),
      button("Throw away", () => confirm("The photo is nowhere else. Throw it away?") && queue.remove(shot)),
    ]),
  ],
  choose: (shot, name, queue) => [
    words(`${name}: several places look ground. Which one is spot ${shot.spot}?`),
    ...(shot.kind === "clip" ? [] : [map(shot, queue)]),
    side(
      (shot.outlines ?? []).map(({ number }) =>
        button(`Outline ${number}`, () => queue.put({ ...shot, outline: number, outlines: undefined, state: "waiting" })),
      ),
    ),
  ],
};

/** The photo, from the phone itself, with the outlines and their numbers. @param {Shot} shot @param {Queue} queue */
function map(shot, queue) {
  const svg = drawn("svg", { role: "img", "aria-label": `Outlines ${(shot.outlines ?? []).map((one) => one.number).join(", ")}` });
  queue.box.bytes(shot.pieces[0].key).then(async (blob) => {
    if (!blob) return;
    const photo = Object.assign(new Image(), { src: URL.createObjectURL(blob) });
    await photo.decode().catch(() => undefined);
    const [width, height] = [photo.naturalWidth || 4000, photo.naturalHeight || 3000];
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    svg.append(drawn("image", { href: photo.src, width, height }));
    for (const one of shot.outlines ?? []) svg.append(...numbered(one, width / 40));
  });
  return svg;
}

/** @param {{number: number, outline: [number, number][]}} told @param {number} size */
function numbered({ number, outline }, size) {
  const points = outline.map((at) => at.join()).join(" ");
  const [x, y] = [0, 1].map((axis) => outline.reduce((sum, at) => sum + at[axis], 0) / outline.length);
  const word = drawn("text", { x, y, "font-size": 3 * size, "text-anchor": "middle", fill: "#10151d" });
  Object.assign(word.style, { paintOrder: "stroke", stroke: "#fff", strokeWidth: `${size / 2}px`, fontWeight: "800" });
  word.textContent = String(number);
  const ring = { points, fill: "none", "stroke-linejoin": "round" };
  const paper = drawn("polygon", { ...ring, stroke: "#fff", "stroke-width": size / 2 });
  return [paper, drawn("polygon", { ...ring, stroke: "#10151d", "stroke-width": size / 4 }), word];
}

/** @param {string} name @param {Record<string, unknown>} told */
function drawn(name, told) {
  const one = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(told)) one.setAttribute(key, String(value));
  return one;
}

/** @param {Shot} shot @param {string} name @param {Queue} queue */
function result(shot, name, queue) {
  const link = Object.assign(document.createElement("a"), { className: "go", href: `/inspections/${shot.inspection}` });
  link.append(Object.assign(document.createElement("span"), { textContent: `${name}: result` }));
  link.addEventListener("click", () => queue.box.remove(shot));
  return link;
}

/** @param {string} text */
function words(text) {
  return Object.assign(document.createElement("p"), { textContent: text });
}

/** @param {Node[]} buttons */
function side(buttons) {
  const box = Object.assign(document.createElement("div"), { className: "buttons" });
  box.append(...buttons);
  return box;
}

/** @param {string} text @param {() => unknown} act */
function button(text, act) {
  const made = Object.assign(document.createElement("button"), { type: "button", textContent: text });
  made.addEventListener("click", act);
  return made;
}
