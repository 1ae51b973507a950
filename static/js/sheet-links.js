// On a narrow screen the row of sheets slides: the one that is open is brought into sight.
const row = document.querySelector('.sheet-links'), here = row?.querySelector('[aria-current]');
if (here) row.scrollLeft = here.offsetLeft - (row.clientWidth - here.offsetWidth) / 2;
