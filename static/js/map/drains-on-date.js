// The drains on the day under the map: how each comes through the check, and what is overloaded only for a time.
import { day } from './figures.js';

const TOLD = 3;

export class DrainsOnDate {
  constructor(features, given) {
    Object.assign(this, { features, given });
    this.box = document.getElementById('dates-drains');
  }

  async load() {
    if (!this.given.spells) return;
    const answer = await fetch(this.given.spells, { credentials: 'same-origin' }).catch(() => null);
    if (answer && answer.ok) Object.assign(this, await answer.json());
  }

  async show(iso, drains, isToday) {
    this.loading ||= this.load();
    await this.loading;
    const now = (this.spells || []).filter((one) => one.from <= iso && (!one.until || iso < one.until));
    const passing = now.filter((one) => one.passing);
    const forATime = new Set(passing.map((one) => one.key));
    this.features.checks = new Map(Object.entries(drains || {}).map(([id, one]) => [id, { ...one, forATime: forATime.has(id) }]));
    this.tell(iso, drains || {}, passing, isToday);
  }

  tell(iso, drains, passing, isToday) {
    const states = Object.values(drains), small = states.filter((one) => one.state === 'too_small').length, wrong = states.filter((one) => one.state === 'fault').length;
    this.box.hidden = !states.length || (isToday && !passing.length);
    const told = passing.slice(0, TOLD).map((one) => one.words);
    if (passing.length > TOLD) told.push(`and ${passing.length - TOLD} more`);
    const stand = `${states.length} drain${states.length === 1 ? '' : 's'} stand${states.length === 1 ? 's' : ''}`;
    const rest = [small ? `${small} too small` : '', wrong ? `${wrong} at fault` : ''].filter(Boolean).join(', ');
    this.box.replaceChildren(`On ${day(iso)}: ${told.length ? `${told.join('; ')}.` : `${stand}, ${rest || 'none too small or at fault'}; none only for a time.`}`);
    this.box.classList.toggle('passing', passing.length > 0);
    if (passing.length && this.page) {
      const link = Object.assign(document.createElement('a'), { href: this.page, textContent: 'Week by week' });
      this.box.append(' ', link);
    }
  }
}
