// Figures and times in words, each with its unit.

/** @param {number} seconds @returns {string} such as "3 min 20 s" */
export function duration(seconds) {
  if (!Number.isFinite(seconds)) return "an unknown time";
  const whole = Math.round(seconds);
  if (whole < 60) return `${whole} s`;
  const minutes = Math.floor(whole / 60);
  if (minutes < 10) return whole % 60 ? `${minutes} min ${whole % 60} s` : `${minutes} min`;
  if (minutes < 60) return `${Math.round(whole / 60)} min`;
  const hours = Math.floor(whole / 3600);
  const rest = Math.round((whole - 3600 * hours) / 60);
  return rest === 60 ? `${hours + 1} h` : rest ? `${hours} h ${rest} min` : `${hours} h`;
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

/** @param {number} number @returns {string} such as "1 204", with a narrow gap as in all that the server says */
export const grouped = (number) => number.toLocaleString("en").replaceAll(",", "\u202f");

/** @param {number} count @param {string} one @param {string} [many] @returns {string} */
export function several(count, one, many = `${one}s`) {
  return `${grouped(count)} ${count === 1 ? one : many}`;
}

/** @param {string} text @returns {string} with a capital at its beginning */
export function sentence(text) {
  return text ? text[0].toUpperCase() + text.slice(1) : text;
}
