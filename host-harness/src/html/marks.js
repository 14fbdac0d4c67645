// What happened, marked across the charts: trips, faults, stops, and where the permit goes.
"use strict";

/** What can be jumped to, with the sign of each and the keys to the next one and to the one before. */
const KINDS = {
  trip: { list: "trips", sign: "\u25bc", colour: "trip", keys: ["n", "p"], buttons: ["next", "previous"] },
  fault: { list: "faults", sign: "\u25c6", colour: "fault", keys: ["f", "F"], buttons: ["next-fault", "previous-fault"] },
  stop: { list: "stops", sign: "\u25a0", colour: "limit", keys: ["s", "S"], buttons: ["next-stop", "previous-stop"] },
};

/** When it happened: a trip and a stop where they were decided, a fault where it began. */
const when = (kind, one) => (kind === "trip" ? one.at : kind === "stop" ? one.to : one.from);

/** Where the permit goes in a view. Of a bucket of many frames only that it went in it is known. */
function gone(data, view) {
  const lane = data.meta.lanes.findIndex(one => one.kind === "permit");
  const found = [];
  if (lane < 0) return found;
  for (const [stretch, from, to] of parts(data, view)) {
    const states = stretch.lanes[lane];
    for (let k = Math.max(1, from); k < to; k++) {
      const wasMarked = k > 1 && states[k - 2] === 1;
      if (states[k - 1] === 1 ? states[k] !== 1 : states[k - 1] === 2 && states[k] === 0 && !wasMarked) found.push(stretch.first[k]);
    }
  }
  return found.sort((one, other) => one - other);
}

/** Trips, faults, stops and the permit as lines across a chart. */
function marks(u, data, view) {
  const { ctx } = u, px = devicePixelRatio, colours = palette();
  const { left, top, width, height } = u.bbox;
  const x = time => u.valToPos(time, "x", true);
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, width, height);
  ctx.clip();
  ctx.fillStyle = hatch(colours.fault);
  ctx.globalAlpha = 0.5;
  for (const { from, to } of [...data.meta.faults, ...data.meta.gaps]) {
    const begin = x(from);
    ctx.fillRect(begin, top, Math.max(2 * px, x(to) - begin), height);
  }
  ctx.globalAlpha = 1;
  const across = (time, colour, wide, dash) => {
    ctx.strokeStyle = colour;
    ctx.lineWidth = wide * px;
    ctx.setLineDash(dash.map(length => length * px));
    const here = x(time);
    ctx.beginPath();
    ctx.moveTo(here, top);
    ctx.lineTo(here, top + height);
    ctx.stroke();
  };
  for (const time of gone(data, view)) across(time, colours.text, 1, [1, 3]);
  for (const one of data.meta.stops) across(when("stop", one), colours.limit, 1.2, []);
  for (const one of data.meta.faults) across(when("fault", one), colours.fault, 1.6, [6, 2, 1, 2]);
  for (const one of data.meta.trips) across(when("trip", one), colours.trip, 1.6, []);
  ctx.restore();
}

/** Their signs and numbers, over what is drawn; those that would stand on each other share one label: from the first to the last of them. */
function labels(u, data, view) {
  const { ctx } = u, px = devicePixelRatio, colours = palette();
  const { left, top, width, height } = u.bbox;
  ctx.save();
  ctx.font = `${11 * px}px system-ui, sans-serif`;
  ctx.textAlign = "left";
  ctx.textBaseline = "top";
  ctx.lineJoin = "round";
  const wide = text => ctx.measureText(text).width;
  const write = (text, here, y, colour) => {
    const at = Math.min(here + 3 * px, left + width - wide(text) - 2 * px);
    ctx.strokeStyle = colours.back;
    ctx.lineWidth = 3 * px;
    ctx.strokeText(text, at, y);
    ctx.fillStyle = colour;
    ctx.fillText(text, at, y);
  };
  const inside = here => here >= left && here <= left + width;
  let y = top + 2 * px;
  for (const [kind, { list, sign, colour }] of Object.entries(KINDS)) {
    let open = null;
    const text = () => `${sign}${open.first}${open.last > open.first ? `\u2013${open.last}` : ""}`;
    const flush = () => { if (open) write(text(), open.here, y, colours[colour]); };
    for (const one of data.meta[list]) {
      const here = u.valToPos(when(kind, one), "x", true), { number } = one;
      if (!inside(here)) continue;
      // One that is asked for by its number can stand behind a gap in the numbers.
      if (open && number === open.last + 1 && here < open.here + wide(text()) + 6 * px) { open.last = number; continue; }
      flush();
      open = { first: number, last: number, here };
    }
    flush();
    if (data.meta[list].length > 0) y += 13 * px;
  }
  let last = -Infinity;
  for (const time of gone(data, view)) {
    const here = u.valToPos(time, "x", true), text = "\u00d7 permit";
    if (!inside(here) || here < last + wide(text) + 6 * px) continue;
    write(text, here, top + height - 13 * px, colours.text);
    last = here;
  }
  ctx.restore();
}
