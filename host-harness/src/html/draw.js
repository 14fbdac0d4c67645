// Draws the numbers. The library has the axes, the grid and the cursor; curves, bands and lanes are drawn here, so that no extreme is lost.
"use strict";

// Colours of Okabe and Ito, which are told apart with every common kind of colour blindness; each goes with a pattern of its own.
const PALETTES = {
  light: { a: "#0072b2", b: "#d55e00", limit: "#222", trip: "#b0006d", fault: "#7a5c00", on: "#444", some: "#888", grid: "#ddd", text: "#222", back: "#fff" },
  dark: { a: "#56b4e9", b: "#e69f00", limit: "#eee", trip: "#ff8ad1", fault: "#f0e442", on: "#bbb", some: "#777", grid: "#3a3a3a", text: "#ddd", back: "#161616" },
};
const darkness = matchMedia("(prefers-color-scheme: dark)");
let printing = false;
const palette = () => (darkness.matches && !printing ? PALETTES.dark : PALETTES.light);

const DASHES = { a: [], b: [7, 4], limit: [3, 3], demand: [2, 4] };

function hatch(colour) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 6;
  const ctx = tile.getContext("2d");
  ctx.strokeStyle = colour;
  ctx.lineWidth = 1.4;
  ctx.beginPath();
  ctx.moveTo(-1, 7); ctx.lineTo(7, -1);
  ctx.moveTo(-1, 1); ctx.lineTo(1, -1);
  ctx.moveTo(5, 7); ctx.lineTo(7, 5);
  ctx.stroke();
  return ctx.createPattern(tile, "repeat");
}

/** One curve: bands where buckets are thinned, columns where there are more frames than pixels, else lines; each keeps its dashes. `sign` mirrors it. */
function curve(u, list, pick, style, sign = 1) {
  const { ctx } = u;
  const px = devicePixelRatio;
  const x = time => u.valToPos(time, "x", true);
  const y = value => u.valToPos(sign * value, "y", true);
  ctx.save();
  ctx.beginPath();
  ctx.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height);
  ctx.clip();
  ctx.strokeStyle = style.colour;
  ctx.lineWidth = (style.width ?? 1.4) * px;
  for (const [stretch, from, to] of list) {
    const { low, high } = pick(stretch);
    if (style.step && stretch.per === 1) line(u, stretch, low, from, to, x, y, style);
    else if (to - from > 2 * u.bbox.width) columns(u, stretch, low, high, from, to, x, y, style);
    else if (stretch.per > 1) bands(u, stretch, low, high, from, to, x, y, style);
    else line(u, stretch, low, from, to, x, y, style);
  }
  ctx.restore();
}

function line(u, stretch, value, from, to, x, y, style) {
  const { ctx } = u;
  ctx.setLineDash(DASHES[style.dash].map(length => length * devicePixelRatio));
  ctx.beginPath();
  let open = false, last = 0;
  const usual = (stretch.first[stretch.first.length - 1] - stretch.first[0]) / Math.max(1, stretch.first.length - 1);
  for (let k = from; k < to; k++) {
    if (Number.isNaN(value[k])) { open = false; continue; }
    // What stays as it is is one line, and keeps its dashes.
    if (style.step && open && k + 1 < to && value[k] === value[k - 1] && value[k] === value[k + 1]) continue;
    const [here, up] = [x(stretch.first[k]), y(value[k])];
    // A line across a gap would show a motion that nobody saw.
    if (open && k > 0 && stretch.first[k] - stretch.first[k - 1] > 20 * usual) open = false;
    if (!open) ctx.moveTo(here, up);
    else if (style.step) { ctx.lineTo(here, last); ctx.lineTo(here, up); } else ctx.lineTo(here, up);
    open = true; last = up;
    const alone = (k + 1 >= stretch.first.length || Number.isNaN(value[k + 1])) && (k === 0 || Number.isNaN(value[k - 1]));
    if (alone) ctx.lineTo(here + devicePixelRatio, up);
  }
  ctx.stroke();
  ctx.setLineDash([]);
}

