// The charts of the page: one time axis for all of them, moved by mouse, wheel, keys, and from the tables.
"use strict";

/** Above a chart, and below it where the times stand, and what they are, in pixels. */
const PAD = 6, TIME_AXIS = 24, TIME_LABEL = 20;
const LEFT = 74;
const byId = id => document.getElementById(id);
class Page {
  constructor(data) {
    this.data = data;
    this.meta = data.meta;
    const span = Math.max(this.meta.span, 1e-6);
    this.whole = { min: -span * 0.005, max: span * 1.005 };
    this.view = { ...this.whole };
    this.cursor = null;
    // Which of what is kept in full of trips is drawn; none: -1, and why.
    this.trip = -1;
    this.missing = "choose a trip";
    this.withLimits = true;
    this.charts = [];
    this.build();
    this.follow();
    this.show(this.view);
  }

  series(name) { return this.meta.series.findIndex(series => series.name === name); }

  /** The charts: what each draws, and how far its numbers reach. */
  panels() {
    const has = name => this.series(name) >= 0;
    const unit = this.meta.unit;
    const curves = (names, dash, more = {}) => names.filter(([name]) => has(name))
      .map(([name, who]) => ({ series: this.series(name), who, dash: dash ?? who, ...more }));
    const limits = (names, mirror, more = {}) => curves(names, "limit", { limit: true, step: true, width: 1, mirror, ...more });
    const list = [
      { key: "speed", title: "Speed", least: this.meta.speed_tolerance, unit: `${unit}/s`, curves: [...limits([["speed_limit_low_a", "limit"], ["speed_limit_low_b", "limit"]], false, { lower: true }), ...limits([["speed_limit_high_a", "limit"], ["speed_limit_high_b", "limit"]], false), ...curves([["speed_a", "a"], ["speed_b", "b"]])] },
      { key: "discrepancy", title: "Discrepancy of the positions, a \u2212 b", least: this.meta.tolerance, unit, curves: [...limits([["discrepancy_allowed", "limit"]], true), ...curves([["discrepancy", "a"]])] },
      { key: "speed_discrepancy", title: "Discrepancy of the speeds", least: this.meta.speed_tolerance, unit: `${unit}/s`, level: this.meta.speed_tolerance, curves: this.meta.speed_tolerance === null ? [] : curves([["speed_discrepancy", "a"]]) },
      { key: "position", title: "Position", least: this.meta.tolerance, unit, curves: [...limits([["window_low_a", "limit"], ["window_high_a", "limit"], ["window_low_b", "limit"], ["window_high_b", "limit"]], false), ...curves([["position_a", "a"], ["position_b", "b"]])] },
      ...this.meta.analogues.map((one, i) => ({ key: `analogue_${i + 1}`, title: one.name, least: one.tolerance, unit: one.unit, curves: curves([[`analogue_${i + 1}_a`, "a"], [`analogue_${i + 1}_b`, "b"]]) })),
    ];
    return list.filter(panel => panel.curves.some(one => !one.limit));
  }

  /** What the page is about comes first. */
  build() {
    const holder = byId("charts");
    // All that stands for an input, at whatever level; of the rest what there ever was.
    const isKept = i => ["line", "input", "permit"].includes(this.meta.lanes[i].kind) || this.everOn(i);
    this.rows = this.meta.lanes.map((_, i) => i).filter(isKept);
    const list = this.panels().map(panel => ({ panel, height: 180, draw: u => this.drawPanel(u, panel), reach: () => this.reach(panel) }));
    const lanes = { key: "lanes", title: "Inputs, monitors and the permit", lanes: true };
    list.push({ panel: lanes, height: PAD + this.rows.length * LANE + TIME_AXIS + TIME_LABEL, draw: u => this.drawLanes(u), reach: () => ({ low: 0, high: 1 }) });
    list.sort((one, other) => (other.panel.key === this.meta.about) - (one.panel.key === this.meta.about));
    if (this.data.decided.length > 0) {
      const panel = { key: "decided", title: "What the trip was decided by", unit: "", decided: true };
      list.unshift({ panel, height: 180, draw: u => this.drawDecided(u), reach: () => this.reachOfDecided() });
    }
    for (const { panel, height, draw, reach } of list) this.add(holder, panel, height, draw, reach);
  }

  /** Whether a lane is on at any frame. */
  everOn(lane) { return this.data.stretches.some(stretch => stretch.lanes[lane].some(state => state > 0)); }

