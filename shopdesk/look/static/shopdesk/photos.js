// Pictures are sent one by one as soon as they are chosen, and judged one by one.
//
//   <div data-photos data-upload-url="…" data-max="20">
//     <label for="…">Pictures</label> <input type="file" id="…" name="photos" multiple accept="image/*,.heic,.heif">
//     <ul class="shots"> …pictures that are there already: <li class="shot" data-remove-url="…"> … </ul>
//   </div>
//
// The address takes one file in the field "photo" and answers {ok: true, id, remove_url} or {ok: false, message}. remove_url takes
// a POST. Without this module the files go with the form.

const AT_ONCE = 2;

document.querySelectorAll("[data-photos]").forEach(begin);

function begin(box) {
  const input = box.querySelector("input[type=file]");
  const form = input.form;
  const most = Number(box.dataset.max || 20);
  const list = box.querySelector(".shots") ?? box.appendChild(make("ul", "shots"));
  const status = box.appendChild(make("p", "status"));
  status.setAttribute("role", "status");
  const queue = [];
  let going = 0;
  let chosen = 0;
  let waiting = null; // the press that waits until everything is sent

  for (const shot of list.querySelectorAll(".shot[data-remove-url]")) offerRemoval(shot, shot.dataset.removeUrl);

  input.addEventListener("change", () => {
    take(input.files);
    input.value = ""; // so that the form does not send them a second time
  });

  box.addEventListener("dragover", (event) => {
    event.preventDefault();
    box.classList.add("over");
  });
  box.addEventListener("dragleave", () => box.classList.remove("over"));
  box.addEventListener("drop", (event) => {
    event.preventDefault();
    box.classList.remove("over");
    take(event.dataTransfer.files);
  });

  function take(files) {
    let room = most - list.querySelectorAll(".shot:not(.refused)").length;
    let over = 0;
    for (const file of files) {
      if (room-- > 0) add(file);
      else over += 1;
    }
    next();
    if (over) status.textContent = `${most} pictures are the most we can take; ${over} did not fit.`;
  }

  function add(file) {
    const shot = make("li", "shot");
    const view = shot.appendChild(make("div", "view"));
    const name = shot.appendChild(make("span", "name"));
    name.textContent = file.name;
    showPreview(view, file);
    list.append(shot);
    chosen += 1;
    queue.push({ file, shot });
  }

  function next() {
    while (going < AT_ONCE && queue.length) {
      going += 1;
      send(queue.shift());
    }
    const left = queue.length + going;
    if (left) {
      const words = `Sending pictures, ${chosen - left + 1} of ${chosen}…`;
      status.textContent = words;
      if (waiting) waiting.textContent = words;
      return;
    }
    if (chosen) {
      const bad = list.querySelectorAll(".shot.refused, .shot.stopped").length;
      status.textContent = bad ? `${chosen - bad} of ${chosen} pictures are with us. Look at the ones marked below.` : "All pictures are with us.";
    }
    if (waiting) goOn();
  }

  function send({ file, shot }) {
    shot.classList.remove("stopped");
    shot.querySelectorAll(".wrong, button").forEach((part) => part.remove());
    const bar = shot.appendChild(document.createElement("progress"));
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", `${file.name}: how much of it is sent`);

    const request = new XMLHttpRequest();
    request.open("POST", box.dataset.uploadUrl);
    request.responseType = "json";
    request.timeout = 180000;
    request.setRequestHeader("X-CSRFToken", token(form));
    request.setRequestHeader("Accept", "application/json");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) bar.value = event.loaded / event.total;
    });
    request.addEventListener("load", () => {
      const answer = request.response;
      if (answer?.ok) {
        shot.dataset.id = answer.id;
        if (answer.remove_url) offerRemoval(shot, answer.remove_url);
      } else if (answer?.message || (request.status >= 400 && request.status < 500)) {
        refuse(shot, answer?.message ?? tooMuch(request.status));
      } else stop(shot, file);
    });
    request.addEventListener("error", () => stop(shot, file));
    request.addEventListener("timeout", () => stop(shot, file));
    request.addEventListener("loadend", () => {
      bar.remove();
      going -= 1;
      next();
    });
    const body = new FormData();
    body.append("photo", file);
    request.send(body);
  }

  // The server looked at it and said no: trying again would not help.
  function refuse(shot, message) {
    shot.classList.add("refused");
    shot.append(note(message));
    const away = shot.appendChild(press("Take away"));
    away.addEventListener("click", () => drop(shot));
  }

  // It never arrived: offer to try again.
  function stop(shot, file) {
    shot.classList.add("stopped");
    shot.append(note("It did not get through."));
    const again = shot.appendChild(press("Try again"));
    again.addEventListener("click", () => {
      queue.push({ file, shot });
      next();
    });
    const away = shot.appendChild(press("Take away"));
    away.addEventListener("click", () => drop(shot));
  }

  function offerRemoval(shot, url) {
    const away = shot.querySelector("button") ?? shot.appendChild(press("Take away"));
    away.addEventListener("click", async (event) => {
      event.preventDefault();
      away.setAttribute("aria-busy", "true");
      try {
        const answer = await fetch(url, { method: "POST", headers: { "X-CSRFToken": token(form), Accept: "application/json" } });
        if (!answer.ok) throw new Error(String(answer.status));
        drop(shot);
      } catch {
        away.removeAttribute("aria-busy");
        shot.querySelectorAll(".wrong").forEach((part) => part.remove());
        shot.append(note("It could not be taken away just now. Try again in a moment."));
      }
    });
  }

  function drop(shot) {
    const picture = shot.querySelector("img");
    if (picture?.src.startsWith("blob:")) URL.revokeObjectURL(picture.src);
    if (!shot.dataset.removeUrl) chosen -= 1;
    shot.remove();
    status.textContent = "Taken away.";
    input.focus();
  }

  // Sent too early: wait for the pictures, then go on by itself.
  form.addEventListener(
    "submit",
    (event) => {
      if (!queue.length && !going) return;
      event.preventDefault();
      event.stopImmediatePropagation();
      if (waiting) return;
      waiting = event.submitter ?? form.querySelector("button:not([type=button])");
      waiting.dataset.words = waiting.textContent;
      waiting.setAttribute("aria-busy", "true");
      next();
    },
    true,
  );

  function goOn() {
    const go = waiting;
    waiting = null;
    go.textContent = go.dataset.words;
    go.removeAttribute("aria-busy");
    if (list.querySelector(".shot.stopped, .shot.refused")) {
      list.querySelector(".shot.stopped button, .shot.refused button").focus();
      return; // let the person decide about the ones that did not get through
    }
    form.requestSubmit(go);
  }
}

function showPreview(view, file) {
  const placeholder = make("div", "preparing");
  placeholder.textContent = "No preview here; we will see it";
  if (/\.(heic|heif)$/i.test(file.name)) {
    view.append(placeholder);
    return;
  }
  const picture = view.appendChild(document.createElement("img"));
  picture.alt = `The picture you chose, ${file.name}`;
  picture.addEventListener("error", () => {
    URL.revokeObjectURL(picture.src);
    picture.replaceWith(placeholder);
  });
  picture.src = URL.createObjectURL(file);
}

function tooMuch(status) {
  if (status === 413) return "This file is too large.";
  if (status === 429) return "Many pictures in a short while. Wait a minute and choose it again.";
  if (status === 403) return "The page has been open too long. Load it again; what you typed is kept.";
  return "We could not take this one.";
}

function token(form) {
  return form.querySelector("[name=csrfmiddlewaretoken]")?.value ?? "";
}

function note(words) {
  const line = make("p", "wrong");
  line.textContent = words;
  line.setAttribute("role", "alert");
  return line;
}

function press(words) {
  const button = make("button", "plain");
  button.type = "button";
  button.textContent = words;
  return button;
}

function make(tag, classes) {
  const element = document.createElement(tag);
  element.className = classes;
  return element;
}
