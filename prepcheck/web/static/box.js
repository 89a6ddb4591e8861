// @ts-check
/**
 * The box on the phone (IndexedDB) that holds photos until the log has them. Without it (private mode, no room) photos
 * are held in memory: they are sent all the same, but closing the page loses them, and `durable` says so.
 *
 * @typedef {object} Piece One file of a shot.
 * @property {string} key Made on the phone; the same key gives the same upload.
 * @property {string} name
 * @property {number} bytes
 * @property {string=} upload Number of the upload at the server, once known.
 *
 * @typedef {"draft"|"waiting"|"choose"|"refused"|"done"} ShotState
 *
 * @typedef {object} Shot What is to be inspected once: a photo, a set, or a clip.
 * @property {string} key Made on the phone; the same key is never logged twice.
 * @property {number=} order Place in the queue, given by the box.
 * @property {"photo"|"set"|"clip"} kind
 * @property {string} job
 * @property {string} spot
 * @property {number} pass_no
 * @property {string} person Who took it: only sent while that person is signed in.
 * @property {string=} note
 * @property {number=} mm_per_px
 * @property {number=} outline
 * @property {{number: number, outline: [number, number][]}[]=} outlines Among which a person must choose.
 * @property {Piece[]} pieces
 * @property {ShotState} state
 * @property {string} taken ISO 8601, the phone's clock.
 * @property {string=} said Last word of the server.
 * @property {number=} inspection Number in the log, once it has one.
 */

const NAME = "prepcheck";
const VERSION = 1;
const LEASE_MS = 2500;

/** A key that nobody else makes. No `crypto.randomUUID`: plain http has only `getRandomValues`. */
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** @template T @param {IDBRequest<T>} request @returns {Promise<T>} */
function answer(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** @param {IDBTransaction} work @returns {Promise<void>} */
function written(work) {
  return new Promise((resolve, reject) => {
    work.oncomplete = () => resolve();
    work.onabort = work.onerror = () => reject(work.error ?? new DOMException("not written", "AbortError"));
  });
}

/** @returns {Promise<IDBDatabase>} */
function open() {
  const request = indexedDB.open(NAME, VERSION);
  request.onupgradeneeded = () => {
    request.result.createObjectStore("shots", { keyPath: "order", autoIncrement: true });
    request.result.createObjectStore("bytes");
    request.result.createObjectStore("lease");
  };
  return answer(request);
}

/** @returns {Promise<Box>} */
export async function openBox() {
  try {
    const db = await open();
    db.onversionchange = () => db.close();
    return new Box(db);
  } catch {
    return new Box(null);
  }
}

export class Box {
  /** @param {IDBDatabase | null} db */
  constructor(db) {
    this.db = db;
    /** @type {Map<number, Shot>} Shots that the box could not take. */
    this.loose = new Map();
    /** @type {Map<string, Blob>} */
    this.looseBytes = new Map();
    this.next = 1e9;
  }

  /** Whether all that still has to be sent would outlive this page. */
  get durable() {
    return ![...this.loose.values()].some((shot) => shot.state !== "done");
  }

  /** @param {string[]} stores @param {IDBTransactionMode} mode */
  #work(stores, mode) {
    // strict: on the disk before it is called written, so that a dead battery loses nothing
    return /** @type {IDBDatabase} */ (this.db).transaction(stores, mode, { durability: "strict" });
  }

  /**
   * Put a shot with its bytes into the box, whole or not at all.
   * @param {Shot} shot @param {Map<string, Blob>} bytes by key of the piece
   * @returns {Promise<Shot>}
   */
  async put(shot, bytes = new Map()) {
    if (this.db !== null && !(shot.order !== undefined && this.loose.has(shot.order))) {
      try {
        return await this.#keep(shot, bytes);
      } catch (fault) {
        if (shot.order !== undefined && bytes.size === 0) throw fault; // it is in the box already, as it was
      }
    }
    return this.#hold(shot, bytes);
  }

  /** @param {Shot} shot @param {Map<string, Blob>} bytes @returns {Promise<Shot>} */
  async #keep(shot, bytes) {
    const work = this.#work(["shots", "bytes"], "readwrite");
    const done = written(work);
    for (const [key, blob] of bytes) work.objectStore("bytes").put(blob, key);
    const request = work.objectStore("shots").put(shot);
    await done;
    return { ...shot, order: Number(request.result) };
  }

  /** @param {Shot} shot @param {Map<string, Blob>} bytes @returns {Promise<Shot>} */
  async #hold(shot, bytes) {
    const kept = shot.order === undefined ? [] : await this.#bytesOf(shot);
    const held = { ...shot, order: shot.order ?? this.next++ };
    this.loose.set(held.order, held);
    for (const [key, blob] of [...kept, ...bytes]) this.looseBytes.set(key, blob);
    return held;
  }

  /** @param {Shot} shot @returns {Promise<[string, Blob][]>} */
  async #bytesOf(shot) {
    const found = await Promise.all(shot.pieces.map((piece) => this.bytes(piece.key)));
    return shot.pieces.flatMap((piece, at) => (found[at] ? [[piece.key, /** @type {Blob} */ (found[at])]] : []));
  }

  /** All shots, oldest first. @returns {Promise<Shot[]>} */
  async all() {
    const kept = this.db === null ? [] : await answer(this.#work(["shots"], "readonly").objectStore("shots").getAll());
    const inBox = kept.filter((/** @type {Shot} */ shot) => !this.loose.has(Number(shot.order)));
    return [...inBox, ...this.loose.values()].sort((one, other) => Number(one.order) - Number(other.order));
  }

  /** @param {string} key @returns {Promise<Blob | undefined>} */
  async bytes(key) {
    const loose = this.looseBytes.get(key);
    if (loose || this.db === null) return loose;
    return answer(this.#work(["bytes"], "readonly").objectStore("bytes").get(key));
  }

  /** Take a shot out, with its bytes, and put what is left of it in its place. @param {Shot} shot @param {Shot=} left */
  async remove(shot, left) {
    const order = Number(shot.order);
    const loose = this.loose.delete(order);
    if (loose && left) this.loose.set(order, left);
    for (const piece of shot.pieces) this.looseBytes.delete(piece.key);
    if (this.db === null) return;
    const work = this.#work(["shots", "bytes"], "readwrite");
    const done = written(work);
    work.objectStore("shots").delete(order);
    if (left && !loose) work.objectStore("shots").put(left);
    for (const piece of shot.pieces) work.objectStore("bytes").delete(piece.key);
    await done;
  }

  /**
   * Ask to be the one page that sends; holds for some seconds, and at once again for the same tab after a reload.
   * @param {string} owner @returns {Promise<boolean>}
   */
  async lease(owner) {
    if (this.db === null) return true;
    const store = this.#work(["lease"], "readwrite").objectStore("lease");
    const held = await answer(store.get("sender"));
    if (held && held.owner !== owner && held.until > Date.now()) return false;
    await answer(store.put({ owner, until: Date.now() + LEASE_MS }, "sender"));
    return true;
  }

  /** Let another page send at once. @param {string} owner */
  async release(owner) {
    if (this.db === null) return;
    const store = this.#work(["lease"], "readwrite").objectStore("lease");
    if ((await answer(store.get("sender")))?.owner === owner) await answer(store.delete("sender"));
  }
}
