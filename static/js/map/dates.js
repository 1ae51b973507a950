// The line of winters under the map: the course as it was, is or will be on a day.
import { day } from './figures.js';

const DAY_MS = 86_400_000;
const STEP_DAYS = 7;
const OCTOBER = 9;
const utc = (iso) => Date.parse(`${iso}T00:00:00Z`);

// Winters begin in October; one that the span begins in the middle of is named where the span begins.
function winters(start, end) {
  const first = new Date(start), year = first.getUTCFullYear();
  const found = [];
  for (let y = year - 1; Date.UTC(y, OCTOBER, 1) < end; y++) {
    const begins = Date.UTC(y, OCTOBER, 1);
    const pair = `${String(y).slice(2)}/${String(y + 1).slice(2)}`;
    if (begins >= start) found.push([begins, pair]);
    else if (start < Date.UTC(y + 1, 3, 1)) found.push([start, pair]);
  }
  return found;
}

export class DateLine {
  constructor(span, today, onDate) {
    this.box = document.getElementById('dates');
    this.range = document.getElementById('dates-range');
    this.words = document.getElementById('dates-words');
    this.start = utc(span.starts_on);
    this.end = utc(span.ends_on);
    this.today = Math.min(Math.max(utc(today), this.start), this.end);
    this.todayWords = today;
    this.onDate = onDate;
    this.box.hidden = false;
    this.range.max = Math.ceil((this.end - this.start) / DAY_MS / STEP_DAYS);
    const track = document.getElementById('dates-track');
    for (const [begins, pair] of winters(this.start, this.end)) {
      const tick = document.createElement('div');
      tick.className = 'dates-tick';
      tick.style.left = `${100 * this.share(begins)}%`;
      const name = document.createElement('span');
      name.textContent = window.innerWidth < 600 ? pair : `winter ${pair}`;
      tick.append(name);
      track.append(tick);
    }
    this.range.value = Math.round((this.today - this.start) / DAY_MS / STEP_DAYS);
    this.range.addEventListener('input', () => this.moved());
    this.draw(this.today);
  }

  share(at) { return Math.min(Math.max((at - this.start) / (this.end - this.start), 0), 1); }

  chosen() {
    const at = this.start + Number(this.range.value) * STEP_DAYS * DAY_MS;
    // The week of today stands for today itself.
    return Math.abs(at - this.today) < (STEP_DAYS / 2) * DAY_MS ? this.today : Math.min(at, this.end);
  }

  moved() {
    const at = this.chosen();
    this.draw(at);
    clearTimeout(this.later);
    this.later = setTimeout(() => this.onDate(new Date(at).toISOString().slice(0, 10), at === this.today), 120);
  }

  draw(at) {
    const iso = new Date(at).toISOString().slice(0, 10), here = this.share(at), now = this.share(this.today);
    const said = at === this.today ? `${day(this.todayWords)}, today` : day(iso);
    this.words.textContent = said;
    this.range.setAttribute('aria-valuetext', said);
    const width = this.range.parentElement.clientWidth, room = this.words.offsetWidth;
    this.words.style.left = `${Math.max(0, Math.min(here * width + 16, width - room))}px`;
    document.getElementById('dates-gone').style.width = `${100 * Math.min(here, now)}%`;
    const ahead = document.getElementById('dates-ahead');
    ahead.style.left = `${100 * Math.min(here, now)}%`;
    ahead.style.width = `${100 * Math.abs(here - now)}%`;
  }
}
