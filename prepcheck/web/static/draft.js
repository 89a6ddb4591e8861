// @ts-check
/** A set that is still being taken: its photos are in the box already, so that nothing is lost before it is sent. */

/** @typedef {import("./box.js").Shot} Shot */
/** @typedef {import("./queue.js").Queue} Queue */
/** @typedef {typeof import("./take.js").shotOf} Make */

export class Draft {
  /** @param {Queue} queue @param {Shot | null} shot */
  constructor(queue, shot) {
    this.queue = queue;
    this.shot = shot;
  }

  /** The set begun for a spot, if there is one. @param {string} job @param {string} spot @param {Queue} queue */
  static async of(job, spot, queue) {
    const begun = (await queue.box.all()).find(
      (one) => one.state === "draft" && one.job === job && one.spot === spot && one.person === queue.person,
    );
    return new Draft(queue, begun ?? null);
  }

  get length() {
    return this.shot?.pieces.length ?? 0;
  }

  /** @param {HTMLFormElement} form @param {File[]} files @param {Make} make */
  async add(form, files, make) {
    const { shot, bytes } = make(form, files, this.queue.person, "draft");
    const begun = this.shot;
    this.shot = await this.queue.put(begun ? { ...begun, pieces: [...begun.pieces, ...shot.pieces] } : shot, bytes);
  }

  /** Take photo number `at` out again. @param {number} at */
  async drop(at) {
    if (!this.shot) return;
    const pieces = this.shot.pieces.filter((_, place) => place !== at);
    if (pieces.length === 0) {
      await this.queue.remove(this.shot);
      this.shot = null;
    } else this.shot = await this.queue.put({ ...this.shot, pieces });
  }

  /** Hand the set over to the queue, with what the form says now. @param {HTMLFormElement} form @param {Make} make */
  async send(form, make) {
    const { job, spot, pass_no, note, mm_per_px } = make(form, [], this.queue.person, "draft").shot;
    const begun = /** @type {Shot} */ (this.shot);
    const kept = await this.queue.put({ ...begun, job, spot, pass_no, note, mm_per_px, kind: "set", state: "waiting" });
    this.shot = null;
    return Number(kept.order);
  }
}

/** Show the photos of a set beside the hints where to hold the torch. @param {HTMLFormElement} form @param {Draft} draft */
export async function thumbnails(form, draft) {
  const list = form.querySelector("[data-take-shots]");
  while (list && list.children.length < draft.length) list.append(document.createElement("li")); // more photos than hints
  const places = [...form.querySelectorAll("[data-take-shots] > li")];
  for (const [at, place] of places.entries()) {
    place.querySelectorAll("[data-taken]").forEach((old) => free(old));
    place.toggleAttribute("data-next", at === draft.length);
    const piece = draft.shot?.pieces[at];
    const blob = piece && (await draft.queue.box.bytes(piece.key));
    if (blob) place.append(taken(blob, at, () => draft.drop(at).then(() => thumbnails(form, draft))));
  }
  const words = draft.length === 0 ? "ready" : "more";
  const button = /** @type {HTMLElement | null} */ (form.querySelector("[data-take-button]"));
  if (button?.lastChild) button.lastChild.textContent = button.dataset[words] ?? button.textContent;
}

/** @param {Element} old */
function free(old) {
  const picture = old.querySelector("img");
  if (picture) URL.revokeObjectURL(picture.src);
  old.remove();
}

/** @param {Blob} blob @param {number} at @param {() => void} drop */
function taken(blob, at, drop) {
  const box = document.createElement("div");
  box.dataset.taken = "";
  const picture = Object.assign(new Image(), { src: URL.createObjectURL(blob), alt: `Photo ${at + 1}` });
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: "Leave out" });
  button.setAttribute("aria-label", `Leave photo ${at + 1} out`);
  button.addEventListener("click", drop);
  box.append(picture, button);
  return box;
}
