// State of the page: `state` comes from the server, `mine` belongs to this window. `act` handles every event.

import { union } from "./table.js";
import * as shelf from "./shelf.js";

/**
 * The state from the server; docs/DESK.md describes its keys.
 *
 * @type {any}
 */
export const state = {
  desk: null, holder: { you: true, window: null }, sheet: null, reach: null, items: [], history: { undo: null, redo: null },
  pens: [], pens_usual: {}, plan: { state: "empty", pens: [], warnings: [] }, methods: [], patterns: [], letterings: [],
  previews: { item: null, list: [] }, within: null, before: [], machine: null, drawing: null, progress: null, broken_off: [], questions: [],
  notes: [], log: [], trials: [], trial: null, task: null, phone: null,
}; // prettier-ignore

/** State of this window alone. */
export const mine = {
  link: "opening", // "open", "lost"
  /** @type {string | null} */ slip: null, // the open slip
  /** @type {string[]} */ selected: [],
  /** @type {{ids: string[], n: number, sketch: string | null} | null} */ held: null,
  /** @type {number | null} */ look_s: null,
  /** @type {{x: number, y: number, text: string, item: string | null, here?: boolean} | null} */ writing: null,
  speeds: false,
  /** @type {{text: string, hint?: string, where: string} | null} */ refused: null,
  /** @type {Set<string>} */ ticked: new Set(),
  /** @type {"" | "drawing" | "trial"} */ asking: "", // the confirmations before drawing this are open
  abandoning: false,
  pointed: "", // id of the question to highlight
  jog_mm: 10,
  tried_us: /** @type {number | null} */ (null), // pulse of the servo
  uploading: "",
  dropping: false,
  /** @type {string | null} */ again: null, // log entry on show
  measures: /** @type {Record<string, string>} */ ({}), // as typed for a trial sheet
  /** @type {{picture: string, cautions: string[], rig: string} | null} */ wiring: null,
  /** @type {{drawing: string, geometry?: string, stroke?: number, at: number, pens?: any[], asks?: boolean} | null} */
  left: null, // an interrupted drawing: its drawn part; `at`: the first missing stroke, from 1
  fitted: /** @type {any} */ ({}), // input of the last fit
};

/** @type {(event: any) => Promise<any>} */
let ask = async () => ({ ok: false });
let changed = () => {};

/** @param {(event: any) => Promise<any>} to_server @param {() => void} show */
export function connect(to_server, show) {
  ask = to_server;
  changed = show;
}

/** @param {string} id */
export const item = (id) => state.items.find((/** @type {any} */ one) => one.id === id);

/**
 * Selected items that still exist.
 *
 * @returns {any[]}
 */
export const chosen = () => state.items.filter((/** @type {any} */ one) => mine.selected.includes(one.id));

/** Whether a drawing is under way. */
export const under_way = () => Boolean(state.drawing) && !["finished", "abandoned", "failed"].includes(state.drawing.state);

/** Whether the machine is used for something else than drawing. */
export const tasked = () => Boolean(state.task) && state.task.done !== 1;

/** Whether all confirmations are ticked; a simulation needs none. */
export const all_seen = () => Boolean(state.desk?.virtual) || state.before.every((/** @type {any} */ one) => mine.ticked.has(one.key));

/** Whether the rest of an interrupted drawing is on show. */
export const sees_left = () => Boolean(mine.left?.geometry) && mine.slip === "drawing" && !mine.asking && !under_way();

/** Whether the next drawing is a trial sheet instead of the items. */
export const trial_comes = () => state.trial?.state === "ready" && mine.slip === "machine" && (mine.asking === "trial" || !state.trial.drawn);

export const may_edit = () => mine.link === "open" && state.holder.you && !state.drawing;

/**
 * Pens by the index that strokes use, with default widths.
 *
 * @param {any[]} [pens] of the plan or of a sketch
 */
export function inks(pens = state.plan.pens) {
  const usual = state.pens_usual?.width_mm ?? 0.5;
  /** @type {{colour: string, width_mm: number}[]} */
  const found = [];
  (pens ?? []).forEach((/** @type {any} */ pen, /** @type {number} */ n) => {
    found[pen.pen ?? n] = { colour: pen.colour, width_mm: pen.width_mm ?? usual };
  });
  return found.length ? found : [{ colour: "#1b1b1f", width_mm: usual }];
}

