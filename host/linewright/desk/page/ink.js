// Strokes on a canvas: a cached image follows the view at once and is redrawn in pieces.

import { last_not_above } from "./strokes.js";

/** @typedef {import("./strokes.js").Strokes} Strokes */
/** @typedef {{colour: string, width_mm: number}} Pen */
/** @typedef {{scale: number, x: number, y: number}} View px of the screen = scale * mm + x, y */

/** Vertices per frame at first; adapted to the duration of frames. */
const FIRST_PIECE = 20_000;
const LEAST_PIECE = 2_000;
const MOST_PIECE = 120_000;

/** A frame that takes longer makes the next piece smaller, ms; at 60 frames/s a frame has 16.7 ms. */
const LONG_FRAME_MS = 20;

/** The same limit while the view does not change, ms. */
const LONG_FRAME_STILL_MS = 60;

/**
 * Margin of the cached image beyond the window on each side, as a share of the window, so that panning shows no edge.
 */
const BEYOND = 0.2;

/** After this time without a change of the view the image is redrawn sharply, ms. */
const STILL_MS = 120;

/** Largest scaling of the cached image while the view changes; beyond it a new image is begun. */
const STRETCHED = 1.8;

/** Smallest line width on the screen, px; thinner lines look faint. */
const THINNEST_PX = 0.7;

/** Vertices per path: in longer paths the canvas needs more time per vertex. */
const PATH = 3000;

const SPEED_COLOURS = ["#20307a", "#2b4fb0", "#3276b8", "#3a9a9a", "#6aa84f", "#b8a02e", "#d27a1e", "#c4471c"];

/** @param {number} share 0 standing, 1 the fastest @returns {string} */
export function speed_colour(share) {
  return SPEED_COLOURS[Math.min(SPEED_COLOURS.length - 1, Math.max(0, Math.floor(share * SPEED_COLOURS.length)))];
}

/**
 * Draws at most `most` vertices of strokes, beginning at vertex `from`.
 *
 * @param {CanvasRenderingContext2D} pencil its transform is from mm
 * @param {Strokes} strokes
 * @param {Pen[]} pens
 * @param {{scale: number, from: number, to: number, most: number, only?: (stroke: number) => boolean,
 *   window_mm?: number[], fastest?: number}} how
 *   `from`, `to`: vertices of the whole, `to` not included; `window_mm`: strokes outside are skipped; `fastest`:
 *   colours show speed as a share of it
 * @returns {number} the vertex to continue from; `to` if all is drawn
 */
export function draw(pencil, strokes, pens, how) {
  const level = strokes.level(how.scale);
  const { points, starts, source } = level;
  let left = Math.floor(how.most);
  let open = 0;
  let pen = -1;
  let begun = false;
  const first = last_not_above(strokes.starts, how.from, strokes.count - 1);
  const [x0, y0, x1, y1] = how.window_mm ?? [-Infinity, -Infinity, Infinity, Infinity];
  pencil.lineCap = "round";
  pencil.lineJoin = "round";
  const finish = () => {
    if (begun) pencil.stroke();
    begun = false;
    open = 0;
  };
  for (let stroke = first; stroke < strokes.count; stroke += 1) {
    const begins = strokes.starts[stroke];
    if (begins >= how.to) break;
    if (left <= 0) {
      finish();
      return begins;
    }
    if (how.only && !how.only(stroke)) continue;
    const last = starts[stroke + 1] - 1;
    let i = starts[stroke];
    if (begins < how.from) i = source ? starts[stroke] + after(source, starts[stroke], last, how.from) : how.from;
    let end = last;
    if (strokes.starts[stroke + 1] > how.to) {
      end = source ? starts[stroke] + after(source, starts[stroke], last, how.to - 1) : how.to - 1;
    }
    let next = -1; // vertex to continue from if the stroke exceeds the limit
    if (end - i > left) {
      end = i + left;
      next = (source ? source[end] : end) + 1;
    }
    left -= end - i + 1;
    if (!touches(points, i, end, x0, y0, x1, y1)) {
      if (next < 0) continue;
      finish();
      return next;
    }
    if (strokes.pen[stroke] !== pen) {
      finish();
      pen = strokes.pen[stroke];
      const one = pens[pen] ?? pens.find(Boolean);
      pencil.strokeStyle = one?.colour ?? "#000";
      pencil.lineWidth = Math.max(one?.width_mm ?? 0.5, THINNEST_PX / how.scale);
    }
    if (how.fastest && strokes.speeds) {
      draw_speeds(pencil, strokes, level, i, end, how.fastest);
    } else {
      if (!begun) pencil.beginPath();
      begun = true;
      pencil.moveTo(points[2 * i], points[2 * i + 1]);
      if (end === i) pencil.lineTo(points[2 * i], points[2 * i + 1]); // a dot
      for (let k = i + 1; k <= end; k += 1) pencil.lineTo(points[2 * k], points[2 * k + 1]);
      open += end - i + 1;
      if (open > PATH) finish();
    }
    if (next >= 0) {
      finish();
      return next;
    }
  }
  finish();
  return how.to;
}

