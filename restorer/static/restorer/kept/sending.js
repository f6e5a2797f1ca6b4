// Sends what waits: forms first and in order, then their photographs one by one. The book takes a form once for its
// key and a photograph once for its contents, so whatever is in doubt is sent again. Runs in pages and in the worker.
import * as store from "./store.js";

const TOKEN_SECONDS = 15;
const SEND_SECONDS = 120; // a photograph over a bad line
const PART_SECONDS = 60;
const PART_BYTES = 64 * 1024; // a quarter of a minute at 40 kbit/s; the book takes four times as much
const MAX_TRIES = 5; // of what the book could not read
const KEPT = "X-Kept-Form";

class NoSignal extends Error {}

const ask = async (address, options, seconds) => {
  try {
    return await fetch(address, { ...options, redirect: "follow", signal: AbortSignal.timeout(seconds * 1000) });
  } catch (error) {
    throw new NoSignal(String(error));
  }
};

// Who is signed in, and a fresh token. A network that answers in the book's place (a hotel's) is no signal.
const whoIsIn = async () => {
  const answer = await ask("/phone/token/", { headers: { [KEPT]: "1" }, cache: "no-store" }, TOKEN_SECONDS);
  try {
    const who = await answer.json();
    if (typeof who.token === "string") return who;
  } catch { /* no answer of ours */ }
  throw new NoSignal("not our answer");
};

const judge = async (answer) => {
  if (!answer.headers.has(KEPT)) throw new NoSignal("not our answer");
  const isWord = (answer.headers.get("Content-Type") ?? "").includes("json");
  if (answer.status === 401) return { kind: "signed-out" };
  if (answer.status === 403 && isWord) return { kind: "stale", token: (await answer.json()).token };
  if (answer.ok && isWord) return { kind: "taken", to: (await answer.json()).to };
  if (answer.status === 408 || answer.status === 429 || answer.status >= 500) throw new NoSignal("busy");
  if (answer.status === 400) return { kind: "unread", answer: await answer.text() };
  return { kind: "refused", answer: await answer.text() };
};

const post = async (address, body, who) => {
  for (let turn = 0; ; turn += 1) {
    const headers = { [KEPT]: "1", "X-CSRFToken": who.token };
    const outcome = await judge(await ask(address, { method: "POST", body, headers }, SEND_SECONDS));
    if (outcome.kind !== "stale" || turn) return outcome;
    who.token = outcome.token;
  }
};

const postForm = async (form, who) => {
  const outcome = await post(form.action, new URLSearchParams(form.entries), who);
  if (outcome.kind === "taken") {
    await store.change(form.id, { to: outcome.to, isFormSent: true });
    if (!(await store.photosOf(form.id)).length) await store.markSent(form, outcome.to);
  } else if (outcome.kind === "refused" || form.tries >= MAX_TRIES) {
    await store.change(form.id, { state: "refused", answer: outcome.answer });
    return { ...outcome, kind: "refused" };
  } else if (outcome.kind === "unread") {
    await store.change(form.id, { tries: (form.tries ?? 0) + 1 });
  }
  return outcome;
};

const isWhere = (answer) => /^[0-9]+$/.test(answer.headers.get("Upload-Offset") ?? "");

const askParts = async (photo, options, who) => {
  const headers = { [KEPT]: "1", "X-CSRFToken": who.token, ...options.headers };
  const answer = await ask(`/phone/parts/${photo.hash}/`, { cache: "no-store", ...options, headers }, PART_SECONDS);
  if (!isWhere(answer)) throw new NoSignal("not our answer, or not now");
  return Number(answer.headers.get("Upload-Offset"));
};

const sendPart = (photo, offset, who) => askParts(photo, {
  method: "PATCH",
  body: photo.blob.slice(offset, offset + PART_BYTES),
  headers: { "Content-Type": "application/partial-upload", "Upload-Offset": String(offset), "Upload-Complete": "?0" },
}, who);

// From where the book has it to the end. A break costs one part; without a step forward it is no signal.
const sendInParts = async (photo, who, tell) => {
  let there = -1;
  for (;;) {
    const offset = await askParts(photo, { method: "HEAD" }, who);
    if (offset >= photo.blob.size) return;
    if (offset <= there) throw new NoSignal("no step forward");
    there = offset;
    try {
      for (let next = offset; next < photo.blob.size;) {
        tell(next / photo.blob.size);
        const after = await sendPart(photo, next, who);
        if (after <= next) break;
        next = after;
      }
    } catch (error) {
      if (!(error instanceof NoSignal)) throw error;
    }
  }
};

