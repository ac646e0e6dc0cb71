// The data blocks of the page, and small helpers that build elements. Nothing here ever writes HTML from a text.

const blocks = {};

// Read every block; long ones are compressed as RFC 1950 and told in base64.
async function readBlocks() {
  for (const element of document.querySelectorAll('script[id^="data-"]')) {
    const name = element.id.slice(5);
    if (element.type === 'application/json') {
      blocks[name] = JSON.parse(element.textContent);
    } else {
      const bytes = Uint8Array.from(atob(element.textContent), (letter) => letter.charCodeAt(0));
      const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('deflate'));
      blocks[name] = JSON.parse(await new Response(stream).text());
    }
    element.remove();
  }
}

// One element: make('p', {class: 'quiet'}, 'words', anotherElement). Texts become text, whatever they hold.
function make(tag, attributes, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else if (name in element && typeof value === 'boolean') element[name] = value;
    else if (value !== null && value !== undefined && value !== false) element.setAttribute(name, value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== ''));
  return element;
}

// Words that a user or a report gave: their own direction of writing decides how they are set.
function said(text) {
  return make('bdi', {}, String(text));
}

function plural(count, one, many) {
  return `${count.toLocaleString('en')} ${count === 1 ? one : many || one + 's'}`;
}

// A number with so many decimals; nothing where there is none.
function figure(value, decimals) {
  if (typeof value !== 'number') return '';
  return value.toLocaleString('en', { maximumFractionDigits: decimals, minimumFractionDigits: decimals });
}

function table(caption, heads, rows, numbers) {
  const cell = (tag, text, column) =>
    make(tag, { class: numbers.includes(column) ? 'n' : null, scope: tag === 'th' ? 'col' : null }, text);
  return make(
    'div',
    { class: 'wide', tabindex: '0', role: 'region', 'aria-label': caption },
    make(
      'table',
      {},
      make('caption', {}, caption),
      make(
        'thead',
        {},
        make(
          'tr',
          {},
          heads.map((head, column) => cell('th', head, column)),
        ),
      ),
      make(
        'tbody',
        {},
        rows.map((row) =>
          make(
            'tr',
            {},
            row.map((text, column) => cell('td', text, column)),
          ),
        ),
      ),
    ),
  );
}

// Metres on the page's map -> WGS 84, by the polynomials that came with the page.
function degreesOf(x, y) {
  const fit = blocks.place.degrees;
  const a = (x - fit.middle[0]) / 1000,
    b = (y - fit.middle[1]) / 1000;
  const terms = [1, a, b, a * a, a * b, b * b];
  const sum = (numbers) => numbers.reduce((total, number, index) => total + number * terms[index], 0);
  return { latitude: sum(fit.latitude), longitude: sum(fit.longitude) };
}

// The other way: Newton's steps, as the polynomials are nearly linear.
function placeOf(latitude, longitude) {
  let [x, y] = blocks.place.degrees.middle;
  for (let step = 0; step < 6; step += 1) {
    const here = degreesOf(x, y),
      east = degreesOf(x + 1, y),
      north = degreesOf(x, y + 1);
    const a = east.longitude - here.longitude,
      b = north.longitude - here.longitude;
    const c = east.latitude - here.latitude,
      d = north.latitude - here.latitude;
    const u = longitude - here.longitude,
      v = latitude - here.latitude;
    const det = a * d - b * c;
    x += (u * d - v * b) / det;
    y += (a * v - c * u) / det;
  }
  return { x, y };
}

// Features as objects: lines are flat lists of metres, box is what they reach.
function unfoldFeatures(told) {
  const features = [];
  for (let index = 0; index < told.id.length; index += 1) {
    const look = told.symbols[told.look[index]];
    const box = [Infinity, Infinity, -Infinity, -Infinity];
    const lines = told.rings[index].map((steps) => unfoldLine(steps, box));
    features.push({
      id: told.id[index],
      look,
      sure: told.sure[index],
      status: told.status[index],
      evidence: told.evidence[index],
      origin: told.origin[index],
      angle: told.angle[index],
      elevation_m: told.elevation_m[index],
      height_m: told.height_m[index],
      width_m: told.width_m[index],
      lines,
      box,
      path: null,
    });
  }
  return features;
}

function unfoldLine(steps, box) {
  const line = new Float64Array(steps.length);
  let x = 0,
    y = 0;
  for (let at = 0; at < steps.length; at += 2) {
    x += steps[at];
    y += steps[at + 1];
    line[at] = x / 10;
    line[at + 1] = y / 10;
    box[0] = Math.min(box[0], x / 10);
    box[1] = Math.min(box[1], y / 10);
    box[2] = Math.max(box[2], x / 10);
    box[3] = Math.max(box[3], y / 10);
  }
  return line;
}
