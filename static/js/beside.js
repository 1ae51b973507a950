// A part of a page that is worked out apart comes beside it; where it does not come, its link stays.
for (const place of document.querySelectorAll('[data-beside]')) {
  const answer = await fetch(place.dataset.beside, { credentials: 'same-origin' }).catch(() => null);
  if (!answer || !answer.ok || answer.redirected) continue;
  const words = await answer.text();
  if (words.trim()) place.innerHTML = words;
  else place.remove();
}
