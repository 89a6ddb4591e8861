// @ts-check
/** Sends one shot: its files in chunks, then the request to inspect, then asks how far that is. Resumes where it stopped. */

import { Away, Refused, SignedOut, ask, wait } from "./wire.js";

/** @typedef {import("./box.js").Shot} Shot */
/** @typedef {import("./box.js").Piece} Piece */
/** @typedef {import("./box.js").Box} Box */
/** @typedef {(share: number, text: string) => void} Tell */

const LEAST_CHUNK = 64 * 1024;
const MOST_CHUNK = 4 * 1024 * 1024;
const HELD_S = 5;
const LEAST_MS = 30;
const QUICK_MS = 1000;
const SLOW_MS = 4000;
const MISSING = new Set(["unknown_page", "clash"]);
let chunk = 512 * 1024;

/** Bytes gone from the phone. */
export class Lost extends Error {}

/** The size of the next chunk after one of `size` took `ms`: about one to four seconds each. */
export function nextChunk(size, ms) {
  if (ms < QUICK_MS) return Math.min(MOST_CHUNK, size * 2);
  return ms > SLOW_MS ? Math.max(LEAST_CHUNK, size / 2) : size;
}

/**
 * Send a shot. Each step that the server answered is put down in the box before the next, so that a page that dies goes on there.
 * @param {Shot} shot @param {Box} box @param {Tell} tell
 * @returns {Promise<Shot>} with `state` done (not yet put down), choose or refused
 */
export async function send(shot, box, tell) {
  try {
    return await inspect(shot, box, tell);
  } catch (fault) {
    if (fault instanceof Away || !(fault instanceof Refused || fault instanceof Lost)) throw fault;
    return box.put({ ...shot, state: "refused", said: fault.message });
  }
}

/** @param {Shot} shot @param {Box} box @param {Tell} tell @returns {Promise<Shot>} */
async function inspect(shot, box, tell) {
  let begun = shot.pieces.every((piece) => piece.upload) ? await begin(shot).catch(unlessMissing) : null;
  if (begun === null) {
    shot = await upload(shot, box, tell);
    begun = await begin(shot);
  }
  const work = begun.inspection === undefined ? await follow(begun.work, tell) : begun;
  const end = concluded(shot, work);
  return end.state === "done" ? end : box.put(end);
}

/**
 * Ask for the inspection; with the same key it is the same one. Another page of this phone may have signed somebody else in
 * meanwhile, in whose name it would be logged: so it is asked who that is.
 * @param {Shot} shot @returns {Promise<any>}
 */
async function begin(shot) {
  const { session } = await ask("GET", "/api/session");
  if (session.person !== shot.person) throw new SignedOut(`${session.person || "Nobody"} is signed in now: sign in as ${shot.person} to send.`);
  const { key, kind, job, spot, pass_no, note, mm_per_px, outline } = shot;
  const uploads = shot.pieces.map((piece) => piece.upload);
  return ask("POST", "/api/inspections", { json: { key, uploads, kind, job, spot, pass_no, note, mm_per_px, outline } });
}

/** Null when the server does not have all of the files (any more): they are sent anew. @param {unknown} fault */
function unlessMissing(fault) {
  if (fault instanceof Refused && MISSING.has(fault.code)) return null;
  throw fault;
}

/** @param {Shot} shot @param {any} work @returns {Shot} */
function concluded(shot, work) {
  if (work.outlines) return { ...shot, state: "choose", outlines: work.outlines, said: work.text };
  if (work.inspection !== undefined && work.inspection !== null)
    return { ...shot, state: "done", inspection: work.inspection, said: work.text };
  return { ...shot, state: "refused", said: work.error?.message ?? work.text ?? "It could not be inspected." };
}

/** @param {Shot} shot @param {Box} box @param {Tell} tell @returns {Promise<Shot>} */
async function upload(shot, box, tell) {
  const all = shot.pieces.reduce((sum, piece) => sum + piece.bytes, 0);
  let before = 0;
  for (const [at, piece] of shot.pieces.entries()) {
    const blob = await box.bytes(piece.key);
    if (!blob) throw new Lost(`${piece.name} is no longer on this phone. Take the photo again.`);
    const sent = await uploadPiece(piece, blob, (bytes) => tell((0.9 * (before + bytes)) / all, "sending"));
    before += piece.bytes;
    shot = await box.put({ ...shot, pieces: shot.pieces.map((one, place) => (place === at ? sent : one)) });
  }
  return shot;
}

/** @param {Piece} piece @param {Blob} blob @param {(bytes: number) => void} tell @returns {Promise<Piece>} */
async function uploadPiece(piece, blob, tell) {
  let { id, offset } = await ask("POST", "/api/uploads", { json: { name: piece.name, bytes: piece.bytes, key: piece.key } });
  tell(offset);
  while (offset < piece.bytes) {
    offset = await uploadChunk(id, offset, blob);
    tell(offset);
  }
  return { ...piece, upload: id };
}

/** @param {string} id @param {number} offset @param {Blob} blob @returns {Promise<number>} the server's offset */
async function uploadChunk(id, offset, blob) {
  const start = performance.now();
  const headers = { "Upload-Offset": String(offset), "Content-Type": "application/octet-stream" };
  try {
    const body = blob.slice(offset, offset + chunk);
    const answer = await ask("PATCH", `/api/uploads/${id}`, { body, headers });
    chunk = nextChunk(chunk, performance.now() - start);
    return answer.offset;
  } catch (fault) {
    if (fault instanceof Away) chunk = nextChunk(chunk, Infinity);
    if (fault instanceof Refused && fault.status === 409) return trueOffset(id);
    return gone(fault);
  }
}

/** @param {string} id @returns {Promise<number>} */
async function trueOffset(id) {
  return (await ask("GET", `/api/uploads/${id}`).catch(gone)).offset;
}

/** What the server no longer knows is begun anew, with the same key. @param {unknown} fault @returns {never} */
function gone(fault) {
  if (fault instanceof Refused && fault.status === 404) throw new Away("Part of it has to be sent again.");
  throw fault;
}

/**
 * Ask how far a work is until it ends; the server holds each answer until something changes.
 * @param {string|number} work @param {Tell} tell @returns {Promise<any>}
 */
export async function follow(work, tell) {
  for (;;) {
    const now = await ask("GET", `/api/work/${work}?wait=${HELD_S}`).catch(gone);
    if (now.state === "done" || now.state === "failed") return now;
    tell(0.9 + 0.1 * (now.share ?? 0), now.text || "Looking");
    await wait(LEAST_MS);
  }
}