const needsParts = (photo) => photo.isBroken && photo.blob.size > PART_BYTES && /^[0-9a-f]{64}$/.test(photo.hash);

// Whole the first time; once that broke off, in parts.
const postFile = async (form, photo, who, tell) => {
  const body = new FormData();
  for (const [name, value] of form.entries) {
    if (["form_key", "moment", "caption"].includes(name)) body.append(name, value);
  }
  if (needsParts(photo)) {
    await sendInParts(photo, who, tell);
    body.append("in_parts", photo.hash);
    return post(form.photosTo, body, who);
  }
  body.append("photos", photo.blob, photo.name);
  try {
    return await post(form.photosTo, body, who);
  } catch (error) {
    await store.changePhoto({ ...photo, isBroken: true });
    throw error;
  }
};

const postPhoto = async (form, photo, who, tell) => {
  const outcome = await postFile(form, photo, who, tell);
  if (outcome.kind === "taken") {
    await store.dropPhoto(photo.number);
    // if this is not heard, the parts go some nights later
    if (needsParts(photo)) await askParts(photo, { method: "DELETE" }, who).catch(() => {});
  } else if (outcome.kind === "refused" || (photo.tries ?? 0) >= MAX_TRIES) {
    await store.changePhoto({ ...photo, isRefused: true });
    await store.change(form.id, { answer: outcome.answer });
    return { kind: "refused" };
  } else if (outcome.kind === "unread") await store.changePhoto({ ...photo, tries: (photo.tries ?? 0) + 1, isBroken: true });
  return outcome;
};

const finishPhotos = async (form) => {
  if ((await store.photosOf(form.id)).length) await store.change(form.id, { state: "refused" });
  else await store.markSent(form, form.to);
};

const stops = (outcome) => outcome.kind === "signed-out" || outcome.kind === "unread";

const sendForms = async (who, tell) => {
  const waiting = await store.formsOf(who.person, "waiting");
  for (const form of waiting.filter((each) => !each.isFormSent && !each.onlyPhotos)) {
    const outcome = await postForm(form, who);
    tell({ form, outcome });
    if (stops(outcome)) return outcome.kind;
  }
  return "";
};

const sendPhotos = async (who, tell) => {
  const waiting = await store.formsOf(who.person, "waiting");
  for (const form of waiting.filter((each) => each.isFormSent || each.onlyPhotos)) {
    const photos = (await store.photosOf(form.id)).filter((photo) => !photo.isRefused);
    for (const [place, photo] of photos.entries()) {
      tell({ form, photo: place + 1, of: photos.length });
      const share = (part) => tell({ form, photo: place + 1, of: photos.length, share: part });
      const outcome = await postPhoto(form, photo, who, share);
      if (outcome.to) form.to = outcome.to;
      if (stops(outcome)) return outcome.kind;
    }
    await finishPhotos(form);
    tell({ form, outcome: { kind: "photos-sent" } });
  }
  return "";
};

const sendAllNow = async (tell) => {
  try {
    const who = await whoIsIn();
    if (!who.person) return "signed-out";
    for (;;) {
      const stopped = (await sendForms(who, tell)) || (await sendPhotos(who, tell));
      if (stopped) return stopped;
      if (!(await store.formsOf(who.person, "waiting")).length) return "";
    }
  } catch (error) {
    if (error instanceof NoSignal) return "no-signal";
    throw error;
  }
};

// One at a time, of all pages and the worker: Web Locks (W3C), where there are.
let turn = Promise.resolve("");
export const oneAtATime = (work) => {
  if (globalThis.navigator?.locks) return navigator.locks.request("on-the-deck", work);
  turn = turn.then(work, work);
  return turn;
};

// What one page or the worker sends, all pages hear of (HTML, 9.5: BroadcastChannel).
export const newsChannel = () => (globalThis.BroadcastChannel ? new BroadcastChannel("on-the-deck") : undefined);

// Why it stopped: "" when nothing waits any more, else "no-signal", "signed-out" or "unread".
export const sendAll = (tell = () => {}) => oneAtATime(async () => {
  const channel = newsChannel();
  const stopped = await sendAllNow((news) => {
    const { form, photo, of, share, outcome } = news;
    channel?.postMessage({ form: { id: form.id }, photo, of, share, outcome: outcome && { kind: outcome.kind } });
    tell(news);
  });
  channel?.postMessage({ isOver: true });
  channel?.close();
  return stopped;
});
