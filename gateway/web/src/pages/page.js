// Makes pages live: shows <main> anew when what it tells of has changed. Nothing needs it.
"use strict";

const least = 2000;
// Asked by the page, not by a person: it keeps nobody signed in.
const renewal = { headers: { accept: "text/html", "stencilward-renewal": "1" } };
let waiting = null;
let shown = Date.now();

function fields(root) {
  return root.querySelectorAll("input:not([type=hidden]), select, textarea");
}

function place(element) {
  return element.id || (element.form ? element.form.getAttribute("action") + " " + element.name + " " + element.value : "");
}

function keep(main) {
  const kept = { typed: new Map(), open: new Set(), focus: null };
  for (const field of fields(main)) {
    const ticks = field.type === "checkbox" || field.type === "radio";
    const typed = ticks ? field.checked !== field.defaultChecked : field.value !== field.defaultValue;
    if (typed && place(field)) kept.typed.set(place(field), ticks ? field.checked : field.value);
  }
  for (const open of main.querySelectorAll("details[open][id]")) kept.open.add(open.id);
  const active = document.activeElement;
  if (active && main.contains(active) && active !== main) {
    kept.focus = { id: place(active), href: active.getAttribute("href"), start: null, end: null };
    try { kept.focus.start = active.selectionStart; kept.focus.end = active.selectionEnd; } catch { /* has none */ }
  }
  return kept;
}

function restore(main, kept) {
  for (const field of fields(main)) {
    const typed = kept.typed.get(place(field));
    if (typed === undefined) continue;
    if (typeof typed === "boolean") field.checked = typed; else field.value = typed;
  }
  for (const id of kept.open) {
    const details = document.getElementById(id);
    if (details) details.open = true;
  }
  if (!kept.focus) return;
  const reached = main.querySelectorAll("a, button, input, select, textarea, summary");
  for (const element of reached) {
    const same = kept.focus.id ? place(element) === kept.focus.id
      : kept.focus.href !== null && element.getAttribute("href") === kept.focus.href;
    if (!same) continue;
    element.focus({ preventScroll: true });
    if (kept.focus.start !== null && kept.focus.start !== undefined) {
      try { element.setSelectionRange(kept.focus.start, kept.focus.end); } catch { /* has none */ }
    }
    return;
  }
}

function stale(is) {
  const note = document.getElementById("stale");
  if (note) note.hidden = !is;
}

async function renew() {
  waiting = null;
  shown = Date.now();
  try {
    const answer = await fetch(location.href, renewal);
    if (!answer.ok) return stale(true);
    // Signed out meanwhile: what is typed stays, and the note says what to do.
    if (answer.redirected) return stale(true);
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main");
    const main = document.querySelector("main");
    if (!fresh || !main) return;
    const kept = keep(main);
    main.replaceChildren(...document.adoptNode(fresh).childNodes);
    main.dataset.at = fresh.dataset.at;
    restore(main, kept);
    remember(main);
  } catch {
    stale(true);
  }
}

function changed(message) {
  const main = document.querySelector("main");
  const wanted = main.dataset.live;
  if (wanted === undefined || waiting) return;
  if (!message.data.split("\n").some((name) => name.startsWith(wanted))) return;
  waiting = setTimeout(renew, Math.max(0, shown + least - Date.now()));
}

// Who acts stays the same person at most stations: the name is filled in again.
function remember(root) {
  for (const field of root.querySelectorAll("input[name=by]")) {
    if (!field.value) field.value = localStorage.getItem("by") || "";
    field.addEventListener("change", () => localStorage.setItem("by", field.value));
  }
}

// Listens only while it is seen: a browser has few connections, and people have many pages open.
// What changed meanwhile, or while the connection was lost, is told first.
let live = null;

function listen() {
  const main = document.querySelector("main[data-live]");
  if (!main || live) return;
  live = new EventSource("/live?after=" + main.dataset.at);
  live.addEventListener("changed", changed);
  live.addEventListener("open", () => stale(false));
  live.addEventListener("error", () => stale(true));
}

function rest() {
  if (live) live.close();
  live = null;
}

remember(document);
listen();
document.addEventListener("visibilitychange", () => document.hidden ? rest() : listen());

// What passes by itself is tried again.
if (document.getElementById("again")) {
  setInterval(() => fetch(location.href, renewal).then((answer) => answer.ok && location.reload(), () => {}), 5000);
}
