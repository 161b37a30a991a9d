// Short words for what the service names in its own terms. What a test says, and all
// there is to know about the trade, comes from the service.

const UNITS = { volt: "V", ohm: "Ω", ampere: "A" };
export const unit = name => UNITS[name] ?? name ?? "";

// Sizes that a meter shows of a unit, with what each stands for.
export const SIZES = {
  volt: [["V", 1], ["mV", 1e-3]], ohm: [["Ω", 1], ["kΩ", 1e3], ["MΩ", 1e6]], ampere: [["A", 1], ["mA", 1e-3]],
};

const PLAIN = {
  runs: ["Runs", "as it should"], weak: ["Weak", "runs slow or dim"], off: ["Off", "does nothing"], trips: ["Trips", "fuse or breaker goes"],
  comes_and_goes: ["Comes and goes", ""], click: ["Click", "one clean click"], silent: ["Silent", "no click"], buzz: ["Buzz", "buzzes or chatters"],
  bright: ["Bright", ""], dim: ["Dim", ""], dark: ["Dark", ""], sound: ["Sound", "nothing to see"], wrong_part: ["Wrong part", ""],
};
export const choice = id => PLAIN[id] ?? [capital(id.replaceAll("_", " ")), ""];

export const capital = text => text.charAt(0).toUpperCase() + text.slice(1);
export const dotted = text => /[.?!:]$/.test(text) ? text : text + ".";

export function percent(p) {
  if (p >= 0.995) return "over 99 %";
  if (p > 0 && p < 0.01) return "under 1 %";
  return Math.round(100 * p) + " %";
}

export function minutes(m) {
  return m < 1 ? "under a minute" : `about ${Math.round(m)} min`;
}

// moved says how much a reason moved a suspect, bits being log2 of the odds.
export function moved(bits) {
  const factor = 2 ** Math.abs(bits);
  if (factor < 1.05) return "hardly moves it";
  const by = factor > 1000 ? "over 1000" : factor >= 10 ? Math.round(factor) : Math.round(10 * factor) / 10;
  return `${by} times ${bits > 0 ? "likelier" : "less likely"}`;
}

// setup says the state a test asks for, as name and value; a value that differs from
// the last reading's is marked.
export function setup(now, before) {
  const relay = { in: "in its socket", out: "out of its socket", bench: "on the bench" };
  const list = [["Relay", relay[now.relay] ?? now.relay, now.relay !== before?.relay]];
  if (now.relay === "bench") {
    if (now.coil) list.push(["Coil", now.coil === "rest" ? "at rest" : now.coil, now.coil !== before?.coil]);
    return list;
  }
  list.push(["Key", now.key, now.key !== before?.key], ["Command", now.command, now.command !== before?.command]);
  for (const part of now.unplugged ?? []) list.push(["Unplugged", part.replaceAll("_", " "), !before?.unplugged?.includes(part)]);
  return list;
}

// number reads what was typed: 12.6 · 12,6 · .3 · -12.5 · 300m · 4.7k; null for none.
export function number(text) {
  const m = /^([-−+]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*([mkM]?)(?:v|V|Ω|ohms?|a|A)?$/.exec(text.trim());
  if (!m) return null;
  const value = parseFloat(m[2].replace(",", ".")) * { "": 1, m: 1e-3, k: 1e3, M: 1e6 }[m[3]];
  return m[1] === "-" || m[1] === "−" ? -value : value;
}

export function show(value) {
  return String(Number(value.toPrecision(6)));
}

export function when(time) {
  const t = new Date(time);
  const today = t.toDateString() === new Date().toDateString();
  return t.toLocaleString("en-GB", today ? { hour: "2-digit", minute: "2-digit" } : { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
}
