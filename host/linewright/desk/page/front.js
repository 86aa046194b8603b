// Parts that are always visible: the plate with the machine's name, the tabs of the slips, the next step, questions.

import { h } from "./dom.js";
import { hand, sign } from "./hand.js";
import { all_seen, mine, state, tasked, trial_comes, under_way } from "./desk.js";
import { duration, ended, ink_word, length, sentence } from "./words.js";
import { button, data, locked, working } from "./slips/parts.js";

export const SLIPS = [
  ["put", "Add", "file"],
  ["thing", "Lines", "lines"],
  ["pens", "Pens", "pen"],
  ["drawing", "Time and ink", "know"],
  ["machine", "Machine", "machine"],
  ["log", "Looking back", "log"],
];

/** Name and state of the machine. */
export function plate() {
  const { desk, machine } = state;
  const rehearsal = Boolean(desk?.virtual);
  return h("div", { key: "plate", class: `plate${rehearsal ? " rehearsal" : ""}` },
    h("h1", { class: "heard" }, "Linewright desk"),
    hand(rehearsal ? "Simulation" : machine?.name || "Machine", { size: 1.15, class: "who" }),
    h("p", { class: "kind" }, rehearsal ? "Nothing real moves." : "A real machine. Keep fingers, hair and cables clear."),
    h("p", { class: `state${mine.link === "lost" || machine?.state === "faulted" ? " wrong" : ""}`, role: "status" }, how_it_is())); // prettier-ignore
}

/** @type {Record<string, string>} */
const UNDER_WAY = { homing: "It is homing.", drawing: "It is drawing.", holding: "It is held, pen raised.", pen: "It waits for a pen.", stopping: "It is stopping." };

/** Short texts that change seldom, because screen readers speak each change. */
function how_it_is() {
  if (mine.link === "lost") return "The link to the desk is lost. It is looked for; a drawing goes on without this page.";
  if (under_way()) return UNDER_WAY[state.drawing.state] ?? "It gets ready.";
  return ended(state.machine?.words ?? "The desk is being set …");
}

/** Tabs of the slips. */
export const tabs = () => h("nav", { key: "tabs", class: "tabs", "aria-label": "Slips" }, SLIPS.map(([name, word, picture]) =>
  h("button", { key: name, type: "button", class: "tab", "aria-expanded": String(mine.slip === name), ...data({ do: "open", slip: name }) }, sign(picture), h("span", { class: "word", "data-word": word }, word)))); // prettier-ignore

/** Undo and zoom. */
export function looks() {
  const { undo, redo } = state.history;
  const off = locked() || Boolean(state.drawing);
  return h("div", { key: "looks", class: "looks" },
    button("Undo", { do: "undo", sign: "undo", class: "quiet", disabled: off || !undo, label: undo ? `Undo: ${undo}` : "Undo: nothing to undo" }),
    button("Redo", { do: "redo", sign: "redo", class: "quiet", disabled: off || !redo, label: redo ? `Redo: ${redo}` : "Redo: nothing to redo" }),
    h("span", { class: "gap" }),
    button("Nearer", { do: "nearer", class: "quiet" }),
    button("Further", { do: "further", class: "quiet" }),
    button("Sheet", { do: "sheet_near", class: "quiet", label: "Show the sheet" }),
    button("All", { do: "whole", class: "quiet", label: "Show all of the table" })); // prettier-ignore
}

/** @typedef {{word: string, about: string, at: Record<string, any>, kind?: string, picture?: string, off?: boolean, beside?: {word: string, do: string, sign?: string, drawing?: string}}} Step */

/**
 * The next step.
 *
 * @returns {Step}
 */
