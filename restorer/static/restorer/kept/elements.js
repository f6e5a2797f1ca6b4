// Small parts of a page, made of text only.
export const make = (tag, values = {}, ...children) => {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(values)) {
    if (name === "onclick") node.addEventListener("click", value);
    else if (value !== undefined && value !== false) node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children);
  return node;
};

export const button = (words, onclick, kind = "secondary") => make("button", { type: "button", class: kind, onclick }, words);

// "14:10", with the day where it is not today.
export const clock = (at) => {
  const when = new Date(at);
  const hour = when.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  if (when.toDateString() === new Date().toDateString()) return hour;
  return `${when.toLocaleDateString([], { weekday: "short", day: "numeric", month: "short" })}, ${hour}`;
};

// What the book said of a form: its summary of mistakes, else the words of its page.
export const wordsOf = (answer) => {
  const page = new DOMParser().parseFromString(answer ?? "", "text/html");
  const said = page.querySelector('main [role="alert"]') ?? page.querySelector("main .notice.is-caution") ?? page.querySelector("main");
  if (!said) return null;
  for (const each of said.querySelectorAll("form, script, .actions")) each.remove();
  return document.importNode(said, true);
};