  add(holder, panel, height, draw, reach) {
    const box = element("figure");
    const caption = element("figcaption", panel.unit ? `${panel.title}, ${panel.unit}` : panel.title);
    const note = element("span");
    note.className = "note";
    caption.append(" ", note);
    box.append(caption);
    holder.append(box);
    const axis = { stroke: () => palette().text, grid: { stroke: () => palette().grid, width: 1 }, ticks: { stroke: () => palette().grid }, font: "12px system-ui, sans-serif" };
    const options = {
      width: this.width(), height, legend: { show: false },
      cursor: { drag: { x: true, y: false, setScale: false }, points: { show: false }, sync: { key: "time" }, y: false, bind: { dblclick: () => null } },
      select: { show: true },
      scales: { x: { time: false, auto: false }, y: { auto: false } },
      series: [{}, { show: true, points: { show: false }, paths: () => null }],
      axes: [
        { ...axis, size: TIME_AXIS, gap: 3, label: this.timeLabel(), labelSize: TIME_LABEL, labelGap: 2, labelFont: "12px system-ui, sans-serif", splits: u => this.ticks(u.scales.x, this.width()).map(tick => tick.at), values: u => this.ticks(u.scales.x, this.width()).map(tick => tick.label) },
        { ...axis, size: LEFT, ...(panel.lanes ? { values: (u, ticks) => ticks.map(() => ""), grid: { show: false }, ticks: { show: false } } : {}) },
      ],
      padding: [PAD, 12, 0, 0],
      hooks: {
        draw: [draw],
        setCursor: [u => this.hover(u)],
        setSelect: [u => this.selected(u)],
      },
    };
    const u = new uPlot(options, [[this.whole.min, this.whole.max], [0, 1]], box);
    u.over.setAttribute("role", "img");
    u.over.setAttribute("aria-label", `${panel.title} over time. The trips, and the numbers they were decided by, are in the tables.`);
    this.charts.push({ u, panel, reach, note, caption, height });
  }

  timeLabel() {
    const base = this.base() / 1000000000n;
    return `time on the clock of the trace, s${base === 0n ? "" : `, after ${base} s`}`;
  }

  width() { return Math.max(280, byId("charts").clientWidth); }

  /** Where the axis of time counts from, in ns: 0, or a whole second near the first frame where the clock counts from an epoch. */
  base() {
    const first = BigInt(this.meta.first_ns), second = 1000000000n;
    const size = first < 0n ? -first : first;
    return size < 1000000n * second ? 0n : first / second * second;
  }

  /** Ticks at round values of what is written there, 1, 2 or 5 times a power of ten apart: exactly, in ns. */
  ticks({ min, max }, width) {
    const first = BigInt(this.meta.first_ns) - this.base();
    const [from, to] = [min, max].map(at => first + BigInt(Math.round(at * 1e9)));
    const most = BigInt(Math.max(2, Math.floor(width / 100)));
    const least = (to - from) / most + 1n;
    let power = 1n;
    while (power * 10n <= least) power *= 10n;
    const step = [1n, 2n, 5n, 10n].map(by => by * power).find(one => one >= least);
    let places = 9;
    for (let rest = step; places > 0 && rest % 10n === 0n; rest /= 10n) places -= 1;
    const found = [];
    for (let at = from / step * step - step; at <= to; at += step) {
      if (at < from) continue;
      const size = at < 0n ? -at : at;
      const rest = (size % 1000000000n).toString().padStart(9, "0").slice(0, places);
      const sign = at < 0n ? "\u2212" : this.base() === 0n ? "" : "+";
      found.push({ at: Number(at - first) / 1e9, label: `${sign}${size / 1000000000n}${places > 0 ? `.${rest}` : ""}` });
    }
    return found;
  }

  reach(panel) {
    let low = Infinity, high = -Infinity;
    const take = one => { if (one) { low = Math.min(low, one.low); high = Math.max(high, one.high); } };
    for (const one of panel.curves.filter(one => !one.limit)) take(extent(this.data, this.view, one.series));
    if (this.withLimits) {
      for (const one of panel.curves.filter(one => one.limit)) {
        const found = extent(this.data, this.view, one.series);
        // One that allows everything is no limit to be seen.
        if (!found || Math.max(Math.abs(found.low), Math.abs(found.high)) > 1e9) continue;
        // A limit backwards matters to one that moves backwards, and where standing still is what is not allowed.
        if (one.lower && low >= 0 && found.high <= 0) continue;
        take(found);
        if (one.mirror && low < 0) take({ low: -found.high, high: -found.low });
      }
      if (panel.level !== undefined && panel.level !== null) take({ low: 0, high: panel.level });
    }
    return low <= high ? { low, high } : null;
  }

