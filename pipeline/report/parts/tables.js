// Words and tables: the survey, the effort, what was left out, the calibration, cautions and sources.

const GRADES = { good: 'good', usable: 'usable', poor: 'poor' };

function buildSurvey(page) {
  const about = blocks.about;
  page.append(make('h2', {}, 'What the survey could see'));
  for (const words of about.survey_cautions) page.append(make('p', { class: 'caution' }, said(words)));
  if (about.made_from) page.append(make('p', {}, said(about.made_from)));
  if (blocks.quality) {
    page.append(
      make('h3', {}, 'Ground seen, by distance to the nearest return from it'),
      make(
        'ul',
        { class: 'cards' },
        blocks.quality.legend.map(([words, colour], index) => {
          const part = make('div', {});
          part.style.cssText = `height:100%;background:${colour};width:${blocks.quality.shares[index]}%`;
          return make(
            'li',
            {},
            `${figure(blocks.quality.shares[index], 1)} %: ${words}`,
            make('div', { class: 'bar', 'aria-hidden': 'true' }, part),
          );
        }),
      ),
      make('div', { class: 'buttons' }, groundButton('support', 'Show it on the map')),
    );
  }
  const holes = features.filter((feature) => feature.look.number === NOT_SEEN);
  page.append(
    make('h3', {}, 'Not seen'),
    make(
      'p',
      {},
      holes.length
        ? `${plural(holes.length, 'place')} where the survey did not show how the ground lies: look there on foot.`
        : 'No place of note where the ground stayed hidden.',
    ),
  );
  if (holes.length)
    page.append(
      placeList(
        holes.map((feature) => ({
          x: (feature.box[0] + feature.box[2]) / 2,
          y: (feature.box[1] + feature.box[3]) / 2,
          words: feature.evidence,
          feature,
        })),
      ),
    );
  if (about.verdicts.length) {
    page.append(
      table(
        'How well each kind of feature can be found',
        ['Kind', 'Grade', 'Why'],
        about.verdicts.map((verdict) => [
          verdict.feature,
          make('span', { class: `grade ${GRADES[verdict.grade] || 'none'}` }, verdict.grade),
          verdict.reason,
        ]),
        [],
      ),
    );
  }
  if (about.season)
    page.append(
      make('h3', {}, 'Season and age'),
      make('p', {}, said(about.season)),
      make('p', {}, ageWords(about.flight)),
    );
  buildCalibration(page);
  for (const [heading, text] of about.notes)
    page.append(make('details', {}, make('summary', {}, heading), make('p', {}, said(text))));
}

function ageWords(flight) {
  const days = flight.days || [];
  if (!days.length)
    return 'The day of the flight is not known: what was felled, grown or built since may be wrong here.';
  const first = days[0],
    last = days[days.length - 1];
  const when = first === last ? first : `${first} to ${last}`;
  return `Flown ${when}. What was felled, grown or built since then is not on this draft.`;
}

