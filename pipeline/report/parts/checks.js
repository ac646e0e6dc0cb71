// The list of places to look at: filters, answers, rings on the map.

const NUMBERED_FROM = 1.3; // pixels a metre: on a smaller map, places are dots that leave the map to be seen
const ANSWERED = '#17603f',
  OPEN = '#7a1a72';
const LOST_WITH_PAGE = 'kept only until this page is closed: save them first';
const PAGE_ROWS = 40; // rows put on the page at a time
const filters = { kind: '', symbol: '', outing: '', done: 'to do' };
let rowsShown = PAGE_ROWS;

// What is asked at a place of a kind, and what may be answered: the word of the answer, and what stands on its button.
const YES_NO = [
  ['yes', 'Yes'],
  ['no', 'No'],
  ['other', 'Other'],
];
const ASKED = {
  candidate: ['Is it so?', YES_NO],
  not_seen: [
    'What did you find?',
    [
      ['yes', 'Nothing to draw'],
      ['other', 'Something'],
    ],
  ],
  notes: [
    'How does it run here?',
    [
      ['405', '405 Runs'],
      ['406', '406 Slow'],
      ['408', '408 Walk'],
      ['410', '410 Fight'],
    ],
  ],
};

function checkPlace(check) {
  return { key: check.key, id: check.id || '', name: check.name, x: check.x, y: check.y };
}

// In the order of the list, or of an outing where one is chosen.
function matchingChecks() {
  const matching = blocks.checks.filter(
    (check) =>
      (!filters.kind || check.kind === filters.kind) &&
      (!filters.symbol || String(check.symbol) === filters.symbol) &&
      (!filters.outing || String(check.outing) === filters.outing) &&
      (!filters.done || isDone(check.key) === (filters.done === 'done')),
  );
  return filters.outing ? matching.sort((a, b) => a.stop - b.stop) : matching;
}

function checkCard(check) {
  const known = features.find((feature) => feature.id === check.id);
  const facts = [];
  if (check.outing) facts.push(['Outing', check.stop ? `${check.outing}, stop ${check.stop}` : check.outing]);
  if (check.minutes) facts.push(['Looking', `about ${plural(Math.round(check.minutes), 'minute')}`]);
  if (check.confidence > 0) facts.push(['Sure', `${Math.round(100 * check.confidence)} %`]);
  return make(
    'article',
    { class: `card${isDone(check.key) ? ' done' : ''}`, 'data-check': check.key },
    make(
      'h3',
      {},
      make('span', { class: 'number' }, said(check.name)),
      known ? swatch(known.look) : null,
      said(check.look_at || ''),
    ),
    make('p', { class: 'quiet' }, said([KINDS[check.kind] || check.kind, check.why].filter(Boolean).join(': '))),
    facts.length
      ? make(
          'dl',
          { class: 'facts' },
          facts.flatMap(([term, words]) => [make('dt', {}, term), make('dd', {}, words)]),
        )
      : null,
    make(
      'div',
      { class: 'buttons' },
      make(
        'button',
        {
          type: 'button',
          class: 'plain',
          onclick: () => {
            if (known) choose(known);
            goTo(check.x, check.y);
          },
        },
        'Show on the map',
      ),
    ),
    answerForm(checkPlace(check), ...(ASKED[check.kind] || ASKED.candidate)),
  );
}

function filterField(name, label, values, words) {
  const select = make(
    'select',
    {
      id: `filter-${name}`,
      onchange: (event) => {
        filters[name] = event.target.value;
        rowsShown = PAGE_ROWS;
        fillChecks();
      },
    },
    make('option', { value: '' }, 'all'),
    values.map((value) => make('option', { value }, (words || {})[value] || value)),
  );
  select.value = filters[name];
  return make('label', {}, label, select);
}

