// The connection to the service: JSON-RPC 2.0 over one WebSocket, which comes back
// by itself. What was sent and not answered when it broke is sent again; a call that
// writes carries a key, so that it is stored once.

const QUIET = 10_000; // ms without a word after which we ask whether anyone is there
const GONE = 25_000; // ms without a word, though asked, after which nobody is
const WAITS = [250, 500, 1000, 2000, 4000]; // ms between tries to come back

// CallError is a refusal by the service.
export class CallError extends Error {
  constructor(error) {
    super(error.message);
    this.code = error.code;
    this.data = error.data ?? {};
  }
}

export const CONFLICT = 1002;
export const NOT_FOUND = 1001;

export const newKey = () =>
  [...crypto.getRandomValues(new Uint8Array(16))].map(b => b.toString(16).padStart(2, "0")).join("");

// Wire tells by events: "state" (open, lost, refused), "changed" (a job moved on),
// "progress" (a long answer is on its way), "busy" (what is waited for).
export class Wire extends EventTarget {
  state = "new";
  #socket = null;
  #id = 0;
  #groups = new Map(); // unanswered messages, by the id of their first call
  #tries = 0;
  #heard = 0;
  #watched = null; // {job, seq()}
  #retry = 0;

  start() {
    this.#connect();
    setInterval(() => this.#check(), 1000);
    addEventListener("online", () => this.#now());
    addEventListener("offline", () => this.#lost());
    document.addEventListener("visibilitychange", () => document.hidden || this.#now());
  }

  // call makes one call; a refusal is thrown.
  async call(method, params = {}) {
    const [one] = await this.batch([[method, params]]);
    if (one.error) throw one.error;
    return one.result;
  }

  // batch makes calls one after the other, in one message; each gives {result} or
  // {error}.
  batch(calls) {
    const first = this.#id + 1;
    const messages = calls.map(([method, params]) => ({ jsonrpc: "2.0", id: ++this.#id, method, params }));
    const group = { text: JSON.stringify(messages.length === 1 ? messages[0] : messages), ids: messages.map(m => m.id), got: new Map(), since: Date.now() };
    const answer = new Promise(resolve => { group.resolve = resolve; });
    this.#groups.set(first, group);
    this.#send(group);
    this.#tell("busy");
    return answer;
  }

  // watch has the service tell of every change of a job; seq gives the number we have.
  watch(job, seq) {
    this.#watched = job ? { job, seq } : null;
    if (job && this.state === "open") this.#watch();
  }

  // waiting is since when (ms) the oldest unanswered call waits; 0 for none.
  get waiting() {
    let oldest = 0;
    for (const g of this.#groups.values()) if (!g.quiet) oldest = oldest ? Math.min(oldest, g.since) : g.since;
    return oldest;
  }

  #watch() {
    const { job, seq } = this.#watched;
    this.call("job.watch", { job, from: seq() }).catch(error => {
      if (error.data?.field === "from") this.#tell("changed", { job, seq: -1 }); // it is not the job we knew
    });
  }

  #send(group) {
    if (this.#socket?.readyState === WebSocket.OPEN) this.#socket.send(group.text);
  }

  #connect() {
    clearTimeout(this.#retry);
    const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/ws`);
    this.#socket = socket;
    this.#heard = Date.now();
    socket.onopen = () => this.#opened();
    socket.onmessage = event => socket === this.#socket && this.#message(event.data);
    socket.onclose = () => socket === this.#socket && this.#lost();
  }

  #opened() {
    this.#tries = 0;
    this.#heard = Date.now();
    this.#become("open");
    if (this.#watched) this.#watch();
    for (const group of this.#groups.values()) this.#send(group);
  }

  #lost() {
    const socket = this.#socket;
    this.#socket = null;
    if (socket) socket.onclose = socket.onmessage = socket.onopen = null;
    socket?.close();
    for (const [first, g] of this.#groups) if (g.quiet) this.#groups.delete(first);
    this.#become("lost");
    clearTimeout(this.#retry);
    this.#retry = setTimeout(() => this.#again(), WAITS[Math.min(this.#tries, WAITS.length - 1)]);
  }

  async #again() {
    if (++this.#tries % 4 === 0) await this.#whyNot();
    if (!this.#socket) this.#connect();
  }

  // whyNot looks whether the service is there and does not know this browser any more.
  async #whyNot() {
    try {
      const answer = await fetch("/openrpc.json", { method: "HEAD" });
      if (answer.status === 401) this.#become("refused");
    } catch { /* it is not there */ }
  }

  #now() {
    if (!this.#socket) {
      this.#tries = 0;
      this.#connect();
    } else if (this.state === "open") this.#ask();
  }

  #check() {
    const silent = Date.now() - this.#heard;
    if (!this.#socket) return;
    if (silent > GONE) this.#lost();
    else if (silent > QUIET && this.state === "open") this.#ask();
    this.#tell("busy");
  }

  // ask makes a small call, so that a dead connection shows.
  #ask() {
    if ([...this.#groups.values()].some(g => g.quiet)) return;
    this.call("rules.list").catch(() => {});
    [...this.#groups.values()].at(-1).quiet = true;
  }

  #message(text) {
    this.#heard = Date.now();
    const message = JSON.parse(text);
    for (const one of Array.isArray(message) ? message : [message]) {
      if (one.method === "job.changed") this.#tell("changed", one.params);
      else if (one.method) this.#tell("progress", one.params);
      else this.#answer(one);
    }
  }

  #answer(one) {
    const [first, group] = [...this.#groups].find(([, g]) => one.id === null || g.ids.includes(one.id)) ?? [];
    if (!group) return;
    const wait = one.error?.data?.retry_ms;
    if (wait) {
      group.got.clear();
      setTimeout(() => this.#send(group), wait);
      return;
    }
    for (const id of one.id === null ? group.ids : [one.id]) {
      group.got.set(id, one.error ? { error: new CallError(one.error) } : { result: one.result });
    }
    if (group.got.size < group.ids.length) return;
    this.#groups.delete(first);
    group.resolve(group.ids.map(id => group.got.get(id)));
    this.#tell("busy");
  }

  #become(state) {
    if (this.state === "refused" && state === "lost") return;
    if (this.state === state) return;
    this.state = state;
    this.#tell("state", state);
  }

  #tell(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }
}
