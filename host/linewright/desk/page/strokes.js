// Strokes as flat arrays from the server, and simplified copies for small scales.

/** @typedef {{points: Float32Array, starts: Uint32Array, source: Uint32Array | null}} Level `source`: of each vertex */

const MAGIC = 0x3147574c; // "LWG1"
const TIMES = 1;
const ITEMS = 2;

/** Largest deviation of a displayed line, px; not visible. */
const STRAY_PX = 0.3;

/** Deviation of the finest simplified copy, mm; each next copy has four times as much. */
const FINEST_MM = 0.02;

const COARSER = 4;
const LEVELS = 5;

/** With fewer vertices a simplified copy saves no time. */
const WORTH_IT = 4000;

export class Strokes {
  /**
   * @param {Float32Array} points x, y of every vertex, mm
   * @param {Uint32Array} starts first vertex of each stroke; the last entry is the number of vertices
   * @param {Uint16Array} pen of each stroke
   * @param {{times?: Float32Array, speeds?: Float32Array, items?: Uint16Array}} [more] seconds and mm/s at each vertex,
   *   rising; the item of each stroke
   */
  constructor(points, starts, pen, more = {}) {
    this.points = points;
    this.starts = starts;
    this.pen = pen;
    this.times = more.times ?? null;
    this.speeds = more.speeds ?? null;
    this.items = more.items ?? null;
    /** @type {(Level | undefined)[]} */
    this.levels = [];
  }

  /**
   * @param {ArrayBuffer} buffer
   * @returns {Strokes}
   */
  static read(buffer) {
    const head = new DataView(buffer);
    if (buffer.byteLength < 16 || head.getUint32(0, true) !== MAGIC) throw new Error("these bytes are no strokes");
    const [strokes, vertices, flags] = [4, 8, 12].map((at) => head.getUint32(at, true));
    let at = 16;
    /** @param {any} Kind @param {number} count */
    const block = (Kind, count) => {
      const found = new Kind(buffer, at, count);
      at += Math.ceil((count * Kind.BYTES_PER_ELEMENT) / 4) * 4;
      return found;
    };
    const points = block(Float32Array, 2 * vertices);
    const starts = block(Uint32Array, strokes + 1);
    const pen = block(Uint16Array, strokes);
    /** @type {any} */
    const more = {};
    if (flags & TIMES) {
      more.times = block(Float32Array, vertices);
      more.speeds = block(Float32Array, vertices);
    }
    if (flags & ITEMS) more.items = block(Uint16Array, strokes);
    return new Strokes(points, starts, pen, more);
  }

  get count() {
    return this.pen.length;
  }

  get vertices() {
    return this.starts[this.count] ?? 0;
  }

  /** @returns {number[]} left, top, right, foot, mm */
  get box() {
    if (!this.found) {
      let [left, top, right, foot] = [Infinity, Infinity, -Infinity, -Infinity];
      for (let i = 0; i < this.points.length; i += 2) {
        const [x, y] = [this.points[i], this.points[i + 1]];
        if (x < left) left = x;
        if (x > right) right = x;
        if (y < top) top = y;
        if (y > foot) foot = y;
      }
      /** @private */
      this.found = left <= right ? [left, top, right, foot] : [0, 0, 1, 1];
    }
    return this.found;
  }

  /**
   * The most simplified copy that looks the same at this scale.
   *
   * @param {number} px_per_mm
   * @returns {Level}
   */
  level(px_per_mm) {
    let number = 0;
    for (let stray_mm = FINEST_MM; number < LEVELS && stray_mm * px_per_mm <= STRAY_PX; stray_mm *= COARSER) number += 1;
    if (number === 0 || this.vertices < WORTH_IT) return { points: this.points, starts: this.starts, source: null };
    return (this.levels[number] ??= coarser(this, FINEST_MM * COARSER ** (number - 1)));
  }

  /**
   * @param {number} x mm @param {number} y mm
   * @param {number} among number of strokes to search, from the first
   * @returns {number} the stroke with the nearest vertex, from 0 on; -1: there is none
   */
  nearest(x, y, among) {
    let [found, least] = [-1, Infinity];
    for (let i = 0; i < this.starts[Math.min(among, this.count)]; i += 1) {
      const away = (this.points[2 * i] - x) ** 2 + (this.points[2 * i + 1] - y) ** 2;
      if (away < least) [found, least] = [i, away];
    }
    return found < 0 ? -1 : last_not_above(this.starts, found, this.count - 1);
  }

  /**
   * Position of the pen at a time of the drawing.
   *
   * @param {number} at_s planned time
   * @returns {{vertex: number, stroke: number, x: number, y: number, down: boolean}} `vertex`: the last one passed, -1
   *   before the first; `stroke`: the one it belongs to
   */
  after(at_s) {
    const times = this.times;
    if (!times || !this.count || at_s < times[0]) {
      return { vertex: -1, stroke: -1, x: this.points[0] ?? 0, y: this.points[1] ?? 0, down: false };
    }
    const vertex = last_not_above(times, at_s);
    const stroke = last_not_above(this.starts, vertex, this.count - 1);
    const [x, y] = [this.points[2 * vertex], this.points[2 * vertex + 1]];
    if (vertex + 1 >= this.vertices) return { vertex, stroke, x, y, down: false };
    const between = times[vertex + 1] - times[vertex];
    const share = between > 0 ? (at_s - times[vertex]) / between : 0;
    return {
      vertex,
      stroke,
      x: x + share * (this.points[2 * vertex + 2] - x),
      y: y + share * (this.points[2 * vertex + 3] - y),
      down: vertex + 1 < this.starts[stroke + 1],
    };
  }
}

/**
 * @param {Float32Array | Uint32Array} rising
 * @param {number} value
 * @param {number} [high] last index looked at
 * @returns {number} the last index whose entry is not above the value; 0 where there is none
 */
export function last_not_above(rising, value, high = rising.length - 1) {
  let low = 0;
  while (low < high) {
    /** @type {number} */
    const middle = (low + high + 1) >> 1;
    if (rising[middle] <= value) low = middle;
    else high = middle - 1;
  }
  return low;
}

/**
 * Drops vertices closer than `stray_mm` to the last kept one; ends of strokes are kept.
 *
 * @param {Strokes} all
 * @param {number} stray_mm
 * @returns {Level}
 */
function coarser(all, stray_mm) {
  const { points, starts } = all;
  const kept = new Float32Array(points.length);
  const source = new Uint32Array(points.length / 2);
  const begins = new Uint32Array(starts.length);
  const least = stray_mm * stray_mm;
  let n = 0;
  for (let stroke = 0; stroke < all.count; stroke += 1) {
    begins[stroke] = n;
    const last = starts[stroke + 1] - 1;
    let x = Infinity;
    let y = Infinity;
    for (let i = starts[stroke]; i <= last; i += 1) {
      const [dx, dy] = [points[2 * i] - x, points[2 * i + 1] - y];
      if (!(dx * dx + dy * dy < least) || i === last) {
        x = points[2 * i];
        y = points[2 * i + 1];
        kept[2 * n] = x;
        kept[2 * n + 1] = y;
        source[n] = i;
        n += 1;
      }
    }
  }
  begins[all.count] = n;
  return { points: kept.slice(0, 2 * n), starts: begins, source: source.slice(0, n) };
}
