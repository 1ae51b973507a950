// Adds an empty row to a part of the form; without it each keeping offers one more.
for (const part of document.querySelectorAll("[data-part]")) {
  const total = part.querySelector('[name$="-TOTAL_FORMS"]');
  const most = Number(part.querySelector('[name$="-MAX_NUM_FORMS"]').value);
  const blank = part.querySelector("template");
  const button = part.querySelector("[data-add]");
  button.hidden = false;
  button.addEventListener("click", () => {
    const place = Number(total.value);
    if (place >= most) {
      button.disabled = true;
      return;
    }
    const holder = document.createElement("template");
    holder.innerHTML = blank.innerHTML.replaceAll("__prefix__", String(place));
    const row = holder.content.firstElementChild;
    part.querySelector(".kind-rows").append(row);
    total.value = String(place + 1);
    row.querySelector("input, select").focus();
  });
}

// On a phone the parts stand folded, but for those with something to mend.
if (matchMedia("(max-width: 600px)").matches) {
  for (const part of document.querySelectorAll("details[data-part]")) {
    part.open = part.querySelector(".errors") !== null;
  }
}
