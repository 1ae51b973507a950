// Lengths and areas in the club's grid while a hand is still drawing; the server measures what is kept.

export class Grid {
  constructor(fit) { this.fit = fit; }

  point({ lat, lng }) {
    const x = lng - this.fit.at[0], y = lat - this.fit.at[1];
    const terms = [1, x, y, x * x, x * y, y * y];
    const along = (row) => row.reduce((sum, factor, i) => sum + factor * terms[i], 0);
    return [along(this.fit.east), along(this.fit.north)];
  }

  length(latlngs, closed = false) {
    const points = latlngs.map((one) => this.point(one));
    if (closed && points.length > 2) points.push(points[0]);
    let sum = 0;
    for (let i = 1; i < points.length; i++) {
      sum += Math.hypot(points[i][0] - points[i - 1][0], points[i][1] - points[i - 1][1]);
    }
    return sum;
  }

  area(latlngs) {
    const points = latlngs.map((one) => this.point(one));
    if (points.length < 3) return 0;
    const [x0, y0] = points[0];
    let twice = 0;
    for (let i = 0; i < points.length; i++) {
      const [ax, ay] = points[i], [bx, by] = points[(i + 1) % points.length];
      twice += (ax - x0) * (by - y0) - (bx - x0) * (ay - y0);
    }
    return Math.abs(twice) / 2;
  }
}

export function figure(value, places = 0) {
  return value.toLocaleString('en-GB', { minimumFractionDigits: places, maximumFractionDigits: places });
}

export function day(iso) {
  if (!iso) return '';
  return new Date(`${iso}T12:00:00Z`).toLocaleDateString('en-GB', { day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC' });
}

export function measuresOfDrawing(grid, shape, latlngs) {
  if (shape === 'Point') return [];
  if (shape === 'LineString') {
    const rows = [['Length', `${figure(grid.length(latlngs), 1)} m`]];
    if (latlngs.length > 2) rows.push(['Last leg', `${figure(grid.length(latlngs.slice(-2)), 1)} m`]);
    return rows;
  }
  return [
    ['Area', `${figure(grid.area(latlngs))} m²`],
    ['Outline', `${figure(grid.length(latlngs, true), 1)} m`],
  ];
}