/**
 * Offset from `begins` of the last entry that is at most `vertex`.
 *
 * @param {Uint32Array} source
 * @param {number} begins
 * @param {number} last
 * @param {number} vertex
 */
function after(source, begins, last, vertex) {
  return Math.max(0, last_not_above(source.subarray(begins, last + 1), vertex));
}

/** @param {Float32Array} points @param {number} i @param {number} end
 * @param {number} x0 @param {number} y0 @param {number} x1 @param {number} y1 */
function touches(points, i, end, x0, y0, x1, y1) {
  let [left, top, right, foot] = [true, true, true, true]; // all points are on that side of the window
  for (let k = i; k <= end; k += 1) {
    const x = points[2 * k];
    const y = points[2 * k + 1];
    if (x >= x0) left = false;
    if (y >= y0) top = false;
    if (x <= x1) right = false;
    if (y <= y1) foot = false;
    if (!left && !top && !right && !foot) return true;
  }
  return !(left || top || right || foot);
}

/** @param {CanvasRenderingContext2D} pencil @param {Strokes} strokes @param {import("./strokes.js").Level} level
 * @param {number} i @param {number} end @param {number} fastest */
function draw_speeds(pencil, strokes, level, i, end, fastest) {
  const { points, source } = level;
  const speeds = /** @type {Float32Array} */ (strokes.speeds);
  let colour = "";
  for (let k = i; k < end; k += 1) {
    const next = speed_colour(speeds[source ? source[k + 1] : k + 1] / fastest);
    if (next !== colour) {
      if (colour) pencil.stroke();
      colour = next;
      pencil.strokeStyle = colour;
      pencil.beginPath();
      pencil.moveTo(points[2 * k], points[2 * k + 1]);
    }
    pencil.lineTo(points[2 * k + 2], points[2 * k + 3]);
  }
  if (colour) pencil.stroke();
}

/**
 * Content of a layer.
 *
 * @typedef {{strokes: Strokes, pens: Pen[], to: number, only?: (stroke: number) => boolean, name: string,
 *   fastest?: number}} Shown
 *   `to`: vertices, from the first; `name`: changes with anything but `to`
 */

/**
 * A cached image of strokes, slightly larger than the window; it follows the view at once and is redrawn sharply in
 * pieces.
 */
export class InkLayer {
  constructor() {
    this.front = document.createElement("canvas");
    this.back = document.createElement("canvas");
    /** @type {View | null} */
    this.view = null; // of the front
    /** @type {{view: View, beyond: {x: number, y: number}, window: {width: number, height: number}, at: number, shown: Shown} | null} */
    this.work = null;
    this.beyond = { x: 0, y: 0 }; // margin of `front` beyond its window, px
    this.window = { width: 0, height: 0 };
    this.at = 0; // vertices drawn on the front
    this.name = "";
    this.piece = FIRST_PIECE;
    /** @type {View | null} */
    this.seen = null; // view of the last step
    this.changed_ms = 0;
  }

