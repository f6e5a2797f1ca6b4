// A form with data-kept is kept on this phone with every keystroke and photograph, and sent by the list. Its title is
// the value; data-photos-to is where photographs go one by one; with data-only-photos nothing else is sent. Where a
// client reads the page, data-word-… hold its words in their language.
import * as store from "./store.js";
import { hashOf, shrink, thumbnail } from "./pictures.js";
import { button, clock, make, wordsOf } from "./elements.js";
import { oneAtATime } from "./sending.js";
import { person, send, showList, signInAddress, startList } from "./list.js";
import { keepDay } from "./day.js";
import { keepTicks } from "./ticks.js";
import { keepFence } from "./handed.js";
import "./scan.js";

const PATIENCE_SECONDS = 15;
const UNKEPT = new Set(["csrfmiddlewaretoken", "add_product", "add_row"]);
const INITIAL = /-(INITIAL|MIN_NUM|MAX_NUM)_FORMS$/;

const newKey = () => globalThis.crypto.randomUUID?.() ??
  "10000000-1000-4000-8000-100000000000".replace(/[018]/g, (digit) =>
    (digit ^ (crypto.getRandomValues(new Uint8Array(1))[0] & (15 >> (digit / 4)))).toString(16));

const typedEntries = (form) => [...new FormData(form)].filter(([name, value]) => typeof value === "string" && !UNKEPT.has(name));

const placeOf = (form) => `${new URL(form.action, location).pathname}|${form.elements.deck?.value ?? ""}`;

// Rows that were added by hand are added again before they are filled.
const addRows = (form, values) => {
  for (const part of form.querySelectorAll("[data-formset]")) {
    const name = `${part.dataset.formset}-TOTAL_FORMS`;
    const wanted = Number(values.get(name)?.[0] ?? 0);
    const add = part.querySelector("[data-add-row]");
    while (add && Number(form.elements[name].value) < wanted) add.click();
  }
};

const setControl = (control, values) => {
  if (control.type === "file" || control.type === "submit" || INITIAL.test(control.name)) return;
  if (control.type === "checkbox" || control.type === "radio") control.checked = values.includes(control.value);
  else if (values.length) control.value = values.shift();
};

const fill = (form, entries) => {
  const values = new Map();
  for (const [name, value] of entries) values.set(name, [...(values.get(name) ?? []), value]);
  addRows(form, values);
  for (const control of form.elements) {
    if (!control.name || UNKEPT.has(control.name)) continue;
    const before = [control.value, control.checked].join();
    setControl(control, values.get(control.name) ?? []);
    if (before === [control.value, control.checked].join()) continue;
    control.closest("details")?.setAttribute("open", "");
    control.dispatchEvent(new Event("change", { bubbles: true }));
  }
};

class KeptForm {
  constructor(form) {
    this.form = form;
    this.id = form.elements.form_key?.value || newKey();
    this.place = placeOf(form);
    this.files = form.querySelector("input[type=file]");
    this.lines = make("div", { class: "kept-lines" });
    form.before(this.lines);
    this.isFilling = false;
    this.photoWork = Promise.resolve();
  }

  word(name, ours) {
    return this.form.dataset[`word${name}`] ?? ours;
  }

  get isForClient() {
    return "wordWaiting" in this.form.dataset;
  }

  // A page that was kept for the day gives each form it opens a key of its own.
  takeId(id) {
    this.id = id;
    if (this.form.elements.form_key) this.form.elements.form_key.value = id;
  }

  // In a page that the server has just filled (`isAnswer`) there is nothing to fill back.
  async start(isAnswer = false) {
    const asOf = document.querySelector("[data-as-of]")?.dataset.asOf;
    const known = await this.knownForm(asOf);
    if (asOf && !known) this.makeFresh(asOf);
    if (known && isAnswer) this.takeId(known.id);
    else if (known) await this.resume(known);
    else await this.offer();
    for (const kind of ["input", "change"]) this.form.addEventListener(kind, (event) => this.typed(event));
    this.form.addEventListener("click", (event) => { if (event.target.closest("[data-add-row]")) this.typed(event); });
    this.form.addEventListener("submit", (event) => this.pressed(event));
    await this.showPhotos();
    this.form.dataset.keeping = "yes";
  }

  // The one that this very page was about before a reload, Back, or a row that was added by the server.
  async knownForm(asOf) {
    const chosen = new URLSearchParams(location.hash.slice(1)).get("take-up");
    if (chosen && (await store.formById(chosen))?.place === this.place) this.remember(chosen);
    const ids = [history.state?.kept, asOf ? undefined : this.form.elements.form_key?.value];
    for (const id of ids.filter(Boolean)) {
      const form = await store.formById(id);
      if (form?.person === person && form.place === this.place) return form;
    }
    return undefined;
  }

  makeFresh(asOf) {
    this.takeId(newKey());
    const iso = (day) => `${day.getFullYear()}-${String(day.getMonth() + 1).padStart(2, "0")}-${String(day.getDate()).padStart(2, "0")}`;
    for (const field of this.form.querySelectorAll("input[type=date]")) {
      if (field.max) field.max = iso(new Date());
      if (field.value === iso(new Date(asOf))) field.value = iso(new Date());
    }
  }