/** Each bucket from its least to its greatest, over its whole time. */
function bands(u, stretch, low, high, from, to, x, y, style) {
  const slabs = [];
  const frames = Math.max(1, stretch.count * stretch.per - 1);
  // A band across a gap would show a motion that nobody saw.
  const gap = 20 * (stretch.last[stretch.count - 1] - stretch.first[0]) / frames;
  let opens = true;
  for (let k = from; k < to; k++) {
    if (Number.isNaN(low[k])) { opens = true; continue; }
    if (k > 0 && stretch.first[k] - stretch.last[k - 1] > gap) opens = true;
    const left = x(stretch.first[k]), right = Math.max(left + devicePixelRatio, x(stretch.last[k]));
    const [top, bottom] = [y(high[k]), y(low[k])].sort((one, other) => one - other);
    slabs.push({ left, right, top, bottom, opens });
    opens = false;
  }
  ribbon(u, slabs, style);
}

/** Each column of pixels from the least to the greatest of what falls into it. */
function columns(u, stretch, low, high, from, to, x, y, style) {
  const slabs = [];
  let column = NaN, least = Infinity, most = -Infinity, opens = true;
  const flush = () => {
    if (least > most) return;
    const [top, bottom] = [y(most), y(least)].sort((one, other) => one - other);
    slabs.push({ left: column, right: column + 1, top, bottom, opens });
    opens = false;
  };
  for (let k = from; k < to; k++) {
    if (Number.isNaN(low[k])) continue;
    const here = Math.floor(x(stretch.first[k]));
    if (here !== column) {
      flush();
      if (here - column > 20) opens = true;
      column = here; least = Infinity; most = -Infinity;
    }
    least = Math.min(least, low[k]);
    most = Math.max(most, high[k]);
  }
  flush();
  ribbon(u, slabs, style);
}

/** Slabs side by side: a line where they are flat, with the dashes of what it is; else filled, b hatched, and an outline with the dashes. */
function ribbon(u, slabs, style) {
  const { ctx } = u, px = devicePixelRatio;
  const least = (style.width ?? 1.4) * px;
  const isFlat = slab => slab.bottom - slab.top <= least;
  const middle = slab => (slab.top + slab.bottom) / 2;
  ctx.setLineDash(DASHES[style.dash].map(length => length * px));
  for (let from = 0, to; from < slabs.length; from = to) {
    const flat = isFlat(slabs[from]);
    to = from + 1;
    while (to < slabs.length && !slabs[to].opens && isFlat(slabs[to]) === flat) to += 1;
    const before = from > 0 && !slabs[from].opens ? slabs[from - 1] : null;
    const after = to < slabs.length && !slabs[to].opens ? slabs[to] : null;
    ctx.beginPath();
    if (flat) {
      // A line goes on into the band beside it.
      if (before) ctx.moveTo(before.right, middle(before)); else ctx.moveTo(slabs[from].left, middle(slabs[from]));
      for (let k = from; k < to; k++) {
        ctx.lineTo(slabs[k].left, middle(slabs[k]));
        ctx.lineTo(slabs[k].right, middle(slabs[k]));
      }
      if (after) ctx.lineTo(after.left, middle(after));
      ctx.lineWidth = least;
    } else {
      ctx.moveTo(slabs[from].left, slabs[from].top);
      for (let k = from; k < to; k++) { ctx.lineTo(slabs[k].left, slabs[k].top); ctx.lineTo(slabs[k].right, slabs[k].top); }
      for (let k = to - 1; k >= from; k--) { ctx.lineTo(slabs[k].right, slabs[k].bottom); ctx.lineTo(slabs[k].left, slabs[k].bottom); }
      ctx.closePath();
      ctx.fillStyle = style.colour;
      ctx.globalAlpha = style.dash === "a" ? 0.5 : 0.25;
      ctx.fill();
      ctx.globalAlpha = 1;
      if (style.dash === "b") { ctx.fillStyle = hatch(style.colour); ctx.fill(); }
      ctx.lineWidth = px;
    }
    ctx.stroke();
  }
  ctx.setLineDash([]);
}

