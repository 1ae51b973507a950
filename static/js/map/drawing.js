// Drawing and changing shapes by hand, with snapping; what is drawn becomes GeoJSON for the server.
/* global L */
import { measuresOfDrawing } from './figures.js';

const SNAP_PX = 18;
const TOOLS = { LineString: 'Line', Polygon: 'Polygon', Point: 'CircleMarker' };
const PANE = 'drawn';
const DRAWN = { className: 'drawn', pane: PANE };

export function geometryOf(layer, shape) {
  const pair = ({ lng, lat }) => [Number(lng.toFixed(8)), Number(lat.toFixed(8))];
  if (shape === 'Point') return { type: 'Point', coordinates: pair(layer.getLatLng()) };
  const given = layer.getLatLngs();
  if (shape === 'LineString') return { type: 'LineString', coordinates: given.map(pair) };
  return { type: 'Polygon', coordinates: given.filter((ring) => ring.length > 2).map((ring) => [...ring, ring[0]].map(pair)) };
}

export function outlineOf(layer, shape) {
  if (shape === 'Point') return [layer.getLatLng()];
  const given = layer.getLatLngs();
  return shape === 'Polygon' ? given[0] : given;
}

export function showMeasures(target, rows) {
  target.replaceChildren(...rows.flatMap(([what, value]) => {
    const dt = document.createElement('dt'), dd = document.createElement('dd');
    dt.textContent = what;
    dd.textContent = value;
    return [dt, dd];
  }));
}

const SETTINGS = { snappable: true, snapDistance: SNAP_PX, snapMiddle: false, snapSegment: true, allowSelfIntersection: false };

export class Drawing {
  constructor(map, grid) {
    this.map = map;
    this.grid = grid;
    this.drawing = null;
    map.createPane(PANE).style.zIndex = 445;
    map.pm.setGlobalOptions({ ...SETTINGS, panes: { layerPane: PANE, vertexPane: 'markerPane', markerPane: 'markerPane' }, pathOptions: DRAWN, tooltips: false, markerStyle: { keyboard: true } });
    map.on('pm:drawstart', ({ workingLayer }) => {
      if (!this.drawing) return;
      this.drawing.working = workingLayer;
      workingLayer.on('pm:vertexadded', () => this.tell());
    });
    map.on('mousemove', () => this.tell());
    map.on('pm:create', ({ layer }) => this.created(layer));
    map.getContainer().addEventListener('keydown', (event) => this.key(event));
    document.addEventListener('keydown', (event) => { if (event.key === 'Escape' && this.drawing) this.stop(true); });
  }

  // done(layer) when the shape is closed; told(rows) while it grows; given up by Escape: dropped().
  start(shape, { done, told, dropped }) {
    this.stop(false);
    this.drawing = { shape, done, told, dropped, working: null };
    const finish = shape === 'LineString' ? { finishOn: 'dblclick' } : {};
    this.map.pm.enableDraw(TOOLS[shape], { ...SETTINGS, ...finish, continueDrawing: false, hintlineStyle: { className: 'drawn drawn-line' }, templineStyle: { className: 'drawn drawn-line' }, pathOptions: DRAWN });
    this.map.getContainer().focus({ preventScroll: true });
  }

  tool() { return this.map.pm.Draw[TOOLS[this.drawing.shape]]; }

  points() {
    const { working, shape } = this.drawing;
    if (!working || shape === 'Point') return [];
    const given = working.getLatLngs();
    return (Array.isArray(given[0]) ? given[0] : given).slice();
  }

  tell() {
    if (!this.drawing || this.drawing.shape === 'Point') return;
    const points = this.points();
    const hint = this.tool()._hintMarker;
    if (points.length && hint) points.push(hint.getLatLng());
    if (points.length > 1) this.drawing.told(measuresOfDrawing(this.grid, this.drawing.shape, points));
  }

  finish() {
    if (this.drawing && this.drawing.shape !== 'Point') this.tool()._finishShape();
  }

  undo() {
    if (this.drawing && this.points().length > 1) { this.tool()._removeLastVertex(); this.tell(); }
  }

  key(event) {
    if (!this.drawing) return;
    if (event.key === 'Enter') { event.preventDefault(); this.finish(); }
    if (event.key === 'Backspace') { event.preventDefault(); this.undo(); }
  }

  created(layer) {
    const drawing = this.drawing;
    if (!drawing) { layer.remove(); return; }
    this.drawing = null;
    this.map.pm.disableDraw();
    drawing.done(layer);
  }

  stop(tellIt) {
    const drawing = this.drawing;
    this.drawing = null;
    this.map.pm.disableDraw();
    if (drawing && tellIt) drawing.dropped();
  }

  // The handles take a mouse or a finger only; for the keyboard there are the typed points.
  nameHandles() {
    for (const handle of this.map.getContainer().querySelectorAll('.marker-icon')) {
      handle.setAttribute('aria-label', 'a point of the shape');
      handle.setAttribute('tabindex', '-1');
    }
  }

  edit(layer, shape, onChange) {
    const changed = () => {
      onChange(measuresOfDrawing(this.grid, shape, outlineOf(layer, shape)));
      this.nameHandles();
    };
    if (layer instanceof L.Circle) layer.pm.enableLayerDrag();
    else layer.pm.enable({ ...SETTINGS, draggable: true, preventMarkerRemoval: shape === 'Point' });
    layer.on('pm:edit pm:markerdrag pm:vertexadded pm:vertexremoved pm:drag pm:dragend pm:snapdrag', changed);
    changed();
    return () => {
      layer.off('pm:edit pm:markerdrag pm:vertexadded pm:vertexremoved pm:drag pm:dragend pm:snapdrag', changed);
      layer.pm.disable();
      if (layer.pm.disableLayerDrag) layer.pm.disableLayerDrag();
    };
  }
}