// --- events ----------------------------------------------------------------------------------------------------------

/** @param {any} event a plain value with `do` */
export async function act(event) {
  const own = OWN[event.do];
  if (own) {
    await own(event);
    changed();
    return { ok: true };
  }
  return send(event);
}

/**
 * Send an event to the server; a refusal is shown.
 *
 * @param {any} event
 */
async function send(event) {
  const answer = await ask(event);
  mine.refused = answer.ok ? null : { ...(answer.error ?? { text: "The desk did not take that." }), where: event.do };
  if (!answer.ok) mine.held = null;
  changed();
  return answer;
}

let gestures = 0;
/**
 * For events that come faster than the server answers: only the newest one waits.
 *
 * @type {Map<string, any>}
 */
const newest = new Map();
const busy = new Set();

/** @param {string} key @param {any} event */
async function send_newest(key, event) {
  newest.set(key, event);
  if (busy.has(key)) return;
  busy.add(key);
  while (newest.has(key)) {
    const next = newest.get(key);
    newest.delete(key);
    await send(next);
  }
  busy.delete(key);
}

/**
 * An item, with all selected ones if it is selected.
 *
 * @param {string} id
 * @returns {any[]}
 */
const with_it = (id) => (mine.selected.includes(id) ? chosen() : [item(id)]).filter(Boolean);

/**
 * New position of a moved item.
 *
 * @param {any} one
 * @param {number} dx mm
 * @param {number} dy mm
 */
function moved(one, dx, dy) {
  const round = (/** @type {number} */ mm) => Math.round(mm * 100) / 100;
  if (one.at_mm) return { at_mm: [round(one.at_mm[0] + dx), round(one.at_mm[1] + dy)] };
  const box = union(one.boxes_mm) ?? [0, 0, 0, 0];
  return { at_mm: [round(box[0] + dx), round(box[1] + dy)], align: null };
}

/**
 * Width and height of an item before it is turned, mm.
 *
 * @param {any} one
 * @returns {number[]}
 */
export function page_of(one) {
  if (one.page_mm) return one.page_mm;
  const box = one.boxes_mm?.[0] ?? [0, 0, 10, 10];
  return [box[2] - box[0], box[3] - box[1]];
}

/** @param {any} one @param {number} size */
function sized(one, size) {
  const [width, height] = page_of(one).map((mm) => Math.max(1, Math.round(mm * size * 100) / 100));
  return one.kind === "pattern" || one.kind === "sentence" ? { width_mm: width, height_mm: height } : { width_mm: width, height_mm: null };
}

/**
 * Turn an item about the centre of its bounding box.
 *
 * @param {any} one
 * @param {number} turn_deg
 */
function turned(one, turn_deg) {
  const angle = (Math.round(turn_deg * 10) / 10) % 360;
  if (one.repeat || !one.boxes_mm?.length) return { turn_deg: angle };
  const [width, height] = page_of(one);
  const [cos, sin] = [Math.abs(Math.cos((angle * Math.PI) / 180)), Math.abs(Math.sin((angle * Math.PI) / 180))];
  const box = one.boxes_mm[0];
  const place = [(box[0] + box[2] - width * cos - height * sin) / 2, (box[1] + box[3] - width * sin - height * cos) / 2];
  return { turn_deg: angle, at_mm: place.map((mm) => Math.round(mm * 100) / 100), align: null };
}

/** @param {any} one @param {any} change @param {string} [gesture] */
const set = (one, change, gesture) => send({ do: "set", item: one.id, ...change, ...(gesture ? { gesture } : {}) });

/**
 * `NAME` or `NAME:SETTING=VALUE,...` as a value.
 *
 * @param {string} words
 */
export function way_of(words) {
  const [name, rest = ""] = words.split(/:(.*)/s);
  const settings = Object.fromEntries(rest.split(",").filter(Boolean).map((pair) => pair.split("=")).map(([key, value]) => [key, Number.isNaN(Number(value)) ? value : Number(value)]));
  return { name, settings };
}

/**
 * The current method of an item, with the settings that differ from the defaults.
 *
 * @param {any} one
 */
