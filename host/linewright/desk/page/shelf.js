// Cache of strokes and photographs from the server.

import { Strokes } from "./strokes.js";

/** Size of the cache: the newest plan, its sketch, the previews and the pictures of the log. */
const MOST = 80;

/** @type {Map<string, Strokes | "coming" | "gone">} */
const kept = new Map();
/** @type {Map<string, HTMLImageElement>} */
const photographs = new Map();
let arrived = () => {};

/** @param {() => void} listener called when something has arrived */
export function when_arrived(listener) {
  arrived = listener;
}

/**
 * @param {string | null | undefined} id
 * @returns {Strokes | null} null while loading, or if there are none
 */
export function strokes(id) {
  if (!id) return null;
  const found = kept.get(id);
  if (found === undefined) fetch_strokes(id);
  return found instanceof Strokes ? found : null;
}

/** Whether strokes are being loaded. */
export const coming = () => [...kept.values()].includes("coming");

/** @param {string} id */
async function fetch_strokes(id) {
  kept.set(id, "coming");
  for (const old of kept.keys()) {
    if (kept.size <= MOST) break;
    kept.delete(old);
  }
  try {
    const answer = await fetch(`/geometry/${id}`);
    kept.set(id, answer.ok ? Strokes.read(await answer.arrayBuffer()) : "gone");
  } catch {
    kept.delete(id); // the link is lost: requested again at the next rendering
    return;
  }
  arrived();
}

/** @param {string} upload @returns {HTMLImageElement} */
export function photograph(upload) {
  let image = photographs.get(upload);
  if (!image) {
    image = new Image();
    image.addEventListener("load", () => arrived());
    image.src = `/photo/${upload}`;
    photographs.set(upload, image);
  }
  return image;
}
