// `<desk-table>`: the machine from above, with the sheet, its items, and the pen.
//
// Its property `data` is the value to show; actions of the user become events named "desk" with plain values.

import { h, show } from "./dom.js";
import { InkLayer } from "./ink.js";
import { box_on_screen, draw_pen, draw_table } from "./scenery.js";

/** @typedef {import("./ink.js").View} View */
/** @typedef {import("./ink.js").Shown} Shown */
/**
 * @typedef {object} TableData
 * @property {any} sheet
 * @property {any} reach
 * @property {any[]} items
 * @property {string[]} selected
 * @property {boolean} may_edit
 * @property {Shown | null} plan strokes of the plan, without the lifted ones
 * @property {Shown | null} lifted strokes of dragged items
 * @property {string[]} held ids of items that are dragged, or dropped and not yet laid out by the server
 * @property {{x: number, y: number, text: string} | null} writing text being typed
 * @property {Shown | null} inked drawn strokes, over the faint plan
 * @property {{x: number, y: number, down: boolean, colour: string, true: boolean} | null} pen
 * @property {boolean} may_jog the pen can be dragged
 * @property {boolean} picks a click selects the nearest stroke
 * @property {number[]} pad px that slips cover: left, top, right, foot
 * @property {boolean} coming strokes are being loaded
 * @property {boolean} dark
 * @property {Map<string, HTMLImageElement>} photographs shown until there are strokes
 * @property {{item: string, text: string}[]} warnings
 * @property {string} told description for screen readers
 */

/** Opacity of the plan below the drawn strokes. */
const FAINT = 0.17;

/** Margin around the shown area, for rulers and rails. */
const SIDES_PX = 90;

const WIDEST_PX_PER_MM = 60;
const SMALLEST_PX_PER_MM = 0.15;
const NUDGE_MM = 1;

const LIGHT = { paper: "#fffefa", margin: "#cfc7b6", quiet: "#a79f8e", rail: "#bdb4a2", beam: "rgb(120 110 92 / 0.35)",
  faint_text: "#6b6455", halo: "rgb(255 254 250 / 0.85)", shadow: "1" }; // prettier-ignore
const DARK = { paper: "#f1ece0", margin: "#c3baa7", quiet: "#5b554a", rail: "#4b463d", beam: "rgb(190 180 160 / 0.28)",
  faint_text: "#a39b8a", halo: "rgb(241 236 224 / 0.85)", shadow: "3" }; // prettier-ignore

/** Preview of a drag until the server has laid the item out again. */
const STILL = { dx: 0, dy: 0, size: 1, turn_deg: 0, x: 0, y: 0 };

export class DeskTable extends HTMLElement {
  constructor() {
    super();
    /** @type {TableData | null} */
    this.given = null;
    /** @type {View} */
    this.view = { scale: 2, x: 60, y: 60 };
    /** @type {"sheet" | "all" | null} area that the view keeps at every window size; null: the user has moved the view */
    this.shows = "sheet";
    this.layers = { plan: new InkLayer(), lifted: new InkLayer(), inked: new InkLayer() };
    this.hand = { ...STILL };
    /** @type {any} */
    this.gesture = null;
    /** @type {Map<number, {x: number, y: number}>} */
    this.fingers = new Map();
    this.asked = 0;
    this.last_frame = 0;
    this.gesture_number = 0;
    this.nudged_at = 0;
  }

  connectedCallback() {
    if (this.hasAttribute("data-own")) return;
    this.setAttribute("data-own", "");
    this.canvas = document.createElement("canvas");
    this.canvas.setAttribute("aria-hidden", "true");
    this.over = document.createElement("div");
    this.over.className = "things";
    this.append(this.canvas, this.over);
    new ResizeObserver(() => this.resized()).observe(this);
    this.addEventListener("pointerdown", (event) => this.press(event));
    this.addEventListener("pointermove", (event) => this.drag(event));
    this.addEventListener("pointerup", (event) => this.release(event));
    this.addEventListener("pointercancel", (event) => this.release(event));
    this.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    this.addEventListener("keydown", (event) => this.key(event));
    this.addEventListener("dblclick", (event) => this.twice(event));
  }

