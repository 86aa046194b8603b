// The slip of the box of pens.

import { h } from "../dom.js";
import { may_edit, state } from "../desk.js";
import { figure } from "../words.js";
import { button, data, number, refusal, slip } from "./parts.js";

export function pens_slip() {
  const usual = state.pens_usual ?? {};
  const empty = (/** @type {any} */ value) => (value === null || value === undefined ? "usual" : figure(value, 2));
  return slip("pens", "Pens", [
    refusal("pens"),
    !state.pens.length && h("p", {}, `One black pen, ${usual.width_mm ?? 0.5} mm. Add the pens that lie in your box; then each thing on the sheet can choose among them.`),
    state.pens.length > 1 && h("p", {}, "To choose what a pen draws, click a thing on the sheet, then “Pens” in its slip."),
    h("ul", { class: "box" }, state.pens.map((/** @type {any} */ pen, /** @type {number} */ index) => {
      const what = { do: "pen_figure", index, disabled: !may_edit() };
      return h("li", { key: `pen-${index}`, style: { "--pen": pen.colour } },
        h("svg", { class: "sample", viewBox: "0 0 200 18", "aria-hidden": "true", preserveAspectRatio: "none" }, h("path", { d: "M4 11c20-12 34-4 50 0s34 4 50-2 36-6 52 0 28 4 40-2", style: { "stroke-width": Math.max(1, 4 * (pen.width_mm ?? usual.width_mm ?? 0.5)) } })),
        h("div", { class: "figures" },
          h("label", { class: "figure wide" }, h("span", {}, "Name"), h("input", { type: "text", value: pen.name, maxlength: 40, disabled: !may_edit(), ...data({ do: "pen_figure", index, name: "name" }) })),
          h("label", { class: "figure" }, h("span", {}, "Colour"), h("input", { type: "color", value: pen.colour, disabled: !may_edit(), ...data({ do: "pen_figure", index, name: "colour" }) })),
          number("Line", pen.width_mm, "mm", { ...what, name: "width_mm", low: 0.05, high: 10, empty: empty(usual.width_mm) }),
          number("Top speed", pen.speed_mm_s, "mm/s", { ...what, name: "speed_mm_s", low: 1, empty: empty(usual.speed_mm_s) })),
        h("details", {}, h("summary", {}, "Heights of its own"),
          h("div", { class: "figures" },
            number("Raised", pen.up_us, "µs", { ...what, name: "up_us", low: 400, high: 2600, step: 1, empty: empty(usual.up_us) }),
            number("Lowered", pen.down_us, "µs", { ...what, name: "down_us", low: 400, high: 2600, step: 1, empty: empty(usual.down_us) }))),
        button(`Take ${pen.name} out`, { do: "pen_less", index, class: "quiet", disabled: !may_edit() })); // prettier-ignore
    })),
    button("Add a pen", { do: "pen_more", class: "plain", sign: "pen", disabled: !may_edit() }),
    h("p", { class: "small" }, "An empty figure is the machine's own."),
  ]);
}

