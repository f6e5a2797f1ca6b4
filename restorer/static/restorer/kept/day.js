// The day's pages on the phone, to be read without a signal: kept by the worker, forgotten at sign-out.
import * as store from "./store.js";
import { forgetPages } from "./list.js";

const KEEP_AGAIN_MINUTES = 30;

export const keepDay = async (person) => {
  if ((await store.fact("person")) !== person) {
    await forgetPages();
    await store.setFact("person", person);
    await store.setFact("day", 0);
  }
  if (!navigator.serviceWorker) return; // only over HTTPS
  const { worker } = document.querySelector('meta[name="person"]').dataset;
  try {
    await navigator.serviceWorker.register(worker, { type: "module", scope: "/", updateViaCache: "none" });
  } catch {
    return; // an older browser: forms are kept all the same
  }
  const ready = await navigator.serviceWorker.ready;
  if (!navigator.onLine || Date.now() - ((await store.fact("day")) ?? 0) < KEEP_AGAIN_MINUTES * 60_000) return;
  ready.active.postMessage("keep-day");
};
