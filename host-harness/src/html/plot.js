// Unpacks the numbers of the page, and keeps which part of them is in view. Everything it needs is in this file.
"use strict";

/** Numbers packed as the program packed them: see `encode.rs`. */
class Unpacker {
  constructor(bytes) { this.bytes = bytes; this.at = 0; }

  /** A whole number, seven bits a byte, the lowest first. Not by bit operations: those are of 32 bits. */
  whole() {
    let value = 0, scale = 1;
    for (;;) {
      const byte = this.bytes[this.at++];
      value += (byte % 128) * scale;
      if (byte < 128) return value;
      scale *= 128;
    }
  }

  /** Differences with their sign; 0 is no number at all. */
  numbers(count, step) {
    const values = new Float64Array(count);
    let last = 0;
    for (let i = 0; i < count; i++) {
      const token = this.whole();
      if (token === 0) { values[i] = NaN; continue; }
      const size = token - 1;
      last += size % 2 === 0 ? size / 2 : -(size + 1) / 2;
      values[i] = last * step;
    }
    return values;
  }

  /** How far above the lower ones the upper ones are. */
  above(low, step) {
    return low.map(value => Number.isNaN(value) ? NaN : value + this.whole() * step);
  }

  times(count, first) {
    const values = new Float64Array(count);
    let last = first;
    for (let i = 0; i < count; i++) { last += this.whole(); values[i] = last / 1e9; }
    return values;
  }

  /** Runs of states: 0 off, 1 on, 2 both. */
  runs(count) {
    const values = new Uint8Array(count);
    let i = 0;
    while (i < count) {
      const token = this.whole();
      const length = Math.floor(token / 3);
      values.fill(token % 3, i, i + length);
      i += length;
    }
    return values;
  }
}

async function unpacked(text) {
  const packed = Uint8Array.from(atob(text), letter => letter.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/** The stretches, the overview first, and what the trips were decided by. */
async function load(meta, text) {
  const from = new Unpacker(await unpacked(text));
  const stretches = meta.stretches.map(({ per, count }) => {
    const first = from.times(count, 0);
    const last = per > 1 ? first.map(time => time + from.whole() / 1e9) : first;
    const series = meta.series.map(({ step }) => {
      const low = from.numbers(count, step);
      return { low, high: per > 1 ? from.above(low, step) : low };
    });
    const lanes = meta.lanes.map(() => from.runs(count));
    return { per, count, first, last, series, lanes };
  });
  const decided = meta.decided.map(one => {
    const times = from.times(one.count, 0);
    const sides = [0, 1].map(() => ({
      observed: from.numbers(one.count, one.step),
      limits: [from.numbers(one.count, one.step), from.numbers(one.count, one.step)],
    }));
    return { ...one, per: 1, first: times, last: times, sides };
  });
  return { meta, stretches, decided };
}

/** The first place at which a time is not before another one. */
function place(times, at) {
  let low = 0, high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] < at) low = middle + 1; else high = middle;
  }
  return low;
}

/** The buckets of a stretch that reach into a view, as places: from, to (exclusive). */
function within(stretch, view) {
  const from = Math.max(0, place(stretch.last, view.min) - 1);
  const to = Math.min(stretch.first.length, place(stretch.first, view.max) + 2);
  return [from, Math.max(from, to)];
}

/** Whether a bucket of the overview is drawn by a close-up instead. */
function hidden(data, first, last) {
  return data.stretches.some((stretch, i) => i > 0 && stretch.count > 0
    && stretch.first[0] <= first && last <= stretch.first[stretch.count - 1]);
}

/** The stretches of a view with their places; the parts of the overview that close-ups hide are left out. */
function parts(data, view) {
  const found = [];
  data.stretches.forEach((stretch, i) => {
    const [from, to] = within(stretch, view);
    if (to <= from) return;
    if (i > 0 || data.stretches.length === 1) { found.push([stretch, from, to]); return; }
    let begin = -1;
    for (let k = from; k <= to; k++) {
      const shows = k < to && !hidden(data, stretch.first[k], stretch.last[k]);
      if (shows && begin < 0) begin = k;
      if (!shows && begin >= 0) { found.push([stretch, begin, k]); begin = -1; }
    }
  });
  return found;
}

/** Least and greatest of a number in view. */
function extent(data, view, series) {
  let low = Infinity, high = -Infinity;
  for (const [stretch, from, to] of parts(data, view)) {
    const of = stretch.series[series];
    for (let k = from; k < to; k++) {
      if (stretch.last[k] < view.min || stretch.first[k] > view.max) continue;
      if (of.low[k] < low) low = of.low[k];
      if (of.high[k] > high) high = of.high[k];
    }
  }
  return low <= high ? { low, high } : null;
}

/** What is known at a time: the close-up where there is one. */
function at(data, time) {
  for (let i = data.stretches.length - 1; i >= 0; i--) {
    const stretch = data.stretches[i];
    if (stretch.count === 0) continue;
    let k = place(stretch.first, time);
    if (k === stretch.count || stretch.first[k] > time) k -= 1;
    if (k < 0 || (i > 0 && time > stretch.last[stretch.count - 1])) continue;
    const next = k + 1 < stretch.count ? k + 1 : k;
    // Of single frames the nearest.
    if (stretch.per === 1 && stretch.first[next] - time < time - stretch.first[k]) k = next;
    return { stretch, place: k };
  }
  return null;
}
