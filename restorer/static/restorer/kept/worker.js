// The service worker (W3C Service Workers): the network first; without it the static files, and the day's pages as
// they were. Those lie in a cache of its own, listed page by page, with the photographs that their forms show; it is
// emptied at sign-out.
import * as store from "./store.js";
import { sendAll } from "./sending.js";
import { clock } from "./elements.js";
import { handedPage } from "./handed.js";

const PAGES = "pages";
let STATIC = "";
let OPEN = []; // addresses that a client who holds the phone may open too
const FRAME = "/phone/offline/";
const DAY = "/phone/day/";
const PHOTOS = "/jobs/photos/";
const KEPT_AT = "X-Kept-At";
const MAX_AGE_HOURS = 36;
const PATIENCE_SECONDS = 8;
const MAIN = '<main id="content" tabindex="-1">';

const addressOf = (url) => `${url.pathname}${url.search}`;

const keepPage = async (address, answer) => {
  const headers = new Headers(answer.headers);
  headers.set(KEPT_AT, new Date().toISOString());
  headers.delete("Set-Cookie");
  const cache = await caches.open(PAGES);
  await cache.put(address, new Response(await answer.blob(), { status: 200, headers }));
};

const keepOne = async (address) => {
  const answer = await fetch(address, { cache: "no-store" });
  if (answer.ok && !answer.redirected) await keepPage(address, answer);
};

// Each page of the day, one after another; what is no longer of the day goes.
const keepDay = async () => {
  const said = await fetch(DAY, { cache: "no-store" });
  if (!said.ok || said.redirected) return;
  const { pages, pictures } = await said.json();
  for (const address of pages) await keepOne(address);
  const cache = await caches.open(PAGES);
  for (const address of pictures) if (!(await cache.match(address))) await keepOne(address);
  const kept = [...pages, ...pictures, await handedPage()];
  for (const request of await cache.keys()) {
    if (!kept.includes(addressOf(new URL(request.url)))) await cache.delete(request);
  }
  for (const name of await caches.keys()) if (name !== STATIC && name !== PAGES) await caches.delete(name);
  await store.setFact("day", Date.now());
};

const isOld = (kept) => Date.now() - Date.parse(kept.headers.get(KEPT_AT)) > MAX_AGE_HOURS * 3600_000;

const readPage = async (address) => {
  const cache = await caches.open(PAGES);
  const kept = await cache.match(address);
  if (kept && isOld(kept)) { await cache.delete(address); return undefined; }
  return kept;
};

const withAge = async (kept) => {
  const at = kept.headers.get(KEPT_AT);
  const line = `<p class="notice is-caution" role="status" data-as-of="${at}">No signal. This page is as of ${clock(at)}.</p>`;
  const headers = new Headers(kept.headers);
  for (const name of ["Content-Length", "Content-Encoding"]) headers.delete(name);
  return new Response((await kept.text()).replace(MAIN, MAIN + line), { headers });
};

const withoutSignal = async (address) => {
  const path = address.split("?")[0];
  const theirs = path === (await handedPage()) ? await readPage(path) : undefined; // in another language
  const kept = (await readPage(address)) ?? theirs ?? (await readPage(FRAME));
  if (kept) return withAge(kept);
  const headers = { "Content-Type": "text/plain; charset=utf-8" };
  return new Response("No signal, and this page is not on the phone.", { status: 503, headers });
};

// Where a browser in a client's hands is led back to, as long as that page can be shown.
const pageToStayOn = async (path) => {
  const only = await handedPage();
  if (!only || path === only || OPEN.some((each) => path.startsWith(each))) return undefined;
  return navigator.onLine || (await readPage(only)) ? only : undefined;
};

const answerPage = async (request) => {
  const url = new URL(request.url);
  const address = addressOf(url);
  const only = await pageToStayOn(url.pathname);
  if (only) return Response.redirect(only);
  const asked = fetch(request);
  asked.catch(() => {});
  try {
    if (!(await readPage(address))) return await asked;
    const late = new Promise((_, fail) => { setTimeout(fail, PATIENCE_SECONDS * 1000, new Error("late")); });
    const answer = await Promise.race([asked, late]);
    if (answer.ok && !answer.redirected) await keepPage(address, answer.clone());
    return answer;
  } catch {
    return withoutSignal(address);
  }
};

// A picture never changes under its address.
const answerPicture = async (request) => (await (await caches.open(PAGES)).match(request)) ?? fetch(request);

const answerStatic = async (request) => {
  try {
    return await fetch(request);
  } catch (error) {
    const kept = await caches.match(request);
    if (kept) return kept;
    throw error;
  }
};

export const start = ({ version, files, open }) => {
  STATIC = `static-${version}`;
  OPEN = open;
  addEventListener("install", (event) => {
    skipWaiting();
    event.waitUntil(caches.open(STATIC).then((cache) => cache.addAll(files)));
  });
  addEventListener("activate", (event) => {
    // the pages that are kept show the former files: those go once the day is kept again
    event.waitUntil(store.setFact("day", 0).then(() => clients.claim()));
  });
  addEventListener("fetch", (event) => {
    const { request } = event;
    const url = new URL(request.url);
    if (request.method !== "GET" || url.origin !== location.origin) return;
    if (request.mode === "navigate") event.respondWith(answerPage(request));
    else if (files.includes(url.pathname)) event.respondWith(answerStatic(request));
    else if (url.pathname.startsWith(PHOTOS)) event.respondWith(answerPicture(request));
  });
  addEventListener("message", (event) => {
    if (event.data === "keep-day") event.waitUntil(keepDay().catch(() => {}));
    if (event.data.keep) event.waitUntil(keepOne(event.data.keep).catch(() => {}));
  });
  addEventListener("sync", (event) => {
    if (event.tag === "send") event.waitUntil(sendAll().then((why) => { if (why) throw new Error(why); }));
  });
};