function buildCalibration(page) {
  const told = blocks.calibration;
  page.append(make('h3', {}, 'Greens, calibrated by notes from the forest'));
  if (!told) {
    page.append(
      make(
        'p',
        {},
        'Not calibrated: the limits between white and the greens are those of the area file. ',
        'A dozen notes on how it runs, given to ',
        make('code', {}, 'tussock calibrate'),
        ', fit them to this forest.',
      ),
    );
    return;
  }
  const names = [
    ['slow_from_m2_per_m3', '406 slow running from'],
    ['walk_from_m2_per_m3', '408 walk from'],
    ['fight_from_m2_per_m3', '410 fight from'],
  ];
  if (told.notes)
    page.append(
      make('p', {}, `Fitted to ${plural(told.notes, 'note')} from ${plural(told.places || told.notes, 'place')}.`),
    );
  page.append(
    table(
      'Limits of plant-area density in the running layer, m2/m3',
      ['Band', 'Before', 'Now'],
      names
        .filter(([key]) => told[key] !== undefined)
        .map(([key, words], index) => [words, figure(told.started_from?.[index], 3), figure(told[key], 3)]),
      [1, 2],
    ),
  );
  if (told.weighted_kappa_after !== undefined && told.weighted_kappa_after !== null) {
    page.append(
      make(
        'p',
        {},
        'Agreement with the notes, where 0 is what chance would give, 1 is agreement in full, and a miss by one band ',
        'counts a ninth of one by three (weighted kappa): ',
        typeof told.weighted_kappa_before === 'number' ? `${figure(told.weighted_kappa_before, 2)} before, ` : '',
        `${figure(told.weighted_kappa_after, 2)} now, each place judged without its own notes.`,
      ),
    );
  }
  if (told.plot)
    page.append(
      make('img', {
        class: 'plot',
        src: told.plot,
        alt: 'Plot of the notes: density measured against the band found on foot, with the limits before and now.',
      }),
    );
}

function groundButton(name, words) {
  return make(
    'button',
    {
      type: 'button',
      class: 'plain',
      onclick: () => {
        showGround(name);
        const choice = document.querySelector(`input[name="ground"][value="${name}"]`);
        if (choice) choice.checked = true;
      },
    },
    words,
  );
}

function placeList(places) {
  let count = 20;
  const list = make('ol', { class: 'cards' });
  const more = make(
    'button',
    {
      type: 'button',
      class: 'plain',
      onclick: () => {
        count += 40;
        fill();
      },
    },
    'Show more',
  );
  function fill() {
    list.replaceChildren(
      ...places.slice(0, count).map((place) =>
        make(
          'li',
          { class: 'card' },
          make('p', {}, said(place.words)),
          make(
            'button',
            {
              type: 'button',
              class: 'plain',
              onclick: () => {
                choose(place.feature || null);
                goTo(place.x, place.y);
              },
            },
            'Show on the map',
          ),
        ),
      ),
    );
    more.hidden = places.length <= count;
  }
  fill();
  return make('div', {}, list, make('div', { class: 'buttons' }, more));
}

// ---------------------------------------------------------------- effort

const TASKS = {
  greens: 'greens',
  rock: 'rock',
  landform: 'landforms',
  paths: 'paths',
  water: 'water',
  borders: 'borders',
  not_seen: 'ground not seen',
};

function hours(range) {
  if (!range) return '';
  return `${figure(range.likely, 1)} h (${figure(range.low, 1)} to ${figure(range.high, 1)} h)`;
}

function effortAt(x, y) {
  return (blocks.effort?.cells || []).find((cell) => isInside([cell.corners], x, y));
}

