// The slip of the machine: selection, manual control, bring-up, calibration.

import { h } from "../dom.js";
import { sign } from "../hand.js";
import { mine, state, tasked, under_way } from "../desk.js";
import { duration, ended, figure, length, sentence } from "../words.js";
import { before } from "./drawing.js";
import { button, data, heading, locked, number, picture, refusal, slip, trouble } from "./parts.js";

export function machine_slip() {
  const machine = state.machine;
  if (!machine) return slip("machine", "Machine", [h("p", {}, "The desk has not said yet which machine it has.")]);
  if (mine.asking === "trial" && state.trial) return slip("machine", "Before it moves", before());
  if (state.trial) return slip("machine", sentence(state.trial.name), trial(state.trial));
  const here = !["off", "connecting", "lost"].includes(machine.state);
  return slip("machine", "Machine", [
    refusal(),
    h("p", { class: "big" }, ended(machine.words)),
    machine.fault && h("div", { class: "refusal", role: "alert" }, h("p", {}, sign("warn"), h("b", {}, sentence(machine.fault))), machine.hint && h("p", {}, sentence(machine.hint))),
    task(),
    state.phone && phone(),
    ports(machine),
    rigs(machine),
    here && hands(machine),
    here && heights(machine),
    making_true(),
    !state.phone && phone(),
  ]);
}

// --- selection -------------------------------------------------------------------------------------------------------

/** @param {any} machine */
function ports(machine) {
  const off = locked() || under_way();
  const rows = (machine.ports ?? []).map((/** @type {any} */ one) => {
    const now = machine.port === one.port && machine.state !== "off";
    return h("li", { key: one.port }, h("p", {}, h("b", {}, one.rig || one.about || one.port), h("small", {}, `${one.port}${one.board ? `, ${one.board}` : ""}${one.version ? `, code ${one.version}` : ""}`)),
      now ? h("span", { class: "now" }, "connected") : button("Connect", { do: "connect_port", port: one.port, label: `Connect ${one.rig || one.about || one.port}`, disabled: off })); // prettier-ignore
  });
  return h("details", { key: "ports", open: ["off", "lost"].includes(machine.state) }, h("summary", {}, "Which machine"),
    machine.ports_looking && h("p", { role: "status" }, "Asking at every port of this computer …"),
    h("ul", { class: "rows" }, rows,
      !rows.some((/** @type {any} */ row) => row.key === "virtual") && h("li", { key: "virtual" }, h("p", {}, h("b", {}, "The virtual rig"), h("small", {}, "a simulated machine; nothing real moves")),
        machine.port === "virtual" && machine.state !== "off" ? h("span", { class: "now" }, "connected") : button("Connect", { do: "connect_port", port: "virtual", label: "Connect the virtual rig", disabled: off }))),
    h("div", { class: "line" }, button("Search again", { do: "ports", class: "quiet", disabled: off }), machine.state !== "off" && button("Disconnect", { do: "disconnect", class: "quiet", disabled: off })),
    h("p", { class: "small" }, "A machine of your own appears here once its cable is in: then “Search again”."),
    state.desk?.virtual && h("label", { class: "tick" }, h("input", { type: "checkbox", checked: Boolean(machine.real_time), disabled: off, ...data({ do: "real_time" }) }), h("span", {}, "Simulate in real time"))); // prettier-ignore
}

/**
 * Rig files.
 *
 * @param {any} machine
 */
function rigs(machine) {
  const off = locked() || under_way() || tasked();
  const wiring = mine.wiring?.rig === machine.rig ? mine.wiring : null;
  return h("details", { key: "rigs" }, h("summary", {}, "Its file"),
    h("p", {}, "A rig file says how large the machine is, how it is wired and how fast it may go."),
    h("ul", { class: "rows" }, machine.rigs.map((/** @type {any} */ rig) => h("li", { key: rig.id }, h("p", {}, h("b", {}, rig.id === "default" ? "A machine as it comes, without a file of its own" : rig.name), h("small", {}, `board ${rig.board}${rig.usual ? ", the usual one" : ""}`)),
      rig.id === machine.rig ? h("span", { class: "now" }, "in use") : button("Use it", { do: "rig_take", rig: rig.id, label: `Use ${rig.name}`, disabled: off })))),
    h("label", { class: "file" }, h("span", {}, "Another rig file"), h("input", { type: "file", accept: ".toml", disabled: off, ...data({ do: "rig_send" }) })),
    h("p", { class: "small" }, "The desk keeps a copy of it, and writes what fits find into the copy."),
    button("Show its wiring", { do: "wiring_show", disabled: locked() }),
    wiring && [h("a", { href: `/picture/${wiring.picture}.svg`, target: "_blank", rel: "noopener" }, h("img", { class: "trial", src: `/picture/${wiring.picture}.svg`, alt: "What is to be wired to what." })),
      h("ul", { class: "asked" }, wiring.cautions.map((text) => h("li", {}, sentence(text))))]); // prettier-ignore
}