  /** Noise of an axis at rest is not to fill a chart: it shows at least as much as what is tolerated; without limits in view, a twentieth of it. */
  widened(found, { least }) {
    if (!found || typeof least !== "number") return found;
    const lacks = (this.withLimits ? least : least / 20) - (found.high - found.low);
    return lacks > 0 ? { low: found.low - lacks / 2, high: found.high + lacks / 2 } : found;
  }

  reachOfDecided() {
    const one = this.data.decided[this.trip];
    let low = Infinity, high = -Infinity;
    if (one) {
      const [from, to] = within(one, this.view);
      for (const { observed, limits } of one.sides) {
        for (let k = from; k < to; k++) {
          for (const value of [observed[k], limits[0][k], limits[1][k]]) {
            if (value < low) low = value;
            if (value > high) high = value;
          }
        }
      }
    }
    return low <= high ? { low, high } : null;
  }

  /** Shows a part of the time on all charts. */
  show({ min, max }) {
    const least = 2e-6, span = this.whole.max - this.whole.min;
    let size = Math.min(span, Math.max(least, max - min));
    let from = Math.min(Math.max(min, this.whole.min), this.whole.max - size);
    this.view = { min: from, max: from + size };
    for (const chart of this.charts) {
      const found = this.widened(chart.reach(), chart.panel);
      const pad = found ? (found.high - found.low) * 0.07 || Math.max(1e-3, Math.abs(found.high) * 0.05) : 0;
      const y = found === null ? { min: 0, max: 1 } : chart.panel.lanes ? { min: 0, max: 1 } : { min: found.low - pad, max: found.high + pad };
      chart.note.textContent = this.resolution(chart.panel);
      chart.u.batch(() => {
        chart.u.setScale("x", this.view);
        chart.u.setScale("y", y);
      });
    }
    const grain = grainOf(this.view.max - this.view.min);
    byId("shown").textContent = `${clock(this.meta, Math.max(0, this.view.min), grain)} s to ${clock(this.meta, Math.min(this.meta.span, this.view.max), grain)} s`;
  }

  /** Whether single frames are drawn, or the least and the greatest of many. */
  resolution(panel) {
    if (panel.decided) {
      const one = this.data.decided[this.trip];
      if (!one) return this.missing;
      const [from, to] = [one.first[0], one.first[one.count - 1]].map(time => clock(this.meta, time, grainOf(one.first[one.count - 1] - one.first[0])));
      return `trip ${one.number}: ${one.label}, ${one.unit}; kept: ${from} s to ${to} s`;
    }
    const list = parts(this.data, this.view);
    const per = Math.max(1, ...list.map(([stretch]) => stretch.per));
    const raw = list.some(([stretch]) => stretch.per === 1);
    if (per === 1) return "every frame";
    return `least and greatest of ${per} frames${raw ? "; every frame around what happened" : ""}`;
  }

  drawPanel(u, panel) {
    const colours = palette();
    const list = parts(this.data, this.view);
    marks(u, this.data, this.view);
    if (panel.level !== undefined && panel.level !== null) this.level(u, panel.level);
    for (const one of panel.curves) {
      const style = { colour: one.limit ? colours.limit : colours[one.who], dash: one.dash, step: one.step, width: one.width };
      const pick = stretch => stretch.series[one.series];
      curve(u, list, pick, style);
      if (one.mirror) curve(u, list, stretch => ({ low: stretch.series[one.series].high, high: stretch.series[one.series].low }), style, -1);
    }
    labels(u, this.data, this.view);
    this.line(u);
  }

  level(u, value) {
    const y = u.valToPos(value, "y", true);
    u.ctx.save();
    u.ctx.strokeStyle = palette().limit;
    u.ctx.setLineDash(DASHES.limit.map(length => length * devicePixelRatio));
    u.ctx.beginPath();
    u.ctx.moveTo(u.bbox.left, y);
    u.ctx.lineTo(u.bbox.left + u.bbox.width, y);
    u.ctx.stroke();
    u.ctx.restore();
  }

  drawDecided(u) {
    marks(u, this.data, this.view);
    const one = this.data.decided[this.trip];
    const colours = palette();
    const [from, to] = one ? within(one, this.view) : [0, 0];
    if (to > from) ["a", "b"].forEach((who, side) => {
      const both = one.sides[side];
      for (const limit of both.limits) curve(u, [[one, from, to]], () => ({ low: limit, high: limit }), { colour: colours.limit, dash: "limit", step: true, width: 1 });
      curve(u, [[one, from, to]], () => ({ low: both.observed, high: both.observed }), { colour: colours[who], dash: who });
    });
    labels(u, this.data, this.view);
    this.line(u);
  }

