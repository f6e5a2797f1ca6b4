// What is ticked off a list (data-ticks, its own name) stays ticked on this phone until somebody signs out.
import * as store from "./store.js";

export const keepTicks = async () => {
  for (const list of document.querySelectorAll("[data-ticks]")) {
    const name = `ticks ${list.dataset.ticks}`;
    const ticked = new Set((await store.fact(name)) ?? []);
    for (const box of list.querySelectorAll("input[type=checkbox]")) {
      box.checked = ticked.has(box.value);
      box.addEventListener("change", () => {
        if (box.checked) ticked.add(box.value);
        else ticked.delete(box.value);
        store.setFact(name, [...ticked]);
      });
    }
  }
};