  /**
   * The work of one frame.
   *
   * @param {Shown | null} shown
   * @param {View} view
   * @param {{width: number, height: number}} window px
   * @param {number} frame_ms how long the last frame took
   * @param {number} now_ms
   * @returns {boolean} whether there is more to do
   */
  step(shown, view, window, frame_ms, now_ms) {
    if (!shown) {
      this.view = null;
      this.work = null;
      this.name = "";
      return false;
    }
    if (!this.seen || this.seen.scale !== view.scale || this.seen.x !== view.x || this.seen.y !== view.y) {
      this.seen = view;
      this.changed_ms = now_ms;
    }
    const still = now_ms - this.changed_ms > STILL_MS;
    if (this.work || this.view === null) {
      const factor = frame_ms > (still ? LONG_FRAME_STILL_MS : LONG_FRAME_MS) ? 0.7 : 1.2;
      this.piece = Math.min(MOST_PIECE, Math.max(LEAST_PIECE, this.piece * factor));
    }
    const same_window = this.window.width === window.width && this.window.height === window.height;
    const fitting = this.view !== null && same_window && fits(this.view, view, window, still ? 1 : STRETCHED);
    const sharp = fitting && this.view?.scale === view.scale;
    const other = this.name !== shown.name || this.at > shown.to;
    if (this.work && (this.work.shown.name !== shown.name || this.work.at > shown.to)) this.work = null;
    if (!this.work && (!fitting || other)) {
      const beyond = { x: Math.round(window.width * BEYOND), y: Math.round(window.height * BEYOND) };
      this.back.width = window.width + 2 * beyond.x;
      this.back.height = window.height + 2 * beyond.y;
      this.work = { view: { ...view }, beyond, window: { ...window }, at: 0, shown };
    }
    if (this.work) {
      this.work.shown = shown;
      this.work.at = this.more(this.back, this.work.view, this.work.beyond, shown, this.work.at);
      if (this.work.at < shown.to) return true;
      [this.front, this.back] = [this.back, this.front];
      ({ view: this.view, beyond: this.beyond, window: this.window } = this.work);
      this.at = shown.to;
      this.name = shown.name;
      this.work = null;
      return this.view.scale !== view.scale || !fits(this.view, view, window, 1);
    }
    if (this.at < shown.to && this.view) {
      this.at = this.more(this.front, this.view, this.beyond, shown, this.at);
      return this.at < shown.to || !sharp;
    }
    return !sharp; // redrawn sharply once the view is still
  }

  /** @private @param {HTMLCanvasElement} canvas @param {View} view @param {{x: number, y: number}} beyond
   * @param {Shown} shown @param {number} from */
  more(canvas, view, beyond, shown, from) {
    const pencil = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    const [x, y] = [view.x + beyond.x, view.y + beyond.y];
    pencil.setTransform(view.scale, 0, 0, view.scale, x, y);
    const window_mm = [-x, -y, canvas.width - x, canvas.height - y].map((px) => px / view.scale);
    return draw(pencil, shown.strokes, shown.pens, {
      scale: view.scale,
      from: Math.max(0, from - 1), // from the last vertex of the previous piece
      to: shown.to,
      most: this.piece,
      only: shown.only,
      fastest: shown.fastest,
      window_mm,
    });
  }

  /**
   * Paints the cached image, moved and scaled to the view.
   *
   * @param {CanvasRenderingContext2D} pencil its transform is in px
   * @param {View} view
   */
  paint(pencil, view) {
    if (!this.view) return;
    const ratio = view.scale / this.view.scale;
    const [x, y] = [view.x - this.view.x * ratio, view.y - this.view.y * ratio];
    pencil.drawImage(
      this.front,
      x - this.beyond.x * ratio,
      y - this.beyond.y * ratio,
      this.front.width * ratio,
      this.front.height * ratio,
    );
  }
}

/**
 * Whether a cached image fills the window.
 *
 * @param {View} kept
 * @param {View} view
 * @param {{width: number, height: number}} window px
 * @param {number} stretched largest factor of enlargement or reduction
 */
function fits(kept, view, window, stretched) {
  const ratio = view.scale / kept.scale;
  if (ratio > stretched || ratio < 1 / stretched) return false;
  const [left, top] = [view.x - kept.x * ratio, view.y - kept.y * ratio];
  const beyond = { x: window.width * BEYOND * ratio, y: window.height * BEYOND * ratio };
  const [right, foot] = [left + window.width * ratio + beyond.x, top + window.height * ratio + beyond.y];
  return left <= beyond.x && top <= beyond.y && right >= window.width && foot >= window.height;
}
