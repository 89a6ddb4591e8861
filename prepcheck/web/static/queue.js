// @ts-check
/**
 * The queue of photos on this phone: one at a time, oldest first, again and again until the shop's computer has them.
 * Only one open page sends; the others show what they know of it.
 */

import { newKey } from "./box.js";
import { send } from "./send.js";
import { Away, SignedOut, pause, wait } from "./wire.js";

/** @typedef {import("./box.js").Shot} Shot */
/** @typedef {import("./box.js").Box} Box */

/** @typedef {{order: number, share: number, text: string}} Progress */

const RENEW_MS = 800;
const IDLE_MS = 20000;
const SIGN_IN_MS = 60000;
const MOST_DONE = 10;

/** Who asks for the lease: the same for a tab after a reload. */
function owner() {
  try {
    const kept = sessionStorage.getItem("prepcheck-tab") ?? newKey();
    sessionStorage.setItem("prepcheck-tab", kept);
    return kept;
  } catch {
    return newKey();
  }
}

export class Queue extends EventTarget {
  /** @param {Box} box @param {string} person who is signed in here */
  constructor(box, person) {
    super();
    this.box = box;
    this.person = person;
    this.owner = owner();
    /** @type {Progress | null} */
    this.progress = null;
    /** Order of the shot whose result is shown as soon as there is one; nothing of it stays here then. */
    this.awaited = -1;
    /** Why nothing is being sent, in words; empty while all goes well. */
    this.trouble = "";
  }

  /** @param {Shot} shot @param {Map<string, Blob>=} bytes @returns {Promise<Shot>} */
  async put(shot, bytes) {
    const kept = await this.box.put(shot, bytes);
    this.#changed();
    this.nudge();
    return kept;
  }

  /** @param {Shot} shot */
  async remove(shot) {
    await this.box.remove(shot);
    this.#changed();
  }

  /** Try at once. */
  nudge() {
    this.dispatchEvent(new Event("nudge"));
  }

  #changed() {
    this.dispatchEvent(new Event("change"));
  }

  /** Send until the page closes. */
  async run() {
    setInterval(() => this.progress && this.box.lease(this.owner).catch(() => false), RENEW_MS);
    for (let tries = 0; ; ) {
      const after = await this.#step().catch((fault) => this.#stuck(fault, ++tries));
      if (!this.trouble) tries = 0;
      if (after > 0) await wait(after, this);
    }
  }

  /** Send the next shot. @returns {Promise<number>} milliseconds until there may be another */
  async #step() {
    const shot = (await this.box.all()).find((one) => one.state === "waiting" && this.#mine(one));
    if (!shot || !this.person) {
      await this.box.release(this.owner);
      return this.#well(IDLE_MS);
    }
    if (!(await this.box.lease(this.owner))) return RENEW_MS;
    const order = Number(shot.order);
    this.#tell({ order, share: this.progress?.order === order ? this.progress.share : 0, text: "sending" });
    const sent = await send(shot, this.box, (share, text) => this.#tell({ order, share, text }));
    this.#well(0);
    if (sent.state === "done") await this.#finish(sent);
    this.dispatchEvent(new CustomEvent("sent", { detail: sent }));
    this.#changed();
    return 0;
  }

  /** @param {Shot} shot */
  #mine(shot) {
    return shot.person === this.person;
  }

  /** @param {Progress} progress */
  #tell(progress) {
    this.trouble = "";
    this.progress = progress;
    this.#changed();
  }

  /** @param {number} after */
  #well(after) {
    this.trouble = "";
    this.progress = null;
    return after;
  }

  /** @param {unknown} fault @param {number} tries */
  #stuck(fault, tries) {
    this.trouble = fault instanceof Error ? fault.message : String(fault);
    if (this.progress) this.progress = { ...this.progress, text: "waiting" };
    this.#changed();
    if (fault instanceof SignedOut) return SIGN_IN_MS;
    return Math.max(pause(tries), fault instanceof Away ? 1000 * fault.after : 0);
  }

  /** Keep that it was logged, not its bytes; nothing where its result is shown now. @param {Shot} shot */
  async #finish(shot) {
    await this.box.remove(shot, shot.order === this.awaited ? undefined : { ...shot, pieces: [] });
    const done = (await this.box.all()).filter((one) => one.state === "done");
    for (const old of done.slice(0, -MOST_DONE)) await this.box.remove(old);
  }
}