/** Trips, their demands, and faults as lines across a chart; shapes and letters say which is which. */
function marks(u, meta, withLabels) {
  const { ctx } = u, px = devicePixelRatio, colours = palette();
  const { left, top, width, height } = u.bbox;
  const x = time => u.valToPos(time, "x", true);
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, width, height);
  ctx.clip();
  ctx.fillStyle = hatch(colours.fault);
  ctx.globalAlpha = 0.5;
  for (const { from, to } of [...meta.faults, ...meta.gaps]) {
    const begin = x(from);
    ctx.fillRect(begin, top, Math.max(2 * px, x(to) - begin), height);
  }
  ctx.globalAlpha = 1;
  ctx.font = `${11 * px}px system-ui, sans-serif`;
  ctx.textBaseline = "top";
  ctx.textAlign = "left";
  let written = -Infinity;
  for (const trip of meta.trips) {
    ctx.strokeStyle = colours.trip;
    ctx.lineWidth = 1.6 * px;
    ctx.setLineDash([]);
    const here = x(trip.at);
    ctx.beginPath();
    ctx.moveTo(here, top);
    ctx.lineTo(here, top + height);
    ctx.stroke();
    if (withLabels && here - written > 34 * px && here >= left) {
      ctx.fillStyle = colours.trip;
      ctx.fillText(`\u25bc${trip.number}`, here + 3 * px, top + 2 * px);
      written = here;
    }
  }
  ctx.restore();
}

/** Lines, inputs, monitors and the permit: a bar where it is on, a hatched one where it is on at some frames of a bucket. */
function lanes(u, data, list, shown) {
  const { ctx } = u, px = devicePixelRatio, colours = palette();
  const { left, top, width } = u.bbox;
  const x = time => u.valToPos(time, "x", true);
  const some = hatch(colours.on);
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, width, u.bbox.height);
  ctx.clip();
  shown.forEach((lane, row) => {
    const y = top + row * LANE * px;
    const kind = data.meta.lanes[lane].kind;
    const colour = kind === "violated" ? colours.trip : kind === "fault" ? colours.fault : colours.on;
    for (const [stretch, from, to] of list) {
      const states = stretch.lanes[lane];
      for (let k = from; k < to;) {
        let end = k + 1;
        while (end < to && states[end] === states[k]) end += 1;
        if (states[k] > 0) {
          const begin = x(stretch.first[k]);
          const until = end < stretch.count ? x(stretch.first[end]) : x(stretch.last[end - 1]);
          ctx.fillStyle = states[k] === 1 ? colour : some;
          const whole = kind === "violated" || kind === "fault" ? 5 : 7;
          ctx.fillRect(begin, y + 13 * px, Math.max(px, until - begin), whole * px);
        }
        k = end;
      }
    }
    ctx.fillStyle = colours.grid;
    ctx.fillRect(left, y + (LANE - 1) * px, width, px);
    ctx.font = `${11 * px}px system-ui, sans-serif`;
    ctx.textAlign = "left";
    ctx.textBaseline = "top";
    const text = data.meta.lanes[lane].label;
    ctx.fillStyle = colours.back;
    ctx.globalAlpha = 0.8;
    ctx.fillRect(left, y, ctx.measureText(text).width + 6 * px, 12 * px);
    ctx.globalAlpha = 1;
    ctx.fillStyle = colours.text;
    ctx.fillText(text, left + 3 * px, y + 0.5 * px);
  });
  ctx.restore();
}

const LANE = 22;
