// Markup that the service writes (drawings, the record), read into elements. Only what
// shows something is taken, without styles, scripts and addresses.

const SHOWS = new Set(("svg g line path rect circle ellipse polyline polygon text tspan title desc " +
  "p h1 h2 h3 ul ol li dl dt dd table thead tbody tr th td strong em b i del s br figure figcaption code").split(" "));

// The policy lets only this text through to the reader.
const policy = globalThis.trustedTypes?.createPolicy("coilside-markup", { createHTML: text => text }) ?? { createHTML: text => text };

function parse(text, type) {
  const plain = text.replace(/<style>[^]*?<\/style>/g, "").replace(/ style="[^"]*"/g, "");
  return new DOMParser().parseFromString(policy.createHTML(plain), type);
}

function clean(root) {
  for (const node of [root, ...root.querySelectorAll("*")]) {
    if (node !== root && !SHOWS.has(node.localName)) node.remove();
    else for (const a of [...node.attributes]) if (a.name.startsWith("on") || a.name.includes("href") || a.name === "src") node.removeAttribute(a.name);
  }
  return document.importNode(root, true);
}

export const drawing = svg => clean(parse(svg, "image/svg+xml").documentElement);

// article gives the contents of a page, its headings one step lower: this page has one
// of its own.
export function article(html) {
  const body = clean(parse(html, "text/html").body);
  for (const old of body.querySelectorAll("h2, h1")) {
    const lower = document.createElement(old.localName === "h1" ? "h2" : "h3");
    lower.append(...old.childNodes);
    old.replaceWith(lower);
  }
  for (const old of body.querySelectorAll("th:empty")) old.replaceWith(document.createElement("td"));
  return [...body.childNodes];
}