  /** @param {TableData} value */
  set data(value) {
    const before = this.given;
    this.given = value;
    if (!this.gesture && !value.held.length) this.hand = { ...STILL };
    const pads = value.pad.join();
    if (this.shows && (!before || pads !== before.pad.join() || frame_of(value).join() !== frame_of(before).join())) {
      this.place_view();
    }
    this.dress();
    this.again();
  }

  /** @param {"sheet" | "all"} what the sheet with what is around it, or all of the reach */
  whole(what) {
    this.shows = what;
    this.place_view();
    this.dress();
    this.again();
  }

  /** Centred in the window, or as near as the slips allow. */
  place_view() {
    if (!this.given || !this.clientWidth) return;
    const [left, top, right, foot] = this.given.pad;
    const [x0, y0, x1, y1] = this.shows === "all" ? all_of(this.given) : frame_of(this.given);
    const [wide, high] = [this.clientWidth - left - right, this.clientHeight - top - foot];
    const scale = Math.max(SMALLEST_PX_PER_MM, Math.min((wide - SIDES_PX) / (x1 - x0), (high - 70) / (y1 - y0)));
    const across = (x1 - x0) * scale;
    const middle = (this.clientWidth - across) / 2 + 12;
    const farthest = left + wide - across - SIDES_PX / 2 + 12;
    this.view = {
      scale,
      x: Math.min(middle, farthest) - x0 * scale,
      y: top + 10 + (high - (y1 - y0) * scale) / 2 - y0 * scale,
    };
  }

  /** @param {number} factor @param {number} [x] px @param {number} [y] px */
  zoom(factor, x = this.clientWidth / 2, y = this.clientHeight / 2) {
    const scale = Math.min(WIDEST_PX_PER_MM, Math.max(SMALLEST_PX_PER_MM, this.view.scale * factor));
    const ratio = scale / this.view.scale;
    this.view = { scale, x: x - (x - this.view.x) * ratio, y: y - (y - this.view.y) * ratio };
    this.shows = null;
    this.dress();
    this.again();
  }

  /** @param {number} dx px @param {number} dy px */
  pan(dx, dy) {
    this.view = { ...this.view, x: this.view.x + dx, y: this.view.y + dy };
    this.shows = null;
    this.dress();
    this.again();
  }

  /** @param {any} detail */
  say(detail) {
    this.dispatchEvent(new CustomEvent("desk", { bubbles: true, detail }));
  }

  // --- drawing -------------------------------------------------------------------------------------------------------

  resized() {
    const ratio = Math.min(2, devicePixelRatio || 1);
    const canvas = /** @type {HTMLCanvasElement} */ (this.canvas);
    canvas.width = Math.round(this.clientWidth * ratio);
    canvas.height = Math.round(this.clientHeight * ratio);
    if (this.shows) this.place_view();
    this.dress();
    this.again();
  }

  /** Requests drawing at the next frame. */
  again() {
    if (!this.asked) this.asked = requestAnimationFrame((now) => this.frame(now));
  }

