// The map: Leaflet moves and enlarges it, two canvases draw on it. The map counts in metres, magnetic north up.

const MAGNIFIED = 4; // zooms beyond one pixel a metre
const shown = {
  // what is switched on, by name
  landform: true,
  rock: true,
  water: true,
  vegetation: true,
  manmade: true,
  technical: true,
  candidate: false,
  not_seen: true,
  checks: true,
  effort: false,
  least: 0,
  ground: 'relief',
};
const PALE = { relief: 0.42 }; // how strong a picture lies under the map: relief in full would darken every green
const COLOURED = 0.75;
const NOT_SEEN = '600.1';
let map,
  draftCanvas,
  overCanvas,
  groundPicture,
  features = [],
  groups = [],
  chosen = null;

// A canvas as large as what is in sight, drawn anew whenever the map comes to rest.
const CanvasPane = L.Renderer.extend({
  options: { padding: 0.15 },
  _initContainer() {
    this._container = document.createElement('canvas');
    this._container.setAttribute('aria-hidden', 'true');
  },
  _destroyContainer() {
    this._container.remove();
    delete this._container;
  },
  _update() {
    if (this._map._animatingZoom && this._bounds) return;
    L.Renderer.prototype._update.call(this);
    const size = this._bounds.getSize(),
      canvas = this._container,
      dense = window.devicePixelRatio || 1;
    L.DomUtil.setPosition(canvas, this._bounds.min);
    canvas.width = Math.round(size.x * dense);
    canvas.height = Math.round(size.y * dense);
    canvas.style.width = `${size.x}px`;
    canvas.style.height = `${size.y}px`;
    this.redraw();
  },
  canvas() {
    return this._container;
  },
  corner() {
    return this._bounds.min;
  },
  redraw() {
    const canvas = this._container,
      dense = window.devicePixelRatio || 1;
    const ctx = canvas.getContext('2d');
    const scale = this._map.options.crs.scale(this._map.getZoom()) * dense;
    const origin = this._map.latLngToLayerPoint([0, 0]).subtract(this._bounds.min).multiplyBy(dense);
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.clearRect(0, 0, canvas.width, canvas.height);
    const box = [
      -origin.x / scale,
      (origin.y - canvas.height) / scale,
      (canvas.width - origin.x) / scale,
      origin.y / scale,
    ];
    const small = Math.min(1, (MOST_SYMBOL_SCALE * dense) / scale);
    const isBare = shown.ground !== 'relief' && shown.ground !== 'none';
    this.options.draw({ ctx, scale, small, isBare, left: origin.x, top: origin.y, box });
  },
});

function isShown(feature) {
  if (feature.look.number === NOT_SEEN) return shown.not_seen;
  if (feature.look.section === 'technical') return shown.technical;
  if (feature.status === 'candidate' && !shown.candidate) return false;
  return shown[feature.look.section] && feature.sure >= shown.least && feature.status !== 'rejected';
}

function startMap() {
  const { width_m: width, height_m: height } = blocks.place;
  const bounds = L.latLngBounds([0, 0], [height, width]);
  const still = window.matchMedia('(prefers-reduced-motion: reduce)').matches;
  map = L.map('map', {
    crs: L.CRS.Simple,
    minZoom: -5,
    maxZoom: MAGNIFIED,
    zoomSnap: 0.25,
    zoomDelta: 0.5,
    wheelPxPerZoomLevel: 120,
    attributionControl: false,
    zoomAnimation: !still,
    fadeAnimation: false,
    inertia: !still,
    maxBounds: bounds.pad(0.6),
  });
  for (const [name, order] of [
    ['ground', 200],
    ['draft', 400],
    ['over', 450],
  ])
    map.createPane(name).style.zIndex = order;
  map.fitBounds(bounds, { animate: false });
  map.setMinZoom(map.getZoom() - 1);
  L.control.scale({ imperial: false }).addTo(map);
  features = unfoldFeatures(blocks.features);
  groups = grouped(features);
  draftCanvas = new CanvasPane({ pane: 'draft', draw: (view) => paintDraft(view, groups, isShown) }).addTo(map);
  overCanvas = new CanvasPane({ pane: 'over', draw: paintOver }).addTo(map);
  map.on('click', (event) => lookAt(event.latlng.lng, event.latlng.lat, event.originalEvent?.pointerType !== 'mouse'));
  map.getContainer().addEventListener('keydown', (event) => {
    if (event.key !== 'Enter' || event.target !== map.getContainer()) return;
    const middle = map.getCenter();
    lookAt(middle.lng, middle.lat, true);
  });
  addLarger();
  showGround(shown.ground);
  tellShown();
}

// On a phone a button gives the whole screen to the map and takes it back.
function addLarger() {
  const button = make('button', {
    type: 'button',
    class: 'plain larger',
    onclick: () => setLarge(!('large' in document.documentElement.dataset)),
  });
  document.getElementById('map').after(button);
  setLarge(false);
}

