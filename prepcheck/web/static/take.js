// @ts-check
/**
 * Taking photos: what the camera or the file chooser gives goes into the box on the phone first, and is sent from there.
 * Works on the forms of `parts.html` and `photo.html`; their hooks are told there.
 */

import { newKey, openBox } from "./box.js";
import { fillIn, install, remember } from "./offline.js";
import { Queue } from "./queue.js";
import { showQueue } from "./queue_view.js";
import { Draft, thumbnails } from "./draft.js";

/** @typedef {import("./box.js").Shot} Shot */

const MOST_OF_A_SET = 6;
const LEAST_OF_A_SET = 2;
const MOST_NAME = 100;

/** @param {HTMLFormElement} form @param {string} name */
function field(form, name) {
  const found = form.elements.namedItem(name);
  return found instanceof HTMLInputElement || found instanceof HTMLTextAreaElement ? found.value.trim() : "";
}

/** @param {HTMLFormElement} form @returns {number | undefined} */
function number(form, name) {
  const value = Number(field(form, name).replace(",", "."));
  return value > 0 ? value : undefined;
}

/** The fields beside the photo are filled in well. @param {HTMLFormElement} form */
function filled(form) {
  const fields = [...form.elements].filter((one) => one instanceof HTMLInputElement && one.type !== "file");
  return fields.every((one) => /** @type {HTMLInputElement} */ (one).reportValidity());
}

/**
 * A shot of what the form says.
 * @param {HTMLFormElement} form @param {File[]} files @param {string} person @param {"draft"|"waiting"} state
 * @returns {{shot: Shot, bytes: Map<string, Blob>}}
 */
export function shotOf(form, files, person, state) {
  const bytes = new Map(files.map((file) => [newKey(), file]));
  const pieces = [...bytes].map(([key, file]) => ({ key, name: named(file), bytes: file.size }));
  const film = files.some((file) => file.type.startsWith("video/"));
  const kind = film ? "clip" : files.length > 1 || state === "draft" ? "set" : "photo";
  const told = { job: field(form, "job"), spot: field(form, "spot"), pass_no: Number(field(form, "pass_no")) };
  const more = { note: field(form, "note") || undefined, mm_per_px: number(form, "mm_per_px") };
  return { shot: { key: newKey(), kind, ...told, ...more, person, pieces, state, taken: new Date().toISOString() }, bytes };
}

/** A name that the log takes: not empty, not endless. @param {File} file */
function named(file) {
  const dot = file.name.lastIndexOf(".");
  return file.name.length <= MOST_NAME ? file.name || "photo" : file.name.slice(0, MOST_NAME / 2) + file.name.slice(dot).slice(0, 10);
}

/** @param {HTMLFormElement} form @param {string} words */
function say(form, words) {
  const place = form.querySelector("[data-take-status]");
  if (place && place.textContent !== words) place.textContent = words;
}

/** Send one photo or clip at once. @param {HTMLFormElement} form @param {File[]} files @param {Queue} queue */
async function sendNow(form, files, queue) {
  const { shot, bytes } = shotOf(form, files, queue.person, "waiting");
  const kept = await queue.put(shot, bytes);
  queue.awaited = Number(kept.order);
  form.querySelector("[data-take-status]")?.scrollIntoView({ block: "nearest" });
  remember({ person: shot.person, job: shot.job, spot: shot.spot, pass_no: String(shot.pass_no) });
}

/** @param {HTMLFormElement} form @param {Queue} queue */
async function wire(form, queue) {
  const files = /** @type {HTMLInputElement} */ (form.querySelector("[data-take-files]"));
  files.required = false; // what is in the box counts, not what is in the field
  const draft = field(form, "kind") === "set" ? await Draft.of(field(form, "job"), field(form, "spot"), queue) : null;
  const show = () => draft && thumbnails(form, draft);
  const take = async () => {
    const chosen = [...(files.files ?? [])];
    if (chosen.length === 0 || !filled(form)) return;
    files.value = ""; // at once, so that nothing takes them a second time
    const room = MOST_OF_A_SET - (draft?.length ?? 0);
    if (chosen.length > room) say(form, `A set has at most ${MOST_OF_A_SET} photos: the last ${chosen.length - room} were left out.`);
    if (draft) await draft.add(form, chosen.slice(0, room), shotOf);
    else await sendNow(form, chosen.slice(0, 1), queue);
    await show();
  };
  form.addEventListener("change", take); // of another field too, which may have kept a photo from being taken
  files.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault(); // not to send an empty form
    files.click();
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!draft) return files.click();
    if (draft.length < LEAST_OF_A_SET) return say(form, `A set needs ${LEAST_OF_A_SET} to ${MOST_OF_A_SET} photos; ${draft.length} so far.`);
    if (!filled(form)) return;
    queue.awaited = await draft.send(form, shotOf);
    form.querySelector("[data-take-status]")?.scrollIntoView({ block: "nearest" });
    await show();
  });
  const button = /** @type {HTMLElement | null} */ (form.querySelector("[data-take-send]"));
  if (button) button.hidden = !draft; // one photo is sent as soon as it is taken
  await show();
  await take(); // what was chosen before this script had come
}

/** Show the result of the shot taken here. @param {Event} event @param {Queue} queue */
function arrived(event, queue) {
  const shot = /** @type {CustomEvent<Shot>} */ (event).detail;
  if (shot.order === queue.awaited && shot.state === "done") location.assign(`/inspections/${shot.inspection}`);
}

/** @param {HTMLFormElement[]} forms @param {Queue} queue */
function shown(forms, queue) {
  let busy = false;
  let again = false;
  return async () => {
    again = true;
    if (busy) return;
    busy = true;
    while (again) {
      again = false;
      await showQueue(forms, queue);
    }
    busy = false;
  };
}

async function start() {
  const forms = /** @type {HTMLFormElement[]} */ ([...document.querySelectorAll("form[data-take]")]);
  fillIn(forms);
  const queue = new Queue(await openBox(), document.documentElement.dataset.person ?? "");
  queue.addEventListener("sent", (event) => arrived(event, queue));
  const show = shown(forms, queue);
  queue.addEventListener("change", show);
  addEventListener("beforeunload", (event) => queue.box.durable || event.preventDefault());
  addEventListener("pageshow", (event) => event.persisted && queue.nudge());
  for (const form of forms) await wire(form, queue);
  await show();
  document.documentElement.dataset.ready = "take";
  install();
  await queue.run();
}

start();
