// The slip of the drawing: time and ink, confirmations, progress, result.

import { h } from "../dom.js";
import { sign } from "../hand.js";
import { all_seen, may_edit, mine, state, under_way } from "../desk.js";
import { speed_colour } from "../ink.js";
import { duration, ended, figure, grouped, ink_word, length, quickness, sentence, several } from "../words.js";
import { button, data, heading, locked, number, refusal, slip, trouble, working } from "./parts.js";

export function drawing_slip() {
  if (state.drawing) return slip("drawing", under_way() ? "Drawing" : state.drawing.state === "finished" ? "Drawn" : "Stopped", drawing(state.drawing));
  if (mine.asking) return slip("drawing", "Before it moves", before());
  return slip("drawing", "Time and ink", [refusal(), ...known(), ...broken()]);
}

// --- before ---------------------------------------------------------------------------------------------------------

function known() {
  const { plan } = state;
  if (plan.state === "empty") return state.broken_off.length ? [] : [h("p", {}, "Nothing lies on the sheet yet, so there is nothing to know.")];
  const old = plan.stale || plan.state === "planning";
  return [
    plan.state === "planning" && h("p", { role: "status" }, working()),
    trouble(plan.error),
    plan.predicted_s > 0 && h("dl", { class: `figures-list${old ? " old" : ""}` },
      fact("Time", duration(plan.predicted_s)), fact("Ink", length(plan.ink_mm)), fact("Pen raised", length(plan.travel_mm)), fact("Strokes", grouped(plan.strokes))),
    plan.state === "ready" && state.items.filter((/** @type {any} */ one) => one.kind === "photograph").map(within),
    plan.pens.length > 1 && [heading("Pen by pen"), h("table", {}, h("thead", {}, h("tr", {}, ["Pen", "Time", "Ink", "Strokes"].map((word) => h("th", { scope: "col" }, word)))),
      h("tbody", {}, plan.pens.map((/** @type {any} */ pen) => h("tr", { key: pen.name },
        h("th", { scope: "row" }, h("i", { class: "drop", style: { "--pen": pen.colour } }), ink_word(pen.name)),
        h("td", {}, duration(pen.predicted_s)), h("td", {}, length(pen.ink_mm)), h("td", {}, grouped(pen.strokes))))))],
    minds(),
    plan.geometry && [heading("Speed"), h("label", { class: "tick" }, h("input", { type: "checkbox", checked: mine.speeds, ...data({ do: "speeds" }) }), h("span", {}, "Show speed as colour")),
      mine.speeds && h("p", { class: "scale" }, h("span", {}, "slow"), [0, 0.15, 0.3, 0.45, 0.55, 0.7, 0.8, 0.95].map((share) => h("i", { style: { background: speed_colour(share) } })), h("span", {}, "fast"))],
    plan.predicted_s > 0 && h("p", { class: "small" }, "Drag along the ruler below to see the sheet at any moment of the drawing."),
  ].flat(); // prettier-ignore
}

/**
 * Form for a drawing time.
 *
 * @param {any} one a photograph
 */
function within(one) {
  const ours = state.within?.item === one.id ? state.within : null;
  if (ours && !ours.said) return h("p", { key: `within-${one.id}`, role: "status" }, `Looking for lines of ${one.label} that take about ${duration(ours.time_s)} …`);
  const off = !may_edit() || (state.within && !state.within.said);
  return h("form", { key: `within-${one.id}`, class: "line within", "data-do": "within_form", "data-item": one.id },
    h("label", { class: "figure" }, h("span", {}, state.items.length > 1 ? `Make it about (fewer lines of ${one.label})` : "Make it about"),
      h("span", { class: "with-unit" }, h("input", { type: "number", name: "minutes", min: 0.5, max: 600, step: "any", required: true, placeholder: figure(state.plan.predicted_s / 60, 0), disabled: off }), h("span", { class: "unit" }, "min"))),
    h("button", { type: "submit", class: "plain", disabled: off }, h("span", {}, "Change")),
    ours && h("p", { class: "small", role: "status" }, `About ${duration(ours.time_s)}: ${ours.said}.`)); // prettier-ignore
}

