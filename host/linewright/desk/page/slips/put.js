// The slip for adding items, and the three ways to begin on an empty sheet.

import { h } from "../dom.js";
import { hand, sign } from "../hand.js";
import { may_edit, mine, state } from "../desk.js";
import { sentence } from "../words.js";
import { button, data, heading, number, refusal, slip } from "./parts.js";

const KINDS = ".svg,.dxf,.pdf,.toml,image/*";

/** @param {string} word @param {string} picture @param {string} about @param {Record<string, any>} what */
const way = (word, picture, about, what) =>
  h("button", { type: "button", class: "way", disabled: !may_edit(), ...data(what) }, sign(picture), hand(word, { size: 1.05 }), h("small", {}, about));

/** Shown on an empty sheet. */
export function beginning() {
  return h("section", { key: "beginning", class: "beginning", "aria-label": "Three ways to begin" },
    h("h2", {}, "Add something to the sheet"),
    way("A picture", "file", "Drop one anywhere, or choose it", { do: "choose_file" }),
    way("Words", "words", "Typed straight on the sheet", { do: "put_words" }),
    way("A surprise", "surprise", "Different each time", { do: "put_surprise" }),
    h("p", { class: "small" }, "Photographs, SVG, PDF and DXF. Nothing leaves this computer."),
    mine.uploading && h("p", { role: "status" }, `Taking in ${mine.uploading} …`),
    refusal("put")); // prettier-ignore
}

export function put_slip() {
  const sheet = state.sheet;
  return slip("put", "Add to the sheet", [
    refusal("put", "sheet"),
    h("div", { class: "ways" },
      way("A picture", "file", "Photograph, SVG, PDF, DXF", { do: "choose_file" }),
      way("Words", "words", "Typed on the sheet", { do: "put_words" }),
      way("A surprise", "surprise", "Different each time", { do: "put_surprise" })),
    mine.uploading && h("p", { role: "status" }, `Taking in ${mine.uploading} …`),
    heading("A picture of a sentence"),
    h("form", { class: "line", "data-do": "put_sentence" },
      h("input", { type: "text", name: "sentence", required: true, "aria-label": "A sentence", placeholder: "a heron on a boat", autocomplete: "off" }),
      h("button", { type: "submit", class: "plain" }, sign("sentence"), h("span", {}, "Make it"))),
    heading("A pattern"),
    h("ul", { class: "patterns" }, state.patterns.map((/** @type {any} */ one) =>
      h("li", { key: `p-${one.name}` }, button(sentence(one.name), { do: "put_pattern", name: one.name, disabled: !may_edit() }), h("small", {}, one.about)))),
    heading("The sheet"),
    sheet && h("div", { class: "figures" },
      h("label", { class: "choice" }, h("span", {}, "Size"),
        h("select", { "data-do": "sheet_name", value: sheet.name }, [...new Set([sheet.name, ...sheet.choices])].map((name) => h("option", { value: name, selected: name === sheet.name }, name)))),
      number("Margin", sheet.margin_mm, "mm", { do: "sheet_margin", low: 0, high: 100 }),
      button("Turn the sheet", { do: "sheet_turn", sign: "redo" })),
    state.items.length > 0 && h("p", { class: "far" }, button("Clear the sheet", { do: "clear", class: "quiet" }), h("small", {}, "It can be undone.")),
  ]); // prettier-ignore
}

/** Opens the file dialog of the computer by the hidden file field. */
export const file_field = () =>
  h("input", { key: "files", id: "files", class: "heard", type: "file", multiple: true, accept: KINDS, tabindex: -1, "aria-label": "Picture files", "data-do": "files" });
