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
async function open(file, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, offline: true, ...options });
  const page = await context.newPage();
  const noticed = { errors: [], requests: [], dialogs: [] };
  // The advice about reading pixels back is for the one who looks, not for the page.
  const isOwn = text => text.includes("willReadFrequently");
  page.on("console", message => { if (["error", "warning"].includes(message.type()) && !isOwn(message.text())) noticed.errors.push(message.text()); });
  page.on("pageerror", error => noticed.errors.push(error.message));
  page.on("request", request => { if (request.url() !== `file://${file}` && !request.url().startsWith("blob:")) noticed.requests.push(request.url()); });
  page.on("dialog", dialog => { noticed.dialogs.push(dialog.message()); dialog.dismiss(); });
  await page.goto(`file://${file}`);
  await page.waitForSelector("#charts[data-ready=true]", { timeout: 20000 });
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

const acts = {
  /** Opens it, and says what it shows. */
  async open({ file, screenshot, dark }) {
    const { context, page, noticed } = await open(file, { colorScheme: dark ? "dark" : "light" });
    const seen = await page.evaluate(() => ({
      title: document.title,
      text: document.body.innerText,
      charts: cowitness.charts.map(one => one.panel.title),
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
  async rules({ file, dark }) {
    const { context, page, noticed } = await open(file, { colorScheme: dark ? "dark" : "light" });
    await page.evaluate(() => { for (const one of document.querySelectorAll("details")) one.open = true; });
    // The policy of the page lets no script be added; the tool comes in through the debugging door.
    await page.evaluate(AXE);
    const results = await page.evaluate(() => axe.run({ resultTypes: ["violations"] }));
    await context.close();
    const broken = results.violations.map(({ id, impact, help, nodes }) => ({ id, impact, help, where: nodes.slice(0, 3).map(node => node.html.slice(0, 120)) }));
    return { broken, rules: results.passes?.length ?? 0, ...noticed };
  },

  /** As with the letters twice as large, and on paper. */
  async sizes({ file }) {
    const { context, page, noticed } = await open(file, { viewport: { width: 640, height: 450 } });
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
