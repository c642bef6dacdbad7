// <form data-draft-url="…"> keeps what is typed on the server as it is typed, so that a lost page loses nothing. Pictures travel on
// their own (photos.js); passwords and files are never part of a draft. An element with data-draft-said says when it was kept.

const QUIET = 1500;

for (const form of document.querySelectorAll("form[data-draft-url]")) {
  const said = form.querySelector("[data-draft-said]");
  let timer = null;
  let kept = snapshot(form);
  let sending = false;

  form.addEventListener("input", (event) => {
    if (event.target.type === "file") return;
    clearTimeout(timer);
    timer = setTimeout(keep, QUIET);
  });
  form.addEventListener("submit", () => clearTimeout(timer));

  // The page is being left, or the phone was put away: send what there is, without waiting for an answer.
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "hidden" || form.querySelector("[aria-busy=true]")) return;
    const now = snapshot(form);
    if (now !== kept && navigator.sendBeacon(form.dataset.draftUrl, new URLSearchParams(now))) kept = now;
  });

  async function keep() {
    const now = snapshot(form);
    if (sending || now === kept) return;
    sending = true;
    try {
      const answer = await fetch(form.dataset.draftUrl, { method: "POST", body: new URLSearchParams(now), headers: { Accept: "application/json" } });
      if (!answer.ok) throw new Error(String(answer.status));
      kept = now;
      say("Kept.");
    } catch {
      say("Not kept yet: no connection. We try again with the next word.");
    } finally {
      sending = false;
      if (snapshot(form) !== kept) timer = setTimeout(keep, QUIET * 2);
    }
  }

  function say(words) {
    if (said) said.textContent = words;
  }
}

function snapshot(form) {
  const words = new URLSearchParams();
  for (const field of form.elements) {
    if (!field.name || field.disabled || ["file", "password", "submit", "button", "fieldset"].includes(field.type)) continue;
    if ((field.type === "checkbox" || field.type === "radio") && !field.checked) continue;
    if (field.type === "select-multiple") {
      for (const option of field.selectedOptions) words.append(field.name, option.value);
    } else words.append(field.name, field.value);
  }
  return words.toString();
}
