// Start: tabs, switches, and the order in which the parts are made.

const PAGES = [
  ['layers', 'Layers', buildLayers],
  ['here', 'Here', buildHere],
  ['changes', 'Changes', buildChanges],
  ['checks', 'Checks', buildChecks],
  ['survey', 'Survey', buildSurvey],
  ['effort', 'Effort', buildEffort],
  ['left_out', 'Left out', buildLeftOut],
  ['about', 'About', buildAbout],
];
const SECTIONS = {
  landform: 'Landforms',
  rock: 'Rock',
  water: 'Water',
  vegetation: 'Vegetation',
  manmade: 'Man-made',
  technical: 'North lines and edge',
};
const pages = {};

function buildTabs() {
  const tabs = document.getElementById('tabs'),
    holder = document.getElementById('pages');
  for (const [name, words] of PAGES) {
    tabs.append(
      make(
        'button',
        {
          type: 'button',
          role: 'tab',
          id: `tab-${name}`,
          'aria-controls': `page-${name}`,
          'aria-selected': 'false',
          tabindex: '-1',
          onclick: () => showPage(name, false),
        },
        words,
      ),
    );
    pages[name] = make('div', { role: 'tabpanel', id: `page-${name}`, 'aria-labelledby': `tab-${name}`, hidden: true });
    holder.append(pages[name]);
  }
  tabs.addEventListener('keydown', (event) => {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    const at = PAGES.findIndex(([name]) => !pages[name].hidden);
    const next =
      event.key === 'Home' ? 0 : event.key === 'End' ? PAGES.length - 1 : (at + step + PAGES.length) % PAGES.length;
    if (!step && event.key !== 'Home' && event.key !== 'End') return;
    event.preventDefault();
    showPage(PAGES[next][0], true);
  });
}

function showPage(wanted, takeFocus) {
  for (const [name, , build] of PAGES) {
    const tab = document.getElementById(`tab-${name}`),
      isWanted = name === wanted;
    tab.setAttribute('aria-selected', String(isWanted));
    tab.tabIndex = isWanted ? 0 : -1;
    pages[name].hidden = !isWanted;
    // A page is made when it is first looked at, so that the map need not wait for long tables.
    if (isWanted && !pages[name].dataset.made) {
      pages[name].dataset.made = 'yes';
      if (!pages[name].childElementCount) build(pages[name]);
    }
    if (isWanted && takeFocus) tab.focus();
  }
  document.getElementById('pages').scrollTop = 0;
}

function buildHere(page) {
  page.append(
    make('h2', {}, 'What lies where'),
    make('p', {}, 'Click or tap the map, or move it until something lies under the cross and press Enter.'),
  );
}

function choice(type, name, words, on, change, extra) {
  return make(
    'label',
    { class: 'choice' },
    make('input', { type, name: type === 'radio' ? 'ground' : null, value: name, checked: on, onchange: change }),
    make('span', {}, words, extra?.small ? make('small', {}, extra.small) : null),
    extra?.count ? make('span', { class: 'count' }, extra.count) : null,
  );
}

function buildLayers(page) {
  const counts = new Map();
  for (const feature of features) {
    const key =
      feature.look.number === NOT_SEEN
        ? 'not_seen'
        : feature.status === 'candidate'
          ? 'candidate'
          : feature.look.section;
    counts.set(key, (counts.get(key) || 0) + 1);
  }
  const layer = (name, words, small) =>
    choice(
      'checkbox',
      name,
      words,
      shown[name],
      (event) => {
        shown[name] = event.target.checked;
        redraw();
      },
      { small, count: name === 'checks' ? String(blocks.checks.length) : (counts.get(name) || 0).toLocaleString('en') },
    );
  page.append(
    make(
      'fieldset',
      { id: 'layers' },
      make('legend', {}, 'On the map'),
      Object.entries(SECTIONS).map(([name, words]) => layer(name, words)),
      layer('candidate', 'Candidates', 'pink: less likely there than not'),
      layer('not_seen', 'Not seen by the survey'),
      layer('checks', 'Places to look at', 'purple rings; green once answered'),
    ),
  );
  page.append(
    make(
      'fieldset',
      { id: 'grounds' },
      make('legend', {}, 'Under the map'),
      Object.entries(blocks.pictures || {}).map(([name, told]) =>
        choice('radio', name, told.label, shown.ground === name, () => showGround(name), { small: told.says }),
      ),
      choice('radio', 'none', 'Nothing', shown.ground === 'none', () => showGround('none')),
    ),
  );
}

