// Brings the parts marked data-live up to date whenever the service says that something changed, and says when it is out of touch.
"use strict";
const PATIENCE = 6000;
const touch = document.getElementById("touch");
let heard = Date.now();
let fetching = false;
let again = false;

function inTouch() {
  heard = Date.now();
  if (touch && !touch.hidden) touch.hidden = true;
}

function watch() {
  if (!touch || Date.now() - heard < PATIENCE || !touch.hidden) return;
  const since = new Date(heard).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" });
  touch.textContent = document.body.dataset.outOfTouch.replace("{time}", since);
  touch.hidden = false;
}

// What somebody is filling in stays; a link that has the focus keeps it, and does not hold the screen back.
function exchange(part, fresh) {
  const focused = part.contains(document.activeElement) ? document.activeElement : null;
  if (focused && focused.closest("form, details")) return;
  if ([...part.querySelectorAll("input, textarea")].some(isTyped)) return;
  const address = focused && focused.getAttribute("href");
  const open = [...part.querySelectorAll("details")].map((one) => one.open);
  part.innerHTML = fresh.innerHTML;
  const now = part.querySelectorAll("details");
  if (now.length === open.length) now.forEach((one, n) => { one.open = one.open || open[n]; });
  const again = address && [...part.querySelectorAll("a")].find((link) => link.getAttribute("href") === address);
  if (again) again.focus({ preventScroll: true });
}

// A printed page inside the board is as high as it is long: one scroll bar, not two.
for (const inside of document.querySelectorAll("iframe.page")) {
  const fit = () => {
    const page = inside.contentDocument && inside.contentDocument.documentElement;
    if (page && Math.abs(inside.clientHeight - page.scrollHeight) > 4) inside.style.height = page.scrollHeight + 8 + "px";
  };
  inside.addEventListener("load", () => {
    fit();
    if (inside.contentDocument) new ResizeObserver(fit).observe(inside.contentDocument.body);
  });
}

const isTyped = (field) => !field.matches("[type=hidden], [type=checkbox], [type=radio]") && field.value !== field.defaultValue;

// Nobody is signed in any more: the page goes to the sign-in by itself, unless somebody is in the midst of typing.
function signedOut() {
  if (![...document.querySelectorAll("form[method=post] input, form[method=post] textarea")].some(isTyped)) { location.reload(); return; }
  if (document.querySelector(".out")) return;
  const said = document.createElement("p");
  said.className = "said out";
  said.setAttribute("role", "alert");
  said.textContent = document.body.dataset.out;
  document.getElementById("screen").prepend(said);
}

async function bringUp() {
  if (fetching) { again = true; return; }
  fetching = true;
  try {
    const answer = await fetch(location.href, { headers: { accept: "text/html" }, cache: "no-store" });
    if (answer.redirected && new URL(answer.url).pathname !== location.pathname) { signedOut(); return; }
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const part of document.querySelectorAll("[data-live]")) {
      const fresh = page.getElementById(part.id);
      if (fresh && fresh.innerHTML !== part.innerHTML) exchange(part, fresh);
    }
    inTouch();
  } catch { /* the notice says so once the patience is over */ } finally {
    fetching = false;
    if (again) { again = false; bringUp(); }
  }
}

if (document.querySelector("[data-live]")) {
  let seen = null;
  const source = new EventSource("/live");
  source.addEventListener("state", (event) => {
    inTouch();
    if (event.data !== seen) { seen = event.data; bringUp(); }
  });
  setInterval(watch, 1000);
  setInterval(bringUp, 30000);
}

// What was typed and not recorded comes back into its form: after a sign-in that ran out, missing initials, a full disk.
const TYPED = "typed";
const KEPT_MS = 30 * 60000;
const screenNow = document.getElementById("screen") || document.querySelector("main");

function kept() {
  try {
    const found = JSON.parse(sessionStorage.getItem(TYPED));
    return found && Date.now() - found.at < KEPT_MS ? found : null;
  } catch { return null; }
}

function keep(found) {
  try { if (found) sessionStorage.setItem(TYPED, JSON.stringify(found)); else sessionStorage.removeItem(TYPED); } catch { /* a browser without a store keeps nothing */ }
}

function fieldsOf(form) {
  return [...form.elements].filter((one) => one.name && one.matches("input:not([type=hidden], [type=password]), textarea, select"));
}

// A form is known by where it is sent and by what it says of itself, its token aside.
function nameOf(form) {
  const own = [...form.elements].filter((one) => one.type === "hidden" && one.name !== "form_token" && one.name !== "asked");
  return [form.getAttribute("action"), ...own.map((one) => one.name + "=" + one.value)].join("&");
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  const fields = fieldsOf(form).map((one) => ({
    name: one.name, value: one.value, checked: one.checked === true, said: one.labels.length ? one.labels[0].textContent.trim() : one.name,
  }));
  keep({ form: nameOf(form), page: location.pathname, action: form.getAttribute("action"), fields, at: Date.now(), state: "sent" });
});

function notice(before, words) {
  const said = document.createElement("p");
  said.className = "said back";
  said.setAttribute("role", "alert");
  said.textContent = words;
  before.before(said);
  said.scrollIntoView({ block: "center" });
}

function bring(found) {
  const form = [...document.forms].find((one) => nameOf(one) === found.form);
  const why = found.said ? found.said + " " : "";
  if (!form) {
    const typed = found.fields.filter((one) => one.value && (one.checked || !/^(1|on)$/.test(one.value))).map((one) => one.said + ": " + one.value);
    if (typed.length) notice(screenNow.firstElementChild || screenNow, why + document.body.dataset.homeless.replace("{typed}", typed.join("; ")));
    return;
  }
  for (const field of fieldsOf(form)) {
    const box = field.type === "checkbox" || field.type === "radio";
    const was = found.fields.find((one) => one.name === field.name && (!box || one.value === field.value));
    if (!was) continue;
    if (box) field.checked = was.checked;
    else if (field.tagName !== "SELECT" || [...field.options].some((one) => one.value === was.value)) field.value = was.value;
    if (was.value && was.value !== field.defaultValue && field.closest("details")) field.closest("details").open = true;
  }
  for (let around = form.closest("details"); around; around = around.parentElement.closest("details")) around.open = true;
  notice(form.closest("[data-live]") || form, why + (found.state === "sent" ? document.body.dataset.unknown : document.body.dataset.kept));
}

function whatWasTyped() {
  const found = kept();
  if (!found || !screenNow) return;
  const why = document.querySelector("[data-unrecorded] [role=alert]");
  if (why) { keep({ ...found, state: "kept", said: why.textContent.trim() }); return; }
  const how = performance.getEntriesByType("navigation")[0];
  const unsure = found.state === "sent" && how && how.type !== "navigate";
  if (found.state === "sent" && !unsure) { keep(null); return; }
  if (location.pathname !== found.page && location.pathname !== found.action) return;
  if (found.state === "shown" && !/\/(who|sign-in)(\?|$)/.test(document.referrer)) { keep(null); return; }
  bring(found);
  keep({ ...found, state: "shown" });
}

whatWasTyped();