/** Warnings of the plan. */
const minds = () => state.plan.warnings.length > 0 && [heading("To know first"), h("ul", { class: "warnings" }, state.plan.warnings.map((/** @type {any} */ one) => h("li", {}, sign("warn"),
  one.item ? button(sentence(one.text), { do: "select", item: one.item, class: "said" }) : h("span", {}, sentence(one.text)))))]; // prettier-ignore

/** @param {string} name @param {string} value */
const fact = (name, value) => h("div", {}, h("dt", {}, name), h("dd", {}, value));

/** Choice of real time for a simulation. */
const real_time = () => h("label", { class: "tick" }, h("input", { type: "checkbox", checked: Boolean(state.machine?.real_time), disabled: locked(), ...data({ do: "real_time" }) }),
  h("span", {}, "In real time. Otherwise the clock runs as fast as this computer can simulate.")); // prettier-ignore

/** Confirmations before a drawing. */
export function before() {
  const rehearsal = state.desk?.virtual;
  const ready = all_seen();
  return [
    refusal("draw"),
    h("h3", { id: "before-heading", tabindex: -1 }, rehearsal ? "On a machine, only you can see this" : "Only you can see this"),
    rehearsal
      ? h("ol", { class: "asked" }, state.before.map((/** @type {any} */ one) => h("li", { key: one.key }, sentence(one.text))))
      : h("ul", { class: "ticks" }, state.before.map((/** @type {any} */ one) => h("li", { key: one.key }, h("label", { class: "tick" },
          h("input", { type: "checkbox", checked: mine.ticked.has(one.key), ...data({ do: "tick", key: one.key }) }), h("span", {}, sentence(one.text)))))),
    h("p", { class: "small" }, rehearsal ? "A simulation has no paper and no pen: press “Begin” below." : ready ? "All of it is so? Then press “Begin” below." : "Tick each of them once it is so."),
    mine.asking === "drawing" && minds(),
    rehearsal && real_time(),
    !rehearsal && h("p", { class: "small" }, "The machine homes first, then draws. Hold stops it with the pen raised."),
    button("Not yet", { do: "not_yet", class: "quiet" }),
  ]; // prettier-ignore
}

// --- while and after ------------------------------------------------------------------------------------------------