export function next_step() {
  const { plan, drawing, machine, broken_off, items, desk } = state;
  const draws = desk?.virtual ? "Simulate" : "Draw";
  if (mine.link === "lost") return { word: "Link lost", about: "Is linewright desk still running? This page finds it by itself.", at: { do: "open", slip: "machine", stay: "y" }, off: true };
  if (drawing) {
    const now = drawing.words || "";
    if (drawing.state === "pen") return { word: "Pen is in", about: drawing.ask?.pen ? `Put the pen “${ink_word(drawing.ask.pen.name)}” in.` : now, at: { do: "pen_in" } };
    if (drawing.state === "holding") return { word: "Carry on", about: now || "It holds with the pen raised.", at: { do: "carry_on" }, picture: "go" };
    if (drawing.state === "stopping") return { word: "Stopping", about: now, at: { do: "hold" }, off: true };
    if (under_way()) return { word: "Hold", about: now, at: { do: "hold" }, kind: "stop", picture: "hold" };
    if (drawing.state === "finished") {
      const about = desk?.virtual ? "The simulation is finished. It is kept under Looking back." : "Finished. Take the sheet off, then press here.";
      return { word: "Done", about, at: { do: "put_away" }, picture: "check", beside: { word: "Draw it again", do: "draw_again", sign: "redo" } };
    }
    if (drawing.can_carry_on && broken_off.length) return { word: "Carry on", about: now || "It was broken off.", at: { do: "resume_now", drawing: broken_off[0].id }, picture: "go",
      beside: { word: "Do not carry on", do: "forget", drawing: broken_off[0].id } }; // prettier-ignore
    return { word: "Done", about: now, at: { do: "put_away" }, picture: "check" };
  }
  const [asked] = state.questions;
  if (asked && alone(asked)) return { word: "Go on", about: [asked.where, sentence(asked.text)].filter(Boolean).join(". "), at: answer(asked, asked.choices[0].word), off: locked() };
  if (asked) return { word: "Answer", about: `It is asked above: ${sentence(asked.text)}`, at: { do: "to_question" } };
  if (tasked()) return { word: "Stop", about: sentence(state.task.doing || `${state.task.name} is under way`), at: { do: "stop" }, kind: "stop", picture: "hold" };
  if (machine?.state === "faulted") return { word: "What is wrong?", about: sentence(machine.fault || machine.words), at: { do: "open", slip: "machine", stay: "y" }, picture: "machine" };
  if (trial_comes() && mine.asking !== "trial") {
    return { word: draws, about: `The trial sheet ${state.trial.name}, ${duration(state.trial.predicted_s ?? 0)}. Is its paper down, and the pen in?`, at: { do: "trial_draw" }, picture: "pen" };
  }
  if (mine.asking === "trial" && state.trial) return begin({ do: "trial_now" }, `The trial sheet ${state.trial.name}. `);
  if (broken_off.length && !items.length) return { word: "Carry on?", about: `At stroke ${broken_off[0].strokes_done} of ${broken_off[0].strokes} of ${broken_off[0].picture}.`, at: { do: "open", slip: "drawing", stay: "y" } };
  if (!items.length) return { word: "Add something", about: "A picture, words, or a surprise.", at: { do: "open", slip: "put", stay: "y" }, picture: "file" };
  if (plan.state === "refused") return { word: "See why", about: sentence(plan.error?.text ?? "It cannot be drawn as it lies."), at: { do: "open", slip: plan.error?.item ? "thing" : "drawing", stay: "y" }, picture: "warn" };
  if (plan.state !== "ready") return { word: draws, about: working(), at: { do: "begin" }, off: true, picture: "pen" };
  if (mine.asking === "drawing") return begin({ do: "draw_now" });
  const minds = plan.warnings.length ? ` ${plan.warnings.length === 1 ? "One thing" : `${plan.warnings.length} things`} to know first.` : "";
  return { word: draws, about: `${duration(plan.predicted_s)}, ${length(plan.ink_mm)} of ink.${minds}`, at: { do: "begin" }, picture: "pen" };
}

/** @param {Record<string, any>} at @param {string} [what] is drawn @returns {Step} */
function begin(at, what = "") {
  const ready = all_seen();
  return { word: "Begin", about: what + (state.desk?.virtual ? "Nothing real moves." : ready ? "Once all of it is so, press here." : "Tick first what only you can see."), at, picture: "go", off: !ready };
}

