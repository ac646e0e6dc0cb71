// Before and after: the map of the earlier survey on the left of a line that a slider moves, the draft on the right.

let beforeCanvas = null;
const CHANGED = '#7a1a72';

function startBefore() {
  if (!blocks.before) return;
  const groups = grouped(unfoldFeatures(blocks.before));
  map.createPane('before').style.zIndex = 410;
  beforeCanvas = new CanvasPane({ pane: 'before', draw: (view) => paintDraft(view, groups, isShown) }).addTo(map);
  const slider = make('input', { type: 'range', id: 'swipe', min: '0', max: '100', step: '1', value: '50' });
  const form = make(
    'form',
    { class: 'sure swipe', id: 'swipe-form', onsubmit: (event) => event.preventDefault() },
    make('label', { for: 'swipe' }, 'Before on the left, now on the right'),
    slider,
  );
  document.getElementById('sure-form').before(form);
  const line = make('div', { class: 'swipe-line', 'aria-hidden': 'true' });
  map.getContainer().append(line);
  const clip = () => {
    const size = map.getSize(),
      at = (size.x * Number(slider.value)) / 100;
    const corner = map.containerPointToLayerPoint([0, 0]),
      end = map.containerPointToLayerPoint(size);
    const box = (left, right) => `rect(${corner.y}px, ${right}px, ${end.y}px, ${left}px)`;
    map.getPane('before').style.clip = box(corner.x, corner.x + at);
    map.getPane('draft').style.clip = box(corner.x + at, end.x);
    line.style.left = `${at}px`;
  };
  slider.addEventListener('input', clip);
  map.on('move resize zoomend', clip);
  clip();
}

// The rims of what changed, and the names of the places in the list.
function paintChanges(view) {
  if (!blocks.changes) return;
  blocks.changes.lines ||= blocks.changes.rings.map((steps) =>
    unfoldLine(steps, [Infinity, Infinity, -Infinity, -Infinity]),
  );
  onGround(view);
  view.ctx.strokeStyle = CHANGED;
  view.ctx.lineWidth = (2.5 * (window.devicePixelRatio || 1)) / view.scale;
  for (const line of blocks.changes.lines) {
    const path = new Path2D();
    tracePath(path, line, true);
    view.ctx.stroke(path);
  }
  view.ctx.setTransform(1, 0, 0, 1, 0, 0);
  const dense = window.devicePixelRatio || 1,
    taken = [];
  for (const place of blocks.changes.places) {
    const x = view.left + place.x * view.scale,
      y = view.top - place.y * view.scale;
    // A name that would cover that of a better place is left out until the map is enlarged.
    if (taken.some(([a, b]) => Math.abs(a - x) < 36 * dense && Math.abs(b - y) < 15 * dense)) continue;
    taken.push([x, y]);
    paintName(view.ctx, place.name, x + 4 * dense, y, CHANGED);
  }
}

function buildChanges(page) {
  const places = blocks.changes?.places || [];
  page.append(
    make('h2', {}, 'What changed'),
    make(
      'p',
      {},
      places.length
        ? 'Ranked by what a look is worth. Choose a place to see it; move the slider below the map to see it before.'
        : 'Nothing was found that changed on the ground.',
    ),
    blocks.changes?.told?.length
      ? make(
          'details',
          {},
          make('summary', {}, 'How the two maps were compared'),
          blocks.changes.told.map((words) => make('p', {}, said(words))),
        )
      : null,
    make(
      'ol',
      { class: 'changes' },
      places.map((row) =>
        make(
          'li',
          {},
          make('button', { type: 'button', class: 'plain', onclick: () => goTo(row.x, row.y) }, said(`${row.name}: ${row.change}`)),
          make('p', {}, said(row.look_at), ' ', make('small', {}, said(row.why), ` (${figure(100 * row.sure, 0)} % sure)`)),
        ),
      ),
    ),
  );
}