  drawLanes(u) {
    lanes(u, this.data, parts(this.data, this.view), this.rows, lane => this.everOn(lane));
    marks(u, this.data, this.view);
    this.line(u);
  }

  /** Where the cursor was put by keys. */
  line(u) {
    if (this.cursor === null) return;
    const x = u.valToPos(this.cursor, "x", true);
    u.ctx.save();
    u.ctx.strokeStyle = palette().text;
    u.ctx.setLineDash([2, 2]);
    u.ctx.beginPath();
    u.ctx.moveTo(x, u.bbox.top);
    u.ctx.lineTo(x, u.bbox.top + u.bbox.height);
    u.ctx.stroke();
    u.ctx.restore();
  }

  hover(u) {
    const { left } = u.cursor;
    if (left === null || left === undefined || left < 0) return;
    this.read(u.posToVal(left, "x"));
  }

  /** What is known at a time. */
  read(time) {
    const grain = this.view.max - this.view.min < 1e-3 ? 1n : 1000n;
    this.known = reading(this.data, time, grain);
    tell(byId("readout"), this.known);
  }

  selected(u) {
    const { left, width } = u.select;
    if (width < 3) return;
    const view = { min: u.posToVal(left, "x"), max: u.posToVal(left + width, "x") };
    // Scales must not change while the library is in its own hook.
    setTimeout(() => {
      for (const { u: one } of this.charts) one.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
      this.show(view);
    });
  }

  zoom(factor, around = (this.view.min + this.view.max) / 2) {
    this.show({ min: around + (this.view.min - around) * factor, max: around + (this.view.max - around) * factor });
  }

  pan(part) {
    const by = (this.view.max - this.view.min) * part;
    this.show({ min: this.view.min + by, max: this.view.max + by });
  }

  /** To a trip, by its place in the list. */
  jump(place) {
    const trip = this.meta.trips[place];
    if (!trip) return;
    this.trip = this.data.decided.findIndex(one => one.number === trip.number && one.count > 0);
    this.missing = `trip ${trip.number}: not kept, as of the first ${this.meta.kept} trips and of the one that this page explains; explain --trip ${trip.number} has it`;
    this.current = { kind: "trip", place };
    this.cursor = trip.at;
    this.show({ min: trip.view[0], max: trip.view[1] });
    this.read(trip.at);
    this.press(document.querySelector(`button[data-trip="${trip.number - 1}"]`));
  }

  /** The button whose time is shown, and no other. */
  press(which) {
    for (const button of document.querySelectorAll("button[aria-pressed]")) button.setAttribute("aria-pressed", String(button === which));
  }

  /** To a fault or a stop: no trip is shown then. */
  jumpTo(kind, place) {
    const one = this.meta[KINDS[kind].list][place];
    if (!one) return;
    this.trip = -1;
    this.missing = "no trip is chosen";
    this.current = { kind, place };
    this.cursor = when(kind, one);
    // What a stop is there for comes after it.
    const pad = Math.max((one.to - one.since) / 2, kind === "stop" ? 0.5 : 0.05);
    this.show({ min: one.since - pad, max: one.to + pad });
    this.read(this.cursor);
    this.press(document.querySelector(`button[data-${kind}="${one.number - 1}"]`));
  }

  /** To the next of a kind, or to the one before: by number from one of it, by time from elsewhere; after the last comes the first. */
  step(kind, by) {
    const list = this.meta[KINDS[kind].list];
    if (list.length === 0) return;
    const here = this.current?.kind === kind ? this.current.place : null;
    const later = list.findIndex(one => when(kind, one) > (this.cursor ?? -Infinity));
    const next = later < 0 ? list.length : later;
    const place = here !== null ? here + by : by > 0 ? next : this.cursor === null ? list.length - 1 : next - 1;
    const to = (place + list.length) % list.length;
    if (kind === "trip") this.jump(to); else this.jumpTo(kind, to);
  }