function buildEffort(page) {
  const told = blocks.effort;
  page.append(make('h2', {}, 'How long it will take'));
  if (!told) {
    page.append(
      make(
        'p',
        {},
        'No estimate has been made for this draft: ',
        make('code', {}, 'tussock estimate AREA'),
        ' makes one.',
      ),
    );
    return;
  }
  const rows = [
    ['Fieldwork, hours', told.fieldwork_h],
    ['Drawing, hours', told.drawing_h],
    ['Days in the field', told.days],
    [`Cost, ${told.cost?.currency || ''}`, told.cost],
    ['Weeks', told.weeks],
  ].filter(([, range]) => range?.likely !== undefined);
  page.append(
    table(
      `The whole area, ${figure(told.area_km2, 2)} km2`,
      ['', 'Low', 'Likely', 'High'],
      rows.map(([name, range]) => [
        name,
        ...['low', 'likely', 'high'].map((part) => figure(range[part], range.likely < 20 ? 1 : 0)),
      ]),
      [1, 2, 3],
    ),
  );
  if (Array.isArray(told.tasks)) {
    page.append(
      table(
        'By task',
        ['Task', 'Hours', 'Why'],
        told.tasks.map((task) => [
          TASKS[task.task] || task.name || task.task,
          figure(task.fieldwork_h.likely, 1),
          said(task.why || ''),
        ]),
        [1],
      ),
    );
  }
  if (told.cells?.length) buildCells(page, told.cells);
  if (told.to_shrink?.length) {
    page.append(
      table(
        'What would shrink it',
        ['What', 'Saves', 'Why'],
        told.to_shrink.map((way) => [said(way.what), `${figure(way.saved_h, 1)} h`, said(way.why || '')]),
        [1],
      ),
    );
  }
  for (const [heading, part] of [
    ['Where to begin', told.first],
    ['Without a draft', told.without_draft],
  ]) {
    if (part?.words)
      page.append(
        make('h3', {}, heading),
        [part.words].flat().map((words) => make('p', {}, said(words))),
      );
  }
  if (Array.isArray(told.assumptions)) {
    page.append(
      make(
        'details',
        {},
        make('summary', {}, 'Assumptions'),
        table(
          'To be changed in the area file',
          ['What', 'Value', 'Why'],
          told.assumptions.map((one) => [
            String(one.name).replaceAll('_', ' '),
            String(one.value ?? ''),
            said(one.why || ''),
          ]),
          [1],
        ),
      ),
    );
  }
  if (told.words)
    page.append(
      make(
        'details',
        {},
        make('summary', {}, 'The estimate in words'),
        make('pre', {}, said([told.words].flat().join('\n'))),
      ),
    );
}

function buildCells(page, cells) {
  page.append(
    make(
      'div',
      { class: 'buttons' },
      make(
        'button',
        {
          type: 'button',
          class: 'plain',
          'aria-pressed': String(shown.effort),
          id: 'effort-on-map',
          onclick: (event) => {
            shown.effort = !shown.effort;
            event.target.setAttribute('aria-pressed', String(shown.effort));
            overCanvas.redraw();
          },
        },
        'Show squares on the map',
      ),
    ),
  );
  const most = [...cells].sort((a, b) => perKm2(b) - perKm2(a)).slice(0, 12);
  page.append(
    make('h3', {}, 'Where most time goes'),
    placeList(
      most.map((cell) => ({
        x: (cell.corners[0] + cell.corners[4]) / 2,
        y: (cell.corners[1] + cell.corners[5]) / 2,
        words: `${hours(cell.fieldwork_h)} in ${figure(100 * cell.area_km2, 1)} ha${cell.why ? `: ${cell.why}` : ''}`,
      })),
    ),
  );
}

function perKm2(cell) {
  return cell.fieldwork_h.likely / Math.max(cell.area_km2, 1e-6);
}

function paintEffort(view) {
  const cells = blocks.effort?.cells || [],
    most = Math.max(...cells.map(perKm2), 1e-6);
  onGround(view);
  const px = (window.devicePixelRatio || 1) / view.scale;
  for (const cell of cells) {
    const path = new Path2D();
    tracePath(path, cell.corners, true);
    view.ctx.fillStyle = `rgb(122 26 114 / ${4 + (34 * perKm2(cell)) / most}%)`;
    view.ctx.fill(path);
    view.ctx.strokeStyle = '#7a1a72';
    view.ctx.lineWidth = px;
    view.ctx.stroke(path);
  }
  view.ctx.setTransform(1, 0, 0, 1, 0, 0);
  const dense = window.devicePixelRatio || 1;
  view.ctx.font = `600 ${12 * dense}px system-ui, sans-serif`;
  view.ctx.textAlign = 'center';
  for (const cell of cells) {
    if (cell.side_m * view.scale < 46 * dense) continue;
    const x = view.left + ((cell.corners[0] + cell.corners[4]) / 2) * view.scale,
      y = view.top - ((cell.corners[1] + cell.corners[5]) / 2) * view.scale;
    view.ctx.strokeStyle = '#fff';
    view.ctx.lineWidth = 3 * dense;
    view.ctx.strokeText(`${figure(cell.fieldwork_h.likely, 1)} h`, x, y);
    view.ctx.fillStyle = '#3b0a37';
    view.ctx.fillText(`${figure(cell.fieldwork_h.likely, 1)} h`, x, y);
  }
  view.ctx.textAlign = 'start';
}

