// The table without strokes: reach, rails, rulers, paper, pen.

/** @typedef {import("./ink.js").View} View */
/** @typedef {{[name: string]: string}} Colours */

/** Smallest distance of ruler ticks, px. */
const TICK_PX = 7;
const STEPS_MM = [1, 2, 5, 10, 20, 50, 100, 200, 500];

/**
 * @param {CanvasRenderingContext2D} pencil in px of the page
 * @param {View} view
 * @param {any} reach see docs/DESK.md, as `sheet`
 * @param {any} sheet
 * @param {Colours} colours
 */
export function draw_table(pencil, view, reach, sheet, colours) {
  const at = (/** @type {number} */ mm) => mm * view.scale;
  const [x0, y0, x1, y1] = box_on_screen(view, reach.box_mm);
  // Rails: two, at the sides of the reach; the beam lies across them.
  pencil.strokeStyle = colours.rail;
  pencil.lineWidth = 1;
  for (const side of [x0 - 14, x1 + 14]) {
    pencil.strokeRect(Math.round(side - 3) + 0.5, Math.round(y0 - 16) + 0.5, 6, Math.round(y1 - y0 + 32));
  }
  pencil.strokeStyle = colours.quiet;
  pencil.strokeRect(Math.round(x0) + 0.5, Math.round(y0) + 0.5, Math.round(x1 - x0), Math.round(y1 - y0));
  rulers(pencil, view, reach.box_mm, colours);

  const [left, top, right, foot] = box_on_screen(view, [0, 0, sheet.width_mm, sheet.height_mm]);
  for (const [spread, strength] of [[7, 0.05], [4, 0.07], [1.5, 0.1]]) {
    pencil.fillStyle = `rgb(30 22 8 / ${strength * Number(colours.shadow)})`;
    round_box(pencil, left - spread + 2, top - spread + 5, right - left + 2 * spread, foot - top + 2 * spread, spread + 2);
  }
  pencil.fillStyle = colours.paper;
  pencil.fillRect(left, top, right - left, foot - top);
  if (sheet.margin_mm > 0) {
    const m = at(sheet.margin_mm);
    pencil.strokeStyle = colours.margin;
    pencil.setLineDash([2, 5]);
    pencil.strokeRect(left + m, top + m, right - left - 2 * m, foot - top - 2 * m);
    pencil.setLineDash([]);
  }
}

/** @param {View} view @param {number[]} box mm @returns {number[]} px */
export function box_on_screen(view, [x0, y0, x1, y1]) {
  return [x0 * view.scale + view.x, y0 * view.scale + view.y, x1 * view.scale + view.x, y1 * view.scale + view.y];
}

/** @param {CanvasRenderingContext2D} pencil @param {number} x @param {number} y @param {number} width
 * @param {number} height @param {number} radius */
function round_box(pencil, x, y, width, height, radius) {
  pencil.beginPath();
  pencil.roundRect(x, y, width, height, radius);
  pencil.fill();
}

/**
 * Millimetres along the upper and the left edge of the reach.
 *
 * @param {CanvasRenderingContext2D} pencil
 * @param {View} view
 * @param {number[]} box mm
 * @param {Colours} colours
 */
function rulers(pencil, view, box, colours) {
  const step = STEPS_MM.find((mm) => mm * view.scale >= TICK_PX) ?? 1000;
  const named = STEPS_MM.find((mm) => mm >= 5 * step && mm * view.scale >= 44) ?? 10 * step;
  const [x0, y0] = box_on_screen(view, box);
  pencil.strokeStyle = colours.quiet;
  pencil.fillStyle = colours.faint_text;
  pencil.font = "11px system-ui, sans-serif";
  pencil.beginPath();
  for (const across of [true, false]) {
    const size = across ? box[2] - box[0] : box[3] - box[1];
    pencil.textAlign = across ? "center" : "right";
    pencil.textBaseline = across ? "alphabetic" : "middle";
    for (let mm = 0; mm <= size + 1e-6; mm += step) {
      const px = mm * view.scale;
      const long = mm % named === 0 ? 8 : 4;
      if (across) {
        pencil.moveTo(Math.round(x0 + px) + 0.5, y0);
        pencil.lineTo(Math.round(x0 + px) + 0.5, y0 - long);
        if (long === 8 && mm) pencil.fillText(String(mm), x0 + px, y0 - 11);
      } else {
        pencil.moveTo(x0, Math.round(y0 + px) + 0.5);
        pencil.lineTo(x0 - long, Math.round(y0 + px) + 0.5);
        if (long === 8 && mm) pencil.fillText(String(mm), x0 - 21, y0 + px);
      }
    }
  }
  pencil.stroke();
}

/**
 * The beam across the rails, and the pen on it.
 *
 * @param {CanvasRenderingContext2D} pencil
 * @param {View} view
 * @param {number[]} box_mm of the reach
 * @param {{x: number, y: number, down: boolean, colour: string, true: boolean}} pen mm on the sheet; `true`: the real position, not a planned one
 * @param {Colours} colours
 */
export function draw_pen(pencil, view, box_mm, pen, colours) {
  const [x0, , x1] = box_on_screen(view, box_mm);
  const [x, y] = [pen.x * view.scale + view.x, pen.y * view.scale + view.y];
  if (pen.true) {
    pencil.fillStyle = colours.beam;
    pencil.fillRect(x0 - 20, y - 7, x1 - x0 + 40, 3);
    pencil.fillRect(x0 - 20, y + 4, x1 - x0 + 40, 3);
  }
  const size = pen.down ? 7 : 11;
  for (const { width, colour } of [{ width: 5, colour: colours.halo }, { width: 2, colour: pen.colour }]) {
    pencil.strokeStyle = colour;
    pencil.lineWidth = width;
    pencil.lineCap = "round";
    pencil.beginPath();
    pencil.moveTo(x - size, y);
    pencil.lineTo(x + size, y);
    pencil.moveTo(x, y - size);
    pencil.lineTo(x, y + size);
    if (!pen.down) {
      pencil.moveTo(x + 5, y);
      pencil.arc(x, y, 5, 0, 2 * Math.PI);
    }
    pencil.stroke();
  }
}
