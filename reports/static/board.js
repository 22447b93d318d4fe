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

async function bringUp() {
  if (fetching) { again = true; return; }
  fetching = true;
  try {
    const answer = await fetch(location.href, { headers: { accept: "text/html" }, cache: "no-store" });
    if (answer.redirected && new URL(answer.url).pathname !== location.pathname) { location.reload(); return; }
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
