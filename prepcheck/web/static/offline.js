// @ts-check
/**
 * What a phone remembers so that photos can be taken while nothing answers: who was signed in last, and the spot that was
 * photographed last. And the service worker, where the phone trusts the shop's certificate.
 *
 * @typedef {{person: string, job: string, spot: string, pass_no: string}} Last
 */

const KEY = "prepcheck-last";
const WORKER = "/sw.js";

/** @returns {Last | null} */
export function last() {
  try {
    return JSON.parse(localStorage.getItem(KEY) ?? "null");
  } catch {
    return null;
  }
}

/** @param {Last} told */
export function remember(told) {
  try {
    localStorage.setItem(KEY, JSON.stringify(told));
  } catch {
    // private mode: nothing to remember
  }
}

/** Fill the form of the offline page with the spot of last time. @param {HTMLFormElement[]} forms */
export function fillIn(forms) {
  const told = last();
  if (!told || document.documentElement.dataset.offline === undefined) return;
  document.documentElement.dataset.person = told.person;
  for (const form of forms) {
    for (const name of /** @type {const} */ (["job", "spot", "pass_no"])) {
      const field = form.elements.namedItem(name);
      if (field instanceof HTMLInputElement) field.value = told[name];
    }
  }
}

/** Let the phone open without a network next time. Fails where the certificate is not trusted; then nothing changes. */
export async function install() {
  if (location.protocol !== "https:" || !("serviceWorker" in navigator)) return;
  await navigator.serviceWorker.register(WORKER, { scope: "/" }).catch(() => undefined);
  await navigator.storage?.persist?.().catch(() => false);
}
