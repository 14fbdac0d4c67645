// Opens pages in a headless Chromium without a network and prints what is to be seen, one JSON value a line.
//   node look.mjs FOLDER TASKS.json
// FOLDER has the libraries; each task is { do, file, ... }.
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";

const [folder, tasks] = process.argv.slice(2);
const require = createRequire(`${folder}/`);
const { chromium } = require("playwright-core");
const AXE = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});

/** Opens a page, and keeps whatever goes wrong and whatever it asks for. */
async function open(file, { plain, prepare, ...options } = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, offline: true, ...options });
  const page = await context.newPage();
  const noticed = { errors: [], requests: [], dialogs: [] };
  // The advice about reading pixels back is for the one who looks, not for the page.
  const isOwn = text => text.includes("willReadFrequently");
  page.on("console", message => { if (["error", "warning"].includes(message.type()) && !isOwn(message.text())) noticed.errors.push(message.text()); });
  page.on("pageerror", error => noticed.errors.push(error.message));
  page.on("request", request => { if (request.url() !== `file://${file}` && !request.url().startsWith("blob:")) noticed.requests.push(request.url()); });
  page.on("dialog", dialog => { noticed.dialogs.push(dialog.message()); dialog.dismiss(); });
  if (prepare) await page.addInitScript(prepare);
  await page.goto(`file://${file}`);
  if (!plain) await page.waitForSelector("#charts[data-ready=true]", { timeout: 20000 });
  return { context, page, noticed };
}

const view = page => page.evaluate(() => ({ ...cowitness.view, trip: cowitness.current ?? null }));

/** The colours of a chart around a time and a value: how many pixels are of the colour of a channel, and of all that is drawn. */
function drawn(page, title, time, value, who) {
  return page.evaluate(([title, time, value, who]) => {
    const chart = cowitness.charts.find(one => one.panel.title.startsWith(title));
    const { u } = chart;
    const x = Math.round(u.valToPos(time, "x", true)), y = Math.round(u.valToPos(value, "y", true));
    const { data } = u.ctx.getImageData(x - 2, y - 3, 5, 7);
    const colour = palette()[who];
    const wanted = [1, 3, 5].map(at => parseInt(colour.slice(at, at + 2), 16));
    let found = 0;
    for (let at = 0; at < data.length; at += 4) {
      if (data[at + 3] > 0 && wanted.every((one, i) => Math.abs(data[at + i] - one) < 60)) found += 1;
    }
    return { found, inside: x >= u.bbox.left && x <= u.bbox.left + u.bbox.width };
  }, [title, time, value, who]);
}

/** Keeps what is written into the charts. */
const keepWritten = () => {
  window.written = [];
  const fill = CanvasRenderingContext2D.prototype.fillText;
  CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {
    window.written.push({ canvas: this.canvas, text, x, y });
    return fill.apply(this, arguments);
  };
};