// ---------------------------------------------------------------- left out

function buildLeftOut(page) {
  const rows = blocks.left_out,
    counts = new Map();
  page.append(make('h2', {}, 'What was left out, moved or merged, and why'));
  if (!rows.length) {
    page.append(make('p', {}, 'Nothing: all that was found is on the map.'));
    return;
  }
  for (const row of rows) {
    const key = JSON.stringify([row.what, row.reason]);
    counts.set(key, (counts.get(key) || 0) + 1);
  }
  page.append(make('p', {}, `${plural(rows.length, 'time')} the draft gave way to what can be read on paper.`));
  const reasons = [...counts].sort((a, b) => b[1] - a[1]).map(([key, count]) => [...JSON.parse(key), count]);
  page.append(
    table(
      'By reason',
      ['What', 'Why', 'Times'],
      reasons.map(([what, reason, count]) => [what, reason, String(count)]),
      [2],
    ),
  );
  const list = make('div', {});
  const select = make(
    'select',
    { onchange: fill },
    make('option', { value: '' }, 'all'),
    [...new Set(rows.map((row) => row.what))].map((what) => make('option', { value: what }, what)),
  );
  function fill() {
    const chosenRows = rows.filter((row) => !select.value || row.what === select.value);
    list.replaceChildren(
      placeList(
        chosenRows.map((row) => ({
          x: row.x,
          y: row.y,
          words:
            `${row.name} (${row.symbol}) ${row.what}: ${row.reason}` +
            (row.distance_m ? `, ${figure(row.distance_m, 1)} m` : ''),
        })),
      ),
    );
  }
  page.append(make('h3', {}, 'Place by place'), make('label', { class: 'field' }, 'What became of it', select), list);
  fill();
}

// ---------------------------------------------------------------- about

function buildAbout(page) {
  const about = blocks.about;
  page.append(
    make('h2', {}, 'Before you use this draft'),
    make(
      'div',
      { class: 'caution' },
      make(
        'ul',
        {},
        about.cautions.map((words) => make('li', {}, words)),
      ),
    ),
    make('h3', {}, 'What no lidar shows'),
    about.never.map((words) => make('p', {}, words)),
    make('h3', {}, 'How to read it'),
    make(
      'p',
      {},
      'Symbols are those of ISOM 2017-2, as large on the ground as on a sheet; much enlarged, they grow less. ',
      `Magnetic north is up, for ${about.map_date}: declination ${about.declination_deg}°, by ${about.magnetic_model}. `,
      `Contours every ${about.interval_m} m. Each feature says how sure the draft is: the chance that a mapper who `,
      'walks there would draw the same.',
    ),
    make('h3', {}, 'By keyboard'),
    make(
      'p',
      {},
      'On the map, arrow keys move, plus and minus enlarge, Enter tells what lies under the cross. ',
      'Among the headings beside it, left and right change the page.',
    ),
    make('h3', {}, 'Sources and credit'),
    make('p', {}, said(about.made_from || 'Who made the lidar is not known.')),
    make(
      'ul',
      {},
      about.coordinates.map((words) => make('li', {}, said(words))),
    ),
    make('p', {}, said(`Coordinates: ${about.crs}.`)),
    make('p', {}, 'Drawn by Tussock (MIT licence). The map is moved by Leaflet 1.9.4 (BSD licence of two clauses).'),
    make(
      'details',
      {},
      make('summary', {}, 'Licence of Leaflet'),
      document.getElementById('licence').content.cloneNode(true),
    ),
  );
}
