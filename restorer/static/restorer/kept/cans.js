// What a code on a can says: the GTIN of the product with 14 digits and, where the code carries it, the batch. By the
// GS1 General Specifications (check digit 7.9, element strings 7.8, application identifiers 01 and 10, UPC-E 5.2.2.4)
// and the GS1 Digital Link URI (ISO/IEC 18975).
const GTIN_LENGTHS = [8, 12, 13, 14];
const SEPARATOR = "\u001d"; // FNC1 as readers give it
const SYMBOLOGY = /^\](?:C1|e0|d2|Q3|J1)/; // ISO/IEC 15424: some readers put it before the data
// Characters of an element whose identifier begins with these two digits, identifier included; all others end at a
// separator. One that this table lacks and whose end is not marked would be read as part of the one before.
const FIXED = new Map([
  ["00", 20], ["01", 16], ["02", 16], ["03", 16], ["04", 18],
  ...["11", "12", "13", "14", "15", "16", "17", "18", "19"].map((two) => [two, 8]), ["20", 4],
  ...["31", "32", "33", "34", "35", "36"].map((two) => [two, 10]), ["41", 16],
]);
const MAX_BATCH = 20;

export const hasRightCheckDigit = (digits) => {
  const sum = [...digits].reverse().reduce((total, digit, place) => total + Number(digit) * (place % 2 ? 3 : 1), 0);
  return sum % 10 === 0;
};

const gtinOf = (digits) => (GTIN_LENGTHS.includes(digits.length) && /^\d+$/.test(digits) && hasRightCheckDigit(digits)
  ? digits.padStart(14, "0") : undefined);

// The zeros that UPC-E leaves out.
const widened = (digits) => {
  const [system, one, two, three, four, five, last, check] = digits;
  const maker = { 3: `${one}${two}${three}00`, 4: `${one}${two}${three}${four}0` }[last] ??
    (last < 3 ? `${one}${two}${last}00` : `${one}${two}${three}${four}${five}`);
  const article = { 3: `000${four}${five}`, 4: `0000${five}` }[last] ?? (last < 3 ? `00${three}${four}${five}` : `0000${last}`);
  return `${system}${maker}${article}${check}`;
};

const readElements = (text) => {
  const found = {};
  let rest = text.replace(SYMBOLOGY, "").replace(/^\u001d/, "");
  while (rest) {
    const ends = rest.indexOf(SEPARATOR);
    const length = FIXED.get(rest.slice(0, 2)) ?? (ends < 0 ? rest.length : ends);
    const element = rest.slice(0, length);
    if (element.length < length || element.length < 3 || element.includes(SEPARATOR)) return {};
    found[element.slice(0, 2)] ??= element.slice(2);
    rest = rest.slice(length).replace(/^\u001d/, "");
  }
  return { gtin: gtinOf(found["01"] ?? ""), batch: found["10"] };
};

const readLink = (text) => {
  let steps;
  try {
    steps = new URL(text).pathname.split("/").map(decodeURIComponent);
  } catch {
    return {};
  }
  const at = steps.findIndex((step, place) => step === "01" && gtinOf(steps[place + 1] ?? ""));
  if (at < 0) return {};
  const qualifiers = steps.slice(at + 2);
  const batchAt = qualifiers.findIndex((step, place) => place % 2 === 0 && step === "10");
  return { gtin: gtinOf(steps[at + 1]), batch: batchAt < 0 ? undefined : qualifiers[batchAt + 1] };
};

// `format` as the browser names it (W3C, Shape Detection). Nothing of a code that names no product.
export const readCan = (text, format = "") => {
  const plain = text.trim();
  let said;
  if (/^https?:/i.test(plain)) said = readLink(plain);
  else if (format === "upc_e" && /^\d{8}$/.test(plain)) said = { gtin: gtinOf(widened(plain)) };
  else if (/^\d{8}$|^\d{12,14}$/.test(plain)) said = { gtin: gtinOf(plain) };
  else said = readElements(plain);
  return said.gtin ? { gtin: said.gtin, batch: said.batch?.slice(0, MAX_BATCH) ?? "" } : undefined;
};
