// The page: handles events, keeps the state, renders it.

import { h, show } from "./dom.js";
import { act, chosen, connect, focus_done, focus_next, inks, may_edit, mine, sees_left, settle, state, trial_comes, under_way } from "./desk.js";
import { beginning, file_field, put_slip } from "./slips/put.js";
import { drawing_slip } from "./slips/drawing.js";
import { Link } from "./link.js";
import { log_slip } from "./slips/log.js";
import { looking_on, looks, next, next_step, notes, plate, question, tabs } from "./front.js";
import { pressable, wary } from "./wary.js";
import { machine_slip } from "./slips/machine.js";
import { pens_slip } from "./slips/pens.js";
import * as shelf from "./shelf.js";
import { thing_slip } from "./slips/thing.js";
import { duration, grouped, quickness, sentence } from "./words.js";
import "./picture.js";
import "./table.js";
import "./timeline.js";

const SLIPS = { put: put_slip, thing: thing_slip, pens: pens_slip, drawing: drawing_slip, machine: machine_slip, log: log_slip };
const narrow = matchMedia("(max-width: 860px)"); // as in desk.css
const dark = matchMedia("(prefers-color-scheme: dark)");
const desk = /** @type {HTMLElement} */ (document.getElementById("desk"));

// --- rendering -------------------------------------------------------------------------------------------------------

/** Layers of the sheet: all strokes, dragged strokes, drawn strokes. */
function strokes_shown() {
  const { plan, drawing, progress } = state;
  const fastest = mine.speeds ? Math.max(1, ...top_speed(plan.geometry)) : undefined;
  const whole = (/** @type {string | null} */ id, /** @type {any} */ more = {}) => {
    const strokes = shelf.strokes(id);
    if (!strokes) return null;
    const { part = "all", pens_of, ...rest } = more;
    const pens = inks(pens_of ?? (id === plan.sketch ? (plan.sketch_pens ?? plan.pens) : drawing ? drawing.pens : plan.pens));
    const ink = pens.map((/** @type {any} */ pen) => `${pen.colour} ${pen.width_mm}`).join();
    return { strokes, pens, to: strokes.vertices, name: `${id} ${part} ${ink}`, ...rest };
  };
  const { left } = mine;
  if (left?.geometry && sees_left()) {
    const strokes = shelf.strokes(left.geometry);
    if (!strokes) return { plan: null, lifted: null, inked: null };
    const all = { strokes, pens: inks(left.pens), to: strokes.vertices, name: `${left.geometry} left` };
    return { plan: all, lifted: null, inked: { ...all, to: strokes.starts[left.at - 1], name: `${all.name} inked` } };
  }
  const till = (/** @type {string} */ id, /** @type {number} */ at_s) => {
    const all = whole(id);
    return all && { ...all, to: all.strokes.after(at_s).vertex + 1, name: `${all.name} inked` };
  };
  if (drawing) {
    const done_s = drawing.state === "finished" ? Infinity : (progress?.done_s ?? 0);
    return { plan: whole(drawing.geometry), lifted: null, inked: till(drawing.geometry, done_s) };
  }
  if (mine.look_s !== null && plan.geometry) {
    return { plan: whole(plan.geometry), lifted: null, inked: till(plan.geometry, mine.look_s) };
  }
  const sketch = shelf.strokes(plan.sketch);
  if (mine.held && sketch?.items) {
    const held = new Set(mine.held.ids.map((id) => state.items.findIndex((/** @type {any} */ one) => one.id === id)));
    const items = sketch.items;
    const part = mine.held.ids.join();
    return {
      plan: whole(plan.sketch, { part: `without ${part}`, only: (/** @type {number} */ stroke) => !held.has(items[stroke]) }),
      lifted: whole(plan.sketch, { part, only: (/** @type {number} */ stroke) => held.has(items[stroke]) }),
      inked: null,
    };
  }
  if (trial_comes()) return { plan: whole(state.trial.geometry, { pens_of: state.trial.pens }), lifted: null, inked: null };
  const fresh = plan.geometry && !plan.stale && plan.state !== "planning";
  const shown = fresh ? whole(plan.geometry, fastest ? { part: "speeds", fastest } : {}) : null;
  return { plan: shown ?? whole(plan.sketch) ?? whole(plan.geometry), lifted: null, inked: null };
}

/** @param {string | null} id */
function top_speed(id) {
  const speeds = shelf.strokes(id)?.speeds;
  if (!speeds) return [];
  let top = 0;
  for (const speed of speeds) if (speed > top) top = speed;
  return [top];
}

