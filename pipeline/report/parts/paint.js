// Drawing features with the paints of the norm's table, in metres on the ground.
// A view is {ctx, scale: device pixels a metre, left, top: device pixels of the map's origin, box: metres in sight,
// small: by how much symbols are drawn smaller than the norm's size, 1 unless the map is much enlarged,
// isBare: whether yellow and green are left out, as what lies under the map has colours of its own}.

const LEAST_LINE_PX = 0.8; // thinner lines vanish on a screen
const LEAST_STAMP_PX = 7; // point symbols stay to be seen however small the map is
const LEAST_TILE_PX = 9; // below, a pattern is a grey haze: its tint is drawn instead
const LEAST_ALONG_PX = 2; // below, marks along a line are left out
const MOST_SYMBOL_SCALE = 1.5; // pixels a metre to which symbols grow with the map: larger, they hide the relief
const PINK = '#d81b72';
const drawings = new Map(); // address of an SVG -> its picture
const bitmaps = new Map(); // the picture at a size, as it is drawn again and again

// Wait until the browser has read all drawings of symbols, so that drawing never waits.
async function readDrawings(looks) {
  const sources = new Set(
    looks
      .flatMap((look) => look.paints)
      .map((paint) => paint.svg)
      .filter(Boolean),
  );
  await Promise.all(
    [...sources].map(
      (source) =>
        new Promise((done) => {
          const picture = new Image();
          picture.onload = picture.onerror = done;
          picture.src = source;
          drawings.set(source, picture);
        }),
    ),
  );
}

function bitmapOf(paint, width, height) {
  const key = `${width} ${height} ${paint.svg}`;
  if (!bitmaps.has(key)) {
    if (bitmaps.size > 400) bitmaps.clear();
    const canvas = document.createElement('canvas');
    canvas.width = width;
    canvas.height = height;
    canvas.getContext('2d').drawImage(drawings.get(paint.svg), 0, 0, width, height);
    bitmaps.set(key, canvas);
  }
  return bitmaps.get(key);
}

function inSight(feature, view, margin) {
  const [west, south, east, north] = feature.box,
    sight = view.box;
  return west < sight[2] + margin && east > sight[0] - margin && south < sight[3] + margin && north > sight[1] - margin;
}

function pathOf(feature) {
  if (!feature.path) {
    feature.path = new Path2D();
    for (const line of feature.lines) tracePath(feature.path, line, feature.look.kind === 'area');
  }
  return feature.path;
}

function tracePath(path, line, closed) {
  path.moveTo(line[0], line[1]);
  for (let at = 2; at < line.length; at += 2) path.lineTo(line[at], line[at + 1]);
  if (closed) path.closePath();
}

function onGround(view) {
  view.ctx.setTransform(view.scale, 0, 0, -view.scale, view.left, view.top);
}

// Features by how they are drawn: all that share a symbol, bottom of the print first.
function grouped(features) {
  const groups = new Map();
  for (const feature of features) {
    if (!groups.has(feature.look)) groups.set(feature.look, []);
    groups.get(feature.look).push(feature);
  }
  return [...groups].sort(([a], [b]) => a.order - b.order);
}

function paintDraft(view, groups, isShown) {
  for (const [look, features] of groups) {
    const shown = features.filter((feature) => isShown(feature) && inSight(feature, view, 30));
    if (!shown.length) continue;
    const drawn = shown.filter((feature) => feature.status !== 'candidate');
    for (const paint of look.paints) {
      if (!(view.isBare && look.section === 'vegetation' && (paint.is === 'surface' || paint.is === 'tile')))
        PAINTERS[paint.is](view, paint, drawn);
    }
    paintCandidates(
      view,
      shown.filter((feature) => feature.status === 'candidate'),
    );
  }
}

const PAINTERS = {
  surface(view, paint, features) {
    onGround(view);
    view.ctx.fillStyle = paint.colour;
    for (const feature of features) view.ctx.fill(pathOf(feature), 'evenodd');
  },
  stroke(view, paint, features) {
    const ctx = view.ctx;
    onGround(view);
    ctx.strokeStyle = paint.colour;
    ctx.lineWidth = Math.max(paint.width_m * view.small, LEAST_LINE_PX / view.scale);
    ctx.lineJoin = 'round';
    ctx.lineCap = paint.dashes_m.length ? 'butt' : 'round';
    const dashes = paint.dashes_m.map((length) => length * view.small);
    ctx.setLineDash(dashes.length && Math.min(...dashes) * view.scale > 0.6 ? dashes : []);
    for (const feature of features) {
      if (paint.right_m) for (const line of feature.lines) ctx.stroke(besides(line, paint.right_m * view.small));
      else ctx.stroke(pathOf(feature));
    }
    ctx.setLineDash([]);
  },
  tile(view, paint, features) {
    const ctx = view.ctx;
    const width = Math.round(paint.width_m * view.scale * view.small),
      height = Math.round(paint.height_m * view.scale * view.small);
    onGround(view);
    if (Math.min(width, height) < LEAST_TILE_PX) {
      ctx.globalAlpha = 0.5;
      ctx.fillStyle = paint.tint;
    } else {
      const pattern = ctx.createPattern(bitmapOf(paint, width, height), 'repeat');
      pattern.setTransform(
        new DOMMatrix([(paint.width_m * view.small) / width, 0, 0, (-paint.height_m * view.small) / height, 0, 0]),
      );
      ctx.fillStyle = pattern;
    }
    for (const feature of features) ctx.fill(pathOf(feature), 'evenodd');
    ctx.globalAlpha = 1;
  },
  along(view, paint, features) {
    if (paint.height_m * view.scale * view.small < LEAST_ALONG_PX) return;
    for (const feature of features) {
      for (const line of feature.lines) {
        for (const [x, y, turn] of placesAlong(line, paint, view.small)) stampAt(view, paint, x, y, turn, 0);
      }
    }
    view.ctx.setTransform(1, 0, 0, 1, 0, 0);
  },
  stamp(view, paint, features) {
    for (const feature of features) {
      const angle = paint.turns ? (feature.angle ?? paint.without_deg) : 0;
      const [x, y] = feature.lines[0];
      stampAt(view, paint, x, y, (angle * Math.PI) / 180, LEAST_STAMP_PX * devicePixelRatio);
    }
    view.ctx.setTransform(1, 0, 0, 1, 0, 0);
  },
};