function setLarge(isLarge) {
  const button = document.querySelector('.larger');
  document.documentElement.toggleAttribute('data-large', isLarge);
  button.setAttribute('aria-pressed', String(isLarge));
  button.textContent = isLarge ? 'Smaller map' : 'Larger map';
  map.invalidateSize();
}

function paintOver(view) {
  if (shown.effort) paintEffort(view);
  paintChanges(view);
  if (chosen) paintChosen(view, chosen);
  if (shown.checks && !shown.effort) {
    paintMarks(view);
    paintChecks(view);
  }
}

function redraw() {
  draftCanvas.redraw();
  beforeCanvas?.redraw();
  overCanvas.redraw();
  tellShown();
}

function tellShown() {
  const drawn = features.filter((feature) => feature.look.section !== 'technical' && feature.status !== 'candidate');
  const seen = drawn.filter(isShown).length;
  document.getElementById('shown').textContent = `${seen.toLocaleString('en')} of ${plural(drawn.length, 'feature')}`;
}

// One picture of the ground under the map, or none; its legend where it has one.
function showGround(name) {
  shown.ground = name;
  groundPicture?.remove();
  const told = (blocks.pictures || {})[name];
  const legend = document.getElementById('ground-legend');
  legend.replaceChildren();
  legend.hidden = !(told && told.legend.length);
  draftCanvas.redraw();
  if (!told) return;
  const [west, south, east, north] = told.box;
  groundPicture = L.imageOverlay(
    told.src,
    [
      [south, west],
      [north, east],
    ],
    { pane: 'ground', alt: told.says, opacity: PALE[name] || COLOURED },
  ).addTo(map);
  if (told.legend.length) {
    // Open where there is room for it; on a phone it would hide the map.
    const open = window.matchMedia('(min-width: 761px)').matches;
    legend.append(
      make(
        'details',
        { open },
        make('summary', {}, told.label),
        make('p', {}, `${told.says}; yellow and green of the map are off meanwhile`),
        make(
          'ul',
          {},
          told.legend.map(([words, colour]) => {
            const chip = make('span', { class: 'chip' });
            chip.style.background = colour;
            return make('li', {}, chip, words);
          }),
        ),
      ),
    );
  }
}

// ---------------------------------------------------------------- what lies where

const REACH_PX = 14; // how far beside a line or point a finger may be

function hitsAt(x, y, isFinger) {
  const reach = (isFinger ? REACH_PX : REACH_PX / 2) / map.options.crs.scale(map.getZoom());
  const rank = { point: 0, line: 1, area: 2 };
  const hits = [];
  for (const feature of features) {
    if (!isShown(feature) || feature.look.number === '600') continue;
    const far = distanceTo(feature, x, y, reach);
    if (far <= reach) hits.push({ feature, far });
  }
  return hits
    .sort(
      (a, b) =>
        rank[a.feature.look.kind] - rank[b.feature.look.kind] ||
        a.far - b.far ||
        boxArea(a.feature) - boxArea(b.feature),
    )
    .map((hit) => hit.feature);
}

function boxArea({ box }) {
  return (box[2] - box[0]) * (box[3] - box[1]);
}

function distanceTo(feature, x, y, reach) {
  const [west, south, east, north] = feature.box;
  if (x < west - reach || x > east + reach || y < south - reach || y > north + reach) return Infinity;
  if (feature.look.kind === 'area') return isInside(feature.lines, x, y) ? 0 : Infinity;
  let least = Infinity;
  for (const line of feature.lines) {
    if (line.length === 2) least = Math.min(least, Math.hypot(line[0] - x, line[1] - y));
    for (let at = 2; at < line.length; at += 2) {
      least = Math.min(least, toSegment(x, y, line[at - 2], line[at - 1], line[at], line[at + 1]));
    }
  }
  return least;
}

function toSegment(x, y, x1, y1, x2, y2) {
  const dx = x2 - x1,
    dy = y2 - y1;
  const share = Math.max(0, Math.min(1, ((x - x1) * dx + (y - y1) * dy) / (dx * dx + dy * dy || 1)));
  return Math.hypot(x1 + share * dx - x, y1 + share * dy - y);
}

function isInside(rings, x, y) {
  let inside = false;
  for (const ring of rings) {
    for (let at = 0, last = ring.length - 2; at < ring.length; last = at, at += 2) {
      if (
        ring[at + 1] > y !== ring[last + 1] > y &&
        x < ((ring[last] - ring[at]) * (y - ring[at + 1])) / (ring[last + 1] - ring[at + 1]) + ring[at]
      )
        inside = !inside;
    }
  }
  return inside;
}

// Bring a place into the middle, near enough to see a boulder.
function goTo(x, y) {
  map.setView([y, x], Math.max(map.getZoom(), 1), {
    animate: !window.matchMedia('(prefers-reduced-motion: reduce)').matches,
  });
}
