// @ts-check
/** Talks to the shop's computer: what may be tried again, what needs a person, and how long to wait in between. */

/** The shop's computer did not answer, or asked to wait. Trying again helps. */
export class Away extends Error {
  /** @param {string} message @param {number} after seconds to wait at least */
  constructor(message, after = 0) {
    super(message);
    this.after = after;
  }
}

/** Nobody is signed in any more. The photos are kept. */
export class SignedOut extends Error {}

/** The shop's computer will not take it, and says why. Trying again does not help. */
export class Refused extends Error {
  /** @param {number} status @param {string} code @param {string} message @param {any} body */
  constructor(status, code, message, body) {
    super(message);
    this.status = status;
    this.code = code;
    this.body = body;
  }
}

const AGAIN = new Set([408, 425, 429, 500, 502, 503, 504, 507]);
const PATIENCE_MS = 60000;

/**
 * Ask the server; JSON in, JSON out.
 * @param {string} method @param {string} path
 * @param {{json?: unknown, body?: Blob, headers?: Record<string, string>, patience?: number}} told
 * @returns {Promise<any>}
 */
export async function ask(method, path, told = {}) {
  const headers = { Accept: "application/json", ...told.headers };
  if (told.json !== undefined) headers["Content-Type"] = "application/json";
  const body = told.json === undefined ? told.body : JSON.stringify(told.json);
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), told.patience ?? PATIENCE_MS);
  let answer, text;
  try {
    answer = await fetch(path, { method, headers, body, signal: stop.signal, redirect: "manual", cache: "no-store" });
    text = await answer.text();
  } catch {
    throw new Away("No answer from the shop's computer.");
  } finally {
    clearTimeout(timer);
  }
  return read(answer, text);
}

/** @param {Response} answer @param {string} text */
function read(answer, text) {
  const body = parsed(text);
  if (answer.ok && body !== undefined) return body;
  const said = body?.error?.message ?? `The shop's computer answered ${answer.status}.`;
  if (answer.type === "opaqueredirect" || answer.status === 401) throw new SignedOut(`${body?.error?.message ?? "Nobody is signed in."} Then it is sent.`);
  if (answer.ok || AGAIN.has(answer.status)) throw new Away(said, Number(answer.headers.get("Retry-After")) || 0);
  throw new Refused(answer.status, body?.error?.code ?? "", said, body);
}

/** @param {string} text @returns {any} undefined when it is no JSON */
function parsed(text) {
  try {
    return text === "" ? {} : JSON.parse(text);
  } catch {
    return undefined;
  }
}

/** How long to wait before try number `tries` (from 1): 1, 2, 4 .. 30 s, some sooner, so that phones do not call all at once. */
export function pause(tries, random = Math.random()) {
  return Math.min(30000, 1000 * 2 ** Math.min(tries - 1, 10)) * (0.75 + 0.25 * random);
}

/**
 * Wait, or until the network is back or a person is.
 * @param {number} ms @param {EventTarget=} nudge dispatch "nudge" on it to go on at once
 */
export function wait(ms, nudge) {
  return new Promise((resolve) => {
    const stop = new AbortController();
    const go = () => (stop.abort(), clearTimeout(timer), resolve(undefined));
    const timer = setTimeout(go, ms);
    addEventListener("online", go, { signal: stop.signal });
    document.addEventListener("visibilitychange", () => document.hidden || go(), { signal: stop.signal });
    nudge?.addEventListener("nudge", go, { signal: stop.signal });
  });
}