export function method_of(one) {
  if (one.method) return one.method;
  const pick = state.previews.item === one.id && state.previews.list.find((/** @type {any} */ two) => two.pick);
  return pick ? way_of(pick.method) : { name: one.kind === "words" ? "lettering" : one.kind === "sentence" ? "words" : "auto", settings: {} };
}

/** @param {File[]} files */
async function take_files(files) {
  for (const file of files) {
    mine.uploading = file.name;
    changed();
    let answer;
    try {
      const sent = await fetch(`/upload?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
      answer = await sent.json();
    } catch {
      answer = { error: { text: `${file.name} did not get through.`, hint: "Is the desk still running? Drop it again." } };
    }
    mine.uploading = "";
    if (answer.error) mine.refused = { ...answer.error, where: "put" };
    else if (answer.kind === "rig") await take_rig(answer.upload);
    else await put({ upload: answer.upload });
  }
}

/**
 * Use an uploaded rig file.
 *
 * @param {string} upload
 */
async function take_rig(upload) {
  mine.slip = "machine";
  const answer = await send({ do: "rig_file", upload });
  if (answer.ok) await send({ do: "connect", port: state.machine.port, rig: answer.rig });
}

/** @param {any} what */
async function put(what) {
  const answer = await send({ do: "put", ...what });
  if (answer.ok && answer.item) {
    mine.selected = [answer.item];
    mine.slip = "thing";
    mine.look_s = null;
  }
  return answer;
}

/**
 * The part of a photograph that is drawn, as `frame` of one of its choices; "" if it is none of them.
 *
 * @param {any} one
 * @returns {string}
 */
export function frame_of(one) {
  const { name, settings } = method_of(one);
  if (name === "auto" || name === "portrait") return !settings?.frame || settings.frame === "auto" ? one.frame : settings.frame;
  return one.frames.find((/** @type {any} */ choice) => choice.crop === (settings?.crop ?? ""))?.frame ?? "";
}

/** Keys of all confirmations before a drawing. */
const confirmed = () => state.before.map((/** @type {any} */ one) => one.key);

/** @param {"drawing" | "trial"} what is drawn once a person has seen that all is ready */
function ask_before(what) {
  mine.slip = what === "trial" ? "machine" : "drawing";
  mine.asking = what;
  mine.ticked = new Set();
  mine_focus(state.desk?.virtual ? "button.step:enabled" : "#before-heading");
}

/** @type {Record<string, (event: any) => any>} */
const OWN = {
  open(event) {
    mine.slip = mine.slip === event.slip && !event.stay ? null : event.slip;
    mine.asking = "";
    mine.refused = null;
    if (mine.slip === "thing" && !chosen().length && state.items.length === 1) mine.selected = [state.items[0].id];
    // After opening a slip from the keyboard, focus is on its heading.
    if (mine.slip && event.focus !== "no") mine_focus("#slip-heading");
  },
  aside() {
    const from = mine.slip;
    const [one] = chosen();
    mine.slip = null;
    mine.asking = "";
    mine_focus(from === "thing" && one ? `[data-item="${one.id}"] .grip` : `[data-slip="${from}"]`);
  },
  understood() {
    mine.refused = null;
  },

  // Items on the sheet.
  select(event) {
    if (event.item === null) mine.selected = [];
    else if (event.also && !event.pressed) {
      mine.selected = mine.selected.includes(event.item) ? mine.selected.filter((id) => id !== event.item) : [...mine.selected, event.item];
    } else if (!event.also && !(event.pressed && mine.selected.includes(event.item))) mine.selected = [event.item];
    if (event.item !== null && !event.pressed && !under_way()) {
      mine.slip = "thing";
      mine.asking = "";
    }
    if (event.item !== null) mine.look_s = null;
    if (event.open || event.mind) mine_focus(event.mind ? ".slip .warnings" : "#slip-heading");
  },
  select_all() {
    mine.selected = state.items.map((/** @type {any} */ one) => one.id);
    mine.look_s = null;
    if (mine.selected.length) mine.slip = "thing";
  },
  lift(event) {
    if (!mine.selected.includes(event.item)) mine.selected = [event.item];
    mine.look_s = null;
    mine.held = { ids: [...mine.selected], n: state.plan.n, sketch: state.plan.sketch };
  },
  async drop(event) {
    gestures += 1;
    const gesture = `d${gestures}`;
    const { dx, dy, size, turn_deg, anchor } = event;
    if (mine.held) mine.held.n = state.plan.n;
    for (const one of with_it(event.item)) {
      if (event.kind === "move") await set(one, moved(one, dx, dy), gesture);
      else if (event.kind === "turn") await set(one, turned(one, one.turn_deg + turn_deg), gesture);
      else {
        const box = /** @type {number[]} */ (union(one.boxes_mm));
        const place = [anchor.x + (box[0] - anchor.x) * size, anchor.y + (box[1] - anchor.y) * size];
        await set(one, { ...sized(one, size), at_mm: place.map((mm) => Math.round(mm * 100) / 100), align: null }, gesture);
      }
    }
  },
  async nudge(event) {
    for (const one of with_it(event.item)) await set(one, moved(one, event.dx, event.dy), event.gesture);
  },
  grow(event) {
    const one = item(event.item);
    const [width] = page_of(one);
    return set(one, sized(one, Math.max(1, width + event.by_mm) / width), event.gesture);
  },
  turn(event) {
    const one = item(event.item);
    return set(one, turned(one, one.turn_deg + event.by_deg), event.gesture);
  },
  async remove_selected(event) {
    await send({ do: "remove", items: (event.item ? with_it(event.item) : chosen()).map((one) => one.id) });
    mine.selected = [];
    mine_focus(".ground");
  },
  async copy_selected() {
    const answer = await send({ do: "copy", items: mine.selected });
    if (answer.ok && answer.items) mine.selected = answer.items;
  },
  align_selected(event) {
    return send({ do: "align", items: mine.selected, to: event.to ?? "margins", how: event.value ?? event.how });
  },
  order_place: (event) => send({ do: "order", item: event.item, place: Number(event.place) }),
  figure(event) {
    const one = item(event.item);
    const value = Number(event.value);
    if (!one || event.value === "" || !Number.isFinite(value)) return null;
    const box = union(one.boxes_mm) ?? [0, 0, 0, 0];
    if (event.name === "left") return set(one, moved(one, value - box[0], 0));
    if (event.name === "top") return set(one, moved(one, 0, value - box[1]));
    if (event.name === "turn_deg") return set(one, turned(one, value), event.gesture);
    const [width, height] = page_of(one);
    if (event.name === "width") return set(one, sized(one, Math.max(0.1, value) / width));
    if (event.name === "height") return set(one, sized(one, Math.max(0.1, value) / height));
    const repeat = one.repeat ?? { columns: 1, rows: 1, gap_mm: [5, 5] };
    const wanted = { ...repeat, gap_mm: [...repeat.gap_mm] };
    if (event.name === "columns" || event.name === "rows") wanted[event.name] = Math.max(1, Math.round(value));
    if (event.name === "gap_across") wanted.gap_mm[0] = value;
    if (event.name === "gap_down") wanted.gap_mm[1] = value;
    return set(one, { repeat: wanted.columns === 1 && wanted.rows === 1 ? null : wanted });
  },
  mirror(event) {
    const one = item(event.item);
    return set(one, { mirror: !one.mirror });
  },
  pens_of(event) {
    const one = item(event.item);
    const names = new Set(one.pens ?? []);
    if (event.checked) names.add(event.name);
    else names.delete(event.name);
    const kept = state.pens.map((/** @type {any} */ pen) => pen.name).filter((/** @type {string} */ name) => names.has(name));
    return set(one, { pens: kept.length ? kept : null });
  },
  // Names of colours and of layers differ, so the choice for one does not apply to the other.
  pen_by: (event) => set(item(event.item), { pen_by: event.value, pen_for: {}, pens: null }),
  pen_for(event) {
    const one = item(event.item);
    const { [event.name]: _before, ...others } = one.pen_for ?? {};
    const pen_for = event.value ? { ...others, [event.name]: event.value } : others;
    const names = state.pens.map((/** @type {any} */ pen) => pen.name).filter((/** @type {string} */ name) => Object.values(pen_for).includes(name));
    return set(one, { pen_for, pens: names.length ? names : null });
  },
  retype(event) {
    const one = item(event.item);
    return event.value.trim() && event.value !== one.text ? set(one, { text: event.value }) : null;
  },

  // Methods.
  method(event) {
    if (event.taken === "yes") return null; // it is drawn so already
    return set(item(event.item), { method: event.usual === "yes" ? null : way_of(event.name) });
  },
  method_usual: (event) => set(item(event.item), { method: { name: event.name, settings: {} } }),
  show_of_it(event) {
    const one = item(event.item);
    if (frame_of(one) === event.frame) return null;
    const { name, settings } = method_of(one);
    const portrait = name === "auto" || name === "portrait";
    const { crop: _crop, frame: _frame, ...others } = settings ?? {};
    const choice = one.frames.find((/** @type {any} */ two) => two.frame === event.frame);
    const framed = portrait ? { frame: event.frame } : choice?.crop ? { crop: choice.crop } : {};
    return set(one, { method: { name: portrait ? "portrait" : name, settings: { ...others, ...framed } } });
  },
  within_form: (event) => send({ do: "within", item: event.item, time_s: 60 * Number(event.minutes) }),
  method_or_own: (event) => set(item(event.item), { method: event.value ? { name: event.value, settings: {} } : null, pen_for: {} }),
  setting(event) {
    const one = item(event.item);
    const key = one.kind === "pattern" ? "pattern" : "method";
    const now = one.kind === "pattern" ? one.pattern : method_of(one);
    const value = event.kind === "text" || event.kind === "choice" ? event.value : Number(event.value);
    if (event.value === "" || (typeof value === "number" && !Number.isFinite(value))) return;
    if (!event.going) gestures += 1;
    const gesture = `s${gestures}-${event.name}`;
    return send_newest(`${one.id} ${event.name}`, { do: "set", item: one.id, gesture, [key]: { name: now.name, settings: { ...now.settings, [event.name]: value } } });
  },

  // Adding items.
  files(event) {
    return take_files([...event.files]);
  },
  put_words() {
    mine.slip = null;
    const [x0, y0, x1, y1] = state.sheet.room_mm ?? [0, 0, state.sheet.width_mm, state.sheet.height_mm];
    // Typed at the foot if there are items already; the server then finds a free area.
    mine.writing = { x: x0 + (x1 - x0) * 0.08, y: state.items.length ? y1 - (y1 - y0) * 0.12 : (y0 + y1) / 2, text: "", item: null };
    mine_focus(".writing");
  },
  write(event) {
    const one = event.item ? item(event.item) : null;
    if (one && one.kind !== "words") return;
    mine.writing = { x: event.x, y: event.y, text: one?.text ?? "", item: one?.id ?? null, here: true };
    mine_focus(".writing");
  },
  async written(event) {
    const { writing } = mine;
    mine.writing = null;
    if (!writing || event.left || !event.value?.trim()) return;
    if (writing.item) await set(item(writing.item), { text: event.value });
    else await put({ words: event.value, ...(writing.here && state.items.length ? { at_mm: [writing.x, writing.y] } : {}) });
  },
  put_sentence: (event) => (event.sentence?.trim() ? put({ sentence: event.sentence.trim() }) : null),
  put_surprise: () => put({ surprise: true }),
  put_pattern: (event) => put({ pattern: event.name }),
  sheet_name: (event) => send({ do: "sheet", sheet: event.value, landscape: state.sheet.landscape, margin_mm: state.sheet.margin_mm }),
  sheet_turn: () => send({ do: "sheet", sheet: state.sheet.name, landscape: !state.sheet.landscape, margin_mm: state.sheet.margin_mm }),
  sheet_margin: (event) => send({ do: "sheet", sheet: state.sheet.name, landscape: state.sheet.landscape, margin_mm: Number(event.value) }),

  // Pens.
  pen_figure(event) {
    const pens = state.pens.map((/** @type {any} */ pen) => ({ ...pen }));
    const pen = pens[Number(event.index)];
    if (event.name === "name" || event.name === "colour") pen[event.name] = event.value;
    else pen[event.name] = event.value === "" ? null : Number(event.value);
    return send({ do: "pens", pens });
  },
  pen_more() {
    const names = new Set(state.pens.map((/** @type {any} */ pen) => pen.name));
    let number = state.pens.length + 1;
    while (names.has(`pen ${number}`)) number += 1;
    const colours = ["#1b1b1f", "#1d4e89", "#9c2f2f", "#2f6b3a", "#8a5a00", "#5b3a8a"];
    return send({ do: "pens", pens: [...state.pens, { name: `pen ${number}`, colour: colours[state.pens.length % colours.length] }] });
  },
  pen_less: (event) => send({ do: "pens", pens: state.pens.filter((/** @type {any} */ _pen, /** @type {number} */ n) => n !== Number(event.index)) }),

  // Viewing and drawing.
  look_at(event) {
    mine.look_s = event.at_s;
    if (mine.held) mine.held = null;
  },
  speeds() {
    mine.speeds = !mine.speeds;
  },
  begin: () => (state.before.length ? ask_before("drawing") : OWN.draw_now({})),
  tick(event) {
    if (event.checked) mine.ticked.add(event.key);
    else mine.ticked.delete(event.key);
  },
  async draw_now() {
    mine.look_s = null;
    mine.selected = [];
    const answer = await send({ do: "draw", n: state.plan.n, confirmed: confirmed() });
    if (answer.ok) {
      mine.asking = "";
      mine.slip = "drawing";
      mine_focus("button.step:enabled"); // it holds: where Enter and Space are wanted next
    }
  },
  not_yet() {
    mine.asking = "";
    mine.abandoning = false;
  },
  pace: (event) => send_newest("pace", { do: "pace", share: Number(event.value) / 100 }),
  abandon_really() {
    mine.abandoning = true;
    mine_focus("#abandon-heading");
  },
  async abandon_now() {
    mine.abandoning = false;
    await send({ do: "abandon" });
  },
  async put_away() {
    mine.slip = null; // before the answer, because another slip may be opened by then
    await send({ do: "put_away" });
  },
  async draw_again() {
    const { of } = state.drawing;
    const [newest] = state.log;
    const answer = await send({ do: "put_away" });
    if (!answer.ok) return;
    if (of === "trial") ask_before("trial");
    else if (of === "rest" && newest?.again) await OWN.again_now({ drawing: newest.id });
    else await OWN.begin({});
  },
  resume_now: (event) => {
    const broken = state.broken_off.find((/** @type {any} */ one) => one.id === event.drawing);
    const { left } = mine;
    const earlier = left?.drawing === event.drawing && left?.asks && left.at !== left.stroke ? { from_stroke: left.at } : {};
    return send({ do: "resume", drawing: event.drawing, confirmed: broken.confirm.map((/** @type {any} */ one) => one.key), ...earlier });
  },
  async left_of(event) {
    mine.left = { drawing: event.drawing, at: 1 };
    const answer = await send({ do: "left", drawing: event.drawing });
    if (answer.ok && mine.left?.drawing === event.drawing) mine.left = { drawing: event.drawing, geometry: answer.geometry, stroke: answer.stroke, at: answer.stroke, pens: answer.pens, asks: answer.asks };
  },
  left_stroke: (event) => left_from(Math.round(Number(event.value))),
  left_step: (event) => left_from((mine.left?.at ?? 1) + Number(event.by)),
  left_at(event) {
    const strokes = shelf.strokes(mine.left?.geometry);
    if (!strokes || !mine.left?.asks) return;
    const found = strokes.nearest(event.x, event.y, (mine.left.stroke ?? 1) - 1);
    if (found >= 0) left_from(found + 1);
  },
  to_question() {
    mine.pointed = state.questions[0]?.id ?? "";
    mine_focus("#question-heading");
  },
  answer_form: (event) => {
    const asked = state.questions.find((/** @type {any} */ one) => one.id === event.question);
    const word = event.value === "stop" || event.value === "help";
    const value = asked?.kind === "number" && !word ? Number(event.value) : event.value;
    return send({ do: "answer", question: event.question, value });
  },
  yes: (event) => send({ do: "answer", question: event.question, value: true }),
  no: (event) => send({ do: "answer", question: event.question, value: false }),

  // The machine.
  jog_to(event) {
    const offset = state.sheet.offset_mm ?? [0, 0];
    const inside = (/** @type {number} */ mm, /** @type {number} */ high) => Math.round(Math.min(high, Math.max(0, mm)) * 10) / 10;
    const to_mm = [inside(event.x + offset[0], state.reach.width_mm), inside(event.y + offset[1], state.reach.height_mm)];
    return send_newest("jog", { do: "jog", to_mm });
  },
  jog_step: (event) => send({ do: "jog", by_mm: [Number(event.dx) * mine.jog_mm, Number(event.dy) * mine.jog_mm] }),
  jog_size(event) {
    mine.jog_mm = Number(event.value);
  },
  connect_port: (event) => send({ do: "connect", port: event.port, ...(event.rig ? { rig: event.rig } : {}) }),
  rig_take: (event) => send({ do: "connect", port: state.machine.port, rig: event.rig }),
  async rig_new() {
    const answer = await send({ do: "rig_new" });
    if (answer.ok) await send({ do: "connect", port: state.machine.port, rig: answer.rig });
  },
  rig_send: (event) => take_files([...event.files]),
  async wiring_show() {
    const answer = await send({ do: "wiring" });
    mine.wiring = answer.ok ? { ...answer, rig: state.machine.rig } : null;
  },
  real_time: (event) => send({ do: "connect", port: "virtual", real_time: Boolean(event.checked) }),
  pen_height(event) {
    if (event.value === "" || !Number.isFinite(Number(event.value))) return null;
    mine.tried_us = Math.round(Number(event.value));
    return send_newest("pen", { do: "pen", height: mine.tried_us });
  },
  pen_keep_tried: (event) => send({ do: "pen_keep", height: event.as, us: mine.tried_us }),
  bring_up_anew: () => send({ do: "bring_up", over: true }),
  tune_write: () => send({ do: "tune", write: true }),
  exercise_form: (event) => send({ do: "exercise", minutes: Number(event.minutes) }),
  trial_draw: () => (state.before.length ? ask_before("trial") : OWN.trial_now({})),
  async trial_now() {
    const answer = await send({ do: "trial_draw", confirmed: confirmed() });
    if (answer.ok) {
      mine.asking = "";
      mine.slip = "machine";
      mine_focus("button.step:enabled");
    }
  },
  fit_form: (event) => {
    const { do: _do, ...answers } = event;
    mine.measures = answers;
    mine.fitted = { answers };
    return send({ do: "fit", ...mine.fitted, write: false });
  },
  fit_write: () => send({ do: "fit", ...mine.fitted, write: true }),
  fit_photo: async (event) => {
    const [file] = event.files;
    const sent = await fetch(`/upload?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
    const answer = await sent.json();
    if (answer.error) mine.refused = { ...answer.error, where: "fit" };
    else await OWN.fit_received(answer);
  },
  fit_received: (event) => {
    mine.fitted = { photo: event.upload };
    return send({ do: "fit", ...mine.fitted, write: false });
  },
  phone_on: () => send({ do: "phone", on: true }),
  phone_off: () => send({ do: "phone", on: false }),
  put_received: (event) => put({ upload: event.upload }),

  // The log.
  async again_now(event) {
    const answer = await send({ do: "again", drawing: event.drawing });
    if (answer.ok) mine.slip = "thing";
  },
};

/** @param {number} stroke the first that is not on paper */
function left_from(stroke) {
  if (mine.left && Number.isFinite(stroke)) mine.left.at = Math.min(mine.left.stroke ?? 1, Math.max(1, stroke));
}

/**
 * Selector of the element to focus after the next rendering.
 *
 * @type {string | null}
 */
export let focus_next = null;

/** @param {string} selector */
function mine_focus(selector) {
  focus_next = selector;
}

export function focus_done() {
  focus_next = null;
}

/** After a new state: end the drag preview and selections that no longer apply. */
export function settle() {
  const { held } = mine;
  if (held && state.plan.n !== held.n) {
    const known = state.plan.sketch ?? state.plan.geometry;
    if (state.plan.state !== "planning" || (known !== held.sketch && shelf.strokes(known))) mine.held = null;
  }
  if (mine.left && (under_way() || !state.broken_off.some((/** @type {any} */ one) => one.id === mine.left?.drawing))) mine.left = null;
  mine.selected = mine.selected.filter((id) => item(id));
  if (!state.items.length && mine.slip === "thing") mine.slip = null;
  if (mine.look_s !== null && state.plan.state === "empty") mine.look_s = null;
}
