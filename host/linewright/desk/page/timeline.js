// `<desk-timeline>`: the time of the drawing as a ruler, divided by pens. Dragging selects a time; progress is shown while drawing.

import { h, show } from "./dom.js";
import { duration, ink_word } from "./words.js";

/**
 * @typedef {object} TimelineData
 * @property {number} total_s
 * @property {{name: string, colour: string, begins_s: number, predicted_s: number}[]} pens
 * @property {number | null} at_s selected time; null: the end
 * @property {number | null} done_s drawn so far; null: not drawing
 * @property {boolean} old the values are of the previous plan
 * @property {string} words description of the selected time
 */

/** Smallest distance of ticks, px. */
const TICK_PX = 9;
const STEPS_S = [1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 14_400, 36_000];
/** Largest width of a letter of the ruler, and the gap between labels, px. */
const LETTER_PX = 7.2;
const APART_PX = 16;
/** Half the width of the knob, px. */
const KNOB_PX = 9;

/** @param {string} text @returns {number} its approximate width on the ruler, px */
const across = (text) => text.length * LETTER_PX;

export class DeskTimeline extends HTMLElement {
  constructor() {
    super();
    /** @type {TimelineData | null} */
    this.given = null;
  }

  connectedCallback() {
    if (this.hasAttribute("data-own")) return;
    this.setAttribute("data-own", "");
    new ResizeObserver(() => this.render()).observe(this);
    this.addEventListener("pointerdown", (event) => {
      if (!this.given || this.given.done_s !== null) return;
      this.setPointerCapture(event.pointerId);
      /** @type {HTMLElement | null} */ (this.querySelector("[role=slider]"))?.focus();
      this.look(event);
    });
    this.addEventListener("pointermove", (event) => this.hasPointerCapture(event.pointerId) && this.look(event));
    this.addEventListener("keydown", (event) => this.key(event));
  }

  /** @param {TimelineData} value */
  set data(value) {
    this.given = value;
    this.render();
  }

  /** @param {number | null} at_s */
  say(at_s) {
    const total_s = this.given?.total_s ?? 0;
    const value = at_s === null || at_s >= total_s ? null : Math.max(0, at_s);
    this.dispatchEvent(new CustomEvent("desk", { bubbles: true, detail: { do: "look_at", at_s: value } }));
  }

  /** @param {PointerEvent} event */
  look(event) {
    const frame = this.getBoundingClientRect();
    this.say(((event.clientX - frame.left) / frame.width) * (this.given?.total_s ?? 0));
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const data = this.given;
    if (!data || data.done_s !== null) return;
    const now = data.at_s ?? data.total_s;
    const step = Math.max(1, data.total_s / 100);
    const to = {
      ArrowLeft: now - step, ArrowDown: now - step, ArrowRight: now + step, ArrowUp: now + step,
      PageDown: now - 10 * step, PageUp: now + 10 * step, Home: 0, End: data.total_s,
    }[event.key]; // prettier-ignore
    if (to === undefined) return;
    event.preventDefault();
    this.say(to);
  }

  render() {
    const data = this.given;
    if (!data || !this.clientWidth || !this.isConnected) return;
    const wide = this.clientWidth;
    const total_s = Math.max(0.001, data.total_s);
    const step = STEPS_S.find((s) => (s / total_s) * wide >= TICK_PX) ?? 36_000;
    const widest = (/** @type {number} */ s) => Math.max(...[1, 2, 3, 5, 7].map((times) => (times * s < total_s ? across(duration(times * s)) : 0)));
    const named = STEPS_S.find((s) => s >= step && s % step === 0 && (s / total_s) * wide >= widest(s) + APART_PX) ?? 36_000;
    const drawing = data.done_s !== null;
    const now = drawing ? data.done_s : (data.at_s ?? data.total_s);
    const knob_px = ((now ?? 0) / total_s) * wide;
    const ticks = [];
    const names = [];
    for (let s = 0; s <= total_s; s += step) {
      const x = (s / total_s) * wide;
      ticks.push(`M${x.toFixed(1)} 0v${s % named === 0 ? 11 : 6}`);
      const half = across(duration(s)) / 2;
      const hidden = Math.abs(x - knob_px) < half + KNOB_PX;
      if (s && s % named === 0 && x < wide - half && !hidden) names.push(h("span", { class: "tick", style: { left: `${x}px` } }, duration(s)));
    }
    const share = (/** @type {number} */ s) => `${Math.min(100, Math.max(0, (s / total_s) * 100))}%`;
    show(this, [
      ...data.pens.map((pen, n) =>
        h("span", { key: `pen-${n}`, class: "part", title: `${ink_word(pen.name)}: ${duration(pen.predicted_s)}`, style: { left: share(pen.begins_s),
          width: share(pen.predicted_s), "--pen": pen.colour } }, data.pens.length > 1 && (pen.predicted_s / total_s) * wide > across(ink_word(pen.name)) && h("b", {}, ink_word(pen.name))), // prettier-ignore
      ),
      h("span", { key: "past", class: "past", style: { width: share(now ?? 0) } }),
      h("svg", { key: "ticks", class: "ticks", "aria-hidden": "true", width: wide, height: 14 }, h("path", { d: ticks.join("") })),
      h("span", { key: "names", class: "names", "aria-hidden": "true" }, names),
      h("span", {
        key: "knob",
        class: `knob${drawing ? " live" : ""}`,
        style: { left: share(now ?? 0) },
        role: drawing ? "progressbar" : "slider",
        tabindex: drawing ? null : 0,
        "aria-label": drawing ? "How far the drawing is" : "Look at the sheet after this much of the drawing",
        "aria-valuemin": 0,
        "aria-valuemax": Math.round(total_s),
        "aria-valuenow": Math.round(now ?? 0),
        "aria-valuetext": data.words,
      }),
    ]);
    this.toggleAttribute("data-old", data.old);
  }
}

customElements.define("desk-timeline", DeskTimeline);
