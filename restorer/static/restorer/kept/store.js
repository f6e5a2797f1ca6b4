// What a person typed and photographed and the book has not got yet, on this phone (Indexed Database API 3.0, W3C).
// A form is a draft, then waiting, then refused or sent; its photographs lie beside it.
import { openDB } from "../vendor/idb-8.0.4.js";

const NAME = "on-the-deck";
const SENT_FOR = 24 * 3600 * 1000; // so long a form that was sent is known by its key
let opened;

export const open = () => {
  opened ??= openDB(NAME, 1, {
    upgrade(db) {
      db.createObjectStore("forms", { keyPath: "id" });
      db.createObjectStore("photos", { keyPath: "number", autoIncrement: true }).createIndex("form", "form");
      db.createObjectStore("facts");
    },
    blocking() { opened?.then((db) => db.close()); opened = undefined; },
    terminated() { opened = undefined; },
  });
  return opened;
};

const writing = async (stores) => (await open()).transaction(stores, "readwrite", { durability: "strict" });

export const formsOf = async (person, ...states) => {
  const forms = await (await open()).getAll("forms");
  return forms
    .filter((form) => form.person === person && states.includes(form.state))
    .sort((one, other) => (one.pressed ?? one.since) - (other.pressed ?? other.since));
};

export const countOfOthers = async (person) => (await unsent()).filter((form) => form.person !== person).length;

export const unsent = async () => (await (await open()).getAll("forms")).filter((form) => form.state !== "sent");

export const formById = async (id) => (await open()).get("forms", id);

// Keeps what was typed, unless the form is on its way by now.
export const keepTyped = async (form) => {
  const work = await writing("forms");
  const there = await work.store.get(form.id);
  if (!there || there.state === "draft" || there.state === "refused") {
    await work.store.put({ ...form, since: there?.since ?? form.since, state: "draft" });
  }
  await work.done;
};

// Changes a form that is there; what was thrown away stays away.
export const change = async (id, values) => {
  const work = await writing("forms");
  const there = await work.store.get(id);
  if (there) await work.store.put({ ...there, ...values });
  await work.done;
};

// A form is put in the line once: a second press finds it there.
export const press = async (id) => {
  const work = await writing("forms");
  const there = await work.store.get(id);
  if (there && (there.state === "draft" || there.state === "refused")) {
    await work.store.put({ ...there, state: "waiting", pressed: Date.now(), answer: undefined, tries: 0, isFormSent: false });
  }
  await work.done;
  for (const photo of await photosOf(id)) if (photo.isRefused) await changePhoto({ ...photo, isRefused: false, tries: 0 });
};

const dropPhotosIn = async (photos, id) => {
  for (const number of await photos.index("form").getAllKeys(id)) await photos.delete(number);
};

export const drop = async (id) => {
  const work = await writing(["forms", "photos"]);
  await work.objectStore("forms").delete(id);
  await dropPhotosIn(work.objectStore("photos"), id);
  await work.done;
};

// Of a form that was taken only the key stays for a day, and where it led.
export const markSent = async (form, to) => {
  const work = await writing(["forms", "photos"]);
  const { id, person, place, title } = form;
  await work.objectStore("forms").put({ id, person, place, title, to, state: "sent", since: Date.now() });
  await dropPhotosIn(work.objectStore("photos"), id);
  await work.done;
};

export const forgetSent = async () => {
  const work = await writing("forms");
  for (const form of await work.store.getAll()) {
    if (form.state === "sent" && form.since < Date.now() - SENT_FOR) await work.store.delete(form.id);
  }
  await work.done;
};

export const photosOf = async (id) => (await open()).getAllFromIndex("photos", "form", id);

// Each picture once a form.
export const addPhoto = async (photo) => {
  const work = await writing("photos");
  const there = await work.store.index("form").getAll(photo.form);
  if (!there.some((each) => each.hash === photo.hash)) await work.store.add(photo);
  await work.done;
};

// One that was thrown away stays away.
export const changePhoto = async (photo) => {
  const work = await writing("photos");
  if (await work.store.get(photo.number)) await work.store.put(photo);
  await work.done;
};

export const dropPhoto = async (number) => (await open()).delete("photos", number);

export const fact = async (name) => (await open()).get("facts", name);
export const setFact = async (name, value) => (await open()).put("facts", value, name);

export const empty = async () => {
  const work = await writing(["forms", "photos", "facts"]);
  await Promise.all(["forms", "photos", "facts"].map((name) => work.objectStore(name).clear()));
  await work.done;
};