/** @param {any} now */
function drawing(now) {
  const progress = state.progress;
  const left = progress && Number.isFinite(progress.left_s) ? duration(progress.left_s) : null;
  const quick = state.desk?.virtual && !state.machine?.real_time ? quickness(progress?.times) : "";
  /** @type {any[]} */
  const lines = [refusal(), trouble(now.error)];
  if (now.ask?.pen) {
    const { pen } = now.ask;
    lines.push(h("div", { class: "pen-change", style: { "--pen": pen.colour } },
      h("svg", { class: "big-pen", viewBox: "0 0 60 90", "aria-hidden": "true" }, h("path", { class: "body", d: "M20 6h20v48L30 78 20 54z" }), h("path", { class: "mark", d: "M22 20h16M30 78v6" })),
      h("p", {}, h("b", {}, `Put the pen “${ink_word(pen.name)}” in.`), ` ${pen.width_mm ? `${figure(pen.width_mm, 2)} mm. ` : ""}The tip touches the paper when it is lowered.`),
      button("It is in: go on", { do: "pen_in", class: "main", disabled: locked() }))); // prettier-ignore
  }
  if (under_way()) {
    lines.push(
      progress ? h("dl", { class: "figures-list" }, fact("Stroke", `${grouped(progress.stroke)} of ${grouped(progress.strokes)}`), left && fact("Time left", left),
        fact("Drawn for", duration(progress.played_s)), fact("Pen", progress.pen_up ? "raised" : "on the paper"))
        : h("p", { class: "big" }, now.words),
      quick && h("p", { class: "small" }, `The clock of this simulation runs ${quick}.`),
      h("div", { class: "slide" }, h("label", { for: "pace" }, "Pace"),
        h("input", { id: "pace", type: "range", min: 10, max: 100, step: 5, value: Math.round(100 * (now.pace || 1)), disabled: locked(), "data-live": true,
          "aria-valuetext": `${Math.round(100 * (now.pace || 1))} % of the planned speed`, ...data({ do: "pace" }) }),
        h("span", { class: "with-unit" }, `${Math.round(100 * (now.pace || 1))} %`),
        h("small", {}, "Of the planned speed. Slower when a pen skips.")),
      mine.abandoning
        ? h("div", { class: "refusal" }, h("h3", { id: "abandon-heading", tabindex: -1 }, "Stop this drawing?"), h("p", {}, "The pen rises and the rest stays undrawn. You can carry on later if the sheet stays where it is."),
            h("div", { class: "line" }, button("Stop it", { do: "abandon_now", class: "stop" }), button("Keep drawing", { do: "not_yet" })))
        : button("Stop this drawing", { do: "abandon_really", class: "quiet", disabled: locked() })); // prettier-ignore
  } else {
    const done = now.result;
    lines.push(
      h("p", { class: "big" }, (now.state !== "finished" && now.words) || ({ finished: "The drawing is finished.", abandoned: "The drawing was stopped.", failed: "The drawing broke off." })[/** @type {"finished"} */ (now.state)]),
      done && h("dl", { class: "figures-list" }, fact(state.desk?.virtual ? "Took, by its own clock" : "Took", duration(done.played_s)), fact("Planned", duration(now.predicted_s)), done.drift_mm && fact("Drift", `${figure(Math.hypot(...[done.drift_mm].flat()), 2)} mm`)),
      now.can_carry_on && broken(),
      now.state === "finished" && h("p", {}, state.desk?.virtual ? "Nothing real was drawn. What lies on the sheet stays as it was." : "Take the sheet off. The drawing is kept under “Looking back”.")); // prettier-ignore
  }
  return lines.flat();
}

/**
 * Choice of the first missing stroke: the motors may have lost power while the board continued counting.
 *
 * @param {any} left
 */
function missing(left) {
  if (!left.asks) return h("p", { class: "small" }, "The sheet shows what is drawn, and pale what is left.");
  const off = locked();
  return [
    h("h4", {}, "Look at the sheet"),
    h("p", {}, "Which is the first stroke that is not on it? Click it on the page, or step there. Black is drawn, pale is left, and the cross is where it goes on."),
    h("div", { class: "line" },
      button("One back", { do: "left_step", by: -1, disabled: off || left.at <= 1 }),
      number("First missing", left.at, "", { do: "left_stroke", low: 1, high: left.stroke, step: 1, digits: 0, disabled: off }),
      button("One on", { do: "left_step", by: 1, disabled: off || left.at >= left.stroke })),
    h("p", { class: "small" }, left.at === left.stroke ? `The board has counted ${several(left.stroke - 1, "stroke")}. Fewer are there if the motors had no power for a while.`
      : `${several(left.stroke - left.at, "stroke")} that the board has counted ${left.stroke - left.at === 1 ? "is" : "are"} drawn again.`),
  ]; // prettier-ignore
}

/** Interrupted drawings. */
function broken() {
  return state.broken_off.map((/** @type {any} */ one) => h("article", { key: `broken-${one.id}`, class: "broken" },
    heading(`${one.why === "abandoned" ? "Stopped" : "Broken off"}: ${one.picture}`),
    h("p", {}, `${several(one.strokes_done, "stroke")} of ${grouped(one.strokes)} are on ${one.sheet}.${one.why && one.why !== "abandoned" ? ` ${ended(one.why)}` : ""}`),
    mine.left?.drawing === one.id && mine.left?.geometry && missing(mine.left),
    one.confirm.length > 0 && h("ul", { class: "asked" }, one.confirm.map((/** @type {any} */ two) => h("li", { key: two.key }, sentence(two.text)))),
    h("div", { class: "line" }, button("It is so: carry on", { do: "resume_now", drawing: one.id, class: "main", sign: "go", disabled: locked() }),
      button("Do not carry on", { do: "forget", drawing: one.id, class: "quiet", disabled: locked() })))); // prettier-ignore
}