  /** @param {number} now ms */
  frame(now) {
    this.asked = 0;
    const data = this.given;
    const canvas = /** @type {HTMLCanvasElement} */ (this.canvas);
    if (!data || !canvas.width) return;
    const took_ms = now - this.last_frame;
    this.last_frame = now;
    const ratio = canvas.width / this.clientWidth;
    const view = { scale: this.view.scale * ratio, x: this.view.x * ratio, y: this.view.y * ratio };
    const window = { width: canvas.width, height: canvas.height };
    const { plan, lifted, inked } = this.layers;
    const more = [
      plan.step(data.plan, view, window, took_ms, now),
      lifted.step(data.lifted, view, window, took_ms, now),
      inked.step(data.inked, view, window, took_ms, now),
    ].some(Boolean);
    const pencil = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    const colours = data.dark ? DARK : LIGHT;
    pencil.setTransform(1, 0, 0, 1, 0, 0);
    pencil.clearRect(0, 0, canvas.width, canvas.height);
    pencil.setTransform(ratio, 0, 0, ratio, 0, 0);
    draw_table(pencil, this.view, data.reach, data.sheet, colours);
    this.photographs(pencil, data);
    pencil.setTransform(1, 0, 0, 1, 0, 0);
    pencil.globalAlpha = data.inked ? FAINT : 1;
    plan.paint(pencil, view);
    pencil.globalAlpha = 1;
    inked.paint(pencil, view);
    if (data.lifted) {
      const { dx, dy, size, turn_deg, x, y } = this.hand;
      const [px, py] = [x * view.scale + view.x, y * view.scale + view.y];
      pencil.translate(px + dx * view.scale, py + dy * view.scale);
      pencil.rotate((turn_deg * Math.PI) / 180);
      pencil.scale(size, size);
      pencil.translate(-px, -py);
      lifted.paint(pencil, view);
    }
    pencil.setTransform(ratio, 0, 0, ratio, 0, 0);
    if (data.pen) draw_pen(pencil, this.view, data.reach.box_mm, data.pen, colours);
    this.toggleAttribute("data-sharp", !more && !data.coming); // tests wait for it
    if (more) this.again();
  }

  /** @param {CanvasRenderingContext2D} pencil @param {TableData} data */
  photographs(pencil, data) {
    for (const item of data.items) {
      const image = data.photographs.get(item.id);
      if (!image?.complete || !image.naturalWidth) continue;
      pencil.globalAlpha = 0.3;
      for (const box of item.boxes_mm ?? [inside(data.sheet.room_mm, image)]) {
        const [x0, y0, x1, y1] = box_on_screen(this.view, box);
        pencil.drawImage(image, x0, y0, x1 - x0, y1 - y0);
      }
      pencil.globalAlpha = 1;
    }
  }

  /** Places a button over each item, and handles around the selection. */
  dress() {
    const data = this.given;
    if (!data || !this.over) return;
    // Content in the middle of an empty sheet: see `.beginning`.
    this.parentElement?.style.setProperty("--sheet-x", `${Math.round(this.view.x + (data.sheet.width_mm / 2) * this.view.scale)}px`);
    this.parentElement?.style.setProperty("--sheet-w", `${Math.round(data.sheet.width_mm * this.view.scale)}px`);
    this.parentElement?.style.setProperty("--sheet-y", `${Math.round(this.view.y + (data.sheet.height_mm / 2) * this.view.scale)}px`);
    const things = data.items.filter((item) => union(item.boxes_mm)).map((item) => this.thing(item, data));
    show(this.over, [
      h("button", { key: "ground", class: "ground", type: "button", "aria-label": `The table. ${data.told}`,
        "aria-describedby": "table-keys" }), // prettier-ignore
      h("span", { key: "keys", id: "table-keys", class: "heard" }, "Arrow keys move the view, plus and minus bring it nearer and further, 0 shows all of it."),
      h("span", { key: "thing-keys", id: "thing-keys", class: "heard" }, "Arrow keys move it by 1 mm, with Shift by 10, with Alt by 0.1. Plus and minus change its size, square brackets turn it, Delete takes it off the sheet."),
      ...things,
      data.may_jog && data.pen && this.jog_handle(data.pen),
      data.writing && this.writing(data.writing),
    ]);
  }

