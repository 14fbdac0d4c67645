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

/** How high a lane is, and its bar in it, in pixels. */
const LANE = 20, BAR = 15;

/** Fill and edge of a lane: what an input demands is darker than the levels of its lines, so that it is seen whatever level demands. */
function laneStyle(kind, colours) {
  if (kind === "violated") return { fill: colours.trip, alpha: 0.4, edge: colours.trip };
  if (kind === "fault") return { fill: colours.fault, alpha: 0.4, edge: colours.fault };
  if (kind === "input") return { fill: colours.on, alpha: 0.6, edge: colours.on };
  return { fill: colours.on, alpha: 0.22, edge: colours.on };
}

/** Lines, inputs, monitors and the permit: a bar where it is on, a hatched one where it is on at some frames of a bucket; a line that is low has a foot. */
function lanes(u, data, list, shown, everOn) {
  const { ctx } = u, px = devicePixelRatio, colours = palette();
  const { left, top, width } = u.bbox;
  const x = time => Math.min(Math.max(u.valToPos(time, "x", true), left - 2 * px), left + width + 2 * px);
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, width, u.bbox.height);
  ctx.clip();
  shown.forEach((lane, row) => {
    const y = top + (row * LANE + 2) * px;
    const { kind, label } = data.meta.lanes[lane];
    const { fill, alpha, edge } = laneStyle(kind, colours);
    for (const [stretch, from, to] of list) {
      const states = stretch.lanes[lane];
      for (let k = from; k < to;) {
        let end = k + 1;
        while (end < to && states[end] === states[k]) end += 1;
        const begin = x(stretch.first[k]);
        const wide = Math.max(px, (end < stretch.count ? x(stretch.first[end]) : x(stretch.last[end - 1])) - begin);
        ctx.fillStyle = edge;
        if (states[k] > 0) {
          ctx.fillStyle = states[k] === 1 ? fill : hatch(fill);
          ctx.globalAlpha = states[k] === 1 ? alpha : 1;
          ctx.fillRect(begin, y, wide, BAR * px);
          ctx.globalAlpha = 1;
          ctx.fillStyle = edge;
          for (const [of, high] of [[0, 1], [BAR - 1, 1]]) ctx.fillRect(begin, y + of * px, wide, high * px);
          for (const side of [begin, begin + wide - px]) ctx.fillRect(side, y, px, BAR * px);
        } else if (kind === "line") ctx.fillRect(begin, y + (BAR - 1) * px, wide, px);
        k = end;
      }
    }
    ctx.fillStyle = colours.grid;
    ctx.fillRect(left, y + (LANE - 3) * px, width, px);
    ctx.font = `${11 * px}px system-ui, sans-serif`;
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    ctx.lineJoin = "round";
    ctx.strokeStyle = colours.back;
    ctx.lineWidth = 3 * px;
    const text = everOn(lane) ? label : `${label}: ${kind === "line" ? "low throughout" : "never"}`;
    ctx.strokeText(text, left + 5 * px, y + (BAR / 2 + 0.5) * px);
    ctx.fillStyle = colours.text;
    ctx.fillText(text, left + 5 * px, y + (BAR / 2 + 0.5) * px);
  });
  ctx.restore();
}