  async resume(kept) {
    if (kept.state === "sent") return this.say(["This was sent ", clock(kept.since), ". "], make("a", { href: kept.to }, "See it"));
    this.takeId(kept.id);
    if (kept.state === "waiting") return this.rest();
    this.isFilling = true;
    fill(this.form, kept.entries);
    this.isFilling = false;
    if (kept.state === "refused" && kept.answer) this.showRefusal(kept.answer);
    this.say([this.word("Kept", "Kept on this phone since"), ` ${clock(kept.since)}.`],
      button(this.word("Throw", "Throw away"), () => this.throwAway(kept.id), "quiet"));
  }

  showRefusal(answer) {
    const words = wordsOf(answer);
    if (words) {
      if (words.tagName === "MAIN") words.removeAttribute("id");
      this.form.prepend(words.tagName === "MAIN" ? make("div", { class: "notice is-error", role: "alert" }, ...words.childNodes) : words);
    }
  }

  // What was left here another time may be taken up, or not.
  async offer() {
    const left = (await store.formsOf(person, "draft", "refused")).filter((form) => form.place === this.place && form.id !== this.id);
    for (const kept of left) {
      const line = this.say([this.word("Kept", "Kept on this phone since"), ` ${clock(kept.since)}.`],
        button(this.word("Resume", "Take up again"), async () => { line.remove(); this.remember(kept.id); await this.resume(kept); await this.showPhotos(); await showList(); }),
        button(this.word("Throw", "Throw away"), () => this.throwAway(kept.id, line), "quiet"));
    }
  }

  say(words, ...actions) {
    const line = make("div", { class: "notice is-info" }, make("p", {}, ...words), make("p", { class: "actions" }, ...actions));
    this.lines.append(line);
    return line;
  }

  async throwAway(id, line) {
    if (!confirm(this.word("Sure", "Throw away what is kept here? It was not sent."))) return;
    await store.drop(id);
    if (line) { line.remove(); return showList(); }
    history.replaceState({ ...history.state, kept: undefined }, "");
    location.replace(location.href);
  }

  remember(id) {
    if (history.state?.kept !== id) history.replaceState({ ...history.state, kept: id }, "", location.pathname + location.search);
  }

  record() {
    const { form } = this;
    return {
      id: this.id, person, place: this.place, title: form.dataset.kept, address: location.pathname + location.search,
      action: new URL(form.action, location).pathname + new URL(form.action, location).search,
      photosTo: form.dataset.photosTo, onlyPhotos: "onlyPhotos" in form.dataset,
      since: Date.now(), changed: Date.now(), entries: typedEntries(form),
    };
  }

  typed(event) {
    if (this.isFilling) return;
    if (event.target === this.files) return this.takePhotos();
    this.keep();
  }

  // The newest state is written as soon as the one before it is; nothing in between is waited for.
  keep() {
    this.remember(this.id);
    this.newest = this.record();
    this.writing ??= this.write();
    return this.writing;
  }

  async write() {
    try {
      while (this.newest) {
        const now = this.newest;
        this.newest = undefined;
        await store.keepTyped(now);
      }
    } catch {
      this.warn();
      return;
    } finally {
      this.writing = undefined;
    }
    this.form.dataset.keptAt = String(Date.now());
  }

  warn() {
    this.warning ??= this.say(["This phone has no room: what you type now is not kept on it."]);
  }

  takePhotos() {
    const files = [...this.files.files];
    if (!files.length) return;
    this.photoWork = this.photoWork.then(async () => {
      await this.keep();
      for (const file of files) {
        this.photoWords(`Keeping ${file.name}…`);
        const blob = await shrink(file);
        const name = blob === file ? file.name : "photo.jpg";
        await store.addPhoto({ form: this.id, hash: await hashOf(blob, file), blob, name });
      }
      this.files.value = ""; // they lie here now
      await this.showPhotos();
    });
    this.photoWork.catch(() => this.photoWords("This phone has no room for more photos. Those above are kept."));
  }

  photoWords(words) {
    this.photoList?.querySelector("p")?.replaceChildren(words);
  }

  async showPhotos() {
    if (!this.files) return;
    const photos = await store.photosOf(this.id);
    if (!this.photoList) {
      this.photoList = make("div", { class: "kept-photos" }, make("ul"), make("p", { class: "fine", role: "status" }));
      this.files.closest(".field").append(this.photoList);
    }
    const items = await Promise.all(photos.map(async (photo, place) => make("li", {},
      await thumbnail(photo.blob, `Photo ${place + 1}`),
      button("Remove", async () => { await store.dropPhoto(photo.number); await this.showPhotos(); }, "quiet"))));
    this.photoList.querySelector("ul").replaceChildren(...items);
    this.photoWords(photos.length ? `${photos.length} photo${photos.length > 1 ? "s" : ""} kept on this phone.` : "");
  }