  /** @param {any} item @param {TableData} data */
  thing(item, data) {
    const selected = data.selected.includes(item.id);
    const [x0, y0, x1, y1] = this.held(item, /** @type {number[]} */ (union(item.boxes_mm)));
    const [left, top, right, foot] = box_on_screen(this.view, [x0, y0, x1, y1]);
    const place = { left: `${left}px`, top: `${top}px`, width: `${Math.max(12, right - left)}px`, height: `${Math.max(12, foot - top)}px` };
    const warning = data.warnings.find((one) => one.item === item.id);
    const corners = selected && data.may_edit
      ? [
          ...["nw", "ne", "sw", "se"].map((corner) => h("i", { key: corner, class: `corner ${corner}`, "data-hand": "size", "data-corner": corner })),
          data.selected.length === 1 && h("i", { key: "turn", class: "turner", "data-hand": "turn" }),
        ] : []; // prettier-ignore
    return h("div", { key: `thing-${item.id}`, class: `thing${selected ? " selected" : ""}${item.error ? " wrong" : ""}`, style: place, "data-item": item.id },
      h("button", { type: "button", class: "grip", "data-hand": "move", "aria-pressed": selected ? "true" : "false", "aria-describedby": "thing-keys",
        "aria-label": `${item.label}, ${Math.round(x1 - x0)} by ${Math.round(y1 - y0)} mm, ${Math.round(x0)} mm from the left, ${Math.round(y0)} mm from the top` }),
      warning && h("button", { key: "mind", type: "button", class: "mind", title: warning.text, "aria-label": `To mind: ${warning.text}`, "data-do": "select", "data-item": item.id, "data-mind": "y" }, "!"),
      ...corners); // prettier-ignore
  }

  /**
   * Box of an item during a drag.
   *
   * @param {any} item
   * @param {number[]} box
   * @returns {number[]}
   */
  held(item, box) {
    if (!this.given?.held.includes(item.id)) return box;
    const { dx, dy, size, x, y } = this.hand;
    return [x + (box[0] - x) * size + dx, y + (box[1] - y) * size + dy, x + (box[2] - x) * size + dx, y + (box[3] - y) * size + dy];
  }

  /** @param {any} pen */
  jog_handle(pen) {
    const [x, y] = [pen.x * this.view.scale + this.view.x, pen.y * this.view.scale + this.view.y];
    return h("button", { key: "jog", type: "button", class: "jog", "data-hand": "jog", style: { left: `${x - 22}px`, top: `${y - 22}px` },
      "aria-label": "The pen. Arrow keys move the machine by the step that is chosen on the slip." }); // prettier-ignore
  }

  /** @param {{x: number, y: number, text: string}} words */
  writing(words) {
    const { sheet } = /** @type {TableData} */ (this.given);
    const [x, y] = [words.x * this.view.scale + this.view.x, words.y * this.view.scale + this.view.y];
    return h("textarea", { key: "writing", class: "writing", rows: 1, "data-do": "written", "data-hand": "write", "aria-label": "Words on the sheet. Enter puts them down, Shift and Enter begins a new line, Escape leaves it.",
      placeholder: "Type here, then Enter", value: words.text, style: { left: `${x}px`, top: `${y}px`, "max-width": `${Math.max(280, (sheet.width_mm - words.x) * this.view.scale - 6)}px` } }); // prettier-ignore
  }

  // --- pointer -------------------------------------------------------------------------------------------------------

  /** @param {PointerEvent} event @returns {{x: number, y: number}} mm on the sheet */
  place(event) {
    const frame = this.getBoundingClientRect();
    return {
      x: (event.clientX - frame.left - this.view.x) / this.view.scale,
      y: (event.clientY - frame.top - this.view.y) / this.view.scale,
    };
  }

  /** @param {PointerEvent} event */
  press(event) {
    if (event.button > 1 || !this.given) return;
    if (/** @type {HTMLElement} */ (event.target).matches("[data-hand=write], .mind")) return;
    this.fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    this.setPointerCapture(event.pointerId);
    if (this.fingers.size === 2) {
      this.gesture = { kind: "pinch" };
      return;
    }
    const target = /** @type {HTMLElement} */ (event.target);
    const kind = event.button === 1 ? "pan" : (target.dataset.hand ?? "pan");
    const item = /** @type {HTMLElement | null} */ (target.closest(".thing"))?.dataset.item ?? null;
    if (kind === "move" && item) {
      this.say({ do: "select", item, also: event.shiftKey, pressed: true });
      /** @type {HTMLElement} */ (target).focus({ preventScroll: true });
    }
    const at = this.place(event);
    this.gesture = { kind: this.given.may_edit || kind === "jog" ? kind : "pan", item, at, from: { x: event.clientX, y: event.clientY },
      corner: target.dataset.corner, moved: false }; // prettier-ignore
    const box = item && union(this.given.items.find((one) => one.id === item)?.boxes_mm);
    if (box && kind === "size") {
      const corner = /** @type {string} */ (target.dataset.corner);
      this.gesture.anchor = { x: corner.includes("w") ? box[2] : box[0], y: corner.includes("n") ? box[3] : box[1] };
    }
    if (box && kind === "turn") this.gesture.anchor = { x: (box[0] + box[2]) / 2, y: (box[1] + box[3]) / 2 };
  }

