// The features as layers: kind and state are CSS classes, so that every colour comes from the sheet's tokens.
/* global L */
import { figure } from './figures.js';

const SIZES = { chamber: 7, headwall: 7, outfall: 9 };
const PANES = { Polygon: 'grounds', LineString: 'lines', Point: 'nodes' };
const TREE_CROWN_M = 5;
const NO_TOOLTIP = new Set(['tree', 'boundary', 'fairway']);

// Outfalls are triangles and headwalls squares, drawn in the renderer that draws the circles.
const Mark = L.CircleMarker.extend({
  _updatePath() {
    if (!this._renderer._setPath || this._empty()) { this._renderer._setPath(this, 'M0 0'); return; }
    const { x, y } = this._point, r = this._radius;
    const path = this.options.sign === 'outfall'
      ? `M${x} ${y - r} L${x + r * 1.25} ${y + r * 0.75} L${x - r * 1.25} ${y + r * 0.75} Z`
      : `M${x - r * 0.9} ${y - r * 0.7} H${x + r * 0.9} V${y + r * 0.7} H${x - r * 0.9} Z`;
    this._renderer._setPath(this, path);
  },
});

export class Features {
  constructor(map, given, grid, onChoose) {
    Object.assign(this, { map, given, grid, onChoose });
    this.all = new Map();
    this.hidden = { kinds: new Set(), states: new Set(['removed']) };
    this.onDate = new Map();
    this.words = {};
    this.checks = new Map();
    this.renderers = {};
    for (const [name, z] of [['grounds', 410], ['halo', 415], ['lines', 420], ['nodes', 430], ['numbers', 440]]) {
      map.createPane(name).style.zIndex = z;
      map.getPane(name).style.pointerEvents = 'none';
      if (name !== 'numbers') this.renderers[name] = L.svg({ pane: name, padding: 0.4 });
    }
    map.on('zoomend', () => this.scaleMarks());
    this.numbers = L.layerGroup().addTo(map);
    this.haloLayer = null;
  }

  title(one) {
    const { name, kind, ref } = one.properties;
    if (name) return name;
    const words = this.given.kinds[kind].words;
    return `${words[0].toUpperCase()}${words.slice(1)}${ref ? ` ${ref}` : ''}`;
  }

  stateNow(one) { return this.onDate.get(one.id) || one.properties.state; }

  latlngs(one) {
    const { type, coordinates } = one.geometry;
    if (type === 'Point') return [L.latLng(coordinates[1], coordinates[0])];
    const ring = type === 'Polygon' ? coordinates[0].slice(0, -1) : coordinates;
    return ring.map(([lng, lat]) => L.latLng(lat, lng));
  }

  figures(one) {
    const { type } = one.geometry, latlngs = this.latlngs(one);
    const parts = [];
    if (this.words[one.id]) parts.push(this.words[one.id]);
    const check = this.checks.get(one.id);
    if (check && check.state === 'too_small') parts.push(`▲ ${check.words}${check.forATime ? ', for a time' : ''}`);
    if (type === 'LineString') parts.push(`${figure(this.grid.length(latlngs), 0)} m`);
    if (type === 'Polygon') parts.push(`${figure(this.grid.area(latlngs))} m²`);
    return parts.join(' · ');
  }

  classes(one) {
    const check = this.checks.get(one.id);
    const drain = !check ? '' : check.forATime ? ' overload for-a-time' : check.state === 'too_small' ? ' overload' : check.state === 'fault' ? ' at-fault' : '';
    return `f ${one.properties.kind} ${this.stateNow(one)}${drain}`;
  }

  make(one) {
    const { kind, width } = one.properties, pane = PANES[one.geometry.type];
    const latlngs = this.latlngs(one);
    const options = { pane, renderer: this.renderers[pane], className: this.classes(one), smoothFactor: 0.6 };
    if (one.geometry.type === 'LineString') return L.polyline(latlngs, options);
    if (one.geometry.type === 'Polygon') {
      return L.polygon(one.geometry.coordinates.map((ring) => ring.slice(0, -1).map(([lng, lat]) => [lat, lng])), options);
    }
    if (kind === 'tree') {
      const crown = { ...options, pane: 'grounds', renderer: this.renderers.grounds, radius: (width || TREE_CROWN_M) / 2, snapIgnore: true };
      return L.circle(latlngs[0], crown);
    }
    const marked = { ...options, radius: (SIZES[kind] || 6) * this.shrink(), sign: kind };
    return kind === 'chamber' ? L.circleMarker(latlngs[0], marked) : new Mark(latlngs[0], marked);
  }

  drop(id) {
    const before = this.all.get(id);
    if (before) before.layer.remove();
    this.all.delete(id);
  }

  put(one) {
    const before = this.all.get(one.id);
    if (before) before.layer.remove();
    const layer = this.make(one);
    const entry = { one, layer };
    this.all.set(one.id, entry);
    layer.featureId = one.id;
    layer.on('click', (event) => this.onChoose(one.id, event));
    if (!NO_TOOLTIP.has(one.properties.kind)) layer.bindTooltip(() => this.told(one), { sticky: true, opacity: 1, className: 'told', direction: 'top', offset: [0, -8] });
    layer.on('add', () => this.show(entry));
    layer.addTo(this.map);
    if (one.properties.kind === 'boundary' || one.properties.kind === 'wood') layer.bringToBack();
    this.show(entry);
    return entry;
  }

