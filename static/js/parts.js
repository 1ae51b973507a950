// Parts of a page that are worked out after it is shown.
for (const place of document.querySelectorAll("[data-part]")) {
  fetch(place.dataset.part, { credentials: "same-origin" })
    .then(async (answer) => { if (answer.ok) place.innerHTML = await answer.text(); })
    .catch(() => {});
}