function buildChecks(page) {
  // A page of changes shows their places first; those to look at in any case come onto the map when they are asked for.
  if (blocks.changes) {
    shown.checks = true;
    const box = document.querySelector('#layers input[value="checks"]');
    if (box) box.checked = true;
  }
  const values = (name) =>
    [
      ...new Set(
        blocks.checks
          .map((check) => check[name])
          .filter((value) => value || value === 0)
          .map(String),
      ),
    ].sort((a, b) => a.localeCompare(b, 'en', { numeric: true }));
  const names = new Map(blocks.about.symbols);
  page.append(
    make('h2', {}, 'Places to look at'),
    progressSoFar(),
    make('p', { id: 'progress', role: 'status' }),
    make('div', { class: 'bar', 'aria-hidden': 'true' }, make('div', { id: 'progress-bar' })),
    make(
      'div',
      { class: 'fields' },
      filterField('kind', 'Kind', values('kind'), KINDS),
      filterField(
        'symbol',
        'Symbol',
        values('symbol'),
        Object.fromEntries(values('symbol').map((number) => [number, `${number} ${names.get(number) || ''}`])),
      ),
      filterField('outing', 'Outing', values('outing'), { 0: 'in none' }),
      filterField('done', 'Done', ['to do', 'done']),
    ),
    make('ol', { class: 'cards', id: 'check-rows' }),
    make(
      'button',
      {
        type: 'button',
        class: 'plain',
        id: 'more-checks',
        onclick: () => {
          rowsShown += PAGE_ROWS;
          fillChecks();
        },
      },
      'Show more',
    ),
    make('h3', {}, 'Your answers'),
    make('p', { id: 'marks-told' }),
    make(
      'div',
      { class: 'buttons' },
      make(
        'button',
        { type: 'button', class: 'plain strong', id: 'hand-back', onclick: handBack },
        'Save answers as a file',
      ),
      make(
        'label',
        { class: 'file-button' },
        'Take in a file of answers',
        make('input', { type: 'file', id: 'take-in', accept: '.geojson,.json', onchange: takeIn }),
      ),
    ),
    make(
      'p',
      { class: 'quiet' },
      'Send the file to whoever makes the draft: ',
      make('code', {}, 'tussock notes AREA FILE'),
      ' reads it.',
    ),
  );
  fillChecks();
  listeners.push(tellMarks);
  tellMarks();
}

// What was done when the draft was made, by the notes that had come back until then.
function progressSoFar() {
  const told = blocks.progress;
  if (!told || !told.done) return '';
  const left = `${figure(told.hours_left, 1)} hours of looking are left`;
  const done = `${told.done} of ${plural(told.listed, 'place')}, ${figure(told.done_percent, 0)} %`;
  return make('p', { class: 'quiet', id: 'so-far' }, `Done before this draft: ${done}; ${left}.`);
}

function fillChecks() {
  const matching = matchingChecks(),
    list = document.getElementById('check-rows');
  list.replaceChildren(...matching.slice(0, rowsShown).map((check) => make('li', {}, checkCard(check))));
  if (!blocks.checks.length)
    list.append(
      make(
        'li',
        { class: 'quiet' },
        'This draft has no list of places to look at. Any feature can be answered: choose it on the map.',
      ),
    );
  else if (!matching.length)
    list.append(make('li', { class: 'quiet' }, 'No place is left that these filters let through.'));
  document.getElementById('more-checks').hidden = matching.length <= rowsShown;
  overCanvas.redraw();
}

function tellMarks() {
  const total = blocks.checks.length,
    done = blocks.checks.filter((check) => isDone(check.key)).length;
  document.getElementById('progress').textContent = total ? `${done} of ${plural(total, 'place')} answered` : '';
  document.getElementById('progress-bar').parentElement.hidden = !total;
  const bar = document.getElementById('progress-bar');
  bar.style.cssText = `height:100%;background:${ANSWERED};width:${total ? (100 * done) / total : 0}%`;
  document.getElementById('hand-back').disabled = !marks.size;
  document.getElementById('marks-told').textContent = marks.size
    ? `${plural(marks.size, 'answer')}, ${marksAreKept ? 'kept in this browser' : LOST_WITH_PAGE}.`
    : 'None yet.';
  for (const card of document.querySelectorAll('[data-check]'))
    card.classList.toggle('done', isDone(card.dataset.check));
  overCanvas.redraw();
}

