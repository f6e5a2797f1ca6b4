// Passkeys (W3C Web Authentication, level 3): asks for options, lets the browser make or use one,
// and sends its answer with the form around the button. Without scripts the forms stay hidden.

const knowsPasskeys = () =>
  "PublicKeyCredential" in window && "parseRequestOptionsFromJSON" in PublicKeyCredential;

const fetchOptions = async (button, form) => {
  const answer = await fetch(button.dataset.options, {
    method: "POST",
    body: new URLSearchParams({ csrfmiddlewaretoken: form.elements.csrfmiddlewaretoken.value }),
    redirect: "manual", // whoever has to prove who they are is sent to a page
  });
  if (answer.type === "opaqueredirect") {
    location.assign(button.dataset.proof ?? location.href);
    return null;
  }
  if (!answer.ok) throw new Error(`options: ${answer.status}`);
  return answer.json();
};

const askBrowser = (kind, options) =>
  kind === "create"
    ? navigator.credentials.create({ publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(options) })
    : navigator.credentials.get({ publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(options) });

const usePasskey = async (button) => {
  const form = button.form;
  const status = form.querySelector("[data-passkey-status]");
  if (button.dataset.passkey === "create" && !form.reportValidity()) return;
  status.textContent = "";
  button.disabled = true;
  try {
    const options = await fetchOptions(button, form);
    if (options === null) return;
    const credential = await askBrowser(button.dataset.passkey, options);
    form.elements.answer.value = JSON.stringify(credential.toJSON());
    if (button.dataset.action) form.action = button.dataset.action;
    form.submit();
  } catch {
    status.textContent = button.dataset.failed;
    button.disabled = false;
  }
};

if (knowsPasskeys()) {
  for (const part of document.querySelectorAll("[data-passkeys]")) part.hidden = false;
  for (const words of document.querySelectorAll("[data-no-passkeys]")) words.hidden = true;
  for (const button of document.querySelectorAll("button[data-passkey]")) {
    button.addEventListener("click", () => usePasskey(button));
  }
}
