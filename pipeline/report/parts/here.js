// What lies at the place that was clicked, tapped or asked for by keyboard: evidence, quality of the survey, effort.

const KINDS = {
  candidate: 'candidate',
  doubtful: 'doubtful feature',
  notes: 'runnability',
  not_seen: 'not seen',
  disagreement: 'maps disagree',
};
const GIVEN = {
  draft: 'drawn',
  candidate: 'candidate: less likely there than not, so not on the map',
  confirmed: 'confirmed on foot',
  moved: 'moved on foot',
  rejected: 'rejected on foot',
  imported: 'from another map',
};

function lookAt(x, y, isFinger) {
  const check = shown.checks && !shown.effort ? checkAt(x, y) : null;
  const hits = hitsAt(x, y, isFinger);
  choose(check && check.id ? features.find((feature) => feature.id === check.id) || null : hits[0] || null);
  const page = pages.here;
  page.replaceChildren();
  if (check) page.append(checkCard(check));
  for (const [index, feature] of hits.entries()) page.append(featureCard(feature, index > 0, x, y));
  if (!check && !hits.length) {
    page.append(
      make('h2', {}, 'Nothing is drawn here'),
      make('p', {}, 'White is forest that can be run through, as far as the survey shows.'),
    );
  }
  page.append(placeCard(x, y));
  setLarge(false);
  showPage('here', false);
  const first = check
    ? `${check.name} ${check.look_at || ''}`
    : hits[0] && `${hits[0].look.name}, sure to ${hits[0].sure} %`;
  document.getElementById('spoken').textContent =
    `${first || 'Nothing is drawn here'}. ${plural(hits.length, 'feature')} here.`;
}

function choose(feature) {
  chosen = feature;
  overCanvas.redraw();
}

function featureCard(feature, folded, x, y) {
  const facts = [
    ['Sure', `${feature.sure} %`],
    ['State', GIVEN[feature.status] || feature.status],
  ];
  if (feature.elevation_m !== null) facts.push(['Elevation', `${figure(feature.elevation_m, 1)} m`]);
  if (feature.height_m !== null) facts.push(['Height', `${figure(feature.height_m, 1)} m`]);
  if (feature.width_m !== null) facts.push(['Width', `${figure(feature.width_m, 1)} m`]);
  if (feature.origin !== 'lidar') facts.push(['From', said(feature.origin)]);
  const middle = feature.look.kind === 'point' ? feature.lines[0] : [x, y];
  const body = [
    make('meter', { min: 0, max: 100, value: feature.sure, 'aria-label': `sure to ${feature.sure} percent` }),
    make('p', { class: 'evidence' }, said(feature.evidence)),
    make(
      'dl',
      { class: 'facts' },
      facts.flatMap(([term, words]) => [make('dt', {}, term), make('dd', {}, words)]),
    ),
    feature.look.section === 'technical'
      ? null
      : answerForm(
          { key: feature.id, id: feature.id, name: '', x: middle[0], y: middle[1] },
          'Is it there as drawn?',
          YES_NO,
        ),
  ];
  const title = `${feature.look.name} (${feature.look.number})`;
  if (!folded)
    return make(
      'article',
      { class: 'card', 'data-id': feature.id },
      make('h2', {}, swatch(feature.look), ' ', title),
      body,
    );
  return make(
    'details',
    { class: 'card', 'data-id': feature.id },
    make('summary', {}, `Also here: ${title}, sure to ${feature.sure} %`),
    body,
  );
}