const acts = {
  /** Opens it, and says what it shows. */
  async open({ file, screenshot, dark }) {
    const { context, page, noticed } = await open(file, { colorScheme: dark ? "dark" : "light" });
    const seen = await page.evaluate(() => ({
      title: document.title,
      text: document.body.innerText,
      // Without what is shown as it is in a file.
      prose: [...document.querySelectorAll("main > :not(details)")].map(one => one.innerText).join("\n"),
      verdicts: [...document.querySelectorAll(".verdict:not([hidden])")].map(one => ({ sign: getComputedStyle(one, "::before").content, colour: getComputedStyle(one).color })),
      charts: cowitness.charts.map(one => one.panel.title),
      axis: cowitness.charts.map(({ u }) => u.axes[0].label),
      images: document.images.length,
      scripts: document.scripts.length,
      inked: cowitness.charts.map(({ u }) => {
        const { data } = u.ctx.getImageData(0, 0, u.ctx.canvas.width, u.ctx.canvas.height);
        let inked = 0;
        for (let at = 3; at < data.length; at += 4) if (data[at] > 0) inked += 1;
        return inked;
      }),
    }));
    if (screenshot) await page.screenshot({ path: screenshot });
    await context.close();
    return { ...seen, ...noticed };
  },

  /** Moves about: by mouse, wheel, keys, buttons, and from the table. */
  async move({ file }) {
    const { context, page, noticed } = await open(file);
    const steps = { first: await view(page) };
    const press = async key => { await page.focus("#charts"); await page.keyboard.press(key); };
    await press("Home"); steps.home = await view(page);
    await press("ArrowUp"); steps.closer = await view(page);
    await press("ArrowRight"); steps.right = await view(page);
    await press("ArrowLeft"); steps.left = await view(page);
    await press("ArrowDown"); steps.wider = await view(page);
    await press("n"); steps.next = await view(page);
    await page.click("#whole"); steps.whole = await view(page);
    const box = await page.locator("#charts .u-over").first().boundingBox();
    await page.mouse.move(box.x + box.width * 0.25, box.y + 60);
    await page.mouse.down();
    await page.mouse.move(box.x + box.width * 0.75, box.y + 60, { steps: 5 });
    await page.mouse.up();
    await page.waitForTimeout(100);
    steps.dragged = await view(page);
    await page.keyboard.down("Control");
    await page.mouse.move(box.x + box.width * 0.5, box.y + 60);
    await page.mouse.wheel(0, -200);
    await page.keyboard.up("Control");
    await page.waitForTimeout(100);
    steps.wheeled = await view(page);
    steps.readout = await page.locator("#readout").innerText();
    await page.locator("#charts").dblclick({ position: { x: 400, y: 100 } });
    await page.waitForTimeout(100);
    steps.double = await view(page);
    const buttons = page.locator("button[data-trip]");
    steps.buttons = await buttons.count();
    if (steps.buttons > 0) { await buttons.last().click(); steps.jumped = await view(page); steps.pressed = await buttons.last().getAttribute("aria-pressed"); }
    await context.close();
    return { ...steps, ...noticed };
  },

  /** Looks for a value at a time, from the whole trace down to a view of a hundredth of `until`. */
  async find({ file, chart, time, value, who, until }) {
    const { context, page, noticed } = await open(file);
    const found = [];
    await page.evaluate(() => cowitness.show(cowitness.whole));
    for (;;) {
      const { min, max } = await view(page);
      found.push({ span: max - min, ...(await drawn(page, chart, time, value, who)) });
      if (max - min < until) break;
      await page.evaluate(([time, half]) => cowitness.show({ min: time - half, max: time + half * 0.9 }), [time, (max - min) / 8]);
    }
    await context.close();
    return { found, ...noticed };
  },

  /** Its charts as a picture. */
  async picture({ file, screenshot }) {
    const { context, page, noticed } = await open(file, { viewport: { width: 1000, height: 900 } });
    await page.evaluate(() => document.getElementById("motion").scrollIntoView());
    await page.waitForTimeout(200);
    await page.screenshot({ path: screenshot });
    await context.close();
    return noticed;
  },

  /** What the rules of accessibility say of it. */
  async rules({ file, dark, plain }) {
    const { context, page, noticed } = await open(file, { plain, colorScheme: dark ? "dark" : "light" });
    await page.evaluate(() => { for (const one of document.querySelectorAll("details")) one.open = true; });
    // The policy of the page lets no script be added; the tool comes in through the debugging door.
    await page.evaluate(AXE);
    const results = await page.evaluate(() => axe.run({ resultTypes: ["violations"] }));
    await context.close();
    const broken = results.violations.map(({ id, impact, help, nodes }) => ({ id, impact, help, where: nodes.slice(0, 3).map(node => node.html.slice(0, 120)) }));
    return { broken, rules: results.passes?.length ?? 0, ...noticed };
  },

  /** A page without charts. */
  async plain({ file }) {
    const { context, page, noticed } = await open(file, { plain: true });
    const seen = await page.evaluate(() => ({
      title: document.title, text: document.body.innerText, images: document.images.length, scripts: document.scripts.length,
      heads: [...document.querySelectorAll("th")].map(head => head.textContent),
    }));
    await context.close();
    return { ...seen, ...noticed };
  },

  /** What it opens on, and what it says of another trip. */
  async opens({ file, then }) {
    const { context, page, noticed } = await open(file);
    const look = () => page.evaluate(() => ({
      ...cowitness.view,
      pressed: [...document.querySelectorAll("button[aria-pressed=true]")].map(one => ({ ...one.dataset, name: one.ariaLabel })),
      decided: cowitness.charts.find(one => one.panel.decided)?.note.textContent ?? null,
      focus: document.activeElement.id,
    }));
    const first = await look();
    let after = null;
    if (then) { await page.click(then); after = await look(); }
    const names = await page.evaluate(() => [...document.querySelectorAll("button")].map(one => one.ariaLabel ?? one.textContent));
    await context.close();
    return { first, after, names, ...noticed };
  },

  /** The labels of the axis of time, and the times at which they stand, at some views. */
  async labels({ file, views }) {
    const { context, page, noticed } = await open(file, { prepare: keepWritten });
    const found = [];
    for (const view of views) {
      found.push(await page.evaluate(async view => {
        window.written.length = 0;
        cowitness.show(view);
        await new Promise(done => setTimeout(done, 100));
        const { u } = cowitness.charts[0];
        const under = written.filter(one => one.canvas === u.ctx.canvas && one.y > u.bbox.top + u.bbox.height && one.text !== u.axes[0].label);
        return {
          pixel: (u.posToVal(1, "x") - u.posToVal(0, "x")),
          labels: under.map(({ text, x }) => ({ text, at: u.posToVal(x, "x", true) })),
          first: cowitness.meta.first_ns, said: u.axes[0].label,
        };
      }, view));
    }
    await context.close();
    return { found, ...noticed };
  },

  /** What is told at a time. */
  async reads({ file, time }) {
    const { context, page, noticed } = await open(file);
    const rows = await page.evaluate(time => {
      cowitness.read(time);
      return Object.fromEntries([...document.getElementById("readout").rows].map(({ cells }) => [cells[0].textContent, cells[1].textContent]));
    }, time);
    await context.close();
    return { rows, ...noticed };
  },

  /** Of each lane: how many pixels of the upper edge of its bar there are, and whether what is written beside it is within its bar. */
  async bars({ file }) {
    const { context, page, noticed } = await open(file, { prepare: keepWritten });
    const lanes = await page.evaluate(async () => {
      // Lines of trips and of the cursor would be in the colours of bars.
      marks = () => {};
      cowitness.cursor = null;
      written.length = 0;
      cowitness.show(cowitness.whole);
      await new Promise(done => setTimeout(done, 100));
      const { u } = cowitness.charts.find(one => one.panel.lanes), px = devicePixelRatio;
      const texts = written.filter(one => one.canvas === u.ctx.canvas && one.x < u.bbox.left + 20 * px);
      return cowitness.rows.map((lane, row) => {
        const { kind, label } = cowitness.meta.lanes[lane];
        const top = u.bbox.top + (row * LANE + 2) * px;
        const { data } = u.ctx.getImageData(u.bbox.left, top, u.bbox.width, px);
        const wanted = laneStyle(kind, palette()).edge.replace(/^#(.)(.)(.)$/, "#$1$1$2$2$3$3");
        const colour = [1, 3, 5].map(at => parseInt(wanted.slice(at, at + 2), 16));
        let edge = 0;
        for (let at = 0; at < data.length; at += 4) if (data[at + 3] > 200 && colour.every((one, i) => Math.abs(data[at + i] - one) < 30)) edge += 1;
        const text = texts.find(one => one.text.startsWith(label) && one.y > top && one.y < top + BAR * px)?.text ?? null;
        return { label, kind, everOn: cowitness.everOn(lane), edge, text };
      });
    });
    await context.close();
    return { lanes, ...noticed };
  },

  /** What is written in the charts beside the times at some views, and where keys and buttons go to from there. */
  async marked({ file, views, acts }) {
    const { context, page, noticed } = await open(file, { prepare: keepWritten });
    const look = async act => {
      await page.evaluate(() => { written.length = 0; });
      await act();
      await page.waitForTimeout(100);
      return page.evaluate(() => {
        const { u } = cowitness.charts.find(one => one.panel.key === "speed");
        const inside = written.filter(one => one.canvas === u.ctx.canvas && one.y < u.bbox.top + u.bbox.height && one.x > u.bbox.left);
        const pressed = document.querySelector("button[aria-pressed=true]");
        return { ...cowitness.view, cursor: cowitness.cursor, labels: inside.map(({ text }) => text), pressed: pressed?.textContent ?? null };
      });
    };
    const found = [await look(() => page.evaluate(() => cowitness.show(cowitness.view)))];
    for (const view of views ?? []) found.push(await look(() => page.evaluate(view => cowitness.show(view), view)));
    for (const act of acts ?? []) found.push(await look(act.startsWith("#") ? () => page.click(act) : async () => { await page.focus("#charts"); await page.keyboard.press(act); }));
    await context.close();
    return { found, ...noticed };
  },

  /** How far the charts reach at a view, with limits in it and without. */
  async scales({ file, view }) {
    const { context, page, noticed } = await open(file);
    const look = () => page.evaluate(view => {
      cowitness.show(view);
      return Object.fromEntries(cowitness.charts.map(({ u, panel }) => [panel.key, u.scales.y.max - u.scales.y.min]));
    }, view);
    const limits = await look();
    await page.click("#limits");
    const alone = await look();
    const tolerances = await page.evaluate(() => [cowitness.meta.tolerance, cowitness.meta.speed_tolerance]);
    const moved = await page.evaluate(({ min, max }) => {
      const { low, high } = extent(cowitness.data, { min, max }, cowitness.series("position_a"));
      return high - low;
    }, view);
    await context.close();
    return { limits, alone, tolerances, moved, ...noticed };
  },

  /** The cursor moved by keys, beyond the view. */
  async cursor({ file }) {
    const { context, page, noticed } = await open(file);
    await page.evaluate(() => {
      const middle = cowitness.whole.max / 2;
      cowitness.cursor = null;
      cowitness.show({ min: middle - 0.05, max: middle + 0.05 });
      window.said = [];
      new MutationObserver(() => said.push(document.getElementById("said").textContent)).observe(document.getElementById("said"), { childList: true, characterData: true, subtree: true });
    });
    const before = await view(page);
    await page.focus("#charts");
    let least = Infinity;
    for (let k = 0; k < 150; k++) {
      await page.keyboard.press("Shift+ArrowRight");
      const inside = await page.evaluate(() => cowitness.cursor >= cowitness.view.min && cowitness.cursor <= cowitness.view.max);
      least = Math.min(least, inside ? 1 : 0);
    }
    await page.waitForTimeout(600);
    const live = await page.getAttribute("#said", "aria-live");
    const said = await page.evaluate(() => window.said);
    const after = await view(page);
    await context.close();
    return { before, after, inside: least, live, said, ...noticed };
  },

  /** Along a row of pixels at a value: how often the colour of one changes to another one. */
  async row({ file, chart, value, who }) {
    const { context, page, noticed } = await open(file);
    const found = await page.evaluate(([title, value, who]) => {
      cowitness.show(cowitness.whole);
      const { u } = cowitness.charts.find(one => one.panel.title.startsWith(title));
      const y = Math.round(u.valToPos(value, "y", true));
      const whole = palette()[who].replace(/^#(.)(.)(.)$/, "#$1$1$2$2$3$3");
      const wanted = [1, 3, 5].map(at => parseInt(whole.slice(at, at + 2), 16));
      const is = (data, at) => data[at + 3] > 60 && wanted.reduce((sum, one, i) => sum + Math.abs(data[at + i] - one), 0) < 200;
      let best = { changes: 0, inked: 0 };
      for (let row = y - 2; row <= y + 2; row++) {
        const { data } = u.ctx.getImageData(u.bbox.left, row, u.bbox.width, 1);
        let changes = 0, inked = 0, last = false;
        for (let at = 0; at < data.length; at += 4) {
          const now = is(data, at);
          if (now) inked += 1;
          if (now !== last) changes += 1;
          last = now;
        }
        if (inked > best.inked) best = { changes, inked: inked / u.bbox.width };
      }
      return best;
    }, [chart, value, who]);
    await context.close();
    return { ...found, ...noticed };
  },

  /** Heads and cells of tables as they are on paper. */
  async paper({ file }) {
    // As wide as A4 between its margins.
    const { context, page, noticed } = await open(file, { viewport: { width: 703, height: 900 } });
    await page.emulateMedia({ media: "print" });
    const cut = () => page.evaluate(() => [...document.querySelectorAll(".scroll, pre, body")].filter(one => one.offsetWidth > 0)
      .map(one => ({ what: one.textContent.slice(0, 20), inner: Math.max(...[one, ...one.children].map(part => part.scrollWidth)), outer: one.clientWidth, scrolls: /auto|scroll/.test(getComputedStyle(one).overflowX) })));
    const text = await page.evaluate(() => document.body.innerText);
    const folded = await cut();
    const details = await page.evaluate(() => { const all = [...document.querySelectorAll("details")]; const seen = all.filter(one => one.offsetHeight > 0).length; for (const one of all) one.open = true; return { all: all.length, seen }; });
    const unfolded = await cut();
    await page.emulateMedia({ media: "screen" });
    await page.setViewportSize({ width: 800, height: 900 });
    const narrow = await page.evaluate(() => [...document.querySelectorAll(".scroll")].map(one => ({ what: one.textContent.slice(0, 20), inner: one.scrollWidth, outer: one.clientWidth })));
    await page.emulateMedia({ media: "print" });
    const tables = await page.evaluate(() => Object.fromEntries([...document.querySelectorAll("table[aria-label]")].map(table => [
      table.ariaLabel, [...table.rows].map(row => [...row.cells].filter(cell => cell.offsetWidth > 0).map(cell => cell.innerText)),
    ])));
    await context.close();
    return { tables, text, details, folded, unfolded, narrow, ...noticed };
  },

  /** Pictures as means of grey, 32 by 28. */
  async blocks({ files }) {
    const context = await browser.newContext({ offline: true });
    const page = await context.newPage();
    const all = [];
    for (const file of files) {
      const data = readFileSync(file).toString("base64");
      all.push(await page.evaluate(async data => {
        const image = await createImageBitmap(new Blob([Uint8Array.from(atob(data), letter => letter.charCodeAt(0))]));
        const canvas = new OffscreenCanvas(image.width, image.height);
        const ctx = canvas.getContext("2d");
        ctx.drawImage(image, 0, 0);
        const { width, height } = image;
        const pixels = ctx.getImageData(0, 0, width, height).data;
        const sums = Array.from({ length: 32 * 28 }, () => [0, 0]);
        for (let y = 0; y < height; y++) {
          for (let x = 0; x < width; x++) {
            const at = 4 * (y * width + x), of = sums[Math.floor(y * 28 / height) * 32 + Math.floor(x * 32 / width)];
            of[0] += 0.299 * pixels[at] + 0.587 * pixels[at + 1] + 0.114 * pixels[at + 2];
            of[1] += 1;
          }
        }
        return { width, height, greys: sums.map(([sum, count]) => sum / count) };
      }, data));
    }
    await context.close();
    return { all };
  },

  /** As with the letters twice as large, and on paper. */
  async sizes({ file, plain }) {
    const { context, page, noticed } = await open(file, { plain, viewport: { width: 640, height: 450 } });
    const narrow = await page.evaluate(() => ({ wide: document.documentElement.scrollWidth, window: innerWidth }));
    const pdf = await page.pdf({ format: "A4" });
    await context.close();
    return { ...narrow, pdf: pdf.length, pages: (pdf.toString("latin1").match(/\/Type\s*\/Page\b/g) ?? []).length, ...noticed };
  },
};

for (const task of JSON.parse(readFileSync(tasks, "utf8"))) {
  console.log(JSON.stringify(await acts[task.do](task)));
}
await browser.close();
