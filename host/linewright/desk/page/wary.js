// A button that replaces another is disabled for a moment, so that a late click has no effect.

/** How long a replaced button stays disabled, ms. */
const WARY_MS = 600;

/** Buttons that stop the machine are always enabled. */
const AT_ONCE = new Set(["hold", "stop", "motors_off", "abandon_now"]);

/** Last position of the pointer, px. */
const pointer = { x: -1, y: -1 };
for (const kind of ["pointermove", "pointerdown"]) {
  addEventListener(kind, (event) => Object.assign(pointer, { x: /** @type {PointerEvent} */ (event).clientX, y: /** @type {PointerEvent} */ (event).clientY }), true);
}

/** @param {Element | null | undefined} element @returns {HTMLElement | null} */
const button_at = (element) => element?.closest("button[data-do]") ?? null;

/** @param {HTMLElement} button */
const meaning = (button) => `${button.dataset.do} ${button.dataset.question ?? ""}`;

/**
 * Call before the page changes; call the returned function afterwards: it disables replaced buttons under the
 * pointer, under the focus, and the large button.
 *
 * @returns {() => void}
 */
export function wary() {
  const places = [
    () => button_at(document.elementFromPoint(pointer.x, pointer.y)),
    () => button_at(document.activeElement),
    () => /** @type {HTMLElement | null} */ (document.querySelector("button.step")),
  ];
  const before = places.map((place) => place()).map((button) => button && meaning(button));
  return () =>
    places.forEach((place, n) => {
      const button = place();
      if (button && before[n] && meaning(button) !== before[n] && !AT_ONCE.has(button.dataset.do ?? "")) wait(button);
    });
}

/** @type {WeakMap<Element, number>} */
const timers = new WeakMap();

/** @param {HTMLElement} button */
function wait(button) {
  clearTimeout(timers.get(button));
  button.setAttribute("aria-disabled", "true");
  timers.set(button, setTimeout(() => button.removeAttribute("aria-disabled"), WARY_MS));
}

/**
 * Whether a button may be pressed now.
 *
 * @param {HTMLElement} button
 */
export const pressable = (button) => AT_ONCE.has(button.dataset.do ?? "") || button.getAttribute("aria-disabled") !== "true";
