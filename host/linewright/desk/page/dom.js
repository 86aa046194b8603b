// Virtual elements as plain values, and the smallest change of the document that matches them.
//
// Parts of the page are functions from state to such values. Elements have no listeners: `data-do` names
// the action, and `main.js` listens for the whole page.

/**
 * @typedef {{tag: string, at: Record<string, any>, in: Node_[], key: string | null}} Made
 * @typedef {Made | string} Node_
 */

const SVG = "http://www.w3.org/2000/svg";
const SVG_TAGS = new Set(["svg", "path", "g", "circle", "line", "rect", "polyline"]);

/**
 * One element.
 *
 * @param {string} tag
 * @param {Record<string, any>} [at] attributes; false, null and undefined leave one out, true writes it empty.
 *   `key` identifies siblings, `style` is an object of properties, `value` and `checked` are set as properties.
 * @param {...any} inside elements, texts, lists of them; false, null and undefined are skipped.
 * @returns {Made}
 */
export function h(tag, at = {}, ...inside) {
  /** @type {Node_[]} */
  const children = [];
  for (const one of inside.flat(Infinity)) {
    if (one === false || one === null || one === undefined || one === "") continue;
    children.push(typeof one === "object" ? one : String(one));
  }
  return { tag, at, in: children, key: at.key ?? null };
}

/**
 * Updates the children of an element. Matching elements are kept, with their focus, selection and scroll position.
 *
 * @param {Element} parent
 * @param {(Node_ | null | false | undefined)[]} wanted null, undefined and false are skipped
 */
export function show(parent, wanted) {
  /** @type {Map<string, Element>} */
  const named = new Map();
  for (const child of parent.children) {
    const key = child.getAttribute("data-named");
    if (key !== null) named.set(key, child);
  }
  let here = parent.firstChild;
  for (const one of wanted) {
    if (!one) continue;
    if (typeof one === "string") {
      if (here && here.nodeType === Node.TEXT_NODE) {
        if (here.nodeValue !== one) here.nodeValue = one;
        here = here.nextSibling;
      } else {
        parent.insertBefore(document.createTextNode(one), here);
      }
      continue;
    }
    /** @type {Element | null} */
    let element = null;
    if (one.key !== null) {
      element = named.get(one.key) ?? null;
    } else if (here instanceof Element && !here.hasAttribute("data-named") && here.localName === one.tag) {
      element = here;
    }
    if (element && element.localName !== one.tag) element = null;
    if (!element) element = SVG_TAGS.has(one.tag) ? document.createElementNS(SVG, one.tag) : document.createElement(one.tag);
    if (element === here) {
      here = here.nextSibling;
    } else {
      parent.insertBefore(element, here);
    }
    dress(element, one);
    if (!element.hasAttribute("data-own")) show(element, one.in);
    if (element instanceof HTMLSelectElement) wear(element, "value", one.at.value, null); // now that it has its choices
  }
  while (here) {
    const next = here.nextSibling;
    here.remove();
    here = next;
  }
}

/** @type {WeakMap<Element, Record<string, any>>} */
const worn = new WeakMap();

/**
 * @param {any} element
 * @param {Made} one
 */
function dress(element, one) {
  const before = worn.get(element) ?? {};
  const at = one.key === null ? one.at : { ...one.at, "data-named": one.key };
  for (const name of Object.keys(before)) {
    if (!(name in at)) wear(element, name, null, before[name]);
  }
  for (const [name, value] of Object.entries(at)) {
    if (name !== "key" && (before[name] !== value || name === "value" || name === "checked" || name === "open")) {
      wear(element, name, value, before[name]);
    }
  }
  worn.set(element, at);
}

/**
 * @param {any} element
 * @param {string} name
 * @param {any} value
 * @param {any} before
 */
function wear(element, name, value, before) {
  if (name === "style") {
    for (const property of Object.keys(before ?? {})) if (!value || !(property in value)) element.style.removeProperty(property);
    for (const [property, text] of Object.entries(value ?? {})) element.style.setProperty(property, String(text));
  } else if (name === "value" && element.matches("input, textarea, select")) {
    // A focused field keeps its text; the state's value is shown after it loses focus.
    if (element !== document.activeElement && element.value !== String(value ?? "")) element.value = String(value ?? "");
  } else if (name === "checked") {
    element.checked = Boolean(value);
  } else if (name === "open") {
    if (value !== before) element.open = Boolean(value);
  } else if (name === "data") {
    element.data = value; // of our own elements
  } else if (value === false || value === null || value === undefined) {
    element.removeAttribute(name);
  } else {
    element.setAttribute(name, value === true ? "" : String(value));
  }
}
