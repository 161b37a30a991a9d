// Making and changing elements. Text only ever goes in as text.

// h makes an element: h("button.big", {type: "button", onclick: f}, "Go", more…).
// A property that is null, false or undefined is left out; true stands alone.
export function h(tag, props = {}, ...children) {
  const [name, ...classes] = tag.split(".");
  const node = document.createElement(name);
  if (classes.length) node.className = classes.join(" ");
  for (const [key, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.flat().filter(c => c !== null && c !== undefined && c !== false));
  return node;
}

export const button = (text, onclick, props = {}, ...more) =>
  h("button", { type: "button", onclick, ...props }, text, ...more);

// fill puts children in place of those that are there.
export function fill(node, ...children) {
  node.replaceChildren(...children.flat().filter(c => c !== null && c !== undefined && c !== false));
}

// keyed makes the children of node those of items, in their order, and keeps each
// item's own node, so that what is open or focused stays so.
export function keyed(node, items, key, make, update) {
  const have = new Map([...node.children].map(c => [c.dataset.key, c]));
  let at = node.firstElementChild;
  for (const item of items) {
    const k = String(key(item));
    let child = have.get(k);
    if (!child) {
      child = make(item);
      child.dataset.key = k;
    }
    have.delete(k);
    if (child === at) at = at.nextElementSibling;
    else moveBefore(node, child, at);
    update(child, item);
  }
  for (const child of have.values()) child.remove();
}

// moveBefore moves a node without taking the focus from what is in it.
function moveBefore(parent, child, at) {
  const focused = child.contains(document.activeElement) ? document.activeElement : null;
  parent.insertBefore(child, at);
  focused?.focus({ preventScroll: true });
}

let ids = 0;
export const newID = () => "n" + ++ids;

// stored remembers a choice in this browser, where it lets us.
export function stored(name, value) {
  try {
    if (value === undefined) return localStorage.getItem("coilside." + name);
    localStorage.setItem("coilside." + name, value);
  } catch { /* then it is not remembered */ }
  return value ?? null;
}