// --- manual control --------------------------------------------------------------------------------------------------

/** @param {any} machine */
function hands(machine) {
  const off = locked() || under_way();
  const still = off || machine.state !== "ready";
  const step = (/** @type {string} */ word, /** @type {number} */ dx, /** @type {number} */ dy, /** @type {string} */ arrow) =>
    h("button", { type: "button", class: `plain way-${word}`, disabled: still, "aria-label": `Move ${word} by ${mine.jog_mm} mm`, ...data({ do: "jog_step", dx, dy }) },
      h("svg", { class: "sign", viewBox: "0 0 24 24", "aria-hidden": "true" }, h("path", { d: arrow }))); // prettier-ignore
  const at = machine.position_mm;
  return [
    heading("By hand"),
    h("p", {}, at ? `The pen is at ${figure(at[0], 1)} mm across, ${figure(at[1], 1)} mm down.` : "Nobody knows where the pen is until it is homed."),
    h("div", { class: "line" }, button("Home it", { do: "home", class: machine.state === "unhomed" ? "main" : "plain", sign: "home", disabled: off || ["homing", "moving"].includes(machine.state) }),
      button("Motors off", { do: "motors_off", class: "stop", disabled: locked() })),
    h("div", { class: "jogging" }, step("left", -1, 0, "M20 12H4M10 6l-6 6 6 6"), step("up", 0, -1, "M12 20V4M6 10l6-6 6 6"), step("down", 0, 1, "M12 4v16M6 14l6 6 6-6"), step("right", 1, 0, "M4 12h16M14 6l6 6-6 6"),
      h("label", { class: "choice" }, h("span", {}, "Step"), h("select", { "data-do": "jog_size", value: String(mine.jog_mm) }, [0.1, 1, 10, 50].map((mm) => h("option", { value: mm, selected: mm === mine.jog_mm }, `${mm} mm`))))),
    h("p", { class: "small" }, machine.state === "ready" ? "Or drag the pen’s cross on the table; its arrow keys move it, too." : "It moves once it is homed."),
    machine.endstop_x !== undefined && h("p", { class: "small" }, `The switch at the end of X is ${machine.endstop_x ? "pressed" : "not pressed"}, that of Y ${machine.endstop_y ? "pressed" : "not pressed"}.`),
  ]; // prettier-ignore
}

/** @param {any} machine */
function heights(machine) {
  const off = locked() || under_way();
  const usual = state.pens_usual ?? {};
  const kept_in = state.desk?.virtual ? h("p", {}, "A simulated pen does not tell how high the real one stands. Heights can be tried here, and are kept once your machine is connected.")
    : fileless() && h("div", {}, h("p", {}, "The heights that you find are kept in the machine’s rig file, and this machine has none yet."), button("Make a rig file for it", { do: "rig_new", disabled: off })); // prettier-ignore
  return h("details", { key: "heights" }, h("summary", {}, "Pen heights, by trying"),
    kept_in,
    h("p", {}, `The pen is ${machine.pen_up === null || machine.pen_up === undefined ? "somewhere" : machine.pen_up ? "raised" : "lowered"}. Keep fingers away from the servo’s arm.`),
    h("div", { class: "line" }, button("Raise", { do: "pen", height: "up", disabled: off }), button("Lower", { do: "pen", height: "down", disabled: off })),
    h("p", {}, `The servo’s pulse sets the height: raised is ${usual.up_us ?? "?"} µs now, lowered ${usual.down_us ?? "?"} µs. ${usual.up_us > usual.down_us ? "More" : "Less"} raises the pen. Enter tries a figure.`),
    number("Try", mine.tried_us ?? usual.down_us, "µs", { do: "pen_height", low: 400, high: 2600, step: 10, digits: 0, disabled: off }),
    mine.tried_us !== null && h("p", { role: "status" }, machine.busy ? `It goes to ${mine.tried_us} µs …` : `Tried: ${mine.tried_us} µs.`),
    mine.tried_us !== null && !kept_in && h("div", { class: "line" }, button("Keep as raised", { do: "pen_keep_tried", as: "up", disabled: off }), button("Keep as lowered", { do: "pen_keep_tried", as: "down", disabled: off })),
    refusal("pen", "pen_keep", "rig_new")); // prettier-ignore
}

