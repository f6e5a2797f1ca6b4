// A code on a can, read with the camera where the browser can (W3C, Barcode Detection): [data-scan] in the row of a
// product chooses it and fills in its batch; elsewhere it adds the code to the field beside it. [data-scanned] says
// what was found. The codes of the products are datalists, can-codes-PRODUCT. Nothing leaves the phone.
import { readCan } from "./cans.js";
import { button, make } from "./elements.js";

const FORMATS = ["ean_13", "ean_8", "upc_a", "upc_e", "itf", "code_128", "qr_code", "data_matrix"];
const PAUSE_MS = 150;
let formats = [];

const look = async (video, detector, say) => {
  while (video.isConnected) {
    const codes = video.readyState >= 2 ? await detector.detect(video).catch(() => []) : [];
    const read = codes.map((code) => readCan(code.rawValue, code.format)).filter(Boolean);
    if (read.length) return read.find((can) => can.batch) ?? read[0];
    if (codes.length) say("This code names no product. Look for the bars with digits under them.");
    await new Promise((done) => { setTimeout(done, PAUSE_MS); });
  }
  return undefined;
};

const openCamera = async () => {
  try {
    return await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" }, audio: false });
  } catch {
    return undefined;
  }
};

// What the camera saw; nothing if somebody closed it.
const scan = async (says) => {
  const stream = await openCamera();
  if (!stream) {
    says.textContent = "The camera cannot be used here. Allow it for this page, or type the batch.";
    return undefined;
  }
  const video = make("video", { playsinline: true, "aria-label": "What the camera sees" });
  const words = make("p", { role: "status" }, "Hold the code of the can before the camera.");
  const dialog = make("dialog", { class: "scanner", "aria-label": "Scan the can" }, video, words, button("Cancel", () => dialog.close()));
  dialog.addEventListener("close", () => dialog.remove());
  video.muted = true;
  video.srcObject = stream;
  document.body.append(dialog);
  dialog.showModal();
  try {
    await video.play().catch(() => {});
    return await look(video, new BarcodeDetector({ formats }), (what) => { words.textContent = what; });
  } finally {
    for (const track of stream.getTracks()) track.stop();
    if (dialog.isConnected) dialog.close();
  }
};

const set = (field, value) => {
  field.value = value;
  for (const kind of ["input", "change"]) field.dispatchEvent(new Event(kind, { bubbles: true }));
};

const productOf = (gtin) => document.querySelector(`datalist[id^="can-codes-"] option[value="${gtin}"]`)?.parentElement.id.slice("can-codes-".length);

const fillRow = (row, can) => {
  const field = (name) => row.querySelector(`[name$="-${name}"]`);
  const product = field("product");
  const known = productOf(can.gtin);
  if (known && product.value !== known) {
    set(field("batch"), "");
    set(product, known);
  }
  if (can.batch) set(field("batch"), can.batch);
  set(field("can_code"), known ? "" : can.gtin);
  if (known) {
    (can.batch ? field("litres") : field("batch")).focus();
    return `${product.selectedOptions[0].text}${can.batch ? `, batch ${can.batch}` : ": write the batch"}.`;
  }
  field("can_code").closest("details").open = true;
  product.focus();
  return "This code is new. Is the product right? The code is kept with it when you save.";
};

const addCode = (field, can) => {
  const there = field.value.split(/[,;]/).map((code) => code.trim()).filter(Boolean);
  if (there.some((code) => code.padStart(14, "0") === can.gtin)) return "This code is there already.";
  set(field, [...there, can.gtin].join(", "));
  return `${can.gtin} is added. Save to keep it.`;
};

const pressed = async (scans) => {
  const row = scans.closest(".formset-row");
  const says = scans.parentElement.querySelector("[data-scanned]");
  says.textContent = "";
  const can = await scan(says);
  if (!can) return scans.focus();
  const said = row ? fillRow(row, can) : addCode(scans.form.elements.can_codes, can);
  says.textContent = said;
};

const start = async () => {
  if (!globalThis.BarcodeDetector || !navigator.mediaDevices?.enumerateDevices) return;
  const known = await BarcodeDetector.getSupportedFormats();
  formats = FORMATS.filter((format) => known.includes(format));
  const devices = await navigator.mediaDevices.enumerateDevices();
  if (!formats.length || !devices.some((device) => device.kind === "videoinput")) return;
  document.documentElement.dataset.camera = "yes";
  document.addEventListener("click", (event) => {
    const scans = event.target.closest("[data-scan]");
    if (scans) pressed(scans);
  });
};

start().catch(() => {}); // without it everything is typed