async function takeIn(event) {
  const file = event.target.files[0];
  if (!file) return;
  try {
    tell(`${plural(marksFromGeoJson(JSON.parse(await file.text())), 'answer')} taken in.`);
    fillChecks();
  } catch (error) {
    tell('This file holds no answers of such a page.');
  }
  event.target.value = '';
}

// ---------------------------------------------------------------- on the map

// Answers to what is on no list: a green dot where each was given.
function paintMarks(view) {
  const listed = new Set(blocks.checks.map((check) => check.key)),
    px = (window.devicePixelRatio || 1) / view.scale;
  onGround(view);
  for (const mark of marks.values()) {
    if (listed.has(mark.key)) continue;
    const [x, y] = mark.to || [mark.x, mark.y];
    view.ctx.beginPath();
    view.ctx.arc(x, y, 5 * px, 0, 7);
    view.ctx.fillStyle = ANSWERED;
    view.ctx.strokeStyle = '#fff';
    view.ctx.lineWidth = 2 * px;
    view.ctx.fill();
    view.ctx.stroke();
  }
}

// Where one outing is chosen, its stops in order. Straight lines: the way itself is in check_points.gpx.
function paintOuting(view) {
  if (!filters.outing || filters.outing === '0') return;
  const stops = blocks.checks
    .filter((check) => String(check.outing) === filters.outing)
    .sort((a, b) => a.stop - b.stop);
  const px = (window.devicePixelRatio || 1) / view.scale,
    path = new Path2D();
  onGround(view);
  stops.forEach((check, index) => (index ? path.lineTo(check.x, check.y) : path.moveTo(check.x, check.y)));
  view.ctx.setLineDash([2 * px, 5 * px]);
  view.ctx.lineCap = 'round';
  view.ctx.strokeStyle = OPEN;
  view.ctx.lineWidth = 2.5 * px;
  view.ctx.stroke(path);
  view.ctx.setLineDash([]);
}

function paintChecks(view) {
  paintOuting(view);
  const ctx = view.ctx,
    dense = window.devicePixelRatio || 1,
    numbered = view.scale / dense > NUMBERED_FROM,
    taken = [];
  ctx.setTransform(1, 0, 0, 1, 0, 0);
  for (const check of matchingChecks()) {
    const x = view.left + check.x * view.scale,
      y = view.top - check.y * view.scale;
    if (x < -30 || y < -30 || x > ctx.canvas.width + 30 || y > ctx.canvas.height + 30) continue;
    const colour = isDone(check.key) ? ANSWERED : OPEN;
    for (const [ink, width] of [
      ['#fff', 4],
      [colour, 2],
    ]) {
      ctx.strokeStyle = ink;
      ctx.fillStyle = colour;
      ctx.lineWidth = width * dense;
      ctx.beginPath();
      ctx.arc(x, y, (numbered ? 8 : 2) * dense, 0, 7);
      ctx.stroke();
      if (!numbered) ctx.fill();
    }
    // A number that would cover another is left out until the map is enlarged.
    if (!numbered || taken.some(([a, b]) => Math.abs(a - x) < 32 * dense && Math.abs(b - y) < 15 * dense)) continue;
    taken.push([x, y]);
    paintName(ctx, check.name, x + 11 * dense, y - 8 * dense, colour);
  }
}

// A short name on the map, with a pale rim that keeps it readable on any ground; x, y are pixels of the canvas.
function paintName(ctx, name, x, y, colour) {
  const dense = window.devicePixelRatio || 1;
  ctx.font = `bold ${11 * dense}px system-ui, sans-serif`;
  ctx.textBaseline = 'middle';
  ctx.lineJoin = 'round';
  ctx.strokeStyle = '#fff';
  ctx.lineWidth = 3 * dense;
  ctx.strokeText(name, x, y);
  ctx.fillStyle = colour;
  ctx.fillText(name, x, y);
}

function checkAt(x, y) {
  const reach = REACH_PX / map.options.crs.scale(map.getZoom());
  let best = null,
    least = reach;
  for (const check of matchingChecks()) {
    const far = Math.hypot(check.x - x, check.y - y);
    if (far <= least) [best, least] = [check, far];
  }
  return best;
}