/** Position of the pen's cross. */
function pen_shown() {
  const { drawing, progress, plan, machine, reach, sheet } = state;
  const first = inks().find(Boolean)?.colour ?? "#1b1b1f";
  const left = sees_left() ? shelf.strokes(mine.left?.geometry) : null;
  if (left && mine.left && mine.left.at <= left.count) {
    const vertex = left.starts[mine.left.at - 1];
    return { x: left.points[2 * vertex], y: left.points[2 * vertex + 1], down: true, colour: first, true: false };
  }
  if (drawing && progress?.at_mm) {
    const pen = progress.pen ?? plan.pens.findLast?.((/** @type {any} */ one) => one.begins_s <= progress.done_s);
    return { x: progress.at_mm[0], y: progress.at_mm[1], down: !progress.pen_up, colour: pen?.colour ?? first, true: true };
  }
  if (!drawing && mine.look_s !== null) {
    const strokes = shelf.strokes(plan.geometry);
    if (!strokes) return null;
    const now = strokes.after(mine.look_s);
    return { x: now.x, y: now.y, down: now.down, colour: inks()[strokes.pen[Math.max(0, now.stroke)]]?.colour ?? first, true: false };
  }
  const offset = sheet.offset_mm ?? [0, 0];
  if (machine?.position_mm) return { x: machine.position_mm[0] - offset[0], y: machine.position_mm[1] - offset[1], down: machine.pen_up === false, colour: first, true: true };
  return reach.park_mm ? { x: reach.park_mm[0], y: reach.park_mm[1], down: false, colour: first, true: true } : null;
}

/**
 * Pixels reserved for plate, slips and foot, also while they are closed, so that opening a slip never moves the
 * sheet.
 */
const COVERED = [0, 104, 402, 176];
const pad = () => (narrow.matches ? [0, 0, 0, 0] : COVERED);

function table() {
  const { sheet, reach, items, plan } = state;
  const shown = strokes_shown();
  const photographs = new Map();
  for (const one of items) {
    if (one.kind === "photograph" && one.source && !one.boxes_mm && !shown.inked) photographs.set(one.id, shelf.photograph(one.source));
  }
  const names = items.map((/** @type {any} */ one) => one.label).join(", ");
  return h("desk-table", {
    key: "table",
    style: { "--tall": reach.height_mm / reach.width_mm },
    data: {
      sheet,
      reach,
      items: state.drawing || mine.look_s !== null || sees_left() || trial_comes() ? [] : items,
      selected: mine.selected,
      held: mine.held?.ids ?? [],
      may_edit: may_edit(),
      ...shown,
      pen: pen_shown(),
      may_jog: mine.slip === "machine" && state.machine?.state === "ready" && state.holder.you && !under_way(),
      picks: sees_left(),
      pad: pad(),
      coming: !shown.plan && shelf.coming(),
      dark: dark.matches,
      photographs,
      warnings: plan.warnings,
      writing: mine.writing,
      told: `${sheet.name}, ${Math.round(sheet.width_mm)} by ${Math.round(sheet.height_mm)} mm. ${items.length ? `On it: ${names}.` : "Nothing lies on it."}`,
    },
  });
}

function timeline() {
  const { plan, drawing, progress } = state;
  if (!drawing && trial_comes()) return null; // the time line shows the items, which are not drawn next
  const total_s = drawing ? drawing.predicted_s : plan.predicted_s;
  if (!total_s || (!drawing && plan.state === "empty")) return null;
  const strokes = shelf.strokes(drawing ? drawing.geometry : plan.geometry);
  const done_s = drawing ? (drawing.state === "finished" ? total_s : (progress?.done_s ?? 0)) : null;
  const at_s = done_s ?? mine.look_s;
  let words = `the whole drawing, ${duration(total_s)}`;
  if (at_s !== null && at_s < total_s) {
    const stroke = strokes ? strokes.after(at_s).stroke + 1 : 0;
    words = `after ${duration(at_s)}${strokes ? `, stroke ${grouped(stroke)} of ${grouped(strokes.count)}` : ""}`;
  }
  const quick = under_way() && state.desk?.virtual && !state.machine?.real_time ? quickness(progress?.times) : "";
  return h("div", { key: "timeline", class: "time" },
    h("p", { class: "when" }, drawing ? `${duration(done_s ?? 0)} of ${duration(total_s)}, as planned${quick ? `; ${quick}` : ""}` : plan.stale ? "Its time is being worked out …" : sentence(words),
      !drawing && mine.look_s !== null && h("button", { type: "button", class: "quiet", "data-do": "look_at_all" }, h("span", {}, "Show all of it"))),
    h("desk-timeline", { data: { total_s, pens: drawing?.pens ?? plan.pens, at_s: mine.look_s, done_s, old: Boolean(plan.stale) && !drawing, words } })); // prettier-ignore
}