// --- calibration -----------------------------------------------------------------------------------------------------

function making_true() {
  const off = locked() || under_way() || tasked();
  return [
    h("details", { key: "bring-up" }, h("summary", {}, "A new machine’s first day"),
      h("p", {}, "Step by step: the link, the switches by hand, each motor a short way, the pen, homing. Have a switch within reach that takes power off the motors."),
      h("div", { class: "line" }, button("Begin bring-up", { do: "bring_up", disabled: off }), button("All of it anew", { do: "bring_up_anew", class: "quiet", disabled: off, label: "All of it anew, and forget what was found" }))),
    h("details", { key: "trials", open: false }, h("summary", {}, "Trial sheets"),
      h("p", {}, "The machine draws a sheet, you measure it, and its file is corrected."),
      h("ul", { class: "rows" }, state.trials.map((/** @type {any} */ one) => h("li", { key: one.name }, h("p", {}, h("b", {}, sentence(one.name)), h("small", {}, one.about)),
        button("Open", { do: "trial", name: one.name, label: `Open the trial sheet ${one.name}`, disabled: off })))),
      button("Undo the last fit", { do: "fit_undo", class: "quiet", disabled: off })),
    h("details", { key: "tune" }, h("summary", {}, "Tune and exercise"),
      h("p", {}, "Tuning finds the quickest way to move in which the lines on the sheet stay true. Exercise moves for some minutes and counts what was lost."),
      h("div", { class: "line" }, button("Tune", { do: "tune", disabled: off || state.plan.state !== "ready" }), button("Check the board", { do: "check", disabled: off })),
      h("form", { class: "line", "data-do": "exercise_form" }, h("label", { class: "figure" }, h("span", {}, "Exercise for"), h("span", { class: "with-unit" }, h("input", { type: "number", name: "minutes", value: 3, min: 1, max: 60 }), h("span", { class: "unit" }, "min"))),
        h("button", { type: "submit", class: "plain", disabled: off }, h("span", {}, "Exercise")))),
  ]; // prettier-ignore
}

/** The current or last task of the machine other than drawing. */
function task() {
  const now = state.task;
  if (!now) return null;
  const over = !tasked();
  return h("article", { key: "task", class: "task" }, heading(sentence(now.name)),
    now.doing && h("p", { role: "status" }, sentence(now.doing)),
    !over && typeof now.done === "number" && h("progress", { value: now.done, max: 1, "aria-label": "How far it is" }),
    now.steps?.length > 0 && h("ol", { class: "steps" }, now.steps.map((/** @type {any} */ step) => h("li", { key: step.name, class: step.state, "aria-current": step.name === now.step && !over ? "step" : null },
      h("span", {}, step.title), step.state !== "todo" && h("small", {}, step.state)))),
    now.lines?.length > 0 && h("div", { class: "told", role: "log", "aria-label": "What bring-up says" }, now.lines.slice(-TOLD).map((/** @type {any} */ line) => h("p", { class: `said-${line.kind}` }, sentence(line.text)))),
    now.rows?.length > 0 && ROWS[/** @type {"tune"} */ (now.name)]?.(now.rows),
    now.words && h("p", { class: "big" }, `${sentence(now.words)}.`),
    over && now.name === "bring-up" && !now.error && h("p", { class: "big" }, now.complete ? "Every step is done." : "Some steps are still to be done. Bring-up goes on where it was left."),
    now.kept && h("p", { class: "small" }, `What the machine’s file said before is kept as ${now.kept}.`),
    now.name === "tune" && over && !now.error && tuned(now),
    trouble(now.error),
    over ? button("Close this", { do: "task_close", class: "quiet", disabled: locked() }) : button("Stop this", { do: "stop", class: "stop", disabled: locked() })); // prettier-ignore
}

