// @ts-check
/**
 * Lines drawn with a finger.
 *
 * @typedef {import("./view.js").Place} Place
 */

/**
 * Leave out the places that move a line by no more than `most` (Ramer 1972, Douglas and Peucker 1973).
 * @param {Place[]} line @param {number} most @returns {Place[]}
 */
export function simple(line, most) {
  if (line.length < 3) return line;
  const [first, last] = [line[0], line[line.length - 1]];
  let far = 0;
  let at = 0;
  for (let k = 1; k < line.length - 1; k++) {
    const off = distance(line[k], first, last);
    if (off > far) [far, at] = [off, k];
  }
  if (far <= most) return [first, last];
  return [...simple(line.slice(0, at + 1), most).slice(0, -1), ...simple(line.slice(at), most)];
}

/** How far a place lies from a straight piece. @param {Place} at @param {Place} one @param {Place} other */
export function distance(at, one, other) {
  const [dx, dy] = [other.x - one.x, other.y - one.y];
  const length = dx * dx + dy * dy;
  const along = length ? Math.min(1, Math.max(0, ((at.x - one.x) * dx + (at.y - one.y) * dy) / length)) : 0;
  return Math.hypot(at.x - one.x - along * dx, at.y - one.y - along * dy);
}

/** The area inside a closed outline, by the shoelace formula. @param {Place[]} line */
export function area(line) {
  const twice = line.reduce((sum, one, k) => {
    const next = line[(k + 1) % line.length];
    return sum + one.x * next.y - next.x * one.y;
  }, 0);
  return Math.abs(twice) / 2;
}

/** Its length from end to end. @param {Place[]} line */
export function length(line) {
  return line.slice(1).reduce((sum, one, k) => sum + Math.hypot(one.x - line[k].x, one.y - line[k].y), 0);
}

/** Whether two pieces of a closed outline cross. @param {Place[]} line */
export function crosses(line) {
  const pieces = line.map((one, k) => [one, line[(k + 1) % line.length]]);
  return pieces.some((piece, k) =>
    pieces.some((other, j) => j > k + 1 && !(k === 0 && j === pieces.length - 1) && cross(piece, other)),
  );
}

/** @param {Place[]} one @param {Place[]} other */
function cross([a, b], [c, d]) {
  const turn = (/** @type {Place} */ p, /** @type {Place} */ q, /** @type {Place} */ r) =>
    Math.sign((q.x - p.x) * (r.y - p.y) - (q.y - p.y) * (r.x - p.x));
  return turn(a, b, c) * turn(a, b, d) < 0 && turn(c, d, a) * turn(c, d, b) < 0;
}