let messageTimer = 0;
function tell(words) {
  const message = document.getElementById('message');
  message.textContent = words;
  message.hidden = false;
  clearTimeout(messageTimer);
  messageTimer = setTimeout(() => {
    message.hidden = true;
  }, 5000);
}

function startSlider() {
  const slider = document.getElementById('sure');
  document.getElementById('sure-form').addEventListener('submit', (event) => event.preventDefault());
  let waiting = false;
  slider.addEventListener('input', () => {
    shown.least = Number(slider.value);
    document.getElementById('sure-value').textContent = `${slider.value} %`;
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      redraw();
    });
  });
}

// The cross and what Enter asks for are for those who move the map by keyboard.
function watchKeys() {
  const root = document.documentElement;
  document.addEventListener(
    'keydown',
    () => {
      root.dataset.keys = 'yes';
    },
    true,
  );
  document.addEventListener(
    'pointerdown',
    () => {
      delete root.dataset.keys;
    },
    true,
  );
}

async function start() {
  if (typeof DecompressionStream === 'undefined') {
    tell('This browser is too old for this page: one of 2023 or newer shows it.');
    return;
  }
  await readBlocks();
  const about = blocks.about;
  blocks.checks ||= [];
  blocks.left_out ||= [];
  shown.checks = !blocks.changes;
  // Without an earlier survey there is nothing to compare with.
  if (!blocks.changes) PAGES.splice(PAGES.findIndex(([name]) => name === 'changes'), 1);
  document.getElementById('scale-line').textContent =
    `Map at 1:${about.scale.toLocaleString('en').replaceAll(',', ' ')}, contours every ${about.interval_m} m, ` +
    `magnetic north of ${about.map_date}`;
  loadMarks();
  await readDrawings([...blocks.features.symbols, ...(blocks.before?.symbols || [])]);
  buildTabs();
  startMap();
  startBefore();
  startSlider();
  watchKeys();
  showPage(blocks.changes ? 'changes' : 'layers', false);
  document.documentElement.dataset.ready = String(Math.round(performance.now()));
}

start().catch((error) => {
  tell('The page could not be read. Is the file whole?');
  throw error;
});

// For whoever tries the page by program, such as the tests and the picture in the guide.
window.tussockPage = {
  goTo,
  redraw,
  marks: marksAsGeoJson,
  // Go to the surest feature of a symbol and tell of it, as a click would.
  lookAtSurest(number) {
    const drawn = features.filter((feature) => feature.look.number === number && isShown(feature));
    const best = drawn.reduce((a, b) => (b.sure > a.sure ? b : a));
    goTo(...best.lines[0]);
    lookAt(...best.lines[0], false);
  },
  inWindow(x, y) {
    const at = map.latLngToContainerPoint([y, x]),
      frame = map.getContainer().getBoundingClientRect();
    return [frame.left + at.x, frame.top + at.y];
  },
  inkAt(x, y) {
    const canvas = draftCanvas.canvas(),
      dense = window.devicePixelRatio || 1;
    const at = map.latLngToLayerPoint([y, x]).subtract(draftCanvas.corner()).multiplyBy(dense);
    const pixel = document.createElement('canvas').getContext('2d', { willReadFrequently: true });
    pixel.drawImage(canvas, Math.round(at.x), Math.round(at.y), 1, 1, 0, 0, 1, 1);
    return [...pixel.getImageData(0, 0, 1, 1).data];
  },
};