function render() {
  asked = 0;
  settle();
  document.body.className = state.desk?.virtual ? "rehearsal" : "real";
  if (!state.sheet || !state.reach) {
    show(desk, [h("p", { key: "wait", class: "wait" }, mine.link === "lost" ? "The desk does not answer. Is linewright desk still running?" : "Setting the desk …")]);
    return;
  }
  const replaced = wary();
  const empty = !state.items.length && !state.drawing && !mine.writing && mine.slip === null && mine.link === "open";
  const slip = mine.slip && SLIPS[/** @type {keyof typeof SLIPS} */ (mine.slip)]();
  show(desk, [
    h("div", { key: "top", class: "top" }, plate(), tabs()),
    table(),
    empty && !state.broken_off.length && beginning(),
    slip || null,
    h("div", { key: "foot", class: "foot" }, h("div", { class: "foot-row main-row" }, next(), timeline()), h("div", { class: "foot-row" }, looks(), notes())),
    question(),
    looking_on() || null,
    mine.dropping && h("div", { key: "dropping", class: "dropping" }, h("p", {}, "Let go: it is put on the sheet.")),
    !mine.slip && !empty && mine.refused && h("div", { key: "refused", class: "floating" }, h("div", { class: "refusal", role: "alert" }, h("p", {}, h("b", {}, mine.refused.text)), mine.refused.hint && h("p", {}, mine.refused.hint),
      h("button", { type: "button", class: "plain", "data-do": "understood" }, h("span", {}, "Understood")))),
    file_field(),
  ]); // prettier-ignore
  replaced();
  if (focus_next) {
    const target = /** @type {HTMLElement | null} */ (desk.querySelector(focus_next));
    if (target) {
      if (!target.matches("button, input, textarea, select, [tabindex]")) target.setAttribute("tabindex", "-1");
      target.focus();
      if (narrow.matches) target.closest(".slip")?.scrollIntoView();
      focus_done();
    }
  }
  watch();
}

let asked = 0;
const again = () => {
  if (!asked) asked = requestAnimationFrame(render);
};

// --- reactions to the state ------------------------------------------------------------------------------------------

let previews_of = "";
/** @type {string | null} */
let drawing_before = null;

function watch() {
  const [one] = chosen();
  const wanted = mine.slip === "thing" && chosen().length === 1 && one.kind === "photograph" && may_edit() && state.plan.state !== "planning" ? one.id : null;
  if (wanted && state.previews.item !== wanted && previews_of !== wanted) {
    previews_of = wanted;
    act({ do: "previews", item: wanted });
  } else if (!wanted && state.plan.state !== "planning" && previews_of !== "none") previews_of = "";
  // Previews that are not on show are cancelled, so that they do not delay a drawing.
  if (state.previews.item && (mine.asking || under_way()) && previews_of !== "none") {
    previews_of = "none";
    act({ do: "previews", item: null });
  }
  const [broken] = state.broken_off;
  if (broken && mine.slip === "drawing" && !mine.asking && !under_way() && mine.link === "open" && state.holder.you && mine.left?.drawing !== broken.id) {
    act({ do: "left_of", drawing: broken.id });
  }
  const drawing = state.drawing?.id ?? null;
  if (drawing !== drawing_before) {
    drawing_before = drawing;
    mine.look_s = null;
    if (drawing) mine.asking = "";
    if (drawing && mine.slip !== "machine") mine.slip = "drawing";
    again();
  }
  const [first] = state.questions;
  if (first && first.id !== asked_before) {
    /** @type {HTMLElement | null} */ (document.querySelector("#question-heading"))?.focus();
  }
  asked_before = first?.id ?? null;
}

/** @type {string | null} */
let asked_before = null;

// --- events ----------------------------------------------------------------------------------------------------------

const table_element = () => /** @type {any} */ (desk.querySelector("desk-table"));

/**
 * Actions of the window itself.
 *
 * @type {Record<string, () => void>}
 */
const WINDOW = {
  choose_file: () => /** @type {HTMLElement | null} */ (document.getElementById("files"))?.click(),
  nearer: () => table_element()?.zoom(1.4),
  further: () => table_element()?.zoom(1 / 1.4),
  whole: () => table_element()?.whole("all"),
  sheet_near: () => table_element()?.whole("sheet"),
  look_at_all: () => void act({ do: "look_at", at_s: null }),
};

/** @param {any} event */
function hear(event) {
  if (!event.do) return;
  const own = WINDOW[event.do];
  if (own) own();
  else void act(event);
}