function stampAt(view, paint, x, y, turn, least) {
  const scale = Math.max(view.scale * view.small, least / Math.max(paint.width_m, paint.height_m));
  const width = Math.max(1, Math.round(paint.width_m * scale));
  const height = Math.max(1, Math.round(paint.height_m * scale));
  view.ctx.setTransform(1, 0, 0, 1, view.left + x * view.scale, view.top - y * view.scale);
  if (turn) view.ctx.rotate(turn);
  view.ctx.drawImage(bitmapOf(paint, width, height), -width / 2, -height / 2);
}

// Where marks along a line stand: x, y and the turn (clockwise) that points their right to the line's end.
function placesAlong(line, paint, small) {
  const places = [];
  let next = paint.first_m * small,
    walked = 0;
  for (let at = 2; at < line.length; at += 2) {
    const dx = line[at] - line[at - 2],
      dy = line[at + 1] - line[at - 1],
      length = Math.hypot(dx, dy);
    const turn = -Math.atan2(dy, dx);
    if (!paint.every_m) {
      places.push([line[at - 2], line[at - 1], turn]);
      continue;
    }
    while (next <= walked + length) {
      const share = (next - walked) / length;
      places.push([line[at - 2] + share * dx, line[at - 1] + share * dy, turn]);
      next += paint.every_m * small;
    }
    walked += length;
  }
  return places;
}

// A line shifted to its right, bend by bend.
function besides(line, right) {
  const path = new Path2D();
  for (let at = 0; at < line.length; at += 2) {
    const before = Math.max(0, at - 2),
      after = Math.min(line.length - 2, at + 2);
    const dx = line[after] - line[before],
      dy = line[after + 1] - line[before + 1],
      length = Math.hypot(dx, dy) || 1;
    const x = line[at] + (right * dy) / length,
      y = line[at + 1] - (right * dx) / length;
    if (at) path.lineTo(x, y);
    else path.moveTo(x, y);
  }
  return path;
}

// Candidates are pink: rings for points, dashed lines and outlines, whatever their symbol.
function paintCandidates(view, features) {
  if (!features.length) return;
  const ctx = view.ctx,
    px = devicePixelRatio / view.scale;
  onGround(view);
  ctx.strokeStyle = PINK;
  ctx.lineWidth = 1.6 * px;
  for (const feature of features) {
    ctx.setLineDash(feature.look.kind === 'point' ? [] : [5 * px, 3 * px]);
    if (feature.look.kind === 'point') {
      ctx.beginPath();
      ctx.arc(feature.lines[0][0], feature.lines[0][1], Math.max(4 * px, 3), 0, 7);
      ctx.stroke();
    } else {
      ctx.stroke(pathOf(feature));
    }
  }
  ctx.setLineDash([]);
}

// What has been chosen, with a band around it that no symbol of the norm has.
function paintChosen(view, feature) {
  const ctx = view.ctx,
    px = devicePixelRatio / view.scale;
  onGround(view);
  for (const [colour, width] of [
    ['rgb(255 255 255 / 85%)', 9],
    ['#7a1a72', 3.5],
  ]) {
    ctx.strokeStyle = colour;
    ctx.lineWidth = width * px;
    ctx.beginPath();
    if (feature.look.kind === 'point') {
      ctx.arc(feature.lines[0][0], feature.lines[0][1], 15 * px, 0, 7);
      ctx.stroke();
    } else {
      ctx.stroke(pathOf(feature));
    }
  }
}

// A symbol alone, for lists: white paper with the symbol on it.
function swatch(look) {
  const canvas = make('canvas', { width: 88, height: 56, 'aria-hidden': 'true' });
  canvas.style.width = '44px';
  canvas.style.height = '28px';
  const ctx = canvas.getContext('2d');
  ctx.fillStyle = '#fff';
  ctx.fillRect(0, 0, 88, 56);
  const scale = look.kind === 'point' ? 4.5 : 3;
  const view = { ctx, scale, small: 1, isBare: false, left: 44, top: 28, box: [-99, -99, 99, 99] };
  const shapes = { point: [0, 0], line: [-13, -2, 0, 2, 13, -1], area: [-13, -7, 13, -7, 13, 7, -13, 7] };
  const feature = { look, lines: [Float64Array.from(shapes[look.kind])], angle: 45, path: null };
  for (const paint of look.paints) PAINTERS[paint.is](view, paint, [feature]);
  return canvas;
}
