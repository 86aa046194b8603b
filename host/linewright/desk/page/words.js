// Numbers and times as text with units.

/** @param {number} seconds @returns {string} such as "3 min 05 s" */
export function duration(seconds) {
  if (!Number.isFinite(seconds)) return "an unknown time";
  const whole = Math.round(seconds);
  if (whole < 60) return `${whole} s`;
  const minutes = Math.floor(whole / 60);
  const two = (/** @type {number} */ part) => String(part).padStart(2, "0"); // as in the server's texts
  if (minutes < 60) return whole % 60 ? `${minutes} min ${two(whole % 60)} s` : `${minutes} min`;
  const hours = Math.floor(whole / 3600);
  const rest = Math.round((whole - 3600 * hours) / 60);
  return rest === 60 ? `${hours + 1} h` : rest ? `${hours} h ${two(rest)} min` : `${hours} h`;
}

/** @param {number} length_mm @returns {string} such as "4.2 m" */
export function length(length_mm) {
  if (length_mm < 100) return `${figure(length_mm, 1)} mm`;
  if (length_mm < 10_000) return `${figure(length_mm / 1000, 2)} m`;
  return `${figure(length_mm / 1000, length_mm < 100_000 ? 1 : 0)} m`;
}

/** @param {number} value @param {number} digits after the point, at most @returns {string} */
export function figure(value, digits = 1) {
  return String(Number(value.toFixed(digits)));
}

/** @param {number} number @returns {string} such as "1 204", with a narrow space, as in the server's texts */
export const grouped = (number) => number.toLocaleString("en").replaceAll(",", "\u202f");

/**
 * @param {number | null | undefined} times speed relative to a real clock
 * @returns {string} such as "20 times as fast as a real clock"; "" if it is about 1
 */
export function quickness(times) {
  if (!times) return "faster than a real clock";
  if (times < 1.5) return "";
  return `${times < 10 ? figure(times, 1) : grouped(Number(times.toPrecision(2)))} times as fast as a real clock`;
}

/** @param {number} count @param {string} one @param {string} [many] @returns {string} */
export function several(count, one, many = `${one}s`) {
  return `${grouped(count)} ${count === 1 ? one : many}`;
}

/** @param {string} text @returns {string} with a capital at its beginning */
export function sentence(text) {
  return text ? text[0].toUpperCase() + text.slice(1).replace(/(\d) us\b/g, "$1 µs") : text;
}

/** @param {string} text @returns {string} the text, with a full stop if it has no final punctuation */
export function ended(text) {
  return text && !/[.!?…]$/.test(text) ? `${sentence(text)}.` : sentence(text);
}

/**
 * Names of hues, each from its angle in degrees up to the next.
 *
 * @type {[number, string][]}
 */
const HUES = [[0, "red"], [15, "orange"], [45, "yellow"], [70, "green"], [165, "turquoise"], [200, "blue"], [260, "violet"], [290, "pink"], [345, "red"]]; // prettier-ignore

/**
 * Display name of a pen: colour codes become colour names.
 *
 * @param {string} name of a pen, a colour or a layer
 * @returns {string} the name, or a word for the colour if it is `#rrggbb`
 */
export function ink_word(name) {
  if (!/^#[0-9a-f]{6}$/i.test(name)) return name;
  const [red, green, blue] = [1, 3, 5].map((at) => parseInt(name.slice(at, at + 2), 16) / 255);
  const [high, low] = [Math.max(red, green, blue), Math.min(red, green, blue)];
  const [light, chroma] = [(high + low) / 2, high - low];
  if (high < 0.2) return "black";
  if (low > 0.95) return "white";
  const shade = light < 0.36 ? "dark " : light > 0.72 ? "light " : "";
  if (chroma < 0.1) return `${shade}grey`;
  const turn = high === red ? (green - blue) / chroma : high === green ? 2 + (blue - red) / chroma : 4 + (red - green) / chroma;
  const hue = (60 * turn + 360) % 360;
  const word = HUES.findLast(([from]) => hue >= from)?.[1] ?? "red";
  return word === "orange" && light < 0.4 ? "brown" : `${shade}${word}`;
}