  told(one) {
    const box = document.createElement('div');
    const name = document.createElement('strong');
    name.textContent = this.title(one);
    const figures = document.createElement('span');
    figures.textContent = [this.given.states[this.stateNow(one)], this.figures(one)].filter(Boolean).join(' · ');
    if ((this.words[one.id] || '').includes('×')) figures.className = 'wrong';
    box.append(name, figures);
    return box;
  }

  isShown(one) {
    return !this.hidden.kinds.has(one.properties.kind) && !this.hidden.states.has(this.stateNow(one));
  }

  show(entry) {
    const { one, layer } = entry, shown = this.isShown(one);
    layer.options.className = this.classes(one);
    if (one.properties.kind !== 'tree') layer.options.snapIgnore = !shown;
    const path = layer.getElement();
    if (path) path.setAttribute('class', `${this.classes(one)} leaflet-interactive${shown ? '' : ' off'}`);
  }

  showAll() { for (const entry of this.all.values()) this.show(entry); this.placeNumbers(); }

  load(collection) {
    for (const one of collection.features) this.put(one);
    this.scaleMarks();
    this.placeNumbers();
  }

  halo(id) {
    if (this.haloLayer) this.haloLayer.remove();
    if (this.callout) this.callout.remove();
    this.haloLayer = this.callout = null;
    const entry = this.all.get(id);
    if (!entry) return;
    const { one } = entry;
    const options = { pane: 'halo', renderer: this.renderers.halo, className: 'halo', interactive: false, pmIgnore: true, snapIgnore: true };
    const latlngs = this.latlngs(one);
    this.haloLayer = one.geometry.type === 'Point' ? L.circleMarker(latlngs[0], { ...options, radius: 10 })
      : one.geometry.type === 'Polygon' ? L.polygon(latlngs, options) : L.polyline(latlngs, options);
    this.haloLayer.addTo(this.map);
    const middle = latlngs[Math.floor(latlngs.length / 2)], before = latlngs[Math.max(Math.floor(latlngs.length / 2) - 1, 0)];
    const at = one.geometry.type === 'LineString' ? L.latLng((middle.lat + before.lat) / 2, (middle.lng + before.lng) / 2) : this.bounds(one).getCenter();
    this.callout = L.tooltip({ permanent: true, direction: window.innerWidth > 900 ? 'right' : 'top', offset: window.innerWidth > 900 ? [12, 0] : [0, -10], opacity: 1, className: 'told callout', interactive: false })
      .setLatLng(at).setContent(this.told(one)).addTo(this.map);
  }

  bounds(one) { return L.latLngBounds(this.latlngs(one)); }

  // From afar a mark of full size would cover what it stands on.
  shrink() { return Math.min(1, Math.max(0.5, (this.map.getZoom() - 13.5) / 2.75)); }

  scaleMarks() {
    const by = this.shrink();
    this.map.getContainer().classList.toggle('from-afar', by < 0.8);
    for (const { one, layer } of this.all.values()) {
      if (one.geometry.type === 'Point' && one.properties.kind !== 'tree') layer.setRadius((SIZES[one.properties.kind] || 6) * by);
    }
  }

  // A hole's number stands over the tee farthest from its green, as on a card's plan.
  placeNumbers() {
    const holes = new Map();
    for (const { one } of this.all.values()) {
      if (!['tee', 'green', 'fairway'].includes(one.properties.kind) || !this.isShown(one)) continue;
      for (const number of one.properties.holes || []) {
        if (!holes.has(number)) holes.set(number, {});
        const hole = holes.get(number);
        (hole[one.properties.kind] ||= []).push(one);
      }
    }
    this.numbers.clearLayers();
    for (const [number, hole] of holes) {
      const green = hole.green && this.bounds(hole.green[0]).getCenter();
      const far = (one) => (green ? green.distanceTo(this.bounds(one).getCenter()) : 0);
      const at = (hole.tee || hole.green || hole.fairway).slice().sort((a, b) => far(b) - far(a))[0];
      const box = this.bounds(at);
      const icon = L.divIcon({ className: 'hole-number', html: String(number), iconSize: [32, 20], iconAnchor: [16, 23] });
      L.marker([box.getNorth(), box.getCenter().lng], { icon, pane: 'numbers', interactive: false, keyboard: false, pmIgnore: true, snapIgnore: true }).addTo(this.numbers);
    }
  }

  nearestOfKind(id, count = 12) {
    const { one } = this.all.get(id);
    const mine = this.latlngs(one);
    const gap = (other) => Math.min(...this.latlngs(other).flatMap((b) => mine.map((a) => a.distanceTo(b))));
    return [...this.all.values()].map((entry) => entry.one)
      .filter((other) => other.id !== id && other.properties.kind === one.properties.kind && other.properties.state !== 'removed')
      .map((other) => ({ other, m: gap(other) })).sort((a, b) => a.m - b.m).slice(0, count);
  }
}
