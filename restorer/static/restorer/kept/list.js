// The list "Waiting to be sent" at the top of each page, the sending itself, and what happens at sign-out.
import * as store from "./store.js";
import { newsChannel, sendAll } from "./sending.js";
import { button, clock, make } from "./elements.js";

const AGAIN_SECONDS = 30;
const section = document.querySelector("[data-on-phone]");
export const person = document.querySelector('meta[name="person"]')?.content ?? "";
let doing = "";
let stopped = "";
let isOpen = false;

const throwAway = async (form) => {
  if (!confirm(`Throw “${form.title}” away? It was not sent.`)) return;
  await store.drop(form.id);
  document.dispatchEvent(new CustomEvent("thrown-away", { detail: form.id }));
  await showList();
};

const stateWords = (form) => {
  if (form.state === "refused") return form.isFormSent ? "Some photos could not be taken" : "Not taken: put it right";
  if (form.state === "draft") return `not finished, since ${clock(form.since)}`;
  return form.isFormSent ? "sent; the photos follow" : `since ${clock(form.pressed)}`;
};

const line = (form) => make("li", {},
  make("span", {}, form.title, make("br"), make("span", { class: "soft fine" }, stateWords(form))),
  make("span", { class: "actions" },
    form.isFormSent && form.state === "waiting" ? "" : make("a", { class: "button secondary", href: `${form.address}#take-up=${form.id}` }, "Open"),
    button("Throw away", () => throwAway(form), "quiet")));

const heading = (waiting, refused, drafts) => {
  if (doing) return doing;
  const parts = [[waiting, "Waiting to be sent"], [refused, "To put right"], [drafts, "Not finished"]];
  return parts.filter(([forms]) => forms.length).map(([forms, words]) => `${words} (${forms.length})`).join(" · ");
};

// Back to this page afterwards, with the form that made somebody sign in.
export const signInAddress = (id) => `/sign-in/?next=${encodeURIComponent(`${location.pathname}${location.search}#take-up=${id}`)}`;

const notes = (waiting, others) => {
  const found = [];
  if (stopped === "signed-out" && waiting.length) {
    found.push(make("p", {}, make("a", { href: signInAddress(waiting[0].id) }, "Sign in again"), " and it is sent."));
  }
  if (others) found.push(make("p", {}, `${others} more of somebody else: sent when they sign in on this phone.`));
  found.push(make("p", { class: "fine" }, "Your own work, on this phone only. Sent by itself once there is a signal; deleted when it was sent and when you sign out."));
  return found;
};

export const showList = async () => {
  if (!section) return;
  const forms = await store.formsOf(person, "waiting", "refused", "draft");
  const others = await store.countOfOthers(person);
  const isHere = (form) => form.state === "draft" && form.id === history.state?.kept;
  const shown = forms.filter((form) => !isHere(form));
  const [waiting, refused, drafts] = ["waiting", "refused", "draft"].map((state) => shown.filter((form) => form.state === state));
  section.hidden = !shown.length && !others && !doing;
  for (const name of ["notice", "is-caution"]) section.classList.toggle(name, !section.hidden);
  if (section.hidden) return section.replaceChildren();
  const parts = [make("ul", { class: "lines" }, ...[...waiting, ...refused, ...drafts].map(line)), ...notes(waiting, others)];
  if (waiting.length) parts.push(make("p", { class: "actions" }, button("Send now", send)));
  const words = heading(waiting, refused, drafts) || "On this phone";
  const details = make("details", { open: isOpen || refused.length > 0 }, make("summary", {}, make("span", { role: "status" }, words)), ...parts);
  details.addEventListener("toggle", () => { isOpen = details.open; });
  section.replaceChildren(details);
};

const told = async (news) => {
  if (news.isOver) { doing = ""; return showList(); }
  const share = news.share ? `, ${Math.round(news.share * 100)} % of it is there` : "";
  doing = news.photo ? `Sending photo ${news.photo} of ${news.of}${share}` : "";
  document.dispatchEvent(new CustomEvent("form-news", { detail: news }));
  await showList();
};

export const send = async () => {
  if (!(await store.formsOf(person, "waiting")).length) return "";
  stopped = await sendAll(told);
  doing = "";
  await showList();
  if (stopped === "signed-out") { isOpen = true; await showList(); }
  if (stopped) askWorker();
  return stopped;
};

// Where there is Background Sync (WICG) the worker sends, with the page closed too.
const askWorker = async () => {
  const worker = await navigator.serviceWorker?.getRegistration();
  await worker?.sync?.register("send").catch(() => {});
};

export const forgetPages = async () => {
  for (const name of (await globalThis.caches?.keys()) ?? []) {
    if (name.startsWith("pages")) await caches.delete(name);
  }
};

const signOut = async (event) => {
  const form = event.target;
  if (new URL(form.action, location).pathname !== "/sign-out/") return;
  event.preventDefault();
  const left = (await store.unsent()).length;
  if (left && !confirm(`${left} form${left > 1 ? "s" : ""} on this phone ${left > 1 ? "were" : "was"} not sent. Sign out and throw ${left > 1 ? "them" : "it"} away?`)) return;
  await store.empty();
  await forgetPages();
  form.submit();
};

export const startList = async () => {
  document.addEventListener("submit", (event) => { signOut(event); }, true);
  addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  setInterval(send, AGAIN_SECONDS * 1000);
  newsChannel()?.addEventListener("message", (event) => told(event.data));
  await store.forgetSent();
  await showList();
  await send();
};
