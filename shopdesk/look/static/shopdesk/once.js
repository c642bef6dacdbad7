// A form that is under way is not sent a second time. (The server holds to that by the submission key as well.)

const pressed = new WeakMap();

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method === "get") return; // htmx prevents the default and looks after its own
  if (pressed.has(form)) {
    event.preventDefault();
    return;
  }
  const press = event.submitter ?? form.querySelector("button:not([type=button])");
  pressed.set(form, press);
  press?.setAttribute("aria-busy", "true");
});

// Coming back by the browser's own arrow finds the page as it was left: let it be sent again.
window.addEventListener("pageshow", (event) => {
  if (event.persisted) document.querySelectorAll("form").forEach(release);
});

function release(form) {
  if (!pressed.has(form)) return;
  pressed.get(form)?.removeAttribute("aria-busy");
  pressed.delete(form);
}
