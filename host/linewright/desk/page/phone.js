// The phone's page: progress, hold, and sending photographs. A phone can do nothing else.

import { h, show } from "./dom.js";
import { hand, sign } from "./hand.js";
import { ink_word, sentence } from "./words.js";

const ASK_MS = 1000;

const phone = /** @type {HTMLElement} */ (document.getElementById("phone"));
/** @type {any} */
let now = null;
let told = "";

function render() {
  const drawing = now?.drawing;
  const progress = now?.progress;
  const moves = drawing && !["finished", "abandoned", "failed", "holding", "pen", "stopping"].includes(drawing.state);
  document.body.className = now?.rehearsal ? "rehearsal" : "real";
  show(phone, [
    hand(now?.rehearsal ? "Simulation" : "Linewright", { tag: "h1", size: 1.2 }),
    h("p", {}, now?.rehearsal ? "Nothing real moves." : "Beside the machine. Keep fingers, hair and cables clear."),
    h("section", { class: "sheet", "aria-label": "The drawing" },
      h("p", { class: "big", role: "status" }, now === null ? "Asking the desk …" : now === false ? "The desk does not answer." : drawing?.ask?.pen ? "It waits for a pen." : (drawing?.words ?? "Nothing is being drawn.")),
      drawing && progress && h("progress", { max: progress.predicted_s, value: progress.done_s, "aria-label": "How far the drawing is" }),
      drawing?.ask?.pen && h("p", {}, `Put the pen “${ink_word(drawing.ask.pen.name)}” in, and say at the desk that it is.`),
      moves && h("div", { class: "next stop" }, h("button", { type: "button", class: "step", id: "hold" }, sign("hold"), hand("Hold", { size: 1.5, weight: 2.6 }))),
      drawing?.state === "holding" && h("p", {}, "It holds with the pen raised. Carry on at the desk.")),
    h("section", { class: "sheet", "aria-label": "A photograph" },
      h("p", { class: "big" }, "A photograph for the desk"),
      h("p", {}, "Of a trial sheet from straight above, or of a friend to be drawn."),
      h("label", { class: "file" }, h("span", { class: "heard" }, "Photograph"), h("input", { type: "file", accept: "image/*", id: "photograph" })),
      h("p", { role: "status" }, told)),
  ]); // prettier-ignore
}

async function ask() {
  try {
    const answer = await fetch("/progress");
    now = answer.ok ? await answer.json() : false;
  } catch {
    now = false;
  }
  render();
  setTimeout(ask, ASK_MS);
}

phone.addEventListener("click", async (event) => {
  if (!(/** @type {HTMLElement} */ (event.target).closest("#hold"))) return;
  const answer = await (await fetch("/hold", { method: "POST" })).json();
  told = answer.error ? sentence(answer.error.text) : told;
});

phone.addEventListener("change", async (event) => {
  const field = /** @type {HTMLInputElement} */ (event.target);
  const file = field.files?.[0];
  if (!file) return;
  told = `Sending ${file.name} …`;
  render();
  try {
    const answer = await (await fetch(`/upload?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file })).json();
    told = answer.error ? `${sentence(answer.error.text)} ${sentence(answer.error.hint ?? "")}` : `${file.name} lies on the desk now.`;
  } catch {
    told = `${file.name} did not get through. Send it again.`;
  }
  field.value = "";
  render();
});

render();
void ask();
