// The slip of the selected item: methods, their settings, and its place on the sheet.

import { h } from "../dom.js";
import { sign } from "../hand.js";
import { chosen, frame_of, inks, may_edit, method_of, page_of, state, way_of } from "../desk.js";
import { duration, figure, ink_word, length, sentence, several } from "../words.js";
import { union } from "../table.js";
import * as shelf from "../shelf.js";
import { button, data, heading, number, picture, refusal, setting_field, slip, trouble } from "./parts.js";

/** Number of settings shown at first; the others are in a closed section. */
const FIRST = 4;

export function thing_slip() {
  const things = chosen();
  if (!things.length) return slip("thing", "On the sheet", nothing());
  if (things.length > 1) return slip("thing", several(things.length, "thing"), [refusal(), acts(), alignment(things)]);
  const [one] = things;
  return slip("thing", short(one.label), [
    refusal(),
    trouble(one.error),
    one.warnings?.length > 0 && h("ul", { class: "warnings" }, one.warnings.map((/** @type {string} */ text) => h("li", {}, sign("warn"), h("span", {}, sentence(text))))),
    acts(one),
    one.kind === "words" && words_of(one),
    one.kind === "photograph" && framing(one),
    one.kind === "photograph" && ways(one),
    one.kind === "drawing" && lines_of(one),
    settings(one),
    place(one),
    alignment(things),
    order(one),
    copies(one),
    pens_of(one),
  ]); // prettier-ignore
}

/** @param {string} label */
const short = (label) => (label.length > 18 ? `${label.slice(0, 17)}…` : label);

function nothing() {
  if (!state.items.length) return [h("p", {}, "Nothing lies on the sheet yet."), button("Add something", { do: "open", slip: "put", class: "main" })];
  return [
    h("p", {}, "Choose one of these, or click it on the sheet."),
    h("ul", { class: "rows" }, state.items.map((/** @type {any} */ one) => h("li", { key: one.id }, button(one.label, { do: "select", item: one.id })))),
  ];
}

/** @param {any} [one] */
function acts(one) {
  const off = !may_edit();
  return h("div", { class: "line" },
    button("Copy", { do: "copy_selected", disabled: off }),
    one && button("Mirror", { do: "mirror", item: one.id, disabled: off, pressed: Boolean(one.mirror) }),
    button("Remove", { do: "remove_selected", disabled: off })); // prettier-ignore
}

/** @param {any} one */
const words_of = (one) => h("label", { class: "choice" }, h("span", {}, "Words"), h("textarea", { rows: 2, value: one.text, "data-do": "retype", "data-item": one.id }));

/** @param {string} frame @param {number} faces */
const shown_words = (frame, faces) => (frame === "whole" ? "Whole picture" : frame !== "head" ? `Face ${frame.slice(5)}` : faces > 1 ? "All faces" : "Head and shoulders");

/**
 * Choice of the part of a photograph with faces.
 *
 * @param {any} one
 */
function framing(one) {
  if (!one.frames.length) return null;
  const now = frame_of(one);
  const image = shelf.photograph(one.source);
  const shape = image.naturalWidth ? image.naturalWidth / image.naturalHeight : 1;
  const faces = one.frames.filter((/** @type {any} */ choice) => choice.frame.startsWith("face:")).length;
  return [
    heading("What of it is drawn", "frames-heading"),
    h("div", { class: "frames", role: "radiogroup", "aria-labelledby": "frames-heading" }, one.frames.map((/** @type {any} */ choice, /** @type {number} */ n) => {
      const [left, top, right, foot] = choice.box;
      const [wide, high] = [right - left, foot - top];
      const at = (/** @type {number} */ from, /** @type {number} */ size) => `${size < 1 ? (100 * from) / (1 - size) : 0}%`;
      const style = { "--shape": (shape * wide) / high, "background-image": `url("/photo/${one.source}")`, "background-size": `${100 / wide}% ${100 / high}%`, "background-position": `${at(left, wide)} ${at(top, high)}` };
      return h("button", { key: choice.frame, type: "button", class: "frame", role: "radio", "aria-checked": String(now === choice.frame), disabled: !may_edit(),
        tabindex: now === choice.frame || (!now && n === 0) ? 0 : -1, ...data({ do: "show_of_it", item: one.id, frame: choice.frame }) },
        h("span", { class: "crop" }, h("i", { style })), h("small", {}, shown_words(choice.frame, faces))); // prettier-ignore
    })),
  ];
}

/**
 * Previews of the item by every method.
 *
 * @param {any} one
 */
