// @ts-check
/** Says what a reading means while it is typed. Hooks: readings.html. Nothing is logged by this. */

import { ask } from "./wire.js";

const PAUSE_MS = 350;
const LEADS = { hold: "Held up", warn: "Mind", note: "Note" };
const AWAY = "The limits cannot be looked up now: no answer from the shop's computer.";

/** @param {HTMLFormElement} form @returns {Record<string, number | string>} what is filled in */
export function readings(form) {
  const told = [...new FormData(form)].filter(([, value]) => typeof value === "string" && value.trim() !== "");
  return Object.fromEntries(told.map(([name, value]) => [name, numeric(String(value).trim())]));
}

/** @param {string} text */
function numeric(text) {
  const value = Number(text.replace(",", "."));
  return Number.isFinite(value) ? value : text;
}

/** @param {{weight: string, text: string, source?: string}} remark */
function said(remark) {
  const line = document.createElement("p");
  line.className = remark.weight;
  const lead = LEADS[/** @type {keyof typeof LEADS} */ (remark.weight)] ?? "Note";
  line.append(Object.assign(document.createElement("strong"), { className: "lead", textContent: lead }), remark.text);
  if (remark.source) line.append(" ", Object.assign(document.createElement("span"), { className: "source", textContent: remark.source }));
  return line;
}

/** @param {HTMLFormElement} form */
function start(form) {
  const place = /** @type {HTMLElement} */ (form.querySelector("[data-limits-said]"));
  let timer = 0;
  let asked = 0;
  const check = async () => {
    const mine = ++asked;
    const lines = await remarks(form);
    if (mine === asked) place.replaceChildren(...lines); // an older answer that comes late is not shown
  };
  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(check, PAUSE_MS);
  });
}

/** @param {HTMLFormElement} form */
async function remarks(form) {
  const json = { job: form.dataset.job, readings: readings(form) };
  try {
    const answer = await ask("POST", form.dataset.limits ?? "/api/readings/check", { json, patience: 8000 });
    return (answer.remarks ?? []).map(said);
  } catch (fault) {
    const words = /** @type {any} */ (fault).body ? /** @type {Error} */ (fault).message : AWAY;
    return [said({ weight: "note", text: words })];
  }
}

for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (document.querySelectorAll("form[data-limits]"))) start(form);