  move(by) {
    const middle = (this.view.min + this.view.max) / 2;
    const span = this.view.max - this.view.min;
    const inside = this.cursor !== null && this.cursor >= this.view.min && this.cursor <= this.view.max;
    const to = (inside ? this.cursor : middle) + by * span / 200;
    this.cursor = Math.min(Math.max(to, 0), this.meta.span);
    // The view follows the cursor.
    if (this.cursor < this.view.min || this.cursor > this.view.max) this.show({ min: this.cursor - span / 2, max: this.cursor + span / 2 });
    this.read(this.cursor);
    this.say();
    for (const { u } of this.charts) u.redraw(false);
  }

  /** Says what is at the cursor to those who do not see it; not more often than one can hear. */
  say() {
    clearTimeout(this.saying);
    this.saying = setTimeout(() => {
      byId("said").textContent = inWords(this.known);
    }, 400);
  }

  key(event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const acts = {
      ArrowLeft: () => (event.shiftKey ? this.move(-1) : this.pan(-0.15)),
      ArrowRight: () => (event.shiftKey ? this.move(1) : this.pan(0.15)),
      ArrowUp: () => this.zoom(0.6), ArrowDown: () => this.zoom(1 / 0.6),
      "+": () => this.zoom(0.6), "-": () => this.zoom(1 / 0.6),
      Home: () => this.show(this.whole),
    };
    for (const [kind, { keys }] of Object.entries(KINDS)) keys.forEach((key, i) => { acts[key] = () => this.step(kind, i === 0 ? 1 : -1); });
    const act = acts[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }

  follow() {
    const holder = byId("charts");
    holder.addEventListener("keydown", event => this.key(event));
    holder.addEventListener("wheel", event => {
      if (!event.ctrlKey && !event.shiftKey) return;
      event.preventDefault();
      const over = this.charts[0].u.over.getBoundingClientRect();
      this.zoom(event.deltaY > 0 ? 1.25 : 0.8, this.charts[0].u.posToVal(event.clientX - over.left, "x"));
    }, { passive: false });
    holder.addEventListener("dblclick", () => this.show(this.whole));
    const acts = { whole: () => this.show(this.whole), closer: () => this.zoom(0.5), wider: () => this.zoom(2), left: () => this.pan(-0.25), right: () => this.pan(0.25) };
    for (const [kind, { buttons }] of Object.entries(KINDS)) buttons.forEach((id, i) => { acts[id] = () => this.step(kind, i === 0 ? 1 : -1); });
    for (const [id, act] of Object.entries(acts)) byId(id)?.addEventListener("click", act);
    byId("limits")?.addEventListener("change", event => { this.withLimits = event.target.checked; this.show(this.view); });
    const numbered = (kind, button) => this.meta[KINDS[kind].list].findIndex(one => one.number === Number(button.dataset[kind]) + 1);
    const go = (button, jump) => button.addEventListener("click", () => { jump(); holder.focus({ preventScroll: true }); holder.scrollIntoView({ block: "start" }); });
    for (const button of document.querySelectorAll("button[data-trip]")) {
      go(button, () => this.jump(numbered("trip", button)));
    }
    for (const kind of ["fault", "stop"]) {
      for (const button of document.querySelectorAll(`button[data-${kind}]`)) go(button, () => this.jumpTo(kind, numbered(kind, button)));
    }
    const size = () => { for (const { u, height } of this.charts) u.setSize({ width: this.width(), height }); };
    new ResizeObserver(() => { if (!printing && this.charts[0].u.width !== this.width()) size(); }).observe(holder);
    const paint = () => { for (const { u } of this.charts) u.redraw(false); };
    darkness.addEventListener("change", paint);
    // On paper it is light.
    addEventListener("beforeprint", () => { printing = true; for (const { u, height } of this.charts) u.setSize({ width: 680, height }); paint(); });
    addEventListener("afterprint", () => { printing = false; size(); paint(); });
  }
}

async function start() {
  const meta = JSON.parse(byId("meta").textContent);
  const data = await load(meta, byId("numbers").textContent.trim());
  const page = new Page(data);
  // For tests, and for those who want to look closer in the console.
  window.cowitness = page;
  byId("charts").dataset.ready = "true";
  // On what the page explains; a page that explains nothing opens on the whole trace.
  const [[kind, place] = []] = Object.entries(meta.opens ?? {});
  const listed = kind ? meta[KINDS[kind].list].findIndex(one => one.number === place + 1) : -1;
  if (kind && kind !== "trip") page.jumpTo(kind, listed);
  else page.jump(Math.max(0, listed));
}

start().catch(error => {
  byId("failed").hidden = false;
  byId("failed").textContent = `The charts cannot be shown: ${error.message}. The tables below have everything that was found; a newer browser shows the charts, too.`;
});
