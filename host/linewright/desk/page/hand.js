// Headings and icons in pen strokes: one width, round ends.

import { CAP, LETTERS } from "./letters.js";
import { h } from "./dom.js";

/**
 * The strokes of a word.
 *
 * @param {string} text
 * @returns {{width: number, letters: {x: number, path: string}[]}} in units of which a capital is `CAP` high
 */
export function written(text) {
  let x = 0;
  const letters = [];
  for (const character of text) {
    const [advance, path] = LETTERS[character] ?? LETTERS["?"];
    if (path) letters.push({ x, path });
    x += advance;
  }
  return { width: x, letters };
}

/**
 * A word in pen strokes, with its text for screen readers.
 *
 * @param {string} text
 * @param {{size?: number, weight?: number, tag?: string, class?: string, id?: string}} [how] `size`: height of a capital, rem;
 *   `weight`: of the stroke, in the letters' units
 */
export function hand(text, how = {}) {
  const { size = 1, weight = 2.1, tag = "span" } = how;
  const word = written(text);
  const [above, below, side] = [CAP + 4, 8, weight];
  return h(
    tag,
    { id: how.id, class: `hand ${how.class ?? ""}` },
    h("span", { class: "heard" }, text),
    h(
      "svg",
      {
        "aria-hidden": "true",
        focusable: "false",
        viewBox: `${-side} ${-above} ${word.width + 2 * side} ${above + below}`,
        style: { height: `${(size * (above + below)) / CAP}rem`, "stroke-width": weight },
      },
      word.letters.map(({ x, path }) => h("path", { transform: `translate(${x} 0)`, d: path })),
    ),
  );
}

/**
 * Icons: SVG paths on a square of 24 by 24.
 *
 * @type {Record<string, string>}
 */
const SIGNS = {
  file: "M4 19V5h6l2 3h8v11zM7 16l4-4 3 3 2-2 2 3",
  words: "M5 18L11 5l6 13M7.3 13h7.4M17 9.5c3-1.5 4 0 4 2v6.5M21 13c-4 0-5 1-5 2.700s3 3 5 .3",
  surprise: "M12 13c-1-1.500 1-3.500 2.700-2s1.600 5-1.700 6-7-1-7-5 4-7 8-6.500 6.500 4 6.300 7.500",
  pattern: "M12 12a4 4 0 1 1 4 4 4 4 0 1 1-4-4 4 4 0 1 1-4-4 4 4 0 1 1 4 4 4 4 0 1 1 4-4",
  sentence: "M4 17V6h16v11h-9l-4 4v-4zM8 10h8M8 13.500h5",
  pen: "M5 20l1.500-5L17 4.500l3 3L9.500 18zM14.500 7l3 3",
  undo: "M8 5L4 9l4 4M4 9h10c4 0 6 2.500 6 5.500S18 20 14 20H9",
  redo: "M16 5l4 4-4 4M20 9H10c-4 0-6 2.500-6 5.500S6 20 10 20h5",
  machine: "M4 5v14M20 5v14M4 10h16M10 7.500h4v5h-4zM12 12.500V16",
  lines: "M4 8c3-4 5 4 8 0s5 4 8 0M4 13c3-4 5 4 8 0s5 4 8 0M4 18c3-4 5 4 8 0s5 4 8 0",
  log: "M6 4h12v16H6zM9 8h6M9 12h6M9 16h3",
  know: "M12 4a8 8 0 1 1-.010 0M12 8v5l3 2",
  hold: "M9 5v14M15 5v14",
  go: "M8 5l10 7-10 7z",
  aside: "M6 6l12 12M18 6L6 18",
  home: "M5 5h14M5 5v14M5 5l12 12M17 11v6h-6",
  warn: "M12 4l9 16H3zM12 10v4.500M12 17.300v.200",
  check: "M5 12.500l4.500 5L19 6.500",
  phone: "M8 3h8v18H8zM11 18h2",
};

/** @param {string} name @returns a sign; its word stands beside it, so it is silent */
export function sign(name) {
  return h(
    "svg",
    { class: "sign", viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" },
    h("path", { d: SIGNS[name] }),
  );
}