  async pressed(event) {
    if (UNKEPT.has(event.submitter?.name)) return; // another row, the list read again: the server's own way
    if (this.form.dataset.onlyPhotos !== undefined && !this.files.files.length && !this.photoList.querySelector("li")) return;
    event.preventDefault();
    if (this.isPressed) return;
    this.isPressed = true;
    this.lines.replaceChildren();
    const shown = event.submitter?.ariaHidden ? null : event.submitter; // Enter presses one that nobody sees
    const saves = shown ?? this.form.querySelector("button:not([type=button], [name], [aria-hidden])");
    this.restButton(saves);
    try {
      await this.photoWork.catch(() => {});
      await this.keep();
      await store.press(this.id);
      await this.follow();
    } catch {
      this.form.submit(); // as without us; the book takes it once
    } finally {
      this.wakeButton(saves);
      this.isPressed = false;
    }
  }

  restButton(saves) {
    if (!saves) return;
    this.words = saves.textContent;
    saves.disabled = true;
    saves.setAttribute("aria-busy", "true");
    saves.textContent = saves.dataset.busy ?? "One moment…";
  }

  wakeButton(saves) {
    if (!saves) return;
    saves.disabled = false;
    saves.removeAttribute("aria-busy");
    saves.textContent = this.words;
  }

  // Until the book has answered, or for as long as somebody may be made to look at it.
  async follow() {
    let isDone = false;
    const outcome = new Promise((done) => {
      document.addEventListener("form-news", (event) => {
        if (event.detail.form.id === this.id && event.detail.outcome) done(event.detail.outcome);
      });
    });
    const late = new Promise((done) => { setTimeout(done, PATIENCE_SECONDS * 1000); });
    const heard = await Promise.race([outcome, send().then((why) => ({ kind: why })), late]);
    const now = await store.formById(this.id);
    if (now?.to) { isDone = true; location.assign(now.to); }
    if (heard?.kind === "refused" && heard.answer) return this.showAnswer(heard.answer);
    if (heard?.kind === "signed-out" && now?.state === "waiting") { isDone = true; location.assign(signInAddress(this.id)); }
    if (!isDone) await this.rest();
  }

  // The page as the server gave it, mistakes marked, in the place of this one.
  async showAnswer(answer) {
    const page = new DOMParser().parseFromString(answer, "text/html");
    const main = page.querySelector("main");
    const list = document.querySelector("[data-on-phone]");
    main.querySelector("[data-on-phone]")?.remove();
    const here = document.querySelector("main");
    here.replaceChildren(...(list ? [list] : []), ...document.importNode(main, true).childNodes);
    document.dispatchEvent(new CustomEvent("shown"));
    await store.change(this.id, { answer: undefined }); // it stands in the page by now
    const form = here.querySelector(`form[data-kept][action="${CSS.escape(this.form.getAttribute("action") ?? "")}"]`) ?? here.querySelector("form[data-kept]");
    if (form) await new KeptForm(form).start(true);
    here.querySelector("[data-focus]")?.focus();
    await showList();
  }

  // Not while it is being sent.
  async takeBack() {
    await oneAtATime(async () => {
      if ((await store.formById(this.id))?.state === "waiting") await store.change(this.id, { state: "draft" });
    });
    location.reload();
  }

  // It is on its way, or waits: the form steps aside and says so.
  async rest() {
    this.form.hidden = true;
    const next = this.isForClient ? [] : [
      button("Change it", () => this.takeBack()),
      button("Fill in a new one", () => { this.remember(undefined); location.reload(); }),
      make("a", { class: "button secondary", href: "/" }, "Today"),
    ];
    const line = this.say([this.word("Waiting", "Kept on this phone and not sent yet. It is sent by itself once there is a signal.")], ...next);
    line.tabIndex = -1;
    line.setAttribute("role", "status");
    line.focus();
    document.addEventListener("form-news", async () => {
      const now = await store.formById(this.id);
      if (now?.to && line.isConnected) line.replaceWith(make("div", { class: "notice is-done", role: "status" }, make("p", {}, "Sent. ", make("a", { href: now.to }, "See it"))));
    });
    await showList();
  }
}

const start = async () => {
  if (!person || !globalThis.indexedDB) return;
  await store.open();
  keepFence();
  keepTicks();
  const forms = [...document.querySelectorAll("form[data-kept]")];
  const attended = forms.map((form) => new KeptForm(form));
  for (const each of attended) await each.start();
  const isGone = async (each) => ["sent", "waiting"].includes((await store.formById(each.id))?.state);
  addEventListener("pageshow", async (event) => {
    if (!event.persisted) return;
    for (const each of attended) if (await isGone(each)) location.reload();
  });
  addEventListener("hashchange", () => { if (location.hash.startsWith("#take-up=")) location.reload(); });
  document.addEventListener("thrown-away", (event) => { if (event.detail === history.state?.kept) location.reload(); });
  await startList();
  await keepDay(person);
};

start();