/** Number of bring-up lines on show. */
const TOLD = 12;

/** @param {string[]} heads @param {any[][]} rows the first cell of each is its heading */
const table = (heads, rows) => h("table", {}, h("thead", {}, h("tr", {}, heads.map((word) => h("th", { scope: "col" }, word)))),
  h("tbody", {}, rows.map(([name, ...cells]) => h("tr", {}, h("th", { scope: "row" }, name), cells.map((cell) => h("td", {}, cell)))))); // prettier-ignore

/** Results of tasks, by name. */
const ROWS = {
  tune: (/** @type {any[]} */ rows) => table(["Way of moving", "Time", "Wobble", "Which"], rows.map((row) =>
    [row.name, duration(row.predicted_s), `${figure(row.wobble_mm, 3)} mm`, [row.best && "best", row.now && "as it is"].filter(Boolean).join(", ")])), // prettier-ignore
  exercise: (/** @type {any[]} */ rows) => table(["Bout", "Direction", "Speed", "Way", "Steps lost"], rows.slice(-TOLD).map((row) =>
    [row.n, `${row.axis.toUpperCase()}, ${row.sense === "+" ? "from home" : "to home"}`, `${Math.round(100 * row.share)} %`, length(row.way_mm), row.lost_steps ?? "very many"])), // prettier-ignore
  check: (/** @type {any[]} */ rows) => h("ul", { class: "checks" }, rows.map((row) => h("li", {}, sign(row.outcome === "passed" ? "check" : row.outcome === "failed" ? "warn" : "know"), h("p", {},
    h("b", {}, `${sentence(row.name)}: ${row.outcome}. `), sentence(row.words || ""), row.hint && h("small", {}, sentence(row.hint)))))), // prettier-ignore
};

/** @param {any} now */
function tuned(now) {
  if (now.written) return h("p", {}, "Written into the machine’s file.");
  if (now.rows.some((/** @type {any} */ row) => row.best && row.now)) return h("p", {}, "It moves in the best of these ways already.");
  return fileless() ?? button("Move in the best way from now on", { do: "tune_write", class: "main", disabled: locked() || under_way() });
}

/** The reason why a fit cannot be written; null: the machine has a file. */
const fileless = () => (state.machine.rig === "default" ? h("div", {}, h("p", { class: "small" }, "This machine has no file of its own, so nothing can be kept. With a rig file under “Its file” it is kept there."), button("Make a rig file for it", { do: "rig_new", disabled: locked() })) : null);

/** From this number on, measurements that differ only by name form a grid with one common question. */
const GRID_FROM = 6;

/**
 * The fields of a trial sheet's form.
 *
 * @param {any[]} entries
 */
function fields(entries) {
  const field = (/** @type {any} */ one, /** @type {string} */ word) => h("label", { key: one.name, class: "figure", title: sentence(one.ask) }, h("span", {}, word),
    h("span", { class: "with-unit" }, h("input", { type: "text", inputmode: "decimal", name: one.name, required: Boolean(one.needed), value: mine.measures[one.name] ?? "", placeholder: one.expected === null || one.expected === undefined ? "" : String(one.expected), autocomplete: "off" }),
      word !== one.name && h("span", { class: "unit" }, one.unit || ""))); // prettier-ignore
  const form = (/** @type {any} */ one) => one.ask.replace(one.name, "…");
  /** @type {Map<string, any[]>} */
  const alike = new Map();
  for (const one of entries) alike.set(form(one), [...(alike.get(form(one)) ?? []), one]);
  return [...alike].map(([ask, some]) =>
    some.length < GRID_FROM || !ask.includes("…")
      ? some.map((/** @type {any} */ one) => field(one, sentence(one.ask)))
      : [h("p", { class: "wide" }, sentence(ask)), h("div", { class: "wide grid" }, some.map((/** @type {any} */ one) => field(one, one.name)))],
  );
}

