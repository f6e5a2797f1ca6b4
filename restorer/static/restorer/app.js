// Small comforts; every page works without them. Hooks: data-* attributes only.
"use strict";

(() => {
  // A form that posts goes once: the pressed button rests and says so. data-stays exempts downloads.
  const labels = new Map();
  const rest = (form) => {
    form.dataset.sent = "yes";
    for (const button of form.querySelectorAll("button:not([type=button])")) {
      button.disabled = true;
    }
  };
  const wake = (form) => {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button:disabled")) {
      button.disabled = false;
      button.removeAttribute("aria-busy");
      if (labels.has(button)) button.replaceChildren(...labels.get(button));
      labels.delete(button);
    }
  };
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post" || "stays" in form.dataset || event.submitter?.matches("[data-stays]")) return;
    if (form.dataset.sent) return event.preventDefault();
    // Enter presses the first button, which nobody sees; the main one says that it works.
    const button = event.submitter?.ariaHidden ? form.querySelector(".action-bar button") : event.submitter;
    // After the browser has read the form, so that the pressed button's own value still travels.
    setTimeout(() => {
      if (event.defaultPrevented && !form.closest("[hx-post]")) return;
      rest(form);
      if (!button) return;
      button.setAttribute("aria-busy", "true");
      labels.set(button, [...button.childNodes]);
      button.textContent = button.dataset.busy ?? "One moment…";
    });
  });
  addEventListener("pageshow", (event) => {
    if (event.persisted) document.querySelectorAll("form[data-sent]").forEach(wake);
  });
  document.addEventListener("htmx:afterRequest", () => document.querySelectorAll("form[data-sent]").forEach(wake));

  // Add a row to a formset: [data-formset=PREFIX] holds [data-rows], a <template> and a hidden [data-add-row] button.
  const addRow = (formset) => {
    const total = formset.querySelector(`[name="${formset.dataset.formset}-TOTAL_FORMS"]`);
    const rows = formset.querySelector("[data-rows]");
    const html = formset.querySelector("template").innerHTML.replaceAll("__prefix__", total.value);
    rows.insertAdjacentHTML("beforeend", html);
    total.value = Number(total.value) + 1;
    tellAll(rows.lastElementChild);
    rows.lastElementChild.querySelector("input:not([type=hidden]), select, textarea")?.focus();
  };
  const showRowButtons = () => document.querySelectorAll("[data-add-row]").forEach((button) => { button.hidden = false; });
  showRowButtons();
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-add-row]");
    if (button) addRow(button.closest("[data-formset]"));
    for (const menu of document.querySelectorAll("[data-menu][open]")) {
      if (!menu.contains(event.target)) menu.open = false;
    }
  });
  document.addEventListener("keydown", (event) => {
    const menu = event.key === "Escape" && document.querySelector("[data-menu][open]");
    if (!menu) return;
    menu.open = false;
    menu.querySelector("summary").focus();
  });

  // Only what matters now: data-shown-by="field:value,value" hides a group until that field has one of the values.
  const chosen = (form, name) => [...form.querySelectorAll(`[name="${name}"]`)]
    .filter((control) => !["radio", "checkbox"].includes(control.type) || control.checked)
    .map((control) => control.value);
  const review = (form) => {
    for (const group of form.querySelectorAll("[data-shown-by]")) {
      const [name, values] = group.dataset.shownBy.split(":");
      group.hidden = !chosen(form, name).some((value) => values.split(",").includes(value)) &&
        !group.querySelector(".has-errors");
    }
  };
  document.addEventListener("change", (event) => { if (event.target.form) review(event.target.form); });
  document.querySelectorAll("form").forEach(review);
  // A part of the page was put in anew (kept/forms.js).
  document.addEventListener("shown", () => {
    showRowButtons();
    document.querySelectorAll("form").forEach(review);
  });

  // Suggestions that follow a choice: a select with data-lists gives each [data-listed=NAME] of its row the list
  // NAME-value, and [data-taps=NAME] the first of it as buttons that fill the field.
  const MOST_TAPS = 2; // they stand on one line of a phone
  const tapFor = (field, word) => {
    const tap = Object.assign(document.createElement("button"), { type: "button", className: "secondary", textContent: word });
    tap.addEventListener("click", () => {
      field.value = word;
      for (const kind of ["input", "change"]) field.dispatchEvent(new Event(kind, { bubbles: true }));
    });
    return tap;
  };
  const offerTaps = (row) => {
    for (const taps of row.querySelectorAll("[data-taps]")) {
      const field = row.querySelector(`[data-listed="${taps.dataset.taps}"]`);
      const own = field.list?.id === field.dataset.listed ? [] : [...field.list?.options ?? []];
      taps.replaceChildren(...own.slice(0, MOST_TAPS).map((option) => tapFor(field, option.value)));
      taps.hidden = !own.length;
    }
  };
  document.addEventListener("change", (event) => {
    const row = "lists" in event.target.dataset && event.target.closest("fieldset");
    if (!row) return;
    for (const listed of row.querySelectorAll("[data-listed]")) {
      const own = `${listed.dataset.listed}-${event.target.value}`;
      const isKnown = Boolean(document.getElementById(own));
      listed.setAttribute("list", isKnown ? own : listed.dataset.listed);
      if (isKnown && !listed.value) listed.closest("details")?.setAttribute("open", "");
    }
    offerTaps(row);
  });

  // A fold says what is in it: details[data-tells] with a [data-told] in its summary; data-told-as is said after
  // a value (“coat|coats”: after one and after others), data-told-all once where all boxes of a field are ticked.
  const toldBy = (control, _, controls) => {
    const all = control.dataset.toldAll && controls.filter((each) => each.name === control.name);
    if (all && all.every((each) => each.checked)) return control === all[0] ? control.dataset.toldAll : "";
    if (["radio", "checkbox"].includes(control.type)) return control.checked ? control.labels[0].textContent.trim() : "";
    const words = control.value && (control.selectedOptions ? control.selectedOptions[0].text : control.value.trim());
    const [one, others = one] = (control.dataset.toldAs ?? "").split("|");
    return words && `${words} ${words === "1" ? one : others}`.trim();
  };
  const tell = (fold) => {
    const controls = [...fold.querySelectorAll("input:not([type=hidden]), select")];
    const told = fold.querySelector("[data-told]");
    told.dataset.told ||= told.textContent;
    told.textContent = controls.map(toldBy).filter(Boolean).join(", ") || told.dataset.told;
  };
  const tellAll = (part) => {
    part.querySelectorAll("[data-tells]").forEach(tell);
    part.querySelectorAll(".formset-row").forEach(offerTaps);
  };
  document.addEventListener("change", (event) => {
    const fold = event.target.closest("[data-tells]");
    if (fold) tell(fold);
  });
  document.addEventListener("shown", () => tellAll(document));
  tellAll(document);

  // Tick every box of a table: a checkbox with data-all=NAME, shown only where scripts run.
  document.querySelectorAll("[data-all]").forEach((all) => {
    all.closest("[hidden]")?.removeAttribute("hidden");
    all.addEventListener("change", () => {
      for (const box of document.querySelectorAll(`input[type=checkbox][name="${all.dataset.all}"]:enabled`)) {
        box.checked = all.checked;
      }
      all.dispatchEvent(new Event("chosen", { bubbles: true }));
    });
  });

  // A key that leads to a field: data-key="/" on it; not while somebody types.
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea")) return;
    const field = [...document.querySelectorAll("[data-key]")].find((each) => each.dataset.key === event.key);
    if (!field) return;
    event.preventDefault();
    field.focus();
  });

  // What the chosen rows come to: a form with data-sums says households (data-home) and money (data-price) in its .sum.
  const sumUp = (form) => {
    const line = form.querySelector(".sum");
    const boxes = [...form.querySelectorAll("input[data-home]:checked")];
    if (!line || !boxes.length) return;
    const others = form.querySelectorAll("input[type=hidden][name=deck]").length;
    const homes = new Set(boxes.map((box) => box.dataset.home)).size;
    const total = boxes.reduce((sum, box) => sum + Number(box.dataset.price), 0);
    const money = new Intl.NumberFormat(form.dataset.locale || undefined, { style: "currency", currency: form.dataset.currency, maximumFractionDigits: 0 });
    const words = `${homes} household${homes === 1 ? "" : "s"}${total ? `, ${money.format(total)}` : ""}`;
    line.textContent = others ? `${words}, and ${others} decks on other pages` : words;
  };
  document.querySelectorAll("form[data-sums]").forEach((form) => {
    for (const kind of ["change", "chosen"]) form.addEventListener(kind, () => sumUp(form));
    form.addEventListener("change", (event) => {
      if (event.target.name !== "deck" || event.target.checked) return;
      for (const other of form.querySelectorAll("input[type=hidden][name=deck]")) other.remove();
    });
    sumUp(form);
  });

  // What was typed and not sent is not lost by a wrong press: the browser asks before it leaves the page.
  // Only forms that post; boxes of a table that choose rows are no work to lose.
  // It listens only while there is something to lose: a page that listens always is not kept for Back.
  const changed = new Set();
  const askFirst = (event) => { if ([...changed].some((form) => form.isConnected)) event.preventDefault(); };
  const mark = (form) => {
    changed.add(form);
    addEventListener("beforeunload", askFirst);
  };
  const discard = () => {
    changed.clear();
    removeEventListener("beforeunload", askFirst);
  };
  const isWork = (control) => control.form?.method === "post" && control.name && !control.form.dataset.keeping && !control.closest("td.choose, .inbox");
  for (const kind of ["input", "change"]) {
    document.addEventListener(kind, (event) => { if (isWork(event.target)) mark(event.target.form); });
  }
  document.addEventListener("submit", discard);
  document.addEventListener("click", (event) => { if (event.target.closest("[data-discards]")) discard(); });

  // What cannot be right is said on leaving the field, by the browser's own rules and in its words;
  // the server looks again at everything.
  document.addEventListener("change", (event) => {
    const control = event.target;
    const field = control.closest(".form .field");
    if (!field || !control.validity || ["radio", "checkbox", "file"].includes(control.type)) return;
    field.querySelector("[data-said]")?.remove();
    const isWrong = !control.validity.valid && !control.validity.valueMissing;
    field.classList.toggle("has-errors", isWrong || Boolean(field.querySelector(".errorlist")));
    if (!isWrong) return;
    const said = document.createElement("ul");
    said.className = "errorlist";
    said.dataset.said = "";
    said.setAttribute("role", "alert");
    said.append(Object.assign(document.createElement("li"), { textContent: control.validationMessage }));
    control.before(said);
  });

  // Time zone and country as the browser has them: data-guess-zone=NAME on the select names the country's field.
  // Only in a form as it first opens; whatever was chosen or sent before stays.
  const guessZone = (zones) => {
    const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
    const option = [...zones.options].find((each) => [each.value, ...each.dataset.also.split(" ")].includes(here));
    if (!option || zones.form.querySelector(".has-errors")) return;
    zones.value = option.value;
    const country = zones.form.elements[zones.dataset.guessZone];
    if ([...country.options].some((each) => each.value === option.dataset.country)) country.value = option.dataset.country;
  };
  document.querySelectorAll("[data-guess-zone]").forEach(guessZone);

  // While a client holds the phone, Back asks the server again, which leads it to their page.
  const isTheirPage = Boolean(document.querySelector("[data-handed-over]"));
  const askAgain = () => {
    document.body.hidden = true;
    location.reload();
  };
  if (isTheirPage) sessionStorage.setItem("handed-over", "yes");
  else if (sessionStorage.getItem("handed-over")) {
    if (performance.getEntriesByType("navigation")[0]?.type === "back_forward") askAgain();
    else sessionStorage.removeItem("handed-over");
  }
  addEventListener("pageshow", (event) => {
    if (event.persisted && !isTheirPage && sessionStorage.getItem("handed-over")) askAgain();
  });

  document.querySelector("[data-focus]")?.focus();
})();
