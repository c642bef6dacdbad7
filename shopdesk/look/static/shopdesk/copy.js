// <button type="button" class="press quiet" data-copy="#words" hidden>Copy</button>: copies the text (or the value) of what it
// names, and says so. It is hidden until this runs, because without it there is nothing to press.

for (const press of document.querySelectorAll("[data-copy]")) {
  const source = document.querySelector(press.dataset.copy);
  if (!source || !navigator.clipboard) continue;
  const words = press.textContent;
  press.hidden = false;
  const said = document.createElement("span");
  said.className = "sr";
  said.setAttribute("role", "status");
  press.after(said);
  press.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText((source.value ?? source.innerText).trim());
      press.textContent = said.textContent = "Copied";
    } catch {
      press.textContent = said.textContent = "Select and copy it by hand";
      const range = document.createRange();
      range.selectNodeContents(source);
      getSelection().removeAllRanges();
      getSelection().addRange(range);
    }
    setTimeout(() => {
      press.textContent = words;
      said.textContent = "";
    }, 3000);
  });
}