function ways(one) {
  const { previews } = state;
  const ours = previews.item === one.id ? previews.list : [];
  const now = method_of(one).name;
  const any_taken = ours.some((/** @type {any} */ way) => (one.method ? way_of(way.method).name === now : way.pick));
  return [
    heading("Ways to draw it", "ways-heading"),
    !ours.length && h("p", { role: "status" }, "Small pictures of every way are being made."),
    h("div", { class: "previews", role: "radiogroup", "aria-labelledby": "ways-heading" }, ours.map((/** @type {any} */ way, /** @type {number} */ n) => {
      const { name, settings } = way_of(way.method);
      const taken = one.method ? now === name : way.pick;
      const reckoned = way.geometry ? "being worked out again …" : way.state === "making" ? "being made …" : "waits";
      const about = way.state === "ready" ? [h("span", { class: "figure" }, `${duration(way.predicted_s)},`), " ", h("span", { class: "figure" }, `${length(way.ink_mm)} of ink`)]
        : way.state === "refused" ? sentence(way.error?.text ?? "It cannot be drawn this way.") : reckoned; // prettier-ignore
      const off = way.state === "refused" || !may_edit();
      return h("button", { key: `way-${name}`, type: "button", class: `preview${way.state === "ready" ? "" : " old"}`, role: "radio", "aria-checked": String(Boolean(taken)), disabled: off,
        tabindex: taken || (!any_taken && n === 0) ? 0 : -1, ...data({ do: "method", item: one.id, name: way.method, taken: taken ? "yes" : "no", usual: way.pick && !way.own ? "yes" : "no" }) },
        way.geometry ? picture(way.geometry, { box_mm: [0, 0, way.width_mm, way.height_mm], pens: inks() }) : h("span", { class: `picture ${way.state}` }),
        h("b", {}, sentence(name.replaceAll("-", " "))),
        h("small", {}, about),
        way.own ? h("small", { class: "pick" }, "with your settings") : way.pick && h("small", { class: "pick" }, Object.keys(settings).length ? `suits this picture, with ${Object.keys(settings).join(" and ").replaceAll("_", " ")}` : "suits this picture")); // prettier-ignore
    })),
  ];
}

/**
 * Choice of the lines of a drawing file.
 *
 * @param {any} one
 */
function lines_of(one) {
  const others = state.methods.filter((/** @type {any} */ way) => way.takes.includes("SVG") && way.name !== "auto");
  const now = one.method?.name ?? "";
  return h("label", { class: "choice" }, h("span", {}, "Lines"),
    h("select", { value: now, ...data({ do: "method_or_own", item: one.id }) }, h("option", { value: "", selected: now === "" }, "as the file has them"),
      others.map((/** @type {any} */ way) => h("option", { value: way.name, selected: now === way.name }, `${way.name.replaceAll("-", " ")}: ${way.about}`)))); // prettier-ignore
}

/** @param {any} one */
function settings(one) {
  if (one.kind === "drawing" && !one.method) return null;
  const of = one.kind === "pattern" ? one.pattern : method_of(one);
  const table = one.kind === "pattern" ? state.patterns : ["words", "sentence"].includes(one.kind) ? state.letterings : state.methods;
  const found = table.find((/** @type {any} */ way) => way.name === of?.name);
  if (!found?.settings.length || found.name === "auto") return null;
  const fields = found.settings.map((/** @type {any} */ setting) => setting_field(setting, of.settings?.[setting.name], one.id));
  return [
    heading(`How: ${found.name.replaceAll("-", " ")}`),
    one.kind === "photograph" && Object.keys(of.settings ?? {}).length > 0 && button("Usual settings", { do: "method_usual", item: one.id, name: found.name, class: "quiet", disabled: !may_edit() }),
    h("fieldset", { class: "settings", disabled: !may_edit(), "aria-label": "Settings" }, fields.slice(0, FIRST),
      fields.length > FIRST && h("details", { key: "more" }, h("summary", {}, `${fields.length - FIRST} more`), fields.slice(FIRST))), // prettier-ignore
  ];
}

/** @param {any} one */
function place(one) {
  const box = union(one.boxes_mm);
  if (!box) return null;
  const [width, height] = page_of(one);
  const what = { do: "figure", item: one.id, disabled: !may_edit() };
  return [
    heading("Place and size"),
    h("div", { class: "figures" },
      number("From the left", box[0], "mm", { ...what, name: "left", digits: 1 }),
      number("From the top", box[1], "mm", { ...what, name: "top", digits: 1 }),
      number("Width", width, "mm", { ...what, name: "width", low: 0.1, digits: 1 }),
      number("Height", height, "mm", { ...what, name: "height", low: 0.1, digits: 1 }),
      number("Turned", one.turn_deg, "degrees", { ...what, name: "turn_deg", digits: 1 })),
    h("p", { class: "small" }, `${figure(box[2] - box[0], 1)} × ${figure(box[3] - box[1], 1)} mm on the sheet${one.strokes ? `, ${several(one.strokes, "line")}, which are joined to strokes where they meet` : ""}.`),
  ]; // prettier-ignore
}

