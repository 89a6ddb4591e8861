// @ts-check
/** Compares two passes: the later photo over the earlier one, as far as the slider is drawn. Hooks: spot.html. */

/** @param {HTMLElement} pair */
function start(pair) {
  const find = (/** @type {string} */ hook) => /** @type {HTMLElement | null} */ (pair.querySelector(`[data-slider-${hook}]`));
  const [a, b, range, label] = [find("a"), find("b"), /** @type {HTMLInputElement | null} */ (find("range")), find("label")];
  if (!a || !b || !range || pair.dataset.laid !== "yes") return; // two views that do not lie on each other stay side by side
  const stage = document.createElement("div");
  stage.className = "stage";
  stage.dataset.sliderStage = "";
  a.before(stage);
  const edge = document.createElement("div");
  Object.assign(edge.style, { position: "absolute", inset: "0 auto 0 0", width: "4px", background: "#fff", outline: "1px solid #10151d" });
  stage.append(a, b, edge);
  b.classList.add("over");
  Object.assign(b.style, { height: "100%", objectFit: "contain" });
  pair.classList.remove("pair");
  if (label) label.hidden = false;
  range.hidden = false;
  const show = () => {
    edge.style.left = `calc(${100 - Number(range.value)}% - 2px)`;
    b.style.clipPath = `inset(0 0 0 ${100 - Number(range.value)}%)`;
    range.setAttribute("aria-valuetext", `${range.value} % of the later photo`);
  };
  range.addEventListener("input", show);
  follow(stage, range, show);
  show();
}

/** The edge follows a finger on the photo too. @param {HTMLElement} stage @param {HTMLInputElement} range @param {() => void} show */
function follow(stage, range, show) {
  stage.style.touchAction = "pan-y";
  const move = (/** @type {PointerEvent} */ event) => {
    if (event.buttons === 0) return;
    const box = stage.getBoundingClientRect();
    range.value = String(Math.round(100 - (100 * (event.clientX - box.left)) / box.width));
    show();
  };
  stage.addEventListener("pointerdown", move);
  stage.addEventListener("pointermove", move);
  stage.addEventListener("dragstart", (event) => event.preventDefault());
}

for (const pair of document.querySelectorAll("[data-slider]")) start(/** @type {HTMLElement} */ (pair));