function placeCard(x, y) {
  const { latitude, longitude } = degreesOf(x, y);
  const rows = [['Latitude, longitude', `${latitude.toFixed(6)}, ${longitude.toFixed(6)}`]];
  const far = supportAt(x, y);
  if (far !== null) rows.push(['Nearest ground return', `${figure(far, 1)} m away, on the mean of this 20 m square`]);
  const cell = effortAt(x, y);
  if (cell)
    rows.push([
      'Fieldwork here',
      `${hours(cell.fieldwork_h)} for a square of ${figure(cell.side_m, 0)} m` + (cell.why ? `: ${cell.why}` : ''),
    ]);
  return make(
    'div',
    { class: 'card' },
    make('h3', {}, 'This place'),
    make(
      'dl',
      { class: 'facts' },
      rows.flatMap(([term, words]) => [make('dt', {}, term), make('dd', {}, said(words))]),
    ),
    make('details', {}, make('summary', {}, 'Mark something that is not on the map'), newForm(x, y)),
  );
}

// A feature of the mapper's own: what it is, and a note.
function newForm(x, y) {
  const place = { key: `new ${x.toFixed(1)} ${y.toFixed(1)}`, x, y };
  const note = make('textarea', { rows: 1, onchange: (event) => setMark(place, { note: event.target.value }) });
  note.value = marks.get(place.key)?.note || '';
  return make(
    'div',
    {},
    make('label', { class: 'field' }, 'What is there', symbolChoice(place, marks.get(place.key)?.symbol || '')),
    make('label', { class: 'field' }, 'Note', note),
  );
}

function supportAt(x, y) {
  const told = blocks.quality?.squares;
  if (!told) return null;
  const col = Math.floor(x / told.side_m),
    row = Math.floor((blocks.place.height_m - y) / told.side_m);
  if (col < 0 || col >= told.cols || row < 0) return null;
  const value = told.decimetres[row * told.cols + col];
  return value === undefined || value < 0 ? null : value / 10;
}

// Buttons for the answers and room for a note; each change is kept at once. An answer that is a number is a symbol.
function answerForm(place, question, answers) {
  const mark = () => marks.get(place.key) || { answer: '', note: '', symbol: '' };
  const given = () => (answers.some(([answer]) => answer === mark().symbol) ? mark().symbol : mark().answer);
  const more = otherForm(place, mark);
  const buttons = answers.map(([answer, words]) =>
    make(
      'button',
      {
        type: 'button',
        class: 'plain',
        'data-answer': answer,
        'aria-pressed': String(given() === answer),
        onclick: () => {
          const taken = given() === answer ? '' : answer;
          setMark(place, /^\d/.test(answer) ? { answer: taken && 'other', symbol: taken } : { answer: taken });
          for (const button of buttons) button.setAttribute('aria-pressed', String(button.dataset.answer === taken));
          more.hidden = taken !== 'other';
          document.getElementById('cross').classList.toggle('on', taken === 'other');
        },
      },
      words,
    ),
  );
  more.hidden = given() !== 'other';
  const note = make('textarea', { rows: 1, onchange: (event) => setMark(place, { note: event.target.value }) });
  note.value = mark().note;
  return make(
    'div',
    { class: 'answers' },
    make(
      'div',
      { role: 'group', 'aria-label': question },
      make('p', { class: 'quiet' }, question),
      make('div', { class: 'buttons' }, buttons),
    ),
    more,
    make('label', { class: 'field' }, 'Note', note),
  );
}

// What is there instead, or where it lies instead.
function otherForm(place, mark) {
  return make(
    'div',
    {},
    make('label', { class: 'field' }, 'What is there', symbolChoice(place, mark().symbol)),
    make(
      'div',
      { class: 'buttons' },
      make(
        'button',
        {
          type: 'button',
          class: 'plain',
          onclick: () => {
            const middle = map.getCenter();
            setMark(place, { answer: 'other', to: [middle.lng, middle.lat] });
            tell('Its place is now where the cross in the middle of the map is.');
          },
        },
        'It lies under the cross of the map',
      ),
    ),
  );
}

function symbolChoice(place, symbol) {
  const select = make(
    'select',
    { onchange: (event) => setMark(place, { answer: 'other', symbol: event.target.value }) },
    make('option', { value: '' }, 'not said'),
    blocks.about.symbols.map(([number, name]) => make('option', { value: number }, `${number} ${name}`)),
  );
  select.value = symbol;
  return select;
}
