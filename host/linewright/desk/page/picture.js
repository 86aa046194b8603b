// `<desk-picture>`: strokes as a small picture.

import { draw } from "./ink.js";

/** @typedef {{strokes: import("./strokes.js").Strokes | null, pens: {colour: string, width_mm: number}[], name: string,
 *   box_mm: number[]}} PictureData `box_mm`: what is shown; `name`: changes with any of them */

/** Vertices drawn per frame. */
const PIECE = 30_000;

export class DeskPicture extends HTMLElement {
  constructor() {
    super();
    /** @type {PictureData | null} */
    this.given = null;
    this.drawn = "";
  }

  connectedCallback() {
    if (this.hasAttribute("data-own")) return;
    this.setAttribute("data-own", "");
    this.canvas = document.createElement("canvas");
    this.canvas.setAttribute("aria-hidden", "true");
    this.replaceChildren(this.canvas);
    new ResizeObserver(() => this.renew()).observe(this);
  }

  /** @param {PictureData} value */
  set data(value) {
    this.given = value;
    this.renew();
  }

  renew() {
    const [given, canvas] = [this.given, this.canvas];
    if (!given?.strokes || !canvas || !this.clientWidth) return;
    const name = `${given.name} ${this.clientWidth} ${this.clientHeight}`;
    if (name === this.drawn) return;
    this.drawn = name;
    const ratio = Math.min(2, devicePixelRatio || 1);
    [canvas.width, canvas.height] = [this.clientWidth * ratio, this.clientHeight * ratio];
    const [x0, y0, x1, y1] = given.box_mm;
    const scale = 0.94 * Math.min(canvas.width / Math.max(1, x1 - x0), canvas.height / Math.max(1, y1 - y0));
    const pencil = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    pencil.setTransform(scale, 0, 0, scale, (canvas.width - (x0 + x1) * scale) / 2, (canvas.height - (y0 + y1) * scale) / 2);
    this.more(pencil, given, scale, 0, name);
  }

  /** @param {CanvasRenderingContext2D} pencil @param {PictureData} given @param {number} scale @param {number} from
   * @param {string} name */
  more(pencil, given, scale, from, name) {
    if (this.drawn !== name || !given.strokes) return;
    const to = given.strokes.vertices;
    const next = draw(pencil, given.strokes, given.pens, { scale, from, to, most: PIECE });
    if (next < to) requestAnimationFrame(() => this.more(pencil, given, scale, next, name));
  }
}

customElements.define("desk-picture", DeskPicture);