/** @param {any[]} things */
function alignment(things) {
  const off = !may_edit();
  const to = (/** @type {string} */ word, /** @type {string} */ how) => button(word, { do: "align_selected", how, to: things.length > 1 ? "first" : "margins", disabled: off });
  return [
    heading(things.length > 1 ? "Line up with the first" : "Against the margins"),
    h("div", { class: "align" }, to("Left", "left"), to("Centre", "centre"), to("Right", "right"), to("Top", "top"), to("Middle", "middle"), to("Bottom", "bottom")),
  ];
}

/**
 * Position of the item in the drawing order.
 *
 * @param {any} one
 */
function order(one) {
  const [at, count] = [state.items.indexOf(one), state.items.length];
  if (count < 2) return null;
  const to = (/** @type {string} */ word, /** @type {number} */ place) =>
    button(word, { do: "order_place", item: one.id, place, disabled: !may_edit() || place < 0 || place >= count });
  return [heading(`Drawn as number ${at + 1} of ${count}`), h("div", { class: "line" }, to("Sooner", at - 1), to("Later", at + 1))];
}

/** @param {any} one */
function copies(one) {
  const repeat = one.repeat ?? { columns: 1, rows: 1, gap_mm: [5, 5] };
  const what = { do: "figure", item: one.id, disabled: !may_edit() };
  return h("details", { key: "copies", open: Boolean(one.repeat) }, h("summary", {}, "In rows and columns"),
    h("div", { class: "figures" },
      number("Columns", repeat.columns, "", { ...what, name: "columns", low: 1, high: 100, step: 1 }),
      number("Rows", repeat.rows, "", { ...what, name: "rows", low: 1, high: 100, step: 1 }),
      number("Gap across", repeat.gap_mm[0], "mm", { ...what, name: "gap_across", low: 0 }),
      number("Gap down", repeat.gap_mm[1], "mm", { ...what, name: "gap_down", low: 0 }))); // prettier-ignore
}

/**
 * Pens for the colours or layers of a drawing file.
 *
 * @param {any} one
 */
function pens_for(one) {
  const off = !may_edit();
  const choice = (/** @type {any} */ ink) => {
    const now = one.pen_for?.[ink.name] ?? "";
    const pen = state.pens.find((/** @type {any} */ two) => two.name === now);
    return h("label", { key: `ink-${ink.name}`, class: "ink" }, h("i", { class: "drop", style: { "--pen": ink.colour } }), h("span", { title: ink.name }, ink_word(ink.name)), h("i", { class: "to", "aria-hidden": "true" }, "→"),
      h("select", { value: now, disabled: off, "aria-label": `Pen for ${ink.name}`, ...data({ do: "pen_for", item: one.id, name: ink.name }) }, h("option", { value: "", selected: now === "" }, "as it comes"),
        state.pens.map((/** @type {any} */ two) => h("option", { value: two.name, selected: two.name === now }, two.name))),
      h("i", { class: "drop", style: { "--pen": pen?.colour ?? ink.colour } })); // prettier-ignore
  };
  return h("details", { key: "pens", open: Object.keys(one.pen_for ?? {}).length > 0 }, h("summary", {}, "Pens"),
    h("label", { class: "choice" }, h("span", {}, "A pen for each"),
      h("select", { ...data({ do: "pen_by", item: one.id }), value: one.pen_by, disabled: off }, ["colour", "layer"].map((word) => h("option", { value: word, selected: word === one.pen_by }, word)))),
    one.inks.map(choice),
    h("p", { class: "small" }, "The slip “Pens” holds the pens in your box.")); // prettier-ignore
}

/** @param {any} one */
function pens_of(one) {
  if (one.inks?.length && !one.method) return pens_for(one);
  if (!state.pens.length) return null;
  return h("details", { key: "pens", open: Boolean(one.pens) || state.pens.length > 1 }, h("summary", {}, "Pens"),
    h("fieldset", { class: "ticks", disabled: !may_edit() }, h("legend", {}, "Drawn with"),
      state.pens.map((/** @type {any} */ pen) => h("label", { class: "tick" },
        h("input", { type: "checkbox", checked: one.pens?.includes(pen.name) ?? false, ...data({ do: "pens_of", item: one.id, name: pen.name }) }),
        h("i", { class: "drop", style: { "--pen": pen.colour } }), h("span", {}, pen.name))),
      h("p", { class: "small" }, "None ticked: it is drawn in black."))); // prettier-ignore
}
