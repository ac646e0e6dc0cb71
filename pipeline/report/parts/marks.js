// What the mapper answers on the phone: kept in the browser where it allows that, handed back as a file.

const marks = new Map();
const listeners = [];
let marksAreKept = true;

const STATUS = { yes: 'confirmed', no: 'rejected' };

function storageKey() {
  return `tussock marks ${blocks.about.name}`;
}

function loadMarks() {
  try {
    for (const mark of JSON.parse(localStorage.getItem(storageKey()) || '[]')) marks.set(mark.key, mark);
  } catch (error) {
    marksAreKept = false;
  }
}

function keepMarks() {
  try {
    localStorage.setItem(storageKey(), JSON.stringify([...marks.values()]));
  } catch (error) {
    marksAreKept = false;
  }
  for (const listener of listeners) listener();
}

// Change what is answered of a place: {key, id, name, x, y} and what is new about it.
function setMark(place, change) {
  const mark = {
    key: place.key,
    id: place.id || '',
    name: place.name || '',
    x: place.x,
    y: place.y,
    answer: '',
    symbol: '',
    note: '',
    ...marks.get(place.key),
    ...change,
    at: new Date().toISOString(),
  };
  if (mark.answer || mark.note) marks.set(place.key, mark);
  else marks.delete(place.key);
  keepMarks();
}

function isDone(key) {
  return Boolean(marks.get(key)?.answer);
}

// What came of a place, in the words that `tussock notes` reads; none where a note alone tells.
function statusOf(mark) {
  if (STATUS[mark.answer]) return STATUS[mark.answer];
  if (mark.to) return 'moved';
  if (mark.symbol) return 'new';
  return mark.answer ? 'seen' : '';
}

function marksAsGeoJson() {
  const features = [...marks.values()].map((mark) => {
    const [x, y] = mark.to || [mark.x, mark.y];
    const { latitude, longitude } = degreesOf(x, y);
    return {
      type: 'Feature',
      geometry: { type: 'Point', coordinates: [Number(longitude.toFixed(7)), Number(latitude.toFixed(7))] },
      properties: {
        id: mark.id,
        status: statusOf(mark),
        symbol: mark.symbol,
        note: mark.note,
        at: mark.at,
        answer: mark.answer,
        name: mark.name,
        key: mark.key,
      },
    };
  });
  return { type: 'FeatureCollection', features };
}

// Take in a file that this page, or the same page on another phone, handed back; the later answer counts.
function marksFromGeoJson(told) {
  let taken = 0;
  for (const { geometry, properties } of told.features) {
    const known = marks.get(properties.key);
    if (!properties.key || (known && known.at >= properties.at)) continue;
    const { x, y } = placeOf(geometry.coordinates[1], geometry.coordinates[0]);
    const mark = {
      key: properties.key,
      id: properties.id,
      name: properties.name,
      x,
      y,
      answer: properties.answer,
      symbol: properties.symbol || '',
      note: properties.note || '',
      at: properties.at,
    };
    if (properties.status === 'moved') mark.to = [x, y];
    marks.set(mark.key, mark);
    taken += 1;
  }
  keepMarks();
  return taken;
}

function handBack() {
  const text = JSON.stringify(marksAsGeoJson(), null, 1);
  const address = URL.createObjectURL(new Blob([text], { type: 'application/geo+json' }));
  const name = blocks.about.name.replace(/[^\p{L}\p{N}]+/gu, '_') || 'area';
  const link = make('a', { href: address, download: `marks_${name}.geojson` });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}