desk.addEventListener("desk", (event) => hear(/** @type {CustomEvent} */ (event).detail));

/**
 * The event of an element, from its data attributes and value.
 *
 * @param {HTMLElement} element
 * @returns {any}
 */
function said_by(element) {
  const { named: _named, ...what } = element.dataset;
  return what;
}

desk.addEventListener("click", (event) => {
  const element = /** @type {HTMLElement | null} */ (/** @type {HTMLElement} */ (event.target).closest("button[data-do]"));
  if (element && pressable(element)) hear(said_by(element));
});

desk.addEventListener("submit", (event) => {
  const form = /** @type {HTMLFormElement} */ (event.target);
  event.preventDefault();
  hear({ ...said_by(form), ...Object.fromEntries(new FormData(form)) });
});

/** Changes of a slider within this time belong to one gesture, ms. */
const PAUSE_MS = 1500;

let going = "";
let moved_at = 0;

/** @param {Event} event */
function field(event) {
  const element = /** @type {HTMLInputElement} */ (event.target);
  const { live, ...what } = said_by(element);
  if (!what.do || what.do === "written" || (live !== undefined) !== (event.type === "input")) return;
  if (element.type === "file") {
    if (element.files?.length) hear({ ...what, files: [...element.files] });
    element.value = "";
    return;
  }
  const name = `${what.item} ${what.name}`;
  const same = live !== undefined && going === name && performance.now() - moved_at < PAUSE_MS;
  going = name;
  moved_at = performance.now();
  hear({ ...what, value: element.value, checked: element.checked, going: same });
}
desk.addEventListener("input", field);
desk.addEventListener("change", field);

desk.addEventListener("focusout", (event) => {
  const element = /** @type {HTMLTextAreaElement} */ (event.target);
  if (element.dataset.do === "written" && mine.writing) hear({ do: "written", value: element.value });
});

/** Arrow keys select the next choice of a group, as the ARIA practices describe for radio groups. */
desk.addEventListener("keydown", (event) => {
  const now = /** @type {HTMLElement | null} */ (/** @type {HTMLElement} */ (event.target).closest("[role=radio]"));
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (!now || !step) return;
  event.preventDefault();
  const all = [.../** @type {HTMLElement} */ (now.closest("[role=radiogroup]")).querySelectorAll("[role=radio]:enabled")];
  const next = /** @type {HTMLElement} */ (all[(all.indexOf(now) + step + all.length) % all.length]);
  next.focus();
  next.click();
});

document.addEventListener("keydown", (event) => {
  const element = /** @type {HTMLTextAreaElement} */ (event.target);
  if (element.dataset?.do === "written") {
    if (event.key === "Escape") hear({ do: "written", left: true });
    else if (event.key === "Enter" && !event.shiftKey) {
      event.preventDefault();
      hear({ do: "written", value: element.value });
    }
    return;
  }
  const typing = element.matches?.("input:not([type=range]):not([type=checkbox]), textarea");
  if ((event.ctrlKey || event.metaKey) && !typing && !event.altKey) {
    const key = event.key.toLowerCase();
    if (key === "z" || key === "y") {
      event.preventDefault();
      hear({ do: key === "y" || event.shiftKey ? "redo" : "undo" });
    } else if (key === "a") {
      event.preventDefault();
      if (may_edit()) hear({ do: "select_all" });
    }
  }
  if (event.key !== "Escape" || typing) return;
  const step = next_step();
  if (step.kind === "stop") hear(step.at); // before anything else that the key does: something moves
  else if (mine.slip) hear({ do: "aside" });
});

for (const kind of ["dragenter", "dragover", "dragleave", "drop"]) {
  addEventListener(kind, (event) => {
    const { dataTransfer } = /** @type {DragEvent} */ (event);
    if (!dataTransfer?.types.includes("Files")) return;
    event.preventDefault();
    mine.dropping = (kind === "dragenter" || kind === "dragover") && may_edit();
    if (kind === "drop" && may_edit()) hear({ do: "files", files: [...dataTransfer.files] });
    again();
  });
}
addEventListener("paste", (event) => {
  const files = /** @type {ClipboardEvent} */ (event).clipboardData?.files;
  if (files?.length && may_edit()) hear({ do: "files", files: [...files] });
});

dark.addEventListener("change", again);
addEventListener("resize", again);
shelf.when_arrived(again);

const link = new Link(
  (keys) => {
    Object.assign(state, keys);
    again();
  },
  (open) => {
    mine.link = open ? "open" : "lost";
    again();
  },
);
connect((event) => link.ask(event), again);
again();
