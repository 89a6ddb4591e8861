// @ts-check
/** Asks again for what is not ready yet; the shop's computer holds each question for some seconds. */

const PAUSE_MS = 500;

setTimeout(() => location.reload(), PAUSE_MS);