  /** @param {PointerEvent} event */
  drag(event) {
    const finger = this.fingers.get(event.pointerId);
    if (!finger || !this.gesture) return;
    const before = new Map(this.fingers);
    this.fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    const { kind, at, from, anchor } = this.gesture;
    if (kind === "pinch") return this.pinch([...before.values()], [...this.fingers.values()]);
    if (!this.gesture.moved && Math.hypot(event.clientX - from.x, event.clientY - from.y) < 4) return;
    if (!this.gesture.moved && ["move", "size", "turn"].includes(kind)) this.say({ do: "lift", item: this.gesture.item });
    this.gesture.moved = true;
    const now = this.place(event);
    if (kind === "pan") {
      this.pan(event.clientX - finger.x, event.clientY - finger.y);
    } else if (kind === "move") {
      this.hand = { ...STILL, dx: now.x - at.x, dy: now.y - at.y };
    } else if (kind === "size") {
      const size = Math.hypot(now.x - anchor.x, now.y - anchor.y) / Math.max(0.1, Math.hypot(at.x - anchor.x, at.y - anchor.y));
      this.hand = { ...STILL, size: Math.max(0.02, size), x: anchor.x, y: anchor.y };
    } else if (kind === "turn") {
      const degrees = (/** @type {{x: number, y: number}} */ place_now, /** @type {{x: number, y: number}} */ place_then) =>
        (Math.atan2(place_now.y - anchor.y, place_now.x - anchor.x) - Math.atan2(place_then.y - anchor.y, place_then.x - anchor.x)) * (180 / Math.PI);
      let turn_deg = degrees(now, at);
      if (event.shiftKey) turn_deg = Math.round(turn_deg / 15) * 15;
      this.hand = { ...STILL, turn_deg, x: anchor.x, y: anchor.y };
    } else if (kind === "jog") {
      this.say({ do: "jog_to", x: now.x, y: now.y });
    }
    this.dress();
    this.again();
  }

  /** @param {{x: number, y: number}[]} before @param {{x: number, y: number}[]} now */
  pinch([a, b], [c, d]) {
    const frame = this.getBoundingClientRect();
    const factor = Math.hypot(d.x - c.x, d.y - c.y) / Math.max(1, Math.hypot(b.x - a.x, b.y - a.y));
    this.pan((c.x + d.x - a.x - b.x) / 2, (c.y + d.y - a.y - b.y) / 2);
    this.zoom(factor, (c.x + d.x) / 2 - frame.left, (c.y + d.y) / 2 - frame.top);
  }

  /** @param {PointerEvent} event */
  release(event) {
    this.fingers.delete(event.pointerId);
    const gesture = this.gesture;
    if (!gesture || this.fingers.size) return;
    this.gesture = null;
    const { dx, dy, size, turn_deg } = this.hand;
    if (!gesture.moved) {
      if (gesture.kind === "pan" && this.given?.picks) this.say({ do: "left_at", ...gesture.at });
      else if (gesture.kind === "pan") this.say({ do: "select", item: null });
      if (gesture.kind === "move") this.say({ do: "select", item: gesture.item, also: event.shiftKey });
      return;
    }
    if (["move", "size", "turn"].includes(gesture.kind)) {
      this.say({ do: "drop", item: gesture.item, kind: gesture.kind, dx, dy, size, turn_deg, anchor: gesture.anchor });
    }
    if (gesture.kind === "jog") this.say({ do: "jog_to", ...this.place(event), last: true });
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    event.preventDefault();
    const frame = this.getBoundingClientRect();
    const step = event.deltaMode === 1 ? 16 : 1;
    this.zoom(Math.exp(-event.deltaY * step * (event.ctrlKey ? 0.01 : 0.0015)), event.clientX - frame.left, event.clientY - frame.top);
  }

