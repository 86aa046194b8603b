// The slip of the log: past drawings with their pictures, to be repeated.

import { h } from "../dom.js";
import { may_edit, state } from "../desk.js";
import { duration, figure, length, several } from "../words.js";
import { button, picture, refusal, slip } from "./parts.js";

export function log_slip() {
  return slip("log", "Looking back", [
    refusal("again"),
    !state.log.length && h("p", {}, "Nothing was drawn yet. Every drawing will stand here with its picture, and can be drawn again."),
    h("ul", { class: "drawn" }, state.log.map((/** @type {any} */ one) => h("li", { key: one.id },
      one.geometry ? picture(one.geometry) : h("span", { class: "picture none" }),
      h("div", {},
        h("h3", {}, one.picture),
        h("p", {}, `${when(one.began)}, ${one.rehearsal ? "simulated" : one.rig === "default" ? "the rig without a file" : one.rig}. ${outcome(one)}`),
        h("p", { class: "small" }, [`${several(one.strokes, "stroke")}, ${length(one.ink_mm)} of ink on ${one.sheet}`,
          one.played_s ? `took ${duration(one.played_s)}, planned ${duration(one.predicted_s)}` : `planned ${duration(one.predicted_s)}`,
          one.drift_mm ? `drift ${figure(Math.hypot(...one.drift_mm), 2)} mm` : ""].filter(Boolean).join("; ")),
        one.settings && h("details", {}, h("summary", {}, "Settings"), h("p", { class: "small" }, Object.entries(one.settings).map(([name, value]) => `${name}: ${typeof value === "object" ? JSON.stringify(value) : value}`).join("; "))),
        one.again && button("Draw it again", { do: "again_now", drawing: one.id, label: `Draw ${one.picture} again`, disabled: !may_edit() }))))), // prettier-ignore
  ]);
}

/** @param {any} one */
const outcome = (one) => (one.fault ? `It broke off: ${one.fault}.` : one.outcome === "finished" ? "Finished." : `It was ${one.outcome}.`);

/** @param {string} began an ISO time */
function when(began) {
  const date = new Date(began);
  return Number.isNaN(date.getTime()) ? began : date.toLocaleString("en-GB", { day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" });
}
