// The page: where it stands (jobs, a new job, a job, its record), the connection, and
// what is the same everywhere.

import { Wire } from "./wire.js";
import { h, fill, stored } from "./dom.js";
import { capital } from "./words.js";
import { Voice } from "./voice.js";
import { jobsScreen, openScreen } from "./jobs.js";
import { jobScreen } from "./job.js";
import { recordScreen } from "./record.js";

const $ = id => document.getElementById(id);
const wire = new Wire();
const voice = new Voice();
const app = { wire, voice, tell, title, go: hash => { location.hash = hash; }, busy };

let screen = null;

const routes = [
  [/^#\/job\/([^/]+)\/record$/, recordScreen],
  [/^#\/job\/([^/]+)$/, jobScreen],
  [/^#\/new$/, openScreen],
  [/^/, jobsScreen],
];

function route() {
  screen?.leave?.();
  wire.watch(null);
  const [pattern, make] = routes.find(([p]) => p.test(location.hash));
  const [, job] = pattern.exec(location.hash);
  screen = make(app, job && decodeURIComponent(job));
  fill($("main"), screen.node);
  document.body.dataset.screen = screen.name;
  scrollTo(0, 0);
}

function title(text) {
  $("title").textContent = text;
  document.title = text + " – Coilside";
}

// tell says something to those who listen to the screen.
function tell(text) {
  $("told").textContent = "";
  setTimeout(() => { $("told").textContent = text; }, 50);
}

const BANDS = {
  lost: "No connection. What you enter is kept here and sent once it is back.",
  refused: "The service does not know this browser any more. Ask for a new link: coilside link. Then open it here.",
};

function showState() {
  const text = BANDS[wire.state];
  $("link").hidden = !text;
  $("link").textContent = text ?? "";
  document.body.dataset.link = wire.state;
}

// What takes over half a second is shown, with what is known of how far it is.
let progress = null;

function busy() {
  const since = wire.waiting;
  const slow = since && wire.state === "open" && Date.now() - since > 500;
  $("busy").dataset.on = slow ? "yes" : "no";
  if (!since) progress = null;
  const part = progress ? ` ${progress.what}: ${progress.done} of ${progress.of}.` : "";
  const text = slow ? `Working for ${Math.round((Date.now() - since) / 1000) || 1} s.${part}` : "";
  if ($("busy").textContent !== text) $("busy").textContent = text;
  if (since && !slow && wire.state === "open") setTimeout(busy, 520 - (Date.now() - since));
}

const THEMES = { auto: "light", light: "dark", dark: "auto" };

function theme(value) {
  document.documentElement.dataset.theme = value;
  fill($("theme"), h("span", {}, "◐", h("span.wide", {}, " " + capital(value))));
  $("theme").setAttribute("aria-label", `Screen: ${value}. Change to ${THEMES[value]}`);
  $("theme").onclick = () => theme(THEMES[value]);
  stored("theme", value);
}

function start() {
  const kept = stored("theme");
  theme(kept in THEMES ? kept : "auto");
  $("skip").onclick = event => {
    event.preventDefault();
    (screen?.work?.() ?? $("main")).focus();
  };
  voice.wire($("speak"));
  wire.addEventListener("state", showState);
  wire.addEventListener("busy", busy);
  wire.addEventListener("progress", event => { progress = event.detail; busy(); });
  wire.addEventListener("changed", event => screen?.changed?.(event.detail));
  wire.start();
  addEventListener("hashchange", () => { route(); $("main").focus(); });
  route();
}

start();