  /** @param {MouseEvent} event */
  twice(event) {
    if (!this.given?.may_edit) return;
    const item = /** @type {HTMLElement} */ (event.target).closest(".thing")?.getAttribute("data-item") ?? null;
    this.say({ do: "write", item, ...this.place(/** @type {PointerEvent} */ (event)) });
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.ctrlKey || event.metaKey) return;
    const target = /** @type {HTMLElement} */ (event.target);
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const way = arrows[/** @type {keyof typeof arrows} */ (event.key)];
    const item = /** @type {HTMLElement | null} */ (target.closest(".thing"))?.dataset.item;
    let used = true;
    if (item) {
      if (performance.now() - this.nudged_at > 1500) this.gesture_number += 1;
      this.nudged_at = performance.now();
      const gesture = `k${this.gesture_number}`;
      const by_mm = NUDGE_MM * (event.shiftKey ? 10 : event.altKey ? 0.1 : 1);
      if (way) this.say({ do: "nudge", item, dx: way[0] * by_mm, dy: way[1] * by_mm, gesture });
      else if (event.key === "+" || event.key === "-") this.say({ do: "grow", item, by_mm: event.key === "+" ? by_mm : -by_mm, gesture });
      else if (event.key === "[" || event.key === "]" || event.key === "{" || event.key === "}") {
        const by_deg = /[\[{]/.test(event.key) ? -1 : 1;
        this.say({ do: "turn", item, by_deg: by_deg * (event.shiftKey ? 15 : 1), gesture });
      } else if (event.key === "Delete" || event.key === "Backspace") this.say({ do: "remove_selected", item });
      else if (event.key === "Enter" || event.key === " ") this.say({ do: "select", item, also: event.shiftKey, open: true });
      else used = false;
    } else if (target.classList.contains("jog")) {
      if (way) this.say({ do: "jog_step", dx: way[0], dy: way[1] });
      else used = false;
    } else if (way) this.pan(-40 * way[0], -40 * way[1]);
    else if (event.key === "+" || event.key === "=") this.zoom(1.25);
    else if (event.key === "-") this.zoom(0.8);
    else if (event.key === "0") this.whole("all");
    else used = false;
    if (used) event.preventDefault();
  }
}

/** @param {number[][] | null | undefined} boxes @returns {number[] | null} the common bounding box */
export function union(boxes) {
  if (!boxes?.length) return null;
  return boxes.reduce((a, b) => [Math.min(a[0], b[0]), Math.min(a[1], b[1]), Math.max(a[2], b[2]), Math.max(a[3], b[3])]);
}

/**
 * Largest centred rectangle with the image's proportions.
 *
 * @param {number[]} room mm
 * @param {HTMLImageElement} image
 */
function inside([x0, y0, x1, y1], image) {
  const scale = Math.min((x1 - x0) / image.naturalWidth, (y1 - y0) / image.naturalHeight);
  const [wide, high] = [image.naturalWidth * scale, image.naturalHeight * scale];
  const [left, top] = [(x0 + x1 - wide) / 2, (y0 + y1 - high) / 2];
  return [left, top, left + wide, top + high];
}

/**
 * Least margin shown around the sheet, as a share of its longer side; a small sheet on a large reach fills the view.
 */
const AROUND = 0.28;

/**
 * The reach and the sheet, mm.
 *
 * @param {TableData} data
 * @returns {number[]}
 */
const all_of = (data) => /** @type {number[]} */ (union([data.reach.box_mm, [0, 0, data.sheet.width_mm, data.sheet.height_mm]]));

/**
 * Initial view, mm.
 *
 * @param {TableData} data
 * @returns {number[]}
 */
function frame_of(data) {
  const { width_mm, height_mm } = data.sheet;
  const all = all_of(data);
  const around = AROUND * Math.max(width_mm, height_mm);
  return [Math.max(all[0], -around), Math.max(all[1], -around), Math.min(all[2], width_mm + around), Math.min(all[3], height_mm + around)];
}

customElements.define("desk-table", DeskTable);