export function next() {
  const step = next_step();
  const { word: beside = "", ...rest } = step.beside ?? {};
  return h("div", { key: "next", class: `next ${step.kind ?? "go"}` },
    h("button", { key: "next-button", type: "button", class: "step", disabled: step.off || (locked() && mine.link === "open" && step.at.do !== "hold" && step.at.do !== "open"), "aria-describedby": "next-about",
      "aria-keyshortcuts": step.kind === "stop" ? "Escape" : null, ...data(step.at) },
      step.picture && sign(step.picture), hand(step.word, { size: 1.5, weight: 2.6 })),
    h("p", { id: "next-about" }, ended(step.about), step.kind === "stop" && h("small", { class: "key" }, "Or the Esc key, at any time.")),
    step.beside && h("span", { key: "beside", class: "beside" }, button(beside, { ...rest, disabled: locked() }))); // prettier-ignore
}

/** Notice that another window controls the machine. */
export const looking_on = () => !state.holder.you && mine.link === "open" && h("div", { key: "looking-on", class: "looking-on" },
  h("p", {}, "This window looks on: the machine obeys another one."), button("Take over", { do: "take_over", class: "main" })); // prettier-ignore

/** @param {any} asked whether there is one answer alone, which goes on */
const alone = (asked) => asked.kind === "choose" && asked.choices.length === 1 && asked.choices[0].word === "go";

/** @param {any} asked @param {string} value */
const answer = (asked, value) => ({ do: "answer_form", question: asked.id, value });

/** The oldest open question. */
export function question() {
  const asked = state.questions[0];
  if (!asked) return null;
  const off = locked();
  /** @type {any[]} */
  let answers = [];
  if (asked.kind === "yes") answers = [button("Yes", { do: "yes", question: asked.id, class: "main", disabled: off }), button("No", { do: "no", question: asked.id, disabled: off })];
  else if (asked.kind === "done") answers = [button("It is done", { do: "yes", question: asked.id, class: "main", disabled: off }), button("I cannot", { do: "no", question: asked.id, class: "quiet", disabled: off })];
  else if (asked.kind === "choose") answers = asked.choices.map((/** @type {any} */ one, /** @type {number} */ _n, /** @type {any[]} */ all) =>
    button(alone(asked) ? "Go on" : sentence(one.meaning || one.word), { ...answer(asked, one.word), class: all.length === 1 ? "main" : "plain", disabled: off })); // prettier-ignore
  else {
    answers = [h("form", { class: "line", "data-do": "answer_form", "data-question": asked.id },
      h("span", { class: "with-unit" },
        h("input", { type: asked.kind === "number" ? "number" : "text", name: "value", "aria-label": "Answer", value: asked.default ?? "", min: asked.low, max: asked.high, step: "any", autocomplete: "off" }),
        asked.unit && h("span", { class: "unit" }, asked.unit)),
      h("button", { type: "submit", class: "main", disabled: off }, h("span", {}, "Answer")))]; // prettier-ignore
  }
  return h("section", { key: `question-${asked.id}`, class: `question${mine.pointed === asked.id ? " pointed" : ""}`, role: "dialog", "aria-labelledby": "question-heading", "aria-describedby": "question-about" },
    asked.passed && h("div", { class: "passed" }, sign("check"), h("span", {}, sentence(asked.passed))),
    asked.where && h("div", { class: "where-now" }, asked.where),
    h("h2", { id: "question-heading", tabindex: -1 }, sentence(asked.text)), asked.about && h("p", { id: "question-about" }, asked.about), h("div", { class: "line" }, answers),
    asked.where && !asked.choices?.some((/** @type {any} */ one) => one.word === "stop") && h("div", { class: "line" },
      button("Stop bring-up here", { ...answer(asked, "stop"), class: "stop", disabled: off }), button("What if it does not work?", { ...answer(asked, "help"), class: "quiet", disabled: off }))); // prettier-ignore
}

/** The latest notes. */
export function notes() {
  const said = state.notes.slice(-30).reverse();
  const [last] = said;
  if (!last) return null;
  const spoken = h("span", { class: "heard", role: "log" }, last.text);
  if (said.length === 1 && !last.hint) return h("p", { key: "note", class: "notes one" }, sentence(last.text), spoken);
  return h("details", { key: "notes", class: "notes" },
    h("summary", {}, sentence(last.text)),
    h("ul", { "aria-label": "What was said" }, said.map((/** @type {any} */ one) => h("li", { key: `n${one.n}`, class: one.kind }, sentence(one.text), one.hint && h("small", {}, one.hint)))),
    spoken); // prettier-ignore
}
