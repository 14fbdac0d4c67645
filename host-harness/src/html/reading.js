// What is known at the cursor, as a table and in words.
"use strict";

const element = (name, text) => {
  const made = document.createElement(name);
  if (text !== undefined) made.textContent = text;
  return made;
};

/** A number with as many digits as its step tells. */
function shown(value, step) {
  if (Number.isNaN(value)) return "\u2013";
  return value.toFixed(Math.max(0, Math.min(9, Math.round(-Math.log10(step))))).replace("-", "\u2212");
}

/** Seconds on the clock of the trace, counted from its first frame exactly, and told to such a grain, in ns. */
function clock(meta, seconds, grain = 1n) {
  const exact = BigInt(meta.first_ns) + BigInt(Math.round(seconds * 1e9));
  const sign = exact < 0n ? "\u2212" : "";
  const size = ((exact < 0n ? -exact : exact) + grain / 2n) / grain * grain;
  const rest = (size % 1000000000n).toString().padStart(9, "0").replace(/0+$/, "");
  return `${sign}${size / 1000000000n}${rest ? `.${rest}` : ""}`;
}

/** A power of ten of ns, fine enough to tell a thousandth of a span. */
function grainOf(span) {
  return 10n ** BigInt(Math.max(0, Math.min(9, Math.floor(Math.log10(Math.max(span, 1e-9) * 1e6)))));
}

/** The rows: of one value, or of one for each channel. */
function reading(data, time, grain) {
  const { meta } = data;
  const found = at(data, time);
  if (!found) return [{ name: "time", unit: "s", values: [clock(meta, time, grain)] }];
  const { stretch, place } = found;
  const thin = stretch.per > 1;
  const ends = [stretch.first, stretch.last].map(times => clock(meta, times[place], grain));
  const rows = [{ name: "time", unit: "s", values: [thin ? ends.join(" to ") : ends[0]] }];
  meta.series.forEach(({ name, label, unit, step }, i) => {
    const { low, high } = stretch.series[i];
    if (Number.isNaN(low[place])) return;
    // What is packed has a digit or two more than the trace tells.
    const coarse = step * (name.startsWith("position") || name.startsWith("window") ? 100 : 10);
    const text = thin && low[place] !== high[place] ? `${shown(low[place], coarse)} to ${shown(high[place], coarse)}` : shown(low[place], coarse);
    const side = /_([ab])$/.exec(name)?.[1];
    if (!side) { rows.push({ name: label, unit, values: [text] }); return; }
    const of = label.replace(/,? [ab]$/, "");
    let row = rows.find(one => one.sides && one.name === of);
    if (!row) rows.push(row = { name: of, unit, sides: true, values: ["\u2013", "\u2013"] });
    row.values[side === "a" ? 0 : 1] = text;
  });
  const of = state => meta.lanes.filter((_, i) => stretch.lanes[i][place] === state).map(lane => lane.label);
  rows.push({ name: "on", values: [of(1).join(", ") || "nothing"] });
  if (of(2).length > 0) rows.push({ name: "on at some frames", values: [of(2).join(", ")] });
  const low = meta.lanes.filter((lane, i) => lane.kind === "line" && stretch.lanes[i][place] === 0).map(lane => lane.label);
  if (low.length > 0) rows.push({ name: "low", values: [low.join(", ")] });
  return rows;
}

function tell(table, rows) {
  table.replaceChildren(...rows.map(({ name, unit, values, sides }) => {
    const line = element("tr"), head = element("th", unit ? `${name}, ${unit}` : name);
    head.scope = "row";
    line.append(head, ...values.map(value => {
      const cell = element("td", value);
      if (!sides) cell.colSpan = 2;
      return cell;
    }));
    return line;
  }));
}

function inWords(rows) {
  return rows.map(({ name, unit, values, sides }) => {
    const told = sides ? `a ${values[0]}, b ${values[1]}` : values[0];
    return `${name} ${told}${unit ? ` ${unit}` : ""}`;
  }).join("; ");
}
