// A phone in a client's hands (docs/decisions/0055): from the sign-off on, this phone leads every page back to it,
// without a signal too, until somebody of the crew takes it back. The note of it is a fact of the store, which the
// worker reads; [data-handed-over] holds the page that the crew goes on with.
import * as store from "./store.js";

const HANDED = "handed-over";

// The address of the only page that may be shown, if there is one.
export const handedPage = () => store.fact(HANDED).catch(() => undefined);
const takeBack = () => store.setFact(HANDED, undefined);

// A tab that was open before shows it once somebody turns to it.
const leadBack = async () => {
  const only = document.hidden ? undefined : await handedPage();
  if (!only || only === location.pathname) return;
  document.body.hidden = true;
  location.replace(only);
};

// The server is told too; without a signal it hears of it when the sign-off is opened again.
const pressed = async (event, next) => {
  event.preventDefault();
  const said = new FormData(event.target, event.submitter);
  await takeBack();
  const answer = await fetch(location.pathname, { method: "POST", body: said, redirect: "manual" }).catch(() => undefined);
  location.assign(answer ? next : "/");
};

export const keepFence = async () => {
  const theirs = document.querySelector("[data-handed-over]");
  if (theirs) {
    theirs.querySelector("form").addEventListener("submit", (event) => pressed(event, theirs.dataset.handedOver));
    await store.setFact(HANDED, location.pathname);
    navigator.serviceWorker?.controller?.postMessage({ keep: location.pathname });
  } else if ((await handedPage()) === location.pathname) {
    await takeBack(); // that page is gone: nobody is held on it
  }
  document.addEventListener("visibilitychange", leadBack);
};
