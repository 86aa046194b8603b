// Parts shared by slips.

import { h } from "../dom.js";
import { hand, sign } from "../hand.js";
import { inks, mine, state } from "../desk.js";
import { figure, sentence } from "../words.js";
import * as shelf from "../shelf.js";

/**
 * A button with a word.
 *
 * @param {string} word
 * @param {Record<string, any>} at `do` and its fields, as `data-` attributes; `sign`, `class`, `disabled`
 */
export function button(word, at) {
  const { sign: picture, class: kind = "plain", disabled = false, pressed, label, ...what } = at;
  return h("button", { type: "button", class: kind, disabled, "aria-pressed": pressed === undefined ? null : String(pressed), "aria-label": label ?? null, ...data(what) },
    picture && sign(picture), h("span", {}, word)); // prettier-ignore
}

/** @param {Record<string, any>} what @returns {Record<string, any>} as `data-` attributes */
export function data(what) {
  return Object.fromEntries(Object.entries(what).map(([name, value]) => [`data-${name}`, value]));
}

/** @param {string} text @param {any} [id] */
export const heading = (text, id = null) => h("h3", { id }, text);

/**
 * A number field with its unit.
 *
 * @param {string} word
 * @param {number | null | undefined} value
 * @param {string} unit
 * @param {Record<string, any>} at `do` and its fields; `low`, `high`, `step`; `empty`: placeholder
 */
export function number(word, value, unit, at) {
  const { low = null, high = null, step = "any", empty = null, digits = 2, disabled = false, ...what } = at;
  return h("label", { class: "figure" }, h("span", {}, word),
    h("span", { class: "with-unit" },
      h("input", { type: "number", value: value === null || value === undefined ? "" : figure(value, digits), min: low, max: high, step, placeholder: empty, disabled,
        inputmode: "decimal", ...data(what) }),
      unit && h("span", { class: "unit" }, unit))); // prettier-ignore
}

/**
 * A setting of a method or pattern as a slider or a choice.
 *
 * @param {any} setting
 * @param {any} value
 * @param {string} id of the item
 */
export function setting_field(setting, value, id) {
  const now = value ?? setting.default;
  const what = { do: "setting", item: id, name: setting.name, kind: setting.kind };
  const word = sentence(setting.name.replace(/_(mm|deg|s)$/, "").replaceAll("_", " "));
  if (setting.kind === "choice") {
    return h("label", { key: `s-${setting.name}`, class: "choice" }, h("span", {}, word),
      h("select", { ...data(what), value: String(now) }, setting.choices.map((/** @type {string} */ one) => h("option", { value: one, selected: one === String(now) }, one))),
      h("small", {}, setting.meaning)); // prettier-ignore
  }
  if (setting.kind === "text") {
    return h("label", { key: `s-${setting.name}`, class: "choice" }, h("span", {}, word), h("input", { type: "text", value: now, ...data(what) }), h("small", {}, setting.meaning));
  }
  const whole = setting.kind === "whole";
  // The slider's range ends near the default; the field beside it accepts the whole range.
  const [low, high] = [Number(setting.low ?? 0), Number(setting.high ?? 100)];
  const usual = Math.abs(Number(setting.default)) || 1;
  const far = Math.max(Math.min(high, 10 * usual), Number(now));
  const digits = whole ? 0 : far <= 2 ? 3 : far <= 20 ? 2 : 1;
  const step = whole ? 1 : Number(((far - low) / 200).toPrecision(1));
  return h("div", { key: `s-${setting.name}`, class: "slide" },
    h("label", { for: `slide-${setting.name}` }, word),
    h("input", { id: `slide-${setting.name}`, type: "range", min: low, max: far, step, value: now, "data-live": true, "aria-describedby": `about-${setting.name}`,
      "aria-valuetext": `${figure(Number(now), digits)} ${setting.unit ?? ""}`, ...data(what) }),
    h("span", { class: "with-unit" },
      h("input", { type: "number", min: low, max: high, step: whole ? 1 : "any", value: figure(Number(now), digits), "aria-label": word, ...data(what) }),
      setting.unit && h("span", { class: "unit" }, setting.unit)),
    h("small", { id: `about-${setting.name}` }, sentence(setting.meaning))); // prettier-ignore
}

/**
 * The refusal of an event, shown beside its control.
 *
 * @param {...string} where events
 */
export function refusal(...where) {
  const { refused } = mine;
  if (!refused || (where.length && !where.includes(refused.where))) return null;
  return h("div", { class: "refusal", role: "alert" }, h("p", {}, sign("warn"), h("b", {}, sentence(refused.text))),
    refused.hint && h("p", {}, sentence(refused.hint)), button("Understood", { do: "understood" })); // prettier-ignore
}

/** @param {{text: string, hint?: string | null} | null} error */
export function trouble(error) {
  return error && h("div", { class: "refusal" }, h("p", {}, sign("warn"), h("b", {}, sentence(error.text))), error.hint && h("p", {}, sentence(error.hint)));
}

/**
 * Strokes as a small picture on paper.
 *
 * @param {string | null} id of the strokes
 * @param {{box_mm?: number[], pens?: any[], wide?: number}} [how]
 */
export function picture(id, how = {}) {
  const strokes = shelf.strokes(id);
  return h("desk-picture", { class: "picture", data: { strokes, pens: inks(how.pens ?? []), name: id ?? "", box_mm: how.box_mm ?? strokes?.box ?? [0, 0, 1, 1] } });
}

/** The work in progress, and what the sheet shows meanwhile. */
export const working = () => `${state.plan.rough ? "A first look with thick pens. " : ""}Working out its lines: ${state.plan.doing || "reading"} …`;

/** @param {string} name @param {string} title @param {any[]} inside */
export function slip(name, title, inside) {
  return h("section", { key: `slip-${name}`, class: `slip ${name}`, "aria-labelledby": "slip-heading" },
    h("header", {}, hand(title, { id: "slip-heading", tag: "h2", size: 1.02, class: "title" }), button("Close", { do: "aside", class: "quiet aside", sign: "aside" })),
    h("div", { class: "inside" }, inside)); // prettier-ignore
}

/** Whether this window may change anything. */
export const locked = () => mine.link !== "open" || !state.holder.you;
