// Figures of the crew's log beside a promise; a press puts them into the form, where they may be changed.
const place = document.querySelector("[data-figures]");

function take(figures) {
  for (const [name, value] of Object.entries(figures)) {
    const field = document.getElementById(`id_${name}`);
    if (field) field.value = value;
  }
  document.getElementById("id_hours_likely")?.focus();
}

if (place) {
  fetch(place.dataset.figures, { credentials: "same-origin" })
    .then(async (answer) => {
      if (!answer.ok) return;
      place.innerHTML = await answer.text();
      for (const button of place.querySelectorAll("[data-take]")) {
        button.addEventListener("click", () => take(JSON.parse(button.dataset.take)));
      }
    })
    .catch(() => {});
}
