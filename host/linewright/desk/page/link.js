// The WebSocket to the server: receives state, sends events, reconnects.

/** The link counts as lost after this time without a message, ms; the server sends one at least every 5 s. */
const SILENCE_MS = 12_000;
const AGAIN_MS = 1_000;

export class Link {
  /**
   * @param {(keys: Record<string, any>) => void} took new keys of the state
   * @param {(open: boolean) => void} changed the link is there, or lost
   */
  constructor(took, changed) {
    this.took = took;
    this.changed = changed;
    this.next = 1;
    /** @type {Map<number, (answer: any) => void>} */
    this.waiting = new Map();
    this.heard = 0;
    this.open();
    setInterval(() => this.listen(), AGAIN_MS);
  }

  open() {
    this.heard = performance.now();
    // A reloaded window keeps its name, and so the control of the machine.
    const name = sessionStorage.getItem("window");
    this.socket = new WebSocket(`ws://${location.host}/socket${name ? `?window=${encodeURIComponent(name)}` : ""}`);
    const socket = this.socket;
    socket.addEventListener("message", (message) => socket === this.socket && this.take(JSON.parse(message.data)));
    socket.addEventListener("close", () => socket === this.socket && this.lose());
  }

  /** @param {any} message */
  take(message) {
    this.heard = performance.now();
    if (message.set) {
      if (message.set.desk?.window) sessionStorage.setItem("window", message.set.desk.window);
      this.changed(true);
      this.took(message.set);
    }
    if (message.re !== undefined) {
      this.waiting.get(message.re)?.(message);
      this.waiting.delete(message.re);
    }
  }

  listen() {
    const state = this.socket?.readyState;
    if (state === WebSocket.CLOSED) this.open();
    else if (performance.now() - this.heard > SILENCE_MS) this.socket?.close();
  }

  lose() {
    this.changed(false);
    for (const answer of this.waiting.values()) answer({ ok: false, error: { text: "The link to the desk is lost.", hint: "It is looked for." } });
    this.waiting.clear();
  }

  /**
   * @param {Record<string, any>} event a plain value with `do`
   * @returns {Promise<any>} the server's answer; never rejected
   */
  ask(event) {
    if (this.socket?.readyState !== WebSocket.OPEN) {
      return Promise.resolve({ ok: false, error: { text: "The link to the desk is lost.", hint: "Nothing was changed." } });
    }
    const id = this.next;
    this.next += 1;
    this.socket.send(JSON.stringify({ id, ...event }));
    return new Promise((answer) => this.waiting.set(id, answer));
  }
}