/** @param {any} now */
function trial(now) {
  const off = locked() || under_way();
  const finding = now.finding;
  const away = button("Close this sheet", { do: "trial_close", class: "quiet", disabled: off });
  if (now.state === "making") return [h("p", { role: "status" }, "Making this sheet …"), away];
  if (now.state === "refused") return [refusal(), trouble(now.error), away];
  return [
    refusal(),
    trouble(now.error),
    h("p", { class: "big" }, sentence(now.title)),
    now.picture ? h("img", { class: "trial where", src: `/picture/${now.picture}.png`, alt: `The trial sheet ${now.name}, with the places where to measure.` }) : picture(now.geometry),
    h("ol", { class: "asked" }, now.how.map((/** @type {string} */ text) => h("li", {}, sentence(text)))),
    h("div", { class: "line" }, button(now.drawn ? "Draw it again" : "Draw this sheet", { do: "trial_draw", class: now.drawn ? "plain" : "main", disabled: off }), away),
    heading("What you measured"),
    h("form", { class: "measures", "data-do": "fit_form", key: `form-${now.name}-${now.number}` },
      fields(now.entries),
      h("button", { type: "submit", class: "main", disabled: off || now.state === "fitting" }, h("span", {}, "Work it out"))),
    now.state === "fitting" && h("p", { role: "status" }, "Working it out …"),
    now.photograph && photographed(off),
    finding && found(finding, off),
  ]; // prettier-ignore
}

/** @param {boolean} off */
const photographed = (off) => h("div", {}, heading("Or by a photograph"),
  h("label", { class: "file" }, h("span", {}, "A photograph of the sheet"), h("input", { type: "file", accept: "image/*", disabled: off, ...data({ do: "fit_photo" }) })),
  (state.phone?.received ?? []).map((/** @type {any} */ one) => button(`Read ${one.name} from the phone`, { do: "fit_received", upload: one.upload, disabled: off }))); // prettier-ignore

/** @param {any} finding @param {boolean} off */
function found(finding, off) {
  const unit = (/** @type {any} */ row) => (row.unit ? ` ${row.unit}` : "");
  const shown = (/** @type {any} */ value) => (Array.isArray(value) ? value.flat().map((one) => figure(Number(one), 4)).join(", ") : typeof value === "number" ? figure(value, 4) : String(value));
  return h("article", { key: "finding", class: "finding" }, heading("What it shows"),
    table(["Figure", "Before", "After"], finding.rows.map((/** @type {any} */ row) =>
      [sentence(row.name), `${figure(row.before, 4)}${unit(row)}`, `${figure(row.after, 4)}${row.stated === null ? "" : ` ± ${figure(row.stated, 4)}`}${unit(row)}`])),
    finding.notes.map((/** @type {string} */ text) => h("p", {}, sentence(text))),
    finding.picture && h("img", { class: "trial", src: `/picture/${finding.picture}.png`, alt: "How far each cross is off once this is written." }),
    finding.residuals.length > 0 && h("details", {}, h("summary", {}, "What is left over"),
      table(["Measurement", "Measured", "Off by"], finding.residuals.map((/** @type {any} */ row) => [row.name, `${figure(row.measured, 3)}${unit(row)}`, `${figure(row.off, 3)}${unit(row)}`]))),
    finding.changes.length > 0 && h("details", {}, h("summary", {}, "What changes in its file"), h("ul", { class: "asked" }, finding.changes.map((/** @type {any} */ one) => h("li", {}, `${one.key}: ${shown(one.new)}`)))),
    finding.written ? h("p", { class: "big" }, "Written into the machine’s file.") : (fileless() ?? button("Correct the machine by it", { do: "fit_write", class: "main", disabled: off }))); // prettier-ignore
}

// --- phone -----------------------------------------------------------------------------------------------------------

function phone() {
  const now = state.phone;
  return h("details", { key: "phone", open: Boolean(now) }, h("summary", {}, "By phone"),
    now
      ? [h("img", { class: "code", src: `/picture/${now.code}`, alt: `The code of ${now.address}` }), h("p", {}, "Scan it with a phone in the same network. The phone can send photographs, see the progress, and hold. Nothing else."),
          (now.received ?? []).map((/** @type {any} */ one) => button(`Add ${one.name}`, { do: "put_received", upload: one.upload })),
          button("Switch this off", { do: "phone_off", class: "quiet" })] // prettier-ignore
      : [h("p", {}, "A phone can send photographs, and show the progress beside the machine."), button("Let a phone in", { do: "phone_on", sign: "phone", disabled: locked() })]);
}
