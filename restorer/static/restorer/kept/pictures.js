// Photographs, made small on the phone: what the book keeps, upright, and nothing of the camera or the place.
const MAX_SIDE_PIXELS = 2000;
const QUALITY = 0.85;

// A JPEG of at most 2000 pixels a side; the file itself where this phone cannot read it: the book looks then.
export const shrink = async (file) => {
  let bitmap;
  try {
    bitmap = await createImageBitmap(file); // upright by its EXIF (HTML, 8.11.2)
  } catch {
    return file;
  }
  const scale = Math.min(1, MAX_SIDE_PIXELS / Math.max(bitmap.width, bitmap.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(bitmap.width * scale));
  canvas.height = Math.max(1, Math.round(bitmap.height * scale));
  const drawing = canvas.getContext("2d");
  drawing.fillStyle = "#fff";
  drawing.fillRect(0, 0, canvas.width, canvas.height);
  drawing.drawImage(bitmap, 0, 0, canvas.width, canvas.height);
  bitmap.close();
  const small = await new Promise((done) => { canvas.toBlob(done, "image/jpeg", QUALITY); });
  canvas.width = canvas.height = 0; // telephones give the memory back only so
  return small ?? file;
};

// SHA-256 in hexadecimal; where no hash can be had (no HTTPS) name, size and day tell pictures apart.
export const hashOf = async (blob, file) => {
  if (!globalThis.crypto?.subtle) return `${file.name}/${file.size}/${file.lastModified}`;
  const bytes = new Uint8Array(await crypto.subtle.digest("SHA-256", await blob.arrayBuffer()));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
};

const THUMB_PIXELS = 88;

export const thumbnail = async (blob, words) => {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = THUMB_PIXELS;
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", words);
  try {
    const bitmap = await createImageBitmap(blob);
    const side = Math.min(bitmap.width, bitmap.height);
    const [left, top] = [(bitmap.width - side) / 2, (bitmap.height - side) / 2];
    canvas.getContext("2d").drawImage(bitmap, left, top, side, side, 0, 0, THUMB_PIXELS, THUMB_PIXELS);
    bitmap.close();
  } catch { /* an empty square: the book says whether it can read it */ }
  return canvas;
};
